"""Delimited text as rows of cells, with the lines they stand in."""

from __future__ import annotations

import csv
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from speedcal.logs import limits
from speedcal.logs.source import Source
from speedcal.logs.tables.fix_lines import fix_lines
from speedcal.logs.tables.handwriting import MARKS, is_drawn, unmarked
from speedcal.logs.tables.line_rows import split_lines
from speedcal.logs.writing.patterns import late_pattern

_DELIMITERS = ("\t", ";", "|", ",")
LOOKED_AT = 60
"""Lines from the middle of a file that tell how its rows look."""
_DITTO = late_pattern(r"(?:[^\",;|\t]*|\s*\"\s*)(?:[,;|\t](?:[^\",;|\t]*|\s*\"\s*))*")
"""A row in which every quotation mark stands alone in its cell: it repeats what stands above."""
_OPEN = late_pattern(r'(?:^|[,;|\t])\s{0,9}"(?=[^\s",;|\t])[^"]*$')
_CLOSED = late_pattern(r'[^"]*"\s*(?:[,;|\t]|$)')
"""A quoted cell that does not end in its line, and a line in which it does; a ditto mark has nothing behind it."""
_MOST_LINES_OF_CELL, _LOOKED_FOR_QUOTES, _LONGEST_REMARKS = 20, 1_000, 5_000
_COMMENT = late_pattern(r"\s*#(?!\d{1,3}[.):]?\s+\S*\d|#{2,}[,;|\t]|\s?[,;|\t])")
"""``#3: 10:32:15 45`` is the third of a list, ``########`` what a spreadsheet writes of a time in a narrow column, and
``#`` alone in its cell the name of a column."""


@dataclass(frozen=True, slots=True)
class Rows:
    """Cells of a table, stripped; rows may differ in length."""

    cells: list[list[str]]
    line: list[int]
    """Line of the file each row stands in, counted from 1."""
    delimiter: str = ""
    text: tuple[tuple[int, str], ...] = ()
    """Number and text of the lines, for a reader that does not want them split."""
    commented: tuple[int, str] | None = None
    """Number and text of the last comment above the rows, without its mark: it may be the header."""
    remarks: str = ""
    """The comments, which may name the unit."""


def split_rows(source: Source) -> Rows:
    """Split a text file into rows: by tab, semicolon, bar or comma, whichever its lines agree on most."""
    lines = _with_whole_cells(source.lines())
    for number, line in enumerate(lines, 1):
        if len(line) > limits.MAX_LINE:
            source.fail("line_too_long", line=number, length=len(line))
    text = "\n".join(lines)
    special, by_hand = "#" in text or "--" in text, '="' in text or any(mark in text for mark in MARKS)
    kept = [
        (number, line)
        for number, line in enumerate(lines, 1)
        if line.strip() and not (special and (_COMMENT.match(line) or is_drawn(line)))
    ]
    if len(kept) > limits.MAX_POINTS + 1:  # and the header
        source.fail("too_many", what="rows", most=limits.MAX_POINTS)
    middle = max(len(kept) // 2 - LOOKED_AT // 2, 0)  # settings may stand above the table, not in its middle
    delimiter = _delimiter([line for _, line in kept[middle : middle + LOOKED_AT]])
    cells, numbers = [], []
    budget = limits.MAX_CELLS
    first = kept[0][0] if kept else 0
    comments = [(i, line.strip().lstrip("#").strip()) for i, line in enumerate(lines[: first - 1], 1) if line.strip()]
    found = fix_lines(kept) or split_lines(kept, divided=bool(delimiter))
    if found is None and comments and not delimiter:  # the names of columns parted by blanks
        found = split_lines([comments[-1], *kept], divided=False)
    if found is not None:
        delimiter = " "
    for number, row in zip(found[1], found[0], strict=True) if found else _split(source, kept, delimiter):
        if len(row) > limits.MAX_COLUMNS:
            source.fail("too_many", line=number, what="columns", most=limits.MAX_COLUMNS)
        budget -= len(row)
        if budget < 0:
            source.fail("too_many", what="cells", most=limits.MAX_CELLS)
        cells.append([unmarked(cell.strip()) for cell in row] if by_hand else list(map(str.strip, row)))
        numbers.append(number)
    said = [line.strip().lstrip("#").strip() for line in lines if special and _COMMENT.match(line)]
    return Rows(
        cells, numbers, delimiter, tuple(kept), comments[-1] if comments else None, "; ".join(said)[:_LONGEST_REMARKS]
    )


def _with_whole_cells(lines: list[str]) -> list[str]:
    """Return the lines with a quoted cell that goes on over several lines in its first one."""
    if not any('"' in line for line in lines[:_LOOKED_FOR_QUOTES]):
        return lines
    whole = list(lines)
    for i in range(len(whole) - 1):
        for k in range(i + 1, min(i + _MOST_LINES_OF_CELL, len(whole))):
            if whole[i].count('"') % 2 == 0 or len(whole[i]) > limits.MAX_LINE or not _OPEN.search(whole[i]):
                break
            if _CLOSED.match(whole[k]):
                whole[i] = " ".join(whole[i : k + 1])
                whole[i + 1 : k + 1] = [""] * (k - i)
            elif '"' in whole[k]:
                break
    return whole


def _delimiter(lines: Sequence[str]) -> str:
    """Return the delimiter that most lines hold equally often; none when fewer than half hold any."""
    best, most = "", 0
    for mark in _DELIMITERS:
        counts = Counter(line.count(mark) for line in lines)
        counts.pop(0, None)
        agree = max(counts.values(), default=0)
        if agree > most and 2 * agree >= len(lines):
            best, most = mark, agree
    return best


def _split(source: Source, lines: list[tuple[int, str]], delimiter: str) -> Iterator[tuple[int, list[str]]]:
    for number, line in lines:
        if not delimiter:
            yield number, [line]
        elif '"' in line and not _DITTO.fullmatch(line):
            try:
                yield number, next(csv.reader([line], delimiter=delimiter, skipinitialspace=True))
            except (csv.Error, StopIteration) as error:
                source.fail("open_quotation", line=number, reason=str(error))
        else:
            yield number, line.split(delimiter)
