"""The one of several vehicles, devices or sessions in a file that is meant."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from speedcal.interval import FloatArray, IntArray
from speedcal.logs.source import Source
from speedcal.logs.tables.tabular import Table, is_missing
from speedcal.logs.writing.headers import Heading
from speedcal.logs.writing.numbers import parse_numbers

_MOST, _FEWEST_ROWS, _MOST_NAMED = 200, 3, 10
BETWEEN = " / "
"""Stands between the names where several columns tell the rows apart."""
EVERY = "all"
"""The answer that means all of them, parts of one drive."""
_LOOKED_AT = 4_000
_MOST_NAMES, _FEWEST_OF_A_NAME = 40, 10
_FEWEST_TURNS, _TURNS, _AT_ONCE = 10, 0.45, 0.5
"""Turns at least; as a share of the rows, which no gear or state of one vehicle comes to; and those between two rows of
one time, as a share of the turns."""
_YES_AND_NO = ({"true", "false"}, {"yes", "no"}, {"on", "off"})
_FARTHER = 3.0
"""How much farther apart two rows of different names are than two of one name, where they are not of one vehicle."""


def one_session(source: Source, table: Table, headings: Sequence[Heading], wanted: str | None) -> Table:
    """Return the rows of the session wanted; the whole table where it holds one only.

    A column that names nearly every row anew numbers the rows and is none. Rows that name no session belong to none.
    Without a column of such a name the rows themselves may show that several take turns in them.

    Raises
    ------
    SpeedcalError
        The table holds several sessions and none is wanted, or not the one wanted.
    """
    named = {i: table.column(i) for i, heading in enumerate(headings) if heading.role == "session"}
    telling = [i for i, cells in named.items() if _tells(cells) and not _is_switch(table.header[i], cells)]
    if not telling:
        named = {i: table.column(i) for i in _turn_taking(table, headings)}
        telling = list(named)
    if not telling:
        return table
    keys = [BETWEEN.join(parts) for parts in zip(*(named[i] for i in telling), strict=True)]
    known = [not all(map(is_missing, parts)) for parts in zip(*(named[i] for i in telling), strict=True)]
    counts = Counter(key for key, is_known in zip(keys, known, strict=True) if is_known)
    column = BETWEEN.join(table.header[i] for i in telling)
    chosen = choose(source, counts, wanted, column=column, line=table.header_line)
    if chosen == EVERY:
        return table
    rows = [i for i, key in enumerate(keys) if key == chosen and known[i]]
    kept = {table.line[i] for i in rows}
    return replace(
        table,
        rows=[table.rows[i] for i in rows],
        line=[table.line[i] for i in rows],
        overlong=tuple(item for item in table.overlong if item[0] in kept),
    )


def _tells(cells: list[str]) -> bool:
    counts = Counter(cell for cell in cells if not is_missing(cell))
    return 1 < len(counts) <= _MOST and sum(counts.values()) >= _FEWEST_ROWS * len(counts)


def _is_switch(name: str, cells: list[str]) -> bool:
    """Tell whether a column tells that something was on or off: ``auto`` is a vehicle in some languages only."""
    said = {cell.lower() for cell in cells if not is_missing(cell)}
    return said in _YES_AND_NO or (name.strip().lower() == "auto" and said == {"0", "1"})


def choose(
    source: Source, counts: Counter[str], wanted: str | None, *, column: str | None, line: int | None = None
) -> str:
    """Return the name of the session wanted among those there are, in any case of letters, or ``EVERY``; else ask.

    Two files may name one session differently: of several names, with ``;`` between, the one that is there is meant.
    """
    names = sorted(counts)
    if wanted is None and len(names) == 1:
        return names[0]
    whole = (wanted or "").strip().casefold()
    asked = {whole} if whole in map(str.casefold, names) else {part.strip() for part in whole.split(";")}
    found = [name for name in names if name.casefold() in asked]
    if len(found) == 1:
        return found[0]
    if not found and EVERY in asked:
        return EVERY
    code = "several_sessions" if wanted is None else "no_such_session"
    source.fail(code, line=line, column=column, found=wanted, names=names[:_MOST_NAMED], count=len(names))


def _turn_taking(table: Table, headings: Sequence[Heading]) -> list[int]:
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
    times = _numbered([at[row] for row in rows])
    measured = [
        values
        for i, heading in enumerate(headings)
        if heading.role in {"speed", "latitude", "longitude"}
        and np.isfinite(values := parse_numbers(_cells(table, i, rows), decimal_comma=False).values).any()
    ]
    found = []
    for i in choices:
        names = _numbered(_cells(table, i, rows))
        often = np.bincount(names[names >= 0])
        if not 1 < len(often) <= _MOST_NAMES or often.min() < _FEWEST_OF_A_NAME:
            continue
        if any(_leaps(names, times, values) for values in measured):
            found.append(i)
    return found


def _cells(table: Table, index: int, rows: Sequence[int]) -> list[str]:
    cells = table.column(index)
    return [cells[row] for row in rows]


def _looked_at(times: Sequence[str]) -> list[int]:
    """Return the first rows, and with each the others of its time: of vehicles listed one after the other."""
    places: dict[str, list[int]] = {}
    for row, cell in enumerate(times):
        if cell in places:
            places[cell].append(row)
        elif len(places) < _LOOKED_AT and not is_missing(cell):
            places[cell] = [row]
    return [row for alike in places.values() for row in alike[:_MOST_NAMES]]


def _numbered(cells: Sequence[str]) -> IntArray:
    """Return a number for each cell, equal ones for equal cells and -1 where nothing stands, shape (n,)."""
    number = {cell: i for i, cell in enumerate(cell for cell in dict.fromkeys(cells) if not is_missing(cell))}
    return np.array([number.get(cell, -1) for cell in cells], np.int64)


def _leaps(name: IntArray, time: IntArray, values: FloatArray) -> bool:
    """Tell whether values leap from row to row as the name changes; names and times are numbers, shape (n,)."""
    known = np.flatnonzero(np.isfinite(values) & (name >= 0))
    name, values = name[known], values[known]
    steps, turns = np.abs(np.diff(values)), np.diff(name) != 0
    at_once = np.count_nonzero(turns & (np.diff(time[known]) == 0))
    if turns.sum() < max(_FEWEST_TURNS, _TURNS * len(turns)) and at_once < max(_FEWEST_TURNS, _AT_ONCE * turns.sum()):
        return False
    by_name = np.argsort(name, kind="stable")
    within = np.abs(np.diff(values[by_name]))[np.diff(name[by_name]) == 0]
    least = max(float(within.mean()), float(steps[steps > 0].min(initial=np.inf)))
    return bool(np.median(steps[turns]) > _FARTHER * least)
