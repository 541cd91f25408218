"""The house keeps its order: rooms import only rooms before them, modules stay small, help answers at once."""

from __future__ import annotations

import ast
import os
import subprocess
import sys
from functools import cache
from pathlib import Path

import pytest
from click.testing import CliRunner
from support.documents import ROOT

PACKAGE = ROOT / "speedcal"
MODULES = sorted(PACKAGE.rglob("*.py"))
ORDER = (
    ("units", "interval", "wording", "whole_file"),
    ("finding",),
    ("errors",),
    ("statements",),
    ("kinds",),
    ("schema",),
    ("logs",),
    ("calibration",),
    ("simulate",),
    ("vehicle",),
    ("conformity",),
    ("text",),
    ("report",),
    ("jobs", "guide"),
    ("fleet",),
    ("cli", "web"),
    ("__init__", "__main__"),
)
PLACE = {room: place for place, rooms in enumerate(ORDER) for room in rooms}
MAY_ALSO = {("cli", "web"), ("__main__", "cli")}
"""The command starts the page; within one place nothing else may look at its neighbour."""


WITHIN = {
    "logs": (
        ("limits",),
        ("writing",),
        ("source",),
        ("drive",),
        ("tables",),
        ("times",),
        ("formats", "film"),
        ("checks",),
        ("inspection",),
        ("__init__",),
    ),
    "calibration": (
        ("tuning",),
        ("speed",),
        ("dial",),
        ("result",),
        ("readings",),
        ("noted", "logged"),
        ("judged",),
        ("checked", "fit_drive"),
        ("unjudged",),
        ("calibrate",),
        ("__init__",),
    ),
    "vehicle": (
        ("data",),
        ("tires",),
        ("train",),
        ("vehicle",),
        ("drivetrain",),
        ("diagnosed", "judged"),
        ("choices",),
        ("advised",),
        ("corrections",),
        ("forward",),
        ("before_work",),
        ("__init__",),
    ),
    "text": (("words",), ("messages",), ("codes",), ("results",), ("pages",), ("phrases",), ("__init__",)),
    "web": (
        ("settings", "logbook"),
        ("answers",),
        ("figures",),
        ("typed",),
        ("kept", "entry"),
        ("work",),
        ("pages",),
        ("app",),
        ("server",),
        ("__init__",),
    ),
}


def room_of(path: Path) -> str:
    return path.relative_to(PACKAGE).parts[0].removesuffix(".py")


@cache
def tree_of(path: Path) -> ast.Module:
    return ast.parse(path.read_text(encoding="utf-8"))


@cache
def nodes_of(path: Path) -> tuple[ast.AST, ...]:
    return tuple(ast.walk(tree_of(path)))


@cache
def imported(path: Path, package: str = "speedcal") -> set[str]:
    """Return the rooms of a package that a module names in an import, wherever in the module it stands."""
    rooms = set()
    for node in nodes_of(path):
        names = []
        if isinstance(node, ast.Import):
            names = [alias.name for alias in node.names]
        elif isinstance(node, ast.ImportFrom) and node.level == 0 and node.module:
            names = [node.module]
            if node.module == package:
                names = [f"{package}.{alias.name}" for alias in node.names]
        rooms |= {name.removeprefix(f"{package}.").split(".")[0] for name in names if name.startswith(f"{package}.")}
    return rooms


def test_a_room_imports_only_rooms_before_it() -> None:
    """Data walks in one direction; an import against it would make a ring."""
    for path in MODULES:
        room = room_of(path)
        for other in imported(path):
            if other in PLACE and other != room:
                assert PLACE[other] < PLACE[room] or (room, other) in MAY_ALSO, f"{path} imports {other}"


@pytest.mark.parametrize("room", WITHIN)
def test_within_a_large_room_data_walks_in_one_direction_too(room: str) -> None:
    """The speed knows no dial, notes and logs know nothing of each other, no format is known to what it reads with."""
    place = {part: place for place, parts in enumerate(WITHIN[room]) for part in parts}
    home = PACKAGE / room
    seen = set()
    for path in sorted(home.rglob("*.py")):
        part = path.relative_to(home).parts[0].removesuffix(".py")
        seen.add(part)
        for other in imported(path, f"speedcal.{room}") & set(place):
            assert other == part or place[other] < place[part], f"{path} imports {other}"
    assert seen == set(place)


def test_simulated_drives_are_imported_by_no_other_room() -> None:
    """What makes the truth for the tests must not help to find it."""
    assert not [path.name for path in MODULES if room_of(path) != "simulate" and "simulate" in imported(path)]


def test_a_module_fits_into_one_reading() -> None:
    """About 300 lines, 500 at the most, and a first line that says what it is for."""
    for path in MODULES:
        text = path.read_text(encoding="utf-8")
        assert len(text.splitlines()) <= 500, path
        assert not text or ast.get_docstring(tree_of(path)), path


def test_a_module_prints_nothing_and_hides_no_error() -> None:
    """Only the command writes, through click; a bare ``except`` would hide what is wrong."""
    for path in MODULES:
        for node in nodes_of(path):
            if isinstance(node, ast.Call):
                assert getattr(node.func, "id", "") != "print", path
            assert not (isinstance(node, ast.ExceptHandler) and node.type is None), path


SLOW_TO_LOAD = {"scipy.stats", "scipy.signal"}
"""The second loads the first."""


def test_what_takes_long_to_load_is_loaded_by_nothing_that_measures_a_drive() -> None:
    """It takes longer than to measure a drive; distributions are in scipy.special too."""
    for path in MODULES:
        if "simulate" in path.parts:
            continue
        for node in nodes_of(path):
            if isinstance(node, ast.ImportFrom) and (node.module or "").partition(".")[0] == "scipy":
                loaded = {node.module, *(f"{node.module}.{alias.name}" for alias in node.names)}
                assert not loaded & SLOW_TO_LOAD, path


HEAVY = ("numpy", "scipy", "pandas", "matplotlib", "gpxpy", "rich", "sqlalchemy", "starlette", "uvicorn", "openpyxl")


@pytest.mark.parametrize("arguments", [["--help"], ["--version"], ["calibrat"]])
def test_help_needs_none_of_the_heavy_libraries(arguments: list[str]) -> None:
    """A mechanic who asks for help should not wait for numpy."""
    code = (
        "import sys\n"
        "from speedcal.cli import main\n"
        f"try:\n    main({arguments!r})\nexcept SystemExit:\n    pass\n"
        f"sys.exit(','.join(name for name in {HEAVY!r} if name in sys.modules) or 0)\n"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr


def test_help_answers_in_a_third_of_a_second() -> None:
    """The best of five, in processor time, since the machine may be busy."""
    spent = []
    for _ in range(5):
        before = os.times()
        subprocess.run([sys.executable, "-m", "speedcal", "--help"], capture_output=True, check=True)
        after = os.times()
        spent.append(after.children_user + after.children_system - before.children_user - before.children_system)
    assert min(spent) < 1 / 3


def test_importing_the_library_costs_next_to_nothing() -> None:
    """Public names are imported when they are first used."""
    code = f"import sys, speedcal; sys.exit(','.join(n for n in {HEAVY!r} if n in sys.modules) or 0)"
    subprocess.run([sys.executable, "-c", code], check=True)


def test_every_public_name_is_there_and_nothing_else() -> None:
    """The list in the package, what can be imported, and what a misspelt name says."""
    import speedcal

    assert sorted(speedcal.__all__) == list(speedcal.__all__)
    assert all(getattr(speedcal, name) is not None for name in speedcal.__all__)
    assert set(speedcal._HOME) == set(speedcal.__all__)
    with pytest.raises(AttributeError, match="no attribute 'calibrat'"):
        _ = speedcal.calibrat


def test_the_version_is_told() -> None:
    """It is that of the package as installed."""
    from importlib.metadata import version

    from speedcal.cli import cli

    told = CliRunner().invoke(cli, ["--version"])
    assert told.output.strip().endswith(f"version {version('speedcal')}")


@pytest.mark.parametrize(
    ("typed", "offered"),
    [
        ("speedcal ca", {"calibrate"}),
        ("speedcal t", {"tire", "trim"}),
        ("speedcal verify --un", {"--unit"}),
        ("speedcal plan --question ", {"tooth", "tolerance"}),
    ],
)
def test_the_shell_completes_commands_and_options(typed: str, offered: set[str]) -> None:
    """As the script that the README names asks for it."""
    words = typed.split(" ")
    asked = {"COMP_WORDS": typed, "COMP_CWORD": str(len(words) - 1), "_SPEEDCAL_COMPLETE": "bash_complete"}
    code = "from speedcal.cli import main; main()"
    done = subprocess.run(
        [sys.executable, "-c", code], env={**os.environ, **asked}, capture_output=True, text=True, check=False
    )
    assert {line.partition(",")[2] for line in done.stdout.splitlines()} == offered, done.stderr


@pytest.mark.parametrize("shell", ["bash", "zsh", "fish"])
def test_the_completion_script_is_written_for_each_shell(shell: str) -> None:
    """It names our command."""
    asked = {**os.environ, "_SPEEDCAL_COMPLETE": f"{shell}_source"}
    code = "from speedcal.cli import main; main()"
    done = subprocess.run([sys.executable, "-c", code], env=asked, capture_output=True, text=True, check=False)
    assert "_SPEEDCAL_COMPLETE" in done.stdout
