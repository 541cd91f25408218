"""A column that holds latitude and longitude in one cell, as two."""

from __future__ import annotations

import re
from collections.abc import Sequence

from speedcal.logs.writing.headers import read_heading
from speedcal.logs.writing.numbers import MISSING
from speedcal.logs.writing.patterns import late_pattern

_ANGLE = r"-?\d{1,3}\.\d{2,15}"
_PAIR = late_pattern(rf"(?:geo:)?[(\[]?\s*({_ANGLE})\s*°?\s*[,;/ ]\s*({_ANGLE})\s*°?\s*[)\]]?")
_POINT = late_pattern(
    rf"(?:SRID=\d{{1,6}};)?\s*POINT\s*Z?\s*\(\s*({_ANGLE})\s+({_ANGLE})(?:\s+-?[\d.]+)?\s*\)", re.IGNORECASE
)
_PARTS = r"\d{1,3}[°\s]\s?[\d.°'′\"″\s]{1,24}"
_LETTERED = late_pattern(
    rf"([NS]\s?{_PARTS}|{_PARTS}[NS])[,;/\s]{{0,3}}([EW]\s?{_PARTS}|{_PARTS}[EW])\s*", re.IGNORECASE
)
_LOOKED_AT = 50
_LONGEST = 100


Cells = tuple[list[str], list[list[str]]]
"""Header and rows."""


def with_places(header: Sequence[str], rows: Sequence[list[str]]) -> Cells | None:
    """Return a table with two columns more where one holds pairs.

    Such as ``48.1, 11.6``, ``POINT(11.6 48.1)`` or ``N48° 6.1' E11° 36'``.

    A pair is latitude and longitude unless its header names them the other way round or the first is beyond 90; a point
    is written x before y.
    """
    if {"latitude", "longitude"} & {read_heading(name).role for name in header}:
        return None
    for index, name in enumerate(header):
        sample = [row[index] for row in rows[:_LOOKED_AT] if len(row) > index and row[index].lower() not in MISSING]
        for pattern in (_POINT, _PAIR, _LETTERED):
            if sample and all(len(cell) <= _LONGEST and pattern.fullmatch(cell) for cell in sample):
                if pattern is _LETTERED:
                    return _divided(header, rows, index, pattern, east_first=False)
                firsts = [float(pattern.fullmatch(cell)[1]) for cell in sample]  # type: ignore[index]
                words = name.lower()
                east_first = pattern is _POINT or 0 <= words.find("lon") < words.find("lat")
                east_first |= max(map(abs, firsts)) > 90
                return _divided(header, rows, index, pattern, east_first=east_first)
    return None


def _divided(
    header: Sequence[str], rows: Sequence[list[str]], index: int, pattern: re.Pattern[str], *, east_first: bool
) -> Cells:
    names = ["longitude", "latitude"] if east_first else ["latitude", "longitude"]
    width, wider = len(header), []
    for row in rows:
        cell = row[index] if index < len(row) else ""
        found = pattern.fullmatch(cell) if len(cell) <= _LONGEST else None
        wider.append([*row[:width], *[""] * (width - len(row)), *(found.groups() if found else ("", "")), *row[width:]])
    return [*header, *names], wider
