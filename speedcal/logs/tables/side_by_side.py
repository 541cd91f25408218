"""Pages of notes whose columns stand beside each other in one table, as people lay them out to see all at once."""

from __future__ import annotations

from collections.abc import Sequence

from speedcal.logs.writing.headers import read_heading


def one_below_the_other(
    header: Sequence[str], rows: Sequence[list[str]], line: Sequence[int]
) -> tuple[list[str], list[list[str]], list[int], int] | None:
    """Return header, rows and lines of the blocks, the first block first, and how many there are; None of one block.

    A block holds a time and a speed, and may have empty columns behind it.
    """
    width = next((i for i in range(2, len(header)) if header[i] == header[0]), len(header))
    block, count = list(header[:width]), -(-len(header) // width) if width else 0
    padded = [*header, *[""] * (count * width - len(header))]
    if count < 2 or padded != block * count or {"time", "speed"} - {read_heading(name).role for name in block}:
        return None
    parts = [
        (cells, number)
        for k in range(count)
        for row, number in zip(rows, line, strict=True)
        if any(cells := row[k * width : (k + 1) * width])
    ]
    return block, [cells for cells, _ in parts], [number for _, number in parts], count
