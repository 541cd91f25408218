"""Rows of several vehicles that take turns in one table, told by what they hold where no header says so."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from itertools import pairwise

import numpy as np

from speedcal.interval import FloatArray
from speedcal.logs.tables.tabular import Table, is_missing
from speedcal.logs.writing.headers import Heading
from speedcal.logs.writing.numbers import parse_numbers

_LOOKED_AT = 4_000
_MOST_NAMES, _FEWEST_ROWS = 40, 10
_FEWEST_TURNS, _TURNS, _AT_ONCE = 10, 0.45, 0.5
"""Turns at least; as a share of the rows, which no gear or state of one vehicle comes to; and those between two rows of
one time, as a share of the turns."""
_FARTHER = 3.0
"""How much farther apart two rows of different names are than two of one name, where they are not of one vehicle."""


def turn_taking(table: Table, headings: Sequence[Heading]) -> list[int]:
    """Return the columns whose names tell rows of different vehicles apart.

    A column of few names that change often is one where speed or position leap from row to row as the name changes,
    and hardly between the rows of one name.
    """
    time = table.fullest(i for i, heading in enumerate(headings) if heading.role == "time")
    choices = [i for i, heading in enumerate(headings) if heading.role == "" and heading.name]
    if time is None or not choices:
        return []
    at = table.column(time)
    rows = _looked_at(at)
    times = [at[row] for row in rows]
    measured = [
        values
        for i, heading in enumerate(headings)
        if heading.role in {"speed", "latitude", "longitude"}
        and np.isfinite(values := parse_numbers(_cells(table, i, rows), decimal_comma=False).values).any()
    ]
    found = []
    for i in choices:
        names = _cells(table, i, rows)
        if any(_leaps(names, times, values) for values in measured):
            found.append(i)
    return found


def _cells(table: Table, index: int, rows: Sequence[int]) -> list[str]:
    return [cells[index] if index < len(cells := table.rows[row]) else "" for row in rows]


def _looked_at(times: Sequence[str]) -> list[int]:
    """Return the first rows, and with each the others of its time: of vehicles listed one after the other."""
    places: dict[str, list[int]] = {}
    for row, cell in enumerate(times):
        if cell in places:
            places[cell].append(row)
        elif len(places) < _LOOKED_AT and not is_missing(cell):
            places[cell] = [row]
    return [row for alike in places.values() for row in alike[:_MOST_NAMES]]


def _leaps(names: Sequence[str], times: Sequence[str], values: FloatArray) -> bool:
    counts = Counter(name for name in names if not is_missing(name))
    if not 1 < len(counts) <= _MOST_NAMES or min(counts.values()) < _FEWEST_ROWS:
        return False
    known = [row for row in range(len(names)) if np.isfinite(values[row]) and names[row] in counts]
    pairs = list(pairwise(known))
    steps = np.abs(np.diff(values[known]))
    turns = np.array([names[one] != names[two] for one, two in pairs], bool)
    at_once = sum(1 for turn, (one, two) in zip(turns, pairs, strict=True) if turn and times[one] == times[two])
    if turns.sum() < max(_FEWEST_TURNS, _TURNS * len(turns)) and at_once < max(_FEWEST_TURNS, _AT_ONCE * turns.sum()):
        return False
    within = np.concatenate([np.abs(np.diff(values[[row for row in known if names[row] == name]])) for name in counts])
    least = max(float(within.mean()), float(steps[steps > 0].min(initial=np.inf)))
    return bool(np.median(steps[turns]) > _FARTHER * least)
