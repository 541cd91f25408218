"""Lines that are fixes without a header: rows of a plotted track (.plt), IGC, subtitles and lines with positions."""

from __future__ import annotations

import re
from collections.abc import Sequence
from datetime import UTC, datetime, timedelta
from itertools import pairwise

from speedcal.logs.tables.line_rows import Line, Split
from speedcal.logs.writing.headers import SPEED_UNIT
from speedcal.logs.writing.patterns import late_pattern
from speedcal.logs.writing.spoken_times import CUE

_PLOTTED = late_pattern(
    r"\s*(-?\d{1,2}\.\d+)\s*,\s*(-?\d{1,3}\.\d+)\s*,\s*[01]\s*,\s*(-?\d{1,6}(?:\.\d*)?)\s*,\s*(\d{5}\.\d{5,12})\s*(?:,.*)?"
)
"""Latitude, longitude, whether a piece begins, height in feet, days since 1899-12-30; date and time may follow."""
_PLOTTED_HEADER = ("latitude", "longitude", "altitude (feet)", "time")
_NO_HEIGHT_FT = -777.0
_HEAD_LINES, _HEAD_OF_FLIGHT = 6, 100
_FEWEST, _MOST_READ = 3, 0.8
_HALVES = (("lat", "ns"), ("lon", "ew"))
_LAT = late_pattern(r"(?<![a-z])lat(?:itude)?\s*[:=]?\s*(-?\d{1,2}\.\d{3,12})", re.IGNORECASE)
_LON = late_pattern(r"(?<![a-z])lon(?:g(?:itude)?)?\s*[:=]?\s*(-?\d{1,3}\.\d{3,12})", re.IGNORECASE)
_STAMP = late_pattern(
    r"(?<![\d:])(?:\d{4}[-/.]\d{1,2}[-/.]\d{1,2}[T ]+)?\d{1,2}:\d{2}:\d{2}(?:[.,]\d{1,9})?(?![\d:])"
    r"(?:Z|[+-]\d{2}:\d{2})?"
)
_BESIDE = late_pattern(r"(?<![\d.:])(-?\d{1,2}\.\d{4,12})[,;\s]{1,3}(-?\d{1,3}\.\d{4,12})(?![\d.])")
_NORTH_EAST = late_pattern(
    r"(?<!\w)([NS])[:=]?\s?(\d{1,2}\.\d{3,12})[,;\s]{1,3}([EW])[:=]?\s?(\d{1,3}\.\d{3,12})(?![\d.])"
)
_SPEED = late_pattern(rf"(?<![\w.,:])(\d{{1,3}}+(?:\.\d{{1,4}}+)?+)\s?+({SPEED_UNIT})(?![A-Za-z/])", re.IGNORECASE)
_LONGEST = 2_000
"""Characters of a cue that are looked at."""
_FLOWN = late_pattern(
    r"B(?P<clock>[0-2]\d[0-5]\d[0-5]\d)(?P<lat>\d\d)(?P<lat_min>\d{5})(?P<ns>[NS])(?P<lon>\d{3})(?P<lon_min>\d{5})(?P<ew>[EW])"
    r"(?P<valid>[AV])(?:-\d{4}|\d{5})(?P<height>-\d{4}|\d{5}).*"
)
"""A B record of IGC (FAI, Technical Specification for IGC-approved GNSS Flight Recorders; from memory): minutes of arc
in thousandths; V where the height is none of the receiver's."""
_FLOWN_DAY = late_pattern(r"HFDTE(?:DATE:)?(\d\d)(\d\d)(\d\d)")
_DAY = timedelta(days=1)


def fix_lines(lines: Sequence[Line]) -> Split | None:
    """Return the rows of fixes with a header of ours, and the line of each; None of another text."""
    return _plotted(lines) or _flown(lines) or _subtitled(lines) or _stamped(lines)


def _plotted(lines: Sequence[Line]) -> Split | None:
    if sum(1 for _, text in lines[: _HEAD_LINES + _FEWEST] if _PLOTTED.fullmatch(text)) < _FEWEST:
        return None
    found = [(number, match) for number, text in lines if (match := _PLOTTED.fullmatch(text))]
    if len(lines) - len(found) > _HEAD_LINES:
        return None
    cells = [match.groups() for _, match in found]
    rows = [[lat, lon, "" if float(feet) == _NO_HEIGHT_FT else feet, days] for lat, lon, feet, days in cells]
    return [list(_PLOTTED_HEADER), *rows], [lines[0][0], *(number for number, _ in found)]


def _flown(lines: Sequence[Line]) -> Split | None:
    """Return the fixes of an IGC file, each with the day that the head names; days go on past midnight."""
    day = next((head for _, text in lines[:_HEAD_OF_FLIGHT] if (head := _FLOWN_DAY.match(text))), None)
    found = [(number, match) for number, text in lines if (match := _FLOWN.fullmatch(text.strip()))] if day else []
    if day is None or len(found) < _FEWEST:
        return None
    try:
        date = datetime.strptime("".join(day.groups()), "%d%m%y").replace(tzinfo=UTC)
    except ValueError:
        return None
    rows: list[list[str]] = []
    before = ""
    for _, fix in found:
        clock = fix["clock"]
        date += _DAY * (clock < before and clock[:2] < "06" and before[:2] > "18")
        before = clock
        stamp = f"{date:%Y-%m-%d} {clock[:2]}:{clock[2:4]}:{clock[4:]}Z"
        height = fix["height"] if fix["valid"] == "A" else ""
        rows.append([stamp, *(_degrees(*fix.group(part, f"{part}_min", half)) for part, half in _HALVES), height])
    return [["time", "latitude", "longitude", "height m"], *rows], [lines[0][0], *(number for number, _ in found)]


def _degrees(degrees: str, thousandths: str, half: str) -> str:
    value = int(degrees) + int(thousandths) / 60_000
    return f"{-value if half in 'SW' else value:.7f}"


def _subtitled(lines: Sequence[Line]) -> Split | None:
    """Return a fix for each cue, at the time that its words state, or at its begin where some state none."""
    cues = [i for i, (_, text) in enumerate(lines) if "-->" in text and CUE.fullmatch(text.strip())]
    rows, begins, numbers = [], [], []
    for begin, end in pairwise([*cues, len(lines)]):
        cue = CUE.fullmatch(lines[begin][1].strip())
        row = _fix_in(" ".join(text for _, text in lines[begin + 1 : end]))
        if cue and row:
            rows.append(row)
            begins.append(f"{cue[1]}.{cue[2]}")
            numbers.append(lines[begin][0])
    if len(rows) < _FEWEST:
        return None
    if all(row[0] for row in rows):
        return _with_header("clock time", rows, [lines[0][0], *numbers])
    rows = [[begin, *row[1:]] for begin, row in zip(begins, rows, strict=True)]
    return _with_header("elapsed time", rows, [lines[0][0], *numbers])


def _stamped(lines: Sequence[Line]) -> Split | None:
    """Return the fixes of lines without a header that say when, how far north and east, and perhaps how fast."""
    if len(lines) < _FEWEST or not all(_NORTH_EAST.search(text[:_LONGEST]) for _, text in lines[:_FEWEST]):
        return None
    found = [(number, row) for number, text in lines if (row := _fix_in(text)) and row[0]]
    if len(found) < max(_FEWEST, _MOST_READ * len(lines)):
        return None
    return _with_header("clock time", [row for _, row in found], [lines[0][0], *(number for number, _ in found)])


def _with_header(time: str, rows: list[list[str]], numbers: list[int]) -> Split:
    units = {unit for row in rows if (unit := row.pop())}
    if len(units) == 1:
        return [[time, "latitude", "longitude", f"speed {units.pop()}"], *rows], numbers
    return [[time, "latitude", "longitude"], *(row[:-1] for row in rows)], numbers


def _fix_in(words: str) -> list[str] | None:
    """Return time, latitude, longitude, speed and its unit, empty what is not told; None where no position is."""
    words = words[:_LONGEST]
    latitude, longitude = _LAT.search(words), _LON.search(words)
    if latitude and longitude:
        place = [latitude[1], longitude[1]]
    elif found := _NORTH_EAST.search(words):
        place = [found[2] + found[1], found[4] + found[3]]
    elif found := _BESIDE.search(words):
        place = [found[1], found[2]]
    else:
        return None
    stamp, speed = _STAMP.search(words), _SPEED.search(words)
    return [stamp[0].replace(",", ".") if stamp else "", *place, *(speed.groups() if speed else ("", ""))]
