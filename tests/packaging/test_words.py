"""Words live in one room: every code has its words, every word its code, and no other room holds a sentence."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from support.documents import ROOT

from speedcal.text.messages import findings, refusals

PACKAGE = ROOT / "speedcal"
OUTSIDE = [
    path
    for path in sorted(PACKAGE.rglob("*.py"))
    if path.relative_to(PACKAGE).parts[0] not in ("text", "cli", "guide", "simulate")
]
NOT_YET_MOVED: tuple[str, ...] = (
    "calibration/clock_search.py",
    "calibration/fit_logged.py",
    "calibration/regression.py",
    "logs/film/frames.py",
    "report/clock_match.py",
    "report/comparison.py",
    "report/fonts.py",
    "report/for_tech.py",
)
"""Files that still hold sentences; the list only gets shorter."""
FOR_CALLERS = (
    "ValueError", "TypeError", "RuntimeError", "AttributeError", "FileNotFoundError",  # mistakes of a program
    "NoRoomError", "TooLargeError", "LostError", "BadZipFile", "ConnectionError",  # caught before anybody reads them
    "info", "warning", "error", "compile", "text",  # the log of the service; patterns; statements to the store
    "execute", "executescript",  # statements for a data base
)  # fmt: skip
NOT_YET_ASKED_FOR = {
    "engine_column_missing",
    "engine_column_unclear",
    "engine_speed_unreadable",
    "no_engine_column",
    "no_header",
    "second_talker",
    "work_before_and_after_alike",
}
"""Words that stand before the code that asks for them; the set only gets smaller."""
_SENTENCE = re.compile(r"[A-Za-z]+(?: [A-Za-z,']+){3,}")
_ERRORS = re.compile(r"(Error|Problem|Finding|busy|problem)$")
_CODE = re.compile(r"[a-z][a-z0-9]*(?:_[a-z0-9]+)*")


def name_of(call: ast.Call) -> str:
    function = call.func
    return function.attr if isinstance(function, ast.Attribute) else getattr(function, "id", "")


def spoken(tree: ast.AST) -> Iterator[tuple[int, str]]:
    """Yield texts that read like a sentence, but for docstrings and messages of errors for callers."""
    excused = set()
    for node in ast.walk(tree):
        body = getattr(node, "body", None)
        if isinstance(body, list):  # docstrings, also those below a name
            excused |= {id(s.value) for s in body if isinstance(s, ast.Expr) and isinstance(s.value, ast.Constant)}
        for_callers = isinstance(node, ast.Call) and name_of(node) in FOR_CALLERS
        if for_callers or isinstance(node, ast.Assert):
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


@pytest.mark.parametrize("path", OUTSIDE, ids=lambda path: path.relative_to(ROOT).as_posix())
def test_no_other_room_holds_a_sentence(path: Path) -> None:
    """What people read is made from codes and values."""
    found = list(spoken(ast.parse(path.read_text(encoding="utf-8"))))
    assert not found or path.relative_to(PACKAGE).as_posix() in NOT_YET_MOVED


def test_every_code_that_is_raised_has_words() -> None:
    """A code without words would end in a KeyError where the message should stand."""
    known = refusals().keys() | findings().keys()
    missing = {
        (path.relative_to(PACKAGE).as_posix(), code)
        for path in OUTSIDE
        if path.relative_to(PACKAGE).as_posix() not in NOT_YET_MOVED
        for code in codes_in(ast.parse(path.read_text(encoding="utf-8")))
        if _CODE.fullmatch(code) and "_" in code and code not in known
    }
    assert not missing


def test_every_word_has_its_code() -> None:
    """Words that no code asks for are dead."""
    text = "\n".join(path.read_text(encoding="utf-8") for path in PACKAGE.rglob("*.py") if "messages" not in path.name)
    text += "\n".join(path.read_text(encoding="utf-8") for path in (PACKAGE / "data").rglob("*.toml"))
    named = set(re.findall(r"""["']([a-z][a-z0-9_]*)["']""", text))
    assert not sorted((refusals().keys() | findings().keys()) - named - NOT_YET_ASKED_FOR)
