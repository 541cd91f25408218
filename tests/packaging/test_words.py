"""Words live in one room: every code has its words, every word its code, and no other room holds a sentence."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from functools import cache
from pathlib import Path

from support.documents import ROOT

from speedcal.errors import Problem, VehicleError
from speedcal.logs.formats.registry import all_formats
from speedcal.statements import stated
from speedcal.text.messages import findings, labels, refusals
from speedcal.text.words.numbers import keys_named

PACKAGE = ROOT / "speedcal"
OUTSIDE = [
    path
    for path in sorted(PACKAGE.rglob("*.py"))
    if path.relative_to(PACKAGE).parts[0] not in ("text", "guide", "simulate")
]
FOR_CALLERS = (
    "ValueError", "TypeError", "RuntimeError", "AttributeError", "FileNotFoundError",  # mistakes of a program
    "NoRoomError", "TooLargeError", "LostError", "BadZipFile", "ConnectionError",  # caught before anybody reads them
    "info", "warning", "error", "compile", "text",  # the log of the service; patterns; statements to the store
    "execute", "executescript",  # statements for a data base
)  # fmt: skip
_SENTENCE = re.compile(r"[A-Za-z]+(?: [A-Za-z,']+){3,}")
_ERRORS = re.compile(r"(Error|Problem|Finding|busy|problem)$")
_CODE = re.compile(r"[a-z][a-z0-9]*(?:_[a-z0-9]+)*")


def name_of(call: ast.Call) -> str:
    function = call.func
    return function.attr if isinstance(function, ast.Attribute) else getattr(function, "id", "")


def spoken(tree: ast.AST) -> Iterator[tuple[int, str]]:
    """Yield texts that read like a sentence, but for docstrings, help of the command and errors for callers."""
    excused = set()
    for node in ast.walk(tree):
        body = getattr(node, "body", None)
        if isinstance(body, list):  # docstrings, also those below a name
            excused |= {id(s.value) for s in body if isinstance(s, ast.Expr) and isinstance(s.value, ast.Constant)}
        for_callers = isinstance(node, ast.Call) and name_of(node) in FOR_CALLERS
        is_help = isinstance(node, ast.keyword) and node.arg == "help"
        is_help |= isinstance(node, ast.Assign) and getattr(node.targets[0], "id", "") == "COMMANDS"
        if for_callers or is_help or isinstance(node, ast.Assert):
            excused |= {id(part) for part in ast.walk(node)}
    for node in ast.walk(tree):
        if not isinstance(node, ast.Constant) or not isinstance(node.value, str) or id(node) in excused:
            continue
        if _SENTENCE.search(node.value):
            yield node.lineno, node.value


def codes_in(tree: ast.AST) -> Iterator[str]:
    """Yield the code of every error, problem and finding that is made."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Call) and _ERRORS.search(name_of(node)):
            for argument in node.args[:2]:
                if isinstance(argument, ast.Constant) and isinstance(argument.value, str):
                    yield argument.value
                    break


@cache
def found_in(path: Path) -> tuple[list[tuple[int, str]], list[str]]:
    """Return the sentences and the codes of a module, which is parsed once for both."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    return list(spoken(tree)), list(codes_in(tree))


def test_no_other_room_holds_a_sentence() -> None:
    """What people read is made from codes and values."""
    found = [(path.relative_to(ROOT).as_posix(), *text) for path in OUTSIDE for text in found_in(path)[0]]
    assert not found


def test_every_code_that_is_raised_has_words() -> None:
    """A code without words would end in a KeyError where the message should stand."""
    known = refusals().keys() | findings().keys()
    missing = {
        (path.relative_to(PACKAGE).as_posix(), code)
        for path in OUTSIDE
        for code in found_in(path)[1]
        if _CODE.fullmatch(code) and "_" in code and code not in known
    }
    assert not missing


def test_findings_and_reports_name_nothing_that_their_reader_cannot_use() -> None:
    """A page and a report have no commands, no options and no keys of a file."""
    for pattern in ("*_messages.py", "parts.py", "report_*.py", "pictures.py", "correction_card.py"):
        for path in (PACKAGE / "text").rglob(pattern):
            tree = ast.parse(path.read_text(encoding="utf-8"))
            tree.body = [s for s in tree.body if getattr(getattr(s, "target", None), "id", "") != "REFUSALS"]
            texts = [] if path.name in ("page_messages.py", "command_messages.py") else spoken(tree)
            named = r"`|\bspeedcal [a-z]|(?<![-\w{])--[a-z]|\[[a-z]+\]"
            assert not [text for _, text in texts if re.search(named, text)], path.name


def test_an_error_names_the_fields_of_the_form_to_whoever_sees_the_form() -> None:
    """The same error, on the command line and on the page."""
    fields = {key.name: key for key in stated("vehicle").keys.values()}
    error = VehicleError("nothing_to_explain_from", problems=[Problem("fact_before_missing", key="driven_gear")])
    assert error.remedy == "Give tire, tire_before or axle in [vehicle]"
    assert error.for_form().remedy == "Give “{}”, “{}” or “{}”".format(
        *(fields[name].label for name in ("tire", "tire_before", "axle"))
    )
    assert error.problems[0].text.startswith(f"“{fields['driven_gear'].label}” is not stated")
    templates = re.findall(
        r"\{key (\w+) ([\w ]+)\}", "".join(str(text) for pair in refusals().values() for text in pair)
    )
    assert templates
    for table, names in templates:
        assert keys_named(table, names.split(), "form")


def test_every_log_format_has_a_name_for_people() -> None:
    assert {log.id for log in all_formats()} <= labels().keys()


def test_every_word_has_its_code() -> None:
    """Words that no code asks for are dead."""
    text = "\n".join(path.read_text(encoding="utf-8") for path in PACKAGE.rglob("*.py") if "messages" not in path.name)
    text += "\n".join(path.read_text(encoding="utf-8") for path in (PACKAGE / "data").rglob("*.toml"))
    named = set(re.findall(r"""["']([a-z][a-z0-9_]*)["']""", text))
    assert not sorted((refusals().keys() | findings().keys()) - named)


def test_no_sentence_is_left_beside_the_statement_that_returns_it() -> None:
    """Two literals in a row are one string only inside brackets; otherwise the second is said to nobody."""
    left = [
        f"{path.name}:{statement.lineno}"
        for path in sorted((PACKAGE / "text").rglob("*.py"))
        for function in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
        if isinstance(function, ast.FunctionDef)
        for statement in function.body[1:]
        if isinstance(statement, ast.Expr) and isinstance(statement.value, ast.Constant | ast.JoinedStr)
    ]
    assert left == []
