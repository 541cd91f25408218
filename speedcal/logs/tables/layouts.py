"""Tables laid out otherwise than rows below one header: names in the first column, or blocks beside each other."""

from __future__ import annotations

import re
from collections.abc import Sequence
from itertools import zip_longest

from speedcal.logs.writing.headers import read_heading
from speedcal.logs.writing.patterns import late_pattern
from speedcal.logs.writing.written_times import parse_stamp

_MOST_ROWS, _FEWEST_COLUMNS, _MOST_BLOCKS = 12, 4, 40
_FEWEST_TITLES = 2
_NUMBER = late_pattern(r"[-+]?\d{1,7}(?:[.,]\d{1,7})?(?: ?[a-z/]{1,4})?", re.IGNORECASE)


def turned_upright(cells: list[list[str]], line: list[int]) -> tuple[list[list[str]], list[int]] | None:
    """Return the rows of a table that goes on from left to right, and the line of its speeds for each; None of another.

    A row of speeds is asked for, one of times or a second of numbers alone, and more columns than rows.
    """
    if not 2 <= len(cells) <= _MOST_ROWS:
        return None
    wide = [
        (row, number) for row, number in zip(cells, line, strict=True) if len(row) >= max(_FEWEST_COLUMNS, len(cells))
    ]
    roles = {read_heading(row[0]).role: (row, number) for row, number in wide}
    timed = "time" in roles and parse_stamp(roles["time"][0][1]) is not None
    in_numbers = [row[0][:1].isalpha() and _are_numbers(row[1:]) for row, _ in wide]
    if "speed" not in roles or not (timed or (len(wide) > 1 and all(in_numbers))):
        return None
    rows = [list(row) for row in zip_longest(*(row for row, _ in wide), fillvalue="")]
    return rows, [roles["speed"][1]] * len(rows)


def with_titles(header: Sequence[str], titles: Sequence[str]) -> list[str]:
    """Return a header whose columns of one name bear the titles of their groups, which stand above them."""
    twice = {name for name in header if name and header.count(name) > 1}
    if not twice or len(set(filter(None, titles))) < _FEWEST_TITLES or len(titles) > len(header):
        return list(header)
    told, title = [], ""
    for name, above in zip_longest(header, titles, fillvalue=""):
        title = above or title
        told.append(f"{title} {name}".strip() if name in twice else name)
    return told


def _are_numbers(cells: Sequence[str]) -> bool:
    filled = [cell for cell in cells if cell]
    return 2 * len(filled) > len(cells) and all(map(_NUMBER.fullmatch, filled))


def one_below_the_other(
    header: Sequence[str], rows: Sequence[list[str]], line: Sequence[int], titles: Sequence[str]
) -> tuple[list[str], list[list[str]], list[int], int] | None:
    """Return header, rows and lines of blocks, the first block first, and how many there are; None of one block.

    People lay notes out so to see all at once. A block holds a time and a speed, and may have empty columns behind it;
    one whose title, in the cells above the header, names a receiver is left out beside others.
    """
    width = next((i for i in range(2, len(header)) if header[i] == header[0]), len(header))
    block, count = list(header[:width]), -(-len(header) // width) if width else 0
    padded = [*header, *[""] * (count * width - len(header))]
    if (
        not 2 <= count <= _MOST_BLOCKS
        or padded != block * count
        or {"time", "speed"} - {read_heading(name).role for name in block}
    ):
        return None
    over = [" ".join(titles[k * width : (k + 1) * width]) for k in range(count)]
    shown = [k for k in range(count) if read_heading(f"{over[k]} speed").origin != "satellite"] or range(count)
    parts = [
        (cells, number)
        for k in shown
        for row, number in zip(rows, line, strict=True)
        if any(cells := row[k * width : (k + 1) * width])
    ]
    return block, [cells for cells, _ in parts], [number for _, number in parts], len(shown)
