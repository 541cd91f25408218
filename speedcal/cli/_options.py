"""Options that several subcommands share."""

from __future__ import annotations

import json
import math
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

from speedcal.cli._screen import tell
from speedcal.errors import SpeedcalError
from speedcal.text.codes.command_messages import EXPLAINED_BY, WORKED_OUT_BY
from speedcal.whole_file import write_whole

if TYPE_CHECKING:
    from speedcal.vehicle import Criterion
    from speedcal.vehicle.diagnosed.diagnosis import Diagnosis

_F = TypeVar("_F", bound=Callable[..., Any])

FILE = click.Path(path_type=Path, readable=False)
"""A file or a folder; that it is missing or cannot be read is told by whoever opens it, as JSON too."""
_CRITERION_WORDS: dict[str, Criterion] = {
    "worst": "smallest worst error",
    "never-low": "never reads low",
    "odometer": "odometer first",
}
"""How the criteria are written on the command line."""


class AnyNumber(click.ParamType[float]):
    """A number of either sign."""

    name = "number"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> float:
        """Return the number; what is not finite is none."""
        number = float(click.FLOAT.convert(value, param, ctx))
        if not math.isfinite(number):
            raise SpeedcalError("number_unreadable", found=str(value))
        return number


class Number(click.FloatRange):
    """A number within a range."""

    name = "number"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> float:
        """Return the number; what is not finite is none."""
        return float(super().convert(AnyNumber().convert(value, param, ctx), param, ctx))


SPEED = Number(0, 1000, min_open=True, max_open=True)
"""A speed in the unit for people."""


class SpeedList(click.ParamType[tuple[float, ...]]):
    """Speeds above zero, separated by commas."""

    name = "speeds"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> tuple[float, ...]:
        """Return the speeds as numbers."""
        if isinstance(value, tuple):
            return value
        try:
            speeds = tuple(dict.fromkeys(float(word) for word in str(value).split(",")))
        except ValueError:
            speeds = (0.0,)
        if not all(0 < speed < 1000 for speed in speeds):
            raise SpeedcalError("speeds_unreadable", found=str(value))
        return speeds


def result_options(function: _F) -> _F:
    """Add ``--json`` and ``--unit``."""
    function = click.option(
        "--unit", type=click.Choice(["mph", "km/h"]), help="Unit for people; otherwise that of the job, or mph."
    )(function)
    return click.option("--json", "as_json", is_flag=True, help="Write the result as JSON.")(function)


def database_option(function: _F) -> _F:
    """Add ``--database``."""
    return click.option(
        "--database",
        default="",
        envvar="SPEEDCAL_DATABASE",
        show_envvar=True,
        help="Address of a PostgreSQL database, postgresql+psycopg://user@host/name; without it jobs are kept in "
        "SQLite in the data folder.",
    )(function)


def store_options(function: _F) -> _F:
    """Add ``--data`` and ``--database``."""
    function = database_option(function)
    return click.option(
        "--data",
        default=Path("speedcal-data"),
        show_default=True,
        type=click.Path(path_type=Path, file_okay=False),
        envvar="SPEEDCAL_DATA",
        show_envvar=True,
        help="Folder of the jobs.",
    )(function)


def explain_option(function: _F) -> _F:
    """Add ``--explain``."""
    return click.option("--explain", is_flag=True, help="Say in full what the result rests on.")(function)


def choice_options(function: _F) -> _F:
    """Add ``--speeds`` and ``--criterion``."""
    function = click.option(
        "--criterion",
        type=click.Choice(sorted(_CRITERION_WORDS)),
        callback=lambda _context, _option, word: _CRITERION_WORDS.get(word or ""),
        help="What counts as best: smallest worst error, never reading low, or the odometer first.",
    )(function)
    return click.option(
        "--speeds",
        type=SpeedList(),
        help="True speeds that matter, such as 30,50,70; otherwise those of the job, or the driven range.",
    )(function)


def say(lines: Sequence[str]) -> None:
    """Write lines for people to standard error."""
    for line in lines:
        tell(line, err=True)


@contextmanager
def writing(path: Path, kind: type[SpeedcalError]) -> Iterator[None]:
    """Say in words that a file cannot be written."""
    try:
        yield
    except OSError as error:
        raise kind("file_not_written", file=str(path), reason=error.strerror or str(error)) from None


def write_file(path: Path, data: bytes, kind: type[SpeedcalError]) -> None:
    """Write a file whole, or say in words that it cannot be written."""
    with writing(path, kind):
        write_whole({path: data})


def refuse_other(path: Path, mark: bytes, kind: type[SpeedcalError]) -> None:
    """Refuse to write over a file that does not begin like those of this command: it may be an original."""
    with writing(path, kind):
        begins = path.read_bytes()[:100] if path.is_file() else b""
        if begins and mark not in begins:
            raise kind("file_exists", file=str(path))


def emit(result: Any, as_json: bool, text: str | None = None) -> None:
    """Write a result to standard output: its dictionary as JSON, or its text."""
    if as_json:
        shown = result if isinstance(result, dict) else result.to_dict()
        click.echo(json.dumps(shown, indent=2, ensure_ascii=False))
    else:
        tell(str(result) if text is None else text)


def emit_explained(result: Any, as_json: bool, in_full: str | None) -> None:
    """Write a result that ``--explain`` gives in full."""
    emit(result, as_json, in_full)
    if in_full is None and not as_json:
        say([EXPLAINED_BY])


def emit_diagnosed(result: Any, as_json: bool, diagnosis: Diagnosis | None, text: str | None = None) -> None:
    """Write a result with a diagnosis in it, and which command works out the measurement that settles it."""
    emit(result, as_json, text)
    if diagnosis and not as_json:
        say([hint for hint in [WORKED_OUT_BY.get(diagnosis.settled_by or "")] if hint])
