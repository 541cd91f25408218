"""Tables that go on from left to right: the names stand in the first column."""

from __future__ import annotations

from itertools import zip_longest

from speedcal.logs.writing.headers import read_heading
from speedcal.logs.writing.written_times import parse_stamp

_MOST_ROWS, _FEWEST_COLUMNS = 12, 4


def turned_upright(cells: list[list[str]], line: list[int]) -> tuple[list[list[str]], list[int]] | None:
    """Return the rows of such a table, its names first, and the line of its speeds for each; None of another.

    A row of times and one of speeds are asked for, and more columns than rows.
    """
    if not 2 <= len(cells) <= _MOST_ROWS:
        return None
    wide = [
        (row, number) for row, number in zip(cells, line, strict=True) if len(row) >= max(_FEWEST_COLUMNS, len(cells))
    ]
    roles = {read_heading(row[0]).role: (row, number) for row, number in wide}
    if not {"time", "speed"} <= set(roles) or parse_stamp(roles["time"][0][1]) is None:
        return None
    rows = [list(row) for row in zip_longest(*(row for row, _ in wide), fillvalue="")]
    return rows, [roles["speed"][1]] * len(rows)
