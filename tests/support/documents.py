"""The project's own documents: their code blocks, run in a copy of the demo, and the parts that are generated."""

from __future__ import annotations

import ast
import contextlib
import io
import os
import re
import shlex
import shutil
import subprocess
import sys
import traceback
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
README, DEVELOPERS = ROOT / "README.md", ROOT / "DEVELOPERS.md"
PICTURE = ROOT / "data_demo" / "before_after.png"
_BLOCK = re.compile(
    r"(?:^<!-- (?P<marker>[^\n]*?) -->\n)?^```(?P<language>\w*)\n(?P<text>.*?)^```$", re.MULTILINE | re.DOTALL
)
_NUMBER = re.compile(r"\d+(?:\.\d+)?")


@dataclass(frozen=True)
class Block:
    """A fenced code block with the comment marker above it."""

    marker: str
    language: str
    text: str
    start: int
    """Where its text begins in the document."""


def blocks(document: str) -> list[Block]:
    """Return every fenced block of a document."""
    return [Block(m["marker"] or "", m["language"], m["text"], m.start("text")) for m in _BLOCK.finditer(document)]


def environment() -> dict[str, str]:
    """Return an environment in which ``speedcal`` is the command of the Python that runs the tests."""
    path = os.pathsep.join([str(Path(sys.executable).parent), os.environ.get("PATH", "")])
    return {**os.environ, "PATH": path, "MPLBACKEND": "agg", "PYTHONIOENCODING": "utf-8"}


def copy_of_the_demo(folder: Path) -> Path:
    """Lay the demo job into a folder, as a newcomer finds it."""
    shutil.copytree(ROOT / "data_demo", folder / "data_demo")
    return folder


@dataclass(frozen=True)
class Done:
    """A block that was run, what it printed to standard output and to standard error."""

    block: Block
    status: int
    printed: str
    remarks: str


def run_block(block: Block, folder: Path) -> Done:
    """Run a block in a folder: Python and lines of our own command alone in this process, others by the shell."""
    if block.language == "python":
        return _run_python(block, folder)
    lines = [shlex.split(line) for line in block.text.splitlines()]
    if lines and all(line[:1] == ["speedcal"] and not set("|>&;$") & set("".join(line)) for line in lines):
        return _run_commands(block, lines, folder)
    done = subprocess.run(
        ["bash", "-euo", "pipefail", "-c", block.text],
        cwd=folder,
        env=environment(),
        capture_output=True,
        text=True,
        encoding="utf-8",
        check=False,
    )
    return Done(block, done.returncode, done.stdout, done.stderr)


def _run_python(block: Block, folder: Path) -> Done:
    status, printed, remarks = 0, io.StringIO(), io.StringIO()
    with contextlib.chdir(folder), contextlib.redirect_stdout(printed), contextlib.redirect_stderr(remarks):
        try:
            exec(block.text, {"__name__": "__main__"})  # noqa: S102 - our own document
        except Exception:  # an example that fails says where, as Python does
            status = 1
            traceback.print_exc()
    return Done(block, status, printed.getvalue(), remarks.getvalue())


def _run_commands(block: Block, lines: list[list[str]], folder: Path) -> Done:
    """Run lines of our own command up to the first that fails."""
    from speedcal.cli import main

    status, printed, remarks = 0, io.StringIO(), io.StringIO()
    with contextlib.chdir(folder), contextlib.redirect_stdout(printed), contextlib.redirect_stderr(remarks):
        for line in lines:
            try:
                main(line[1:])
            except SystemExit as ended:
                status = int(ended.code or 0)
            if status:
                break
    return Done(block, status, printed.getvalue(), remarks.getvalue())


def is_run_here(block: Block) -> bool:
    """Tell whether a block is run by the tests: all but the two commands that build the environment, and the server."""
    return block.language in ("sh", "python") and not block.marker.startswith(("run:", "serve"))


def walk(document: str, folder: Path) -> Iterator[tuple[Block, Done | None]]:
    """Go through a document: write the files it shows, run its blocks, give each with the run before it."""
    last: Done | None = None
    for block in blocks(document):
        if block.marker.startswith("file: "):
            path = folder / block.marker.removeprefix("file: ")
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_text(block.text, encoding="utf-8")
        elif is_run_here(block):
            last = run_block(block, folder)
        yield block, last


def same_print(shown: str, printed: str) -> bool:
    """Tell whether a printed text is the one shown.

    Words must be the same; a figure may differ by 2 % or five units in its last place, which misleads nobody and lets
    a better estimate through without new documents.
    """
    if _NUMBER.sub("#", shown) != _NUMBER.sub("#", printed):
        return False
    pairs = zip(_NUMBER.findall(shown), _NUMBER.findall(printed), strict=True)
    return all(
        abs(float(a) - float(b)) <= max(5.001 * 10.0 ** -len(a.partition(".")[2]), 0.02 * abs(float(a)))
        for a, b in pairs
    )


def with_generated(document: str, name: str, content: str) -> str:
    """Return a document with its generated part exchanged."""
    pattern = re.compile(rf"(<!-- generated: {name} -->\n).*?(<!-- end of {name} -->)", re.DOTALL)
    changed, count = pattern.subn(lambda m: m[1] + content.rstrip("\n") + "\n" + m[2], document)
    if count != 1:
        raise ValueError(f"the document has {count} generated parts {name!r}")
    return changed


def tolerance_table() -> str:
    """Return the shipped tolerance rules as a table."""
    from speedcal import load_tolerance
    from speedcal.conformity.rules import tolerance_names
    from speedcal.text.words import rules

    full_scale = {"sae_j1226_biased": {"full_scale": 85, "unit": "mph"}}
    rows = ["| rule | title | limits | status of the source |", "|---|---|---|---|"]
    for name in tolerance_names():
        rule = load_tolerance({"rule": name, **full_scale.get(name, {})})
        limits = rules.limits(rule) + (" (85 mph dial)" if name in full_scale else "")
        rows.append(f"| `{name}` | {rule.title} | {limits} | {rule.status} |")
    return "\n".join(rows)


def key_tables() -> str:
    """Return every table and key of a job file, with an example each."""
    from speedcal.statements import Key, Table, stated
    from speedcal.text.codes.job_messages import UNITS

    def rows(table: Table) -> Iterator[str]:
        for key in table.keys.values():
            limits = _limits_of(key)
            meaning = key.meaning + (f" ({limits})" if limits else "")
            yield f"| `{key.name}` | {meaning} | `{key.name} = {key.example}` |"

    def _limits_of(key: Key) -> str:
        words = " or ".join(f'`"{word}"`' for word in key.words)
        low = f"above {key.above:g}" if key.above else f"from {key.least:g}" if key.least else ""
        high = f"to {key.most:g}" if key.most is not None and key.most < 1e6 else ""
        unit = UNITS.get(key.unit, key.unit)
        return ", ".join(part for part in (words, " ".join(p for p in (low, high) if p), unit) if part)

    parts = []
    for heading, name in (
        ("[job]", "job"),
        ("[vehicle]", "vehicle"),
        ("[before] and [after]", "drive"),
        ("[work]", "work"),
        ("[tolerance]", "tolerance"),
        ("[vehicle.settings] and [work.settings]", "settings"),
        ("One setting as a table", "setting"),
        ("A gear family file", "gear_family"),
        ("Teeth in a gear family", "gear_teeth"),
    ):
        table = stated(name)
        parts += [f"## {heading}", "", table.about, "", "| key | what it is | example |", "|---|---|---|"]
        parts += [*rows(table), ""]
    return "\n".join(parts)


@cache
def published_sources() -> dict[str, set[str]]:
    """Return the source each ``published`` marker names, with the test files that name it."""
    found: dict[str, set[str]] = {}
    for path in sorted((ROOT / "tests").rglob("*.py")):
        text = path.read_text(encoding="utf-8")
        if "published(" not in text:
            continue  # most of them, and parsing takes seconds
        for node in ast.walk(ast.parse(text)):
            if isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute) and node.func.attr == "published":
                source = ast.literal_eval(node.args[0])
                found.setdefault(source, set()).add(path.relative_to(ROOT).as_posix())
    return found


def published_table() -> str:
    """Return the published sources that the tests name as a table."""
    rows = sorted(published_sources().items())
    table = [f"| {source} | {', '.join(f'`{p}`' for p in sorted(paths))} |" for source, paths in rows]
    return "\n".join(["| source | checked in |", "|---|---|", *table])


GUIDE = ROOT / "speedcal" / "guide"
GENERATED = {
    "rules": (GUIDE / "rules.md", tolerance_table),
    "keys": (GUIDE / "job-file.md", key_tables),
    "sources": (DEVELOPERS, published_table),
}
"""Generated parts by name: the document they stand in and what makes them."""
