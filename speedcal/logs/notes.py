"""Plain notes, one reading a line: ``10:32 am  45``, ``45 mph at 10:32:15``, or held speeds without times."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from speedcal.errors import raise_problems
from speedcal.logs.formats import Request
from speedcal.logs.model import Readings
from speedcal.logs.readings import Shown, build_readings
from speedcal.logs.source import Source
from speedcal.logs.stamps import Stamps, UnclearTimesError, parse_stamps
from speedcal.logs.words import normal, speed_unit_in
from speedcal.units import SpeedUnit

_TIME = re.compile(
    r"(?:(?:\d{4}[-/.]\d{1,2}[-/.]\d{1,2}|\d{1,2}[-/.]\d{1,2}[-/.]\d{2,4})(?:\s*[T,]\s*|\s+))?"
    r"(?<![\d:.,])\d{1,3}[:hH]\d{2}(?::\d{2})?(?:\.\d{1,6}(?![\d,.]))?"
    r"(?:\s?[AaPp]\.?\s?[Mm]\b\.?)?(?:\s?(?:Z|UTC|GMT|[+-]\d{2}:\d{2})(?![\w:]))?"
)
_NUMBER = re.compile(r"(?<![\w.])(?<!\d,)[-+]?\d{1,6}(?:[.,]\d{1,4})?(?![\w:])")
_TOUCHING_UNIT = re.compile(r"(?<=\d)(?=(?:mph|km|kph|kn|kt|mi/|m/s)[a-z/]*\b)", re.IGNORECASE)
_ITEM = re.compile(r"\s*\d{1,3}[.)]\s+(?=.*\d[:hH]\d)")
"""The number of an item in a list of notes: ``3.`` or ``3)`` before a time."""
_BARE = re.compile(r"[\s\d.,;|+-]*(?:[A-Za-z/]{2,5})?\s*")
_LONGEST = 500
_LONGEST_HEADING = 5_000
_MOST_PROBLEMS = 10_000
_WRITE = "Write one reading a line, such as '10:32:15  45 mph', or a table with a header"


@dataclass(slots=True)
class _Notes:
    """The lines that hold a reading, and what was seen on the others."""

    times: list[str] = field(default_factory=list)
    speeds: list[float] = field(default_factory=list)
    line: list[int] = field(default_factory=list)
    units: dict[SpeedUnit, int] = field(default_factory=dict)
    """Units named on lines with a reading, and the first such line."""
    heading: str = ""
    """Words of the lines above the first reading."""
    problems: list[tuple[int | None, str]] = field(default_factory=list)
    silent: int = 0
    """Lines with a time and no number."""
    titles: int = 0
    """Lines of words with a number in them, above the first reading."""


def read_notes(source: Source, lines: Sequence[tuple[int, str]], request: Request) -> Readings:
    """Return the readings in the lines.

    Parameters
    ----------
    source
        The file.
    lines
        Number and text of every line that is neither empty nor a comment.
    request
        What the user says about the file.

    Raises
    ------
    ReadingsFormatError
        No readings, no unit, or lines that cannot be understood: all of them are listed.
    """
    notes = _Notes()
    for number, text in lines:
        _take(notes, number, text, only=len(lines) == 1)
        if len(notes.problems) > _MOST_PROBLEMS:
            break
    if not notes.speeds and not notes.problems:
        source.fail("the file holds no readings", remedy=_WRITE)
    timed = sum(1 for time in notes.times if time)
    if timed:
        notes.problems += [
            (number, "there is no time in this line")
            for number, time in zip(notes.line, notes.times, strict=True)
            if not time
        ]
    try:
        stamps = parse_stamps(notes.times, header=notes.heading, zone=request.zone)
    except UnclearTimesError as unclear:
        source.fail(str(unclear), remedy="Write seconds too, or a line 'time hh:mm' or 'elapsed mm:ss' on top")
    if not timed:
        stamps = Stamps(np.full(len(notes.speeds), np.nan), "none", np.nan)
    shown = Shown(stamps, np.array(notes.speeds, float), _unit(source, notes, request), notes.line)
    shown.problems = notes.problems
    shown.dropped["line without a speed"] = notes.silent
    shown.dropped["title with a number in it"] = notes.titles
    return build_readings(source, "plain notes" if timed else "list of held speeds", shown)


def _take(notes: _Notes, number: int, text: str, *, only: bool) -> None:
    if len(text) > _LONGEST:
        notes.problems.append((number, f"the line has {len(text)} characters and is no note"))
        return
    item = _ITEM.match(text)
    text = text[item.end() :] if item else text
    found = _TIME.search(text)
    rest = text if found is None else f"{text[: found.start()]} {text[found.end() :]}"
    unit = speed_unit_in(normal(rest))
    values = _NUMBER.findall(_TOUCHING_UNIT.sub(" ", rest))
    if not values:
        if found is not None and not any(character.isdigit() for character in rest):
            notes.silent += 1
        elif found is not None or notes.speeds:
            notes.problems.append((number, f"there is no reading in {_short(text)!r}"))
        else:
            _add_heading(notes, text)
        return
    if len(values) > 1 and not (only and found is None):
        notes.problems.append((number, f"{len(values)} numbers in {_short(text)!r}: which is the speed is not clear"))
        return
    if found is None and not notes.speeds and not _BARE.fullmatch(text):
        _add_heading(notes, text)
        notes.titles += 1
        return
    for value in values:
        notes.times.append("" if found is None else found.group().strip())
        notes.speeds.append(float(value.replace(",", ".")))
        notes.line.append(number)
    if unit is not None:
        notes.units.setdefault(unit, number)


def _add_heading(notes: _Notes, text: str) -> None:
    if len(notes.heading) < _LONGEST_HEADING:
        notes.heading += f" {text}"


def _unit(source: Source, notes: _Notes, request: Request) -> SpeedUnit:
    units = dict(notes.units)
    heading = speed_unit_in(normal(notes.heading))
    if heading is not None:
        units.setdefault(heading, 1)
    if request.unit is not None:
        units.setdefault(request.unit, 0)
    if not units and notes.problems:
        raise_problems(notes.problems, source=source.name, remedy=_WRITE, kind=source.error)
    if not units:
        source.fail("nothing says the unit of the speeds", remedy="Write it behind the speeds (45 mph) or give --unit")
    if len(units) > 1:
        source.fail(f"several units are named: {', '.join(units)}", remedy="Keep to one unit")
    return next(iter(units))


def _short(text: str) -> str:
    text = " ".join(text.split())
    return text if len(text) <= 60 else f"{text[:57]}..."
