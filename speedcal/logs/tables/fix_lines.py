"""Lines that are fixes without a header: rows of a plotted track (.plt), subtitles with positions."""

from __future__ import annotations

import re
from collections.abc import Sequence
from itertools import pairwise

from speedcal.logs.tables.line_rows import Line, Split
from speedcal.logs.writing.spoken_times import CUE

_PLOTTED = re.compile(
    r"\s*(-?\d{1,2}\.\d+)\s*,\s*(-?\d{1,3}\.\d+)\s*,\s*[01]\s*,\s*(-?\d{1,6}(?:\.\d*)?)\s*,\s*(\d{5}\.\d{5,12})\s*(?:,.*)?"
)
"""Latitude, longitude, whether a piece begins, height in feet, days since 1899-12-30; date and time may follow."""
_PLOTTED_HEADER = ("latitude", "longitude", "altitude (feet)", "time")
_NO_HEIGHT_FT = -777.0
_HEAD_LINES = 6
_FEWEST = 3
_LAT = re.compile(r"(?<![a-z])lat(?:itude)?\s*[:=]?\s*(-?\d{1,2}\.\d{3,12})", re.IGNORECASE)
_LON = re.compile(r"(?<![a-z])lon(?:g(?:itude)?)?\s*[:=]?\s*(-?\d{1,3}\.\d{3,12})", re.IGNORECASE)
_STAMP = re.compile(r"(?<![\d:])(?:\d{4}[-/.]\d{1,2}[-/.]\d{1,2}[T ]+)?\d{1,2}:\d{2}:\d{2}(?:[.,]\d{1,9})?(?![\d:])")
_LONGEST = 2_000
"""Characters of a cue that are looked at."""


def fix_lines(lines: Sequence[Line]) -> Split | None:
    """Return the rows of fixes with a header of ours, and the line of each; None of another text."""
    return _plotted(lines) or _subtitled(lines)


def _plotted(lines: Sequence[Line]) -> Split | None:
    if sum(1 for _, text in lines[: _HEAD_LINES + _FEWEST] if _PLOTTED.fullmatch(text)) < _FEWEST:
        return None
    found = [(number, match) for number, text in lines if (match := _PLOTTED.fullmatch(text))]
    if len(lines) - len(found) > _HEAD_LINES:
        return None
    cells = [match.groups() for _, match in found]
    rows = [[lat, lon, "" if float(feet) == _NO_HEIGHT_FT else feet, days] for lat, lon, feet, days in cells]
    return [list(_PLOTTED_HEADER), *rows], [lines[0][0], *(number for number, _ in found)]


def _subtitled(lines: Sequence[Line]) -> Split | None:
    """Return a fix for each cue, at the time that its words state, or at its begin where some state none."""
    cues = [i for i, (_, text) in enumerate(lines) if "-->" in text and CUE.fullmatch(text.strip())]
    rows, begins, numbers = [], [], []
    for begin, end in pairwise([*cues, len(lines)]):
        words = " ".join(text for _, text in lines[begin + 1 : end])[:_LONGEST]
        cue, stamp = CUE.fullmatch(lines[begin][1].strip()), _STAMP.search(words)
        latitude, longitude = _LAT.search(words), _LON.search(words)
        if cue and latitude and longitude:
            rows.append([stamp[0].replace(",", ".") if stamp else "", latitude[1], longitude[1]])
            begins.append(f"{cue[1]}.{cue[2]}")
            numbers.append(lines[begin][0])
    if len(rows) < _FEWEST:
        return None
    if all(row[0] for row in rows):
        header = ["clock time", "latitude", "longitude"]
    else:
        header = ["elapsed time", "latitude", "longitude"]
        rows = [[begin, *row[1:]] for begin, row in zip(begins, rows, strict=True)]
    return [header, *rows], [lines[0][0], *numbers]
