"""Plain notes, one reading a line, as people write them: ``10:32 am  45``, ``10.03.17 about 56``, ``" 40-45``."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any, cast

import numpy as np

from speedcal.errors import Problem
from speedcal.logs.drive.bad_rows import refuse
from speedcal.logs.drive.readings import Readings
from speedcal.logs.drive.readings_built import Shown, Stamps, build_readings
from speedcal.logs.formats.registry import Request
from speedcal.logs.source import Source
from speedcal.logs.tables.beside_the_dial import Habits, habits_of, is_behind_words, of_the_dial
from speedcal.logs.tables.handwriting import (
    misread,
    without_numbers_of_lines,
    without_quoting,
    without_struck,
)
from speedcal.logs.tables.line_rows import Line
from speedcal.logs.tables.note_numbers import (
    ABOUT,
    RANGE,
    leading_speed,
    speed_beside_dial,
    speeds_in,
    unclear_in,
    unit_in_remark,
    united_speed,
    without_places,
)
from speedcal.logs.tables.noted_times import goes_on, time_in, with_days_above, with_times_above
from speedcal.logs.tables.typed_lines import one_below_another, with_clock_figures, without_senders
from speedcal.logs.times.clock_times import UnclearTimesError
from speedcal.logs.times.timestamps import parse_stamps
from speedcal.logs.writing.headers import normal, of_times, speed_unit_in, unit_in_title
from speedcal.logs.writing.number_words import in_figures
from speedcal.logs.writing.numbers import named_late
from speedcal.logs.writing.patterns import late_pattern
from speedcal.logs.writing.words_abroad import in_figures_abroad
from speedcal.units import SPEED_UNIT_MPS, SpeedUnit, parse_speed_unit

_DITTO = late_pattern(r"(?:^|(?<=\s))(?:\"|''|″|”|„|〃|ditto|do\.|same)(?=\s|$|[,;])", re.IGNORECASE)
_ITEM = late_pattern(r"\s*(?:#\d{1,3}[.):]?|\d{1,3}[.)])\s+(?=.*\d[:hH.]\d)")
"""The number of an item in a list of notes: ``3.``, ``3)`` or ``#3`` before a time."""
_BARE = late_pattern(r"[\s\d.,;|+-]*(?:[A-Za-z/]{2,5})?\s*")
_IN_TITLES = ("thousands_in_note", "several_numbers")
"""What keeps a line from being a reading and may stand in a title: sizes of tires, ratios, the odometer."""
_LONGEST = 500
_LONGEST_HEADING = 5_000
_MOST_PROBLEMS = 10_000
_MOST_LINES, _LONG, _MOST_IN_LONG = 200_000, 100, 500_000
"""Lines, and characters in the long ones, beyond which nobody has typed a text: a long one takes milliseconds."""


@dataclass(slots=True)
class _Notes:
    """The lines that hold a reading, and what was seen on the others."""

    habits: Habits
    times: list[str] = field(default_factory=list)
    speeds: list[float] = field(default_factory=list)
    u: list[float] = field(default_factory=list)
    """Standard uncertainty of a reading that was noted as a range or as about, NaN for the others."""
    line: list[int] = field(default_factory=list)
    units: dict[SpeedUnit, int] = field(default_factory=dict)
    """Units named on lines with a reading, and the first such line."""
    named: list[bool] = field(default_factory=list)
    """Whether the line of a reading names a unit."""
    heading: str = ""
    """Words of the lines above the first reading."""
    problems: list[Problem] = field(default_factory=list)
    silent: int = 0
    """Lines with a time and no number."""
    remarks: int = 0
    """Lines of words between the readings."""
    struck: int = 0
    """Lines that were crossed out."""
    titles: int = 0
    """Lines of words with a number in them, above the first reading."""
    doubtful: list[tuple[str, Problem]] = field(default_factory=list)
    """Lines of words with numbers there, and what is wrong with each if it is no title."""
    unit_below: SpeedUnit | None = None
    """Unit that a few words below readings name."""
    unread: bool = False
    """The line before was a reading that cannot be understood, which a ditto mark cannot repeat."""

    def refuse(self, code: str, number: int, **values: Any) -> None:
        """Take a line that cannot be understood."""
        self.problems.append(Problem(code, line=number, **values))
        self.unread = True


@dataclass(frozen=True, slots=True)
class _Note:
    """What stands in one line."""

    time: str
    rest: str
    """The line without time, date and odometer."""
    values: list[float]
    u: float
    ditto: bool
    """A mark repeats what stands above."""
    repeats_unread: bool = False


def read_notes(source: Source, lines: Sequence[tuple[int, str]], request: Request, *, heading: str = "") -> Readings:
    """Return the readings in the lines.

    A range (``40-45``) is a reading of its middle and as uncertain as it is wide, ``56ish`` one that is a unit
    uncertain; a ditto mark repeats the speed or the time above it. Remarks are counted and left out.

    Parameters
    ----------
    lines
        Number and text of every line that is neither empty nor a comment.
    heading
        What is known of the times, as it would stand above them.

    Raises
    ------
    ReadingsFormatError
        No readings, no unit, or lines that cannot be understood: all of them are listed.
    """
    if len(lines) > _MOST_LINES or sum(len(text) for _, text in lines if len(text) > _LONG) > _MOST_IN_LONG:
        source.fail("too_long_for_notes", count=len(lines))
    tidied = with_times_above(_tidied(lines))
    notes = _Notes(habits_of(tidied), heading=heading)
    for number, text in tidied:
        if source.is_saying(text):
            continue
        _take(notes, number, text, only=len(lines) == 1)
        if len(notes.problems) > _MOST_PROBLEMS:
            break
    timed = sum(1 for time in notes.times if time)
    _settle_titles(notes, timed=bool(timed))
    if not notes.speeds and not notes.problems:
        source.fail("readings_missing")
    if timed:
        notes.problems += [
            Problem("no_time_in_line", line=number)
            for number, time in zip(notes.line, notes.times, strict=True)
            if not time
        ]
    try:
        stamps = parse_stamps(notes.times, header=of_times(notes.heading), zone=request.zone)
    except UnclearTimesError as unclear:
        source.fail(unclear.code)
    if not timed:
        stamps = Stamps(np.full(len(notes.speeds), np.nan), "none", np.nan)
    unit = _unit(source, notes, request)
    shown = Shown(stamps, np.array(notes.speeds, float), unit, notes.line)
    shown.u_mps = np.array(notes.u, float) * SPEED_UNIT_MPS[unit]
    shown.problems = notes.problems
    shown.dropped["line_without_speed"] = notes.silent
    shown.dropped["remark"] = notes.remarks
    shown.dropped["crossed_out"] = notes.struck
    shown.dropped["title_with_number"] = notes.titles
    return build_readings(source, "notes" if timed else "held_speeds", shown)


def _tidied(lines: Sequence[Line]) -> Sequence[Line]:
    """Return the lines with one reading each, in figures, without what mails, chats and lists put before them."""
    for tidy in (
        without_quoting,
        without_senders,
        in_figures_abroad,
        in_figures,
        one_below_another,
        without_numbers_of_lines,
        with_days_above,
    ):
        lines = tidy(lines)
    return with_clock_figures(lines)


def _take(notes: _Notes, number: int, text: str, *, only: bool) -> None:
    if len(text) > _LONGEST:
        notes.refuse("note_too_long", number, length=len(text))
        return
    kept = " ".join(without_struck(text).split())
    if not kept:
        notes.struck += 1
        return
    item = _ITEM.match(kept)
    text = kept[item.end() :] if item else kept
    note = _read(notes, text)
    fault = _fault(notes, text, note, listed=only and not note.time)
    if fault in _IN_TITLES and not note.time and not notes.speeds and _begins_with_words(text):
        notes.doubtful.append((text, Problem(fault, line=number, found=_short(text), count=len(note.values))))
        return
    if fault == "number_behind_words" and not notes.speeds:
        _take_title(notes, text)
        return
    if fault:
        notes.refuse(fault, number, found=_short(text), count=len(note.values))
        return
    timed = bool(note.time)
    if not note.values:
        _take_words(notes, number, text, timed=timed, digits=any(map(str.isdigit, without_places(note.rest))))
        return
    bare = timed or note.ditto or _BARE.fullmatch(ABOUT.sub(" ", RANGE.sub(r"\1", text)))
    if not bare and (not notes.speeds or any(notes.times)):
        _take_title(notes, text)
        return
    notes.unread = False
    for value in note.values:
        notes.times.append(note.time)
        notes.speeds.append(value)
        notes.u.append(note.u)
        notes.line.append(number)
    unit = speed_unit_in(normal(note.rest))
    notes.named += [unit is not None] * len(note.values)
    if unit is not None:
        notes.units.setdefault(unit, number)


def _read(notes: _Notes, text: str) -> _Note:
    """Return what stands in a line; a ditto mark repeats the speed or the time of the last reading."""
    time, rest = time_in(text)
    rest = of_the_dial(rest, timed=bool(time), dial_named=notes.habits.dial_named)
    values, u = speeds_in(rest)
    if len(values) > 1:
        speed = united_speed(rest) if notes.habits.united else None
        speed = speed_beside_dial(rest) if speed is None else speed
        speed = leading_speed(rest, *notes.habits.alone) if speed is None and notes.habits.alone else speed
        values = values if speed is None else [speed]
    ditto = bool(_DITTO.search(rest)) and (bool(notes.speeds) or notes.unread)
    if not ditto or (time and values):
        return _Note(time, rest, values, u, ditto)
    if notes.unread:
        return _Note(time, rest, values, u, ditto, repeats_unread=True)
    values, u = (values, u) if values else ([notes.speeds[-1]], notes.u[-1])
    return _Note(time or notes.times[-1], rest, values, u, ditto)


def _fault(notes: _Notes, text: str, note: _Note, *, listed: bool) -> str:
    """Return the code of what keeps a line from being understood, empty where nothing does."""
    if note.repeats_unread:
        return "repeats_unread"
    unreadable = misread(note.rest if note.time else text)
    if unreadable and (note.time or not notes.speeds or unreadable == "letter_for_digit"):
        return unreadable
    if not note.values:
        return ""
    if note.time and is_behind_words(note.rest, notes.habits):
        return "number_behind_words"
    return "time_goes_on" if note.time and goes_on(text) else unclear_in(note.rest, note.values, listed=listed)


def _settle_titles(notes: _Notes, *, timed: bool) -> None:
    """Take doubtful lines above readings with times as titles, which have none; above others they are at fault."""
    if not timed:
        notes.problems[:0] = [problem for _, problem in notes.doubtful]
        return
    for text, _ in notes.doubtful:
        _add_heading(notes, text)
        notes.titles += 1


def _begins_with_words(text: str) -> bool:
    """Tell whether words stand before the figures of a line, as in a title, and not a time that cannot be read."""
    words = re.split(r"\d", text, maxsplit=1)[0].split()
    return any(len(word) > 1 and parse_speed_unit(word) is None for word in words)


def _take_title(notes: _Notes, text: str) -> None:
    """Take a line of words with a number: a title, or a remark among readings that have times."""
    if notes.speeds:
        notes.remarks += 1
    else:
        _add_heading(notes, text)
        notes.titles += 1


def _take_words(notes: _Notes, number: int, text: str, *, timed: bool, digits: bool) -> None:
    """Take a line in which no number can be a speed."""
    if timed and not digits:
        notes.silent += 1
        if not notes.speeds:
            _add_heading(notes, text)
    elif timed:
        notes.refuse("no_reading_in_line", number, found=_short(text))
    elif notes.speeds:
        notes.remarks += 1
    else:
        _add_heading(notes, text)
    if notes.speeds and not (timed and digits):
        notes.unit_below = unit_in_remark(text) or notes.unit_below


def _add_heading(notes: _Notes, text: str) -> None:
    if len(notes.heading) < _LONGEST_HEADING:
        notes.heading += f"; {text}"


def _unit(source: Source, notes: _Notes, request: Request) -> SpeedUnit:
    units = dict(notes.units)
    heading = unit_in_title(notes.heading)
    if heading is not None:
        units.setdefault(heading, 1)
    stated = request.unit or cast(SpeedUnit | None, source.said("dial_unit"))
    if stated is not None:
        units.setdefault(stated, 0)
    if not units and notes.unit_below is not None:
        return notes.unit_below
    if not units and notes.problems:
        refuse(source, notes.problems, len(notes.speeds))
    if not units:
        source.fail("no_speed_unit")
    if len(units) > 1:
        source.fail("several_units", line=max(units.values()), units=list(units))
    late = named_late(notes.named)
    if late is not None and heading is None and stated is None:
        source.fail("no_speed_unit", line=notes.line[late], named=next(iter(units)))
    return next(iter(units))


def _short(text: str) -> str:
    text = " ".join(text.split())
    return text if len(text) <= 60 else f"{text[:57]}..."
