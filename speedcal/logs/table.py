"""Delimited text as rows of cells with the lines they stand in, and where the header is."""

from __future__ import annotations

import csv
import re
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

from speedcal.logs import limits
from speedcal.logs.source import Source
from speedcal.logs.stamp_text import parse_stamp
from speedcal.logs.stamps import MISSING
from speedcal.logs.words import is_unit

_DELIMITERS = ("\t", ";", "|", ",")
_LOOKED_AT = 60
_HEADER_WITHIN = 40
_LONGEST_DATUM = 60
_DECIMALS = re.compile(r"[-+]?\d+([.,])(?:\d{1,2}|\d{4,})|[-+]?\d{4,}([.,])\d{3}")
_NUMBERLIKE = re.compile(r"[-+]?[\d.,' ]*\d[\d.,' ]*(?:\s*[A-Za-z/]{1,6})?")


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


@dataclass(frozen=True, slots=True)
class Table:
    """A table with its header taken off; rows may be shorter or longer than the header."""

    header: list[str]
    rows: list[list[str]]
    line: list[int]
    delimiter: str
    header_line: int
    overlong: tuple[tuple[int, int], ...] = ()
    """Line and number of cells of rows that go on after the last column of the header."""
    above: tuple[int, ...] = ()
    """Lines of rows of numbers or times above the header, which belongs above them."""

    def column(self, index: int) -> list[str]:
        """Return the cells of a column, empty where a row ends before it."""
        return [row[index] if index < len(row) else "" for row in self.rows]


def split_rows(source: Source) -> Rows:
    """Split a text file into rows: by tab, semicolon, bar or comma, whichever its lines agree on most."""
    lines = source.lines()
    for number, line in enumerate(lines, 1):
        if len(line) > limits.MAX_LINE:
            source.fail(f"the line has {len(line)} characters", line=number, remedy="Give a table with one row a line")
    kept = [
        (number, line) for number, line in enumerate(lines, 1) if line.strip() and not line.lstrip().startswith("#")
    ]
    if len(kept) > limits.MAX_POINTS:
        source.fail(f"the table has more than {limits.MAX_POINTS} rows", remedy="Cut it down to the drive")
    delimiter = _delimiter([line for _, line in kept[:_LOOKED_AT]])
    cells, numbers = [], []
    budget = limits.MAX_CELLS
    for number, row in _split(source, kept, delimiter):
        if len(row) > limits.MAX_COLUMNS:
            source.fail(f"the row has {len(row)} columns", line=number, remedy="Keep the columns that matter")
        budget -= len(row)
        if budget < 0:
            source.fail(f"the table has more than {limits.MAX_CELLS} cells", remedy="Cut it down to the drive")
        cells.append([cell.strip() for cell in row])
        numbers.append(number)
    first = kept[0][0] if kept else 0
    comments = [(i, line.strip().lstrip("#").strip()) for i, line in enumerate(lines[: first - 1], 1) if line.strip()]
    return Rows(cells, numbers, delimiter, tuple(kept), comments[-1] if comments else None)


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
        elif '"' in line:
            try:
                yield number, next(csv.reader([line], delimiter=delimiter, skipinitialspace=True))
            except (csv.Error, StopIteration) as error:
                source.fail(f"the row cannot be split: {error}", line=number, remedy="Close every quotation mark")
        else:
            yield number, line.split(delimiter)


def find_table(rows: Rows) -> Table | None:
    """Return the table of a file, its header taken from the comment above the rows when no row is one."""
    table = _find_table(rows)
    if table is None and rows.commented is not None and rows.delimiter:
        number, text = rows.commented
        cells = [cell.strip() for cell in text.split(rows.delimiter)]
        if rows.cells and len(cells) == len(rows.cells[0]):
            return _find_table(replace(rows, cells=[cells, *rows.cells], line=[number, *rows.line]))
    return table


def _find_table(rows: Rows) -> Table | None:
    """Return the table that begins in the first forty rows; None when nothing looks like a header above data.

    The header is the last row of words before the first row with a number or a time; a row of units under it is
    joined to it. Titles above it are skipped; the same header once more (a logger that was restarted) is no row.
    """
    for i, row in enumerate(rows.cells[:_HEADER_WITHIN]):
        if not _is_words(row):
            continue
        units = i + 1 < len(rows.cells) and _is_units(rows.cells[i + 1])
        first = i + 2 if units else i + 1
        if first >= len(rows.cells) or not _is_data(rows.cells[first]):
            continue
        width = len(row)
        header = list(row)
        if units:
            below = _padded(rows.cells[i + 1], width)
            header = [f"{name} {unit}".strip() for name, unit in zip(header, below, strict=True)]
        below_it = zip(rows.line[first:], rows.cells[first:], strict=True)
        body = [(line, cells) for line, cells in below_it if any(cells) and cells != row]
        above = [line for line, cells in zip(rows.line[:i], rows.cells[:i], strict=True) if _is_all_data(cells)]
        return Table(
            header,
            [cells for _, cells in body],
            [line for line, _ in body],
            rows.delimiter,
            rows.line[i],
            tuple((line, len(cells)) for line, cells in body if any(cells[width:])),
            tuple(above),
        )
    return None


def _padded(cells: list[str], width: int) -> list[str]:
    return cells[:width] + [""] * (width - len(cells))


def _is_words(row: list[str]) -> bool:
    filled = [cell for cell in row if cell]
    return bool(filled) and not any(_is_datum(cell) for cell in filled)


def _is_units(row: list[str]) -> bool:
    filled = [cell.strip("()[] ") for cell in row if cell.strip("()[] -")]
    return bool(filled) and all(is_unit(cell) for cell in filled)


def _is_data(row: list[str]) -> bool:
    return any(_is_datum(cell) for cell in row)


def _is_all_data(row: list[str]) -> bool:
    filled = [cell for cell in row if cell]
    return len(filled) > 1 and all(_is_datum(cell) for cell in filled)


def _is_datum(cell: str) -> bool:
    if len(cell) > _LONGEST_DATUM or not any(character.isdigit() for character in cell):
        return False
    return bool(_NUMBERLIKE.fullmatch(cell)) or parse_stamp(cell) is not None


def check_header(source: Source, table: Table) -> None:
    """Refuse a table whose header stands in the middle of its rows: what lies above would be lost."""
    if table.above:
        source.fail(
            f"{len(table.above)} rows of data stand above the header in line {table.header_line}",
            line=table.above[0],
            remedy="Put the header into the first line",
        )


def is_number(cell: str) -> bool:
    """Tell whether a cell is a number, perhaps with a unit behind it."""
    return len(cell) <= _LONGEST_DATUM and bool(_NUMBERLIKE.fullmatch(cell))


def is_missing(cell: str) -> bool:
    """Tell whether a cell holds one of the ways to write that there is no value."""
    return cell.lower() in MISSING


def uses_decimal_comma(table: Table) -> bool:
    """Tell whether the table writes 45,5; see :func:`decimal_mark`."""
    return decimal_mark(table) == ","


def decimal_mark(table: Table) -> str:
    """Return the mark before decimals, empty when no number of the table tells (45 and 12.345 do not)."""
    if table.delimiter in {"", ","}:  # a spreadsheet, or commas that part the cells
        return "."
    sample = [cell for row in table.rows[:200] for cell in row]
    marks = {found.group(1) or found.group(2) for cell in sample if (found := _DECIMALS.fullmatch(cell))}
    return marks.pop() if len(marks) == 1 else "." if marks else ""
