"""Measurements one to a row: time; quantity; value; perhaps a unit. They become a table with a column a quantity.

Rows without a header are understood where the quantities are known by their names or by the parameter numbers of SAE
J1979 (mode 01: 0D is the vehicle speed, 0C the engine speed). The position of a receiver may come as one value of
several numbers, such as ``45.1:9.1:0.7:1600000000000``; which number is the speed is told by the positions.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Sequence

import numpy as np

from speedcal.interval import FloatArray
from speedcal.logs.drive.speed_physics import is_receivers, positions_mps, unit_by_positions
from speedcal.logs.tables.delimited import Rows
from speedcal.logs.tables.tabular import Table, is_missing
from speedcal.logs.writing.headers import normal, read_heading
from speedcal.logs.writing.numbers import MISSING
from speedcal.logs.writing.patterns import late_pattern
from speedcal.logs.writing.written_times import parse_stamp
from speedcal.units import parse_speed_unit

_QUANTITY = late_pattern(
    r"quantity|parameter|signal|sensor|channel|measurement|name|pid|key|metric|type|field|topic|variable"
)
_VALUE = late_pattern(r"(?:measured |sensor )?(?:value|reading|measurement|data|val)")
_UNIT = late_pattern(r"units?|uom")
_PID = late_pattern(r"(?:0x)?(?:01[ _-]?)?(?:0x)?(0[0-9a-f])", re.IGNORECASE)
_PIDS = {"0d": "vehicle speed km/h", "0c": "engine speed rpm"}
_NUMBER_AND_UNIT = late_pattern(r"[-+]?\d+(?:[.,]\d+)? ?(\D+)")
_RECEIVER = late_pattern(r"gps|gnss|location|position|fix")
_SEPARATORS = (":", "|", ",", " ", "/")
_MOST_KEYS, _LOOKED_AT = 60, 200
_FEWEST_ROWS = 8
_MILLISECONDS = (3e11, 3.8e12)
_SECONDS = (3e8, 3.8e9)
_MOSTLY = 0.9
"""Share of the rows that go on in time; a few may have been exchanged on their way into the file."""


def long_table(rows: Rows, table: Table | None, *, for_track: bool) -> Table | None:
    """Return the table that the measurements make, None when the rows are not of this form.

    Parameters
    ----------
    table
        What they are with their header taken off; None where nothing looks like one.
    for_track
        Whether positions are wanted.
    """
    places = _with_header(rows, table) or _without_header(rows)
    if places is None:
        return None
    first, time, key, value, unit, width = places
    session = _session(rows.cells[first - 1]) if first else None
    kept = [
        (line, row)
        for line, row in zip(rows.line[first:], rows.cells[first:], strict=True)
        if len(row) >= width and not is_missing(row[value])
    ]
    names = {row[key]: _name(row[key], row[unit] if unit is not None and unit < len(row) else "") for _, row in kept}
    compound = [cell for cell in names if _RECEIVER.search(normal(cell)) and _parts(kept, key, value, cell)]
    if for_track and compound:
        return _positions(rows, kept, key, value, time, compound[0])
    wanted = {cell: name for cell, name in names.items() if read_heading(name).role and cell not in compound}
    if not wanted:
        return None
    header = list(dict.fromkeys(wanted.values()))
    at = {cell: 2 + header.index(name) for cell, name in wanted.items()}
    by_time: dict[tuple[str, str], tuple[int, list[str]]] = {}
    for line, row in kept:
        if row[key] in at:
            whose = row[session] if session is not None and session < len(row) else ""
            cells = by_time.setdefault((row[time], whose), (line, [row[time], whose] + [""] * len(header)))[1]
            cells[at[row[key]]] = row[value]
    time_header = rows.cells[first - 1][time] if first else "time"
    return Table(
        [time_header, rows.cells[first - 1][session] if session is not None else "", *header],
        [cells for _, cells in by_time.values()],
        [line for line, _ in by_time.values()],
        rows.delimiter,
        rows.line[first - 1] if first else rows.line[0],
    )


def _with_header(rows: Rows, table: Table | None) -> tuple[int, int, int, int, int | None, int] | None:
    if table is None or not 3 <= len(table.header) <= 8:
        return None
    words = [normal(name) for name in table.header]
    key = next((i for i, word in enumerate(words) if _QUANTITY.fullmatch(word)), None)
    value = next((i for i, word in enumerate(words) if _VALUE.fullmatch(word) and i != key), None)
    time = next((i for i, name in enumerate(table.header) if read_heading(name).role == "time"), None)
    unit = next((i for i, word in enumerate(words) if _UNIT.fullmatch(word)), None)
    if key is None or value is None or time is None:
        return None
    if unit is None:
        left = set(range(len(words))) - {key, value, time}
        unit = next((i for i in left if parse_speed_unit(_beside_speed(table, key, i)) is not None), None)
    first = rows.line.index(table.line[0]) if table.line else 0
    return first, time, key, value, unit, max(time, key, value, unit or 0) + 1


def _beside_speed(table: Table, key: int, index: int) -> str:
    """Return what stands in a column beside the first speed."""
    pairs = zip(table.column(key), table.column(index), strict=True)
    return next((cell for name, cell in pairs if _is_speed(name)), "")


def _without_header(rows: Rows) -> tuple[int, int, int, int, int | None, int] | None:
    sample = rows.cells[:: max(len(rows.cells) // _LOOKED_AT, 1)]
    width = Counter(map(len, sample)).most_common(1)[0][0] if sample else 0
    if len(sample) < _FEWEST_ROWS or not 3 <= width <= 5 or parse_stamp(rows.cells[0][0]) is None:
        return None
    for key in range(1, width - 1):
        cells = Counter(row[key] for row in sample if len(row) == width)
        known = sum(n for cell, n in cells.items() if _PID.fullmatch(cell) or read_heading(_name(cell, "")).role)
        if len(cells) <= _MOST_KEYS and any(map(_is_speed, cells)) and known:
            return 0, 0, key, key + 1, key + 2 if width > key + 2 else None, key + 2
    return None


def _is_speed(cell: str) -> bool:
    """Tell whether a cell names a speed; ``61 mph`` is the value of one."""
    found = _NUMBER_AND_UNIT.fullmatch(cell)
    if found and parse_speed_unit(found.group(1)) is not None:
        return False
    return read_heading(_name(cell, "")).role == "speed"


def _session(header: list[str]) -> int | None:
    """Return which column says whose measurement it is, where one does."""
    return next((i for i, name in enumerate(header) if read_heading(name).role == "session"), None)


def _name(cell: str, unit: str) -> str:
    """Return a quantity as a header: parameter numbers in words, the unit behind the name."""
    found = _PID.fullmatch(cell.strip())
    if found and found.group(1).lower() in _PIDS:
        return f"{_PIDS[found.group(1).lower()]} ({cell})"
    return f"{cell} {unit}".strip() if unit.lower() not in MISSING else cell


def _parts(kept: Sequence[tuple[int, list[str]]], key: int, value: int, cell: str) -> str:
    """Return the separator of the numbers in the values of a quantity, empty when they are no positions."""
    example = next(row[value] for _, row in kept if row[key] == cell)
    for mark in _SEPARATORS:
        numbers = [_number(part) for part in example.split(mark)]
        if len(numbers) >= 2 and np.isfinite(numbers).all() and abs(numbers[0]) <= 90 and abs(numbers[1]) <= 180:
            return mark
    return ""


def _positions(rows: Rows, kept: Sequence[tuple[int, list[str]]], key: int, value: int, time: int, cell: str) -> Table:
    """Return the fixes of a receiver that writes each as one value: latitude, longitude, then numbers unnamed."""
    mark = _parts(kept, key, value, cell)
    lines = [(line, row[time], row[value].split(mark)) for line, row in kept if row[key] == cell]
    usual = Counter(len(parts) for _, _, parts in lines).most_common(1)[0][0]
    lines = [item for item in lines if len(item[2]) == usual]
    numbers = np.array([[_number(part) for part in parts] for _, _, parts in lines])
    header, columns = ["latitude", "longitude"], [0, 1]
    own_time = next((i for i in range(2, usual) if _is_epoch(numbers[:, i])), None)
    seconds = numbers[:, own_time] if own_time is not None else np.array([_number(at) for _, at, _ in lines])
    seconds = seconds * (1e-3 if np.median(seconds) > _SECONDS[1] else 1.0)
    ground = positions_mps(seconds, numbers[:, 0], numbers[:, 1])
    for i in range(2, usual):
        unit, left = unit_by_positions(numbers[:, i], ground)
        if i != own_time and unit is not None and is_receivers(left):
            header, columns = [*header, f"gps speed {unit}"], [*columns, i]
            break
    times = [parts[own_time] if own_time is not None else at for _, at, parts in lines]
    cells = [[at, *(parts[i] for i in columns)] for at, (_, _, parts) in zip(times, lines, strict=True)]
    return Table(["time", *header], cells, [line for line, _, _ in lines], rows.delimiter, rows.line[0])


def _is_epoch(values: FloatArray) -> bool:
    middle = float(np.median(values))
    return any(low <= middle <= high for low, high in (_MILLISECONDS, _SECONDS)) and bool(
        (np.diff(values) >= 0).mean() > _MOSTLY
    )


def _number(text: str) -> float:
    try:
        return float(text) if len(text) < 40 else np.nan
    except ValueError:
        return np.nan
