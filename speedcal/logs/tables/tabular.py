"""The table in rows of cells: where its header stands, what its columns are."""

from __future__ import annotations

import difflib
from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass, replace
from functools import cached_property
from operator import itemgetter

from speedcal.logs.source import Source
from speedcal.logs.tables.delimited import LOOKED_AT, Rows
from speedcal.logs.tables.layouts import one_below_the_other, turned_upright, with_titles
from speedcal.logs.tables.place_column import with_places
from speedcal.logs.writing.headers import read_heading
from speedcal.logs.writing.numbers import MISSING
from speedcal.logs.writing.patterns import late_pattern
from speedcal.logs.writing.written_times import parse_stamp
from speedcal.units import LENGTH_UNIT_M, parse_speed_unit

_HEADER_WITHIN = 400
"""Rows within which the data must begin."""
_LONGEST_DATUM, _LONGEST_TITLE = 80, 5_000
_DECIMALS = late_pattern(r"[-+]?\d+([.,])(?:\d{1,2}|\d{4,})|[-+]?\d{4,}([.,])\d{3}")
_SUMMARY = frozenset({"min", "max", "minimum", "maximum", "average", "avg", "mean", "median", "total", "sum", "count"})
"""First cells of rows below the data that sum them up."""
_NUMBERLIKE = late_pattern(r"(?!1/[a-z])[-+]?[\d.,' ]*\d[\d.,' ]*(?:\s*[A-Za-z/]{1,6})?")
"""``1/min`` is a unit."""


@dataclass(frozen=True)
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
    summed: int = 0
    """Rows below the data that sum them up; they are no longer among the rows."""
    others: tuple[int, ...] = ()
    """Lines of the headers of other tables in the same rows."""
    title: str = ""
    """What stands above the header."""
    titles: tuple[str, ...] = ()
    """The cells above the header."""
    blocks: int = 1
    """How often its columns stood side by side; they stand one below the other now."""

    def column(self, index: int) -> list[str]:
        """Return the cells of a column, empty where a row ends before it; they are not to be changed."""
        if index not in self._columns:
            self._columns[index] = self._cells_of(index)
        return self._columns[index]

    def _cells_of(self, index: int) -> list[str]:
        narrowest, widest = self._widths
        if index < narrowest:
            return list(map(itemgetter(index), self.rows))
        if index >= widest:  # a header of hundreds of names above short rows costs no more than its file
            return [""] * len(self.rows)
        return [row[index] if index < len(row) else "" for row in self.rows]

    @cached_property
    def _columns(self) -> dict[int, list[str]]:
        return {}

    @cached_property
    def _widths(self) -> tuple[int, int]:
        widths = set(map(len, self.rows)) or {0}
        return min(widths), max(widths)

    def fullest(self, columns: Iterable[int]) -> int | None:
        """Return the column with most different cells in it, the first of equals; None of none."""
        choices = list(columns)
        return max(choices, key=self.variety) if len(choices) > 1 else next(iter(choices), None)

    def variety(self, index: int) -> int:
        """Return how many different cells a column holds: of a place that is driven to, one."""
        return len({cell for cell in self.column(index) if not is_missing(cell)})


def find_table(rows: Rows) -> Table | None:
    """Return the table of a file, its header taken from the comment above the rows when no row is one.

    Measurements one to a row (time; quantity; value; unit) come back as a table with a column for each quantity, and
    equal blocks of columns side by side one below the other.
    """
    upright = turned_upright(rows.cells, rows.line)
    if upright is not None:
        rows = replace(rows, cells=upright[0], line=upright[1])
    table = _find_table(rows)
    if table is None and rows.commented is not None and rows.delimiter:
        number, text = rows.commented
        cells = [cell.strip() for cell in text.split(rows.delimiter)]
        if rows.cells and len(cells) == len(rows.cells[0]):
            table = _find_table(replace(rows, cells=[cells, *rows.cells], line=[number, *rows.line]))
    if table is None:
        return None
    divided = with_places(table.header, table.rows)
    if divided:
        return replace(table, header=divided[0], rows=divided[1])
    stacked = one_below_the_other(table.header, table.rows, table.line, table.titles)
    if stacked is None:
        return replace(table, header=with_titles(table.header, table.titles))
    header, body, line, blocks = stacked
    return replace(table, header=header, rows=body, line=line, blocks=blocks)


def _find_table(rows: Rows) -> Table | None:
    """Return the table in the rows; None when nothing looks like a header above data.

    The data begin with the first row that holds a number or a time and is as wide as most rows of the file. The words
    above it are names, units and sources: the first row that is nearly as full as the fullest names the columns, and
    what stands under a name is joined to it, so that equal names are told apart. Titles and settings above are
    skipped; the same header once more (a logger that was restarted) is no row.
    """
    width = usual_width(rows.cells)
    near = range(1, min(len(rows.cells), _HEADER_WITHIN))
    start = None
    for i in near:
        if _is_data(rows.cells[i]) and _is_words(rows.cells[i - 1]):
            as_wide = len(rows.cells[i]) == width and (_filled(rows.cells[i]) > 1 or width < 3)
            start = i if as_wide or start is None else start
            if as_wide:
                break
    if start is None:
        return None
    top = start
    while top and _is_words(rows.cells[top - 1]):
        top -= 1
    block = rows.cells[top:start]
    full = max(_filled(row) for row in block)
    names = next(i for i, row in enumerate(block) if _filled(row) >= 0.6 * full)
    if full == 1 < width and block[names][0]:  # a title: one column alone may be named, but not the first
        return None
    names = next((i for i in range(names + 1, len(block)) if _is_header_below(block[i], block[names])), names)
    header = _with_units(block[names], max(map(len, rows.cells[start:])))
    under = [row for row in block[names + 1 :] if not all(map(is_missing, row))]
    for row in under:
        header = [f"{name} {word}".strip() for name, word in zip(header, _padded(row, len(header)), strict=True)]
    again = [block[names], *under]
    wordy = _is_words(header[-1:]) and not read_heading(header[-1]).role
    joined = [_with_remark(cells, len(header)) if wordy else cells for cells in rows.cells[start:]]
    below = zip(rows.line[start:], joined, strict=True)
    body = [(line, cells) for line, cells in below if any(cells) and cells not in again]
    summed = 0
    while body and body[-1][1][0].lower().rstrip(":.") in _SUMMARY:
        body.pop()
        summed += 1
    above = [
        line
        for line, cells in zip(rows.line[:top], rows.cells[:top], strict=True)
        if len(cells) == width and is_all_data(cells)
    ]
    return Table(
        header,
        [cells for _, cells in body],
        [line for line, _ in body],
        rows.delimiter,
        rows.line[top + names],
        tuple(
            (line, len(cells))
            for line, cells in body
            if len(cells) > len(header) and any(map(_has_figures, cells[len(header) :]))
        ),
        tuple(above),
        summed,
        _other_tables(rows, top, start),
        "; ".join([rows.remarks, *(cell for row in rows.cells[: top + names] for cell in row)])[:_LONGEST_TITLE],
        tuple(rows.cells[top + names - 1]) if top + names else (),
    )


def usual_width(cells: list[list[str]]) -> int:
    """Return how many cells most rows of the file have, by rows from its middle."""
    middle = max(len(cells) // 2 - LOOKED_AT, 0)
    counts = Counter(len(row) for row in cells[middle : middle + 2 * LOOKED_AT])
    return max(counts, key=lambda width: (counts[width], width), default=0)


def _filled(row: list[str]) -> int:
    return sum(1 for cell in row if cell)


def _padded(cells: list[str], width: int) -> list[str]:
    return cells[:width] + [""] * (width - len(cells))


def _with_remark(cells: list[str], width: int) -> list[str]:
    """Return a row whose last cell is a remark that went on behind a comma."""
    beyond = cells[width - 1 :]
    return [*cells[: width - 1], " ".join(beyond)] if len(beyond) > 1 and _is_words(beyond) else cells


def _is_header_below(row: list[str], title: list[str]) -> bool:
    """Tell whether a row names a time and goes on beyond the one above: that was a title with commas in it."""
    return len(row) > len(title) and any(read_heading(cell).role == "time" for cell in row)


def _with_units(header: list[str], widest: int) -> list[str]:
    """Return a header with its units in the cells before, where it is as much too long: ``time,speed, km/h``."""
    if len(header) - widest != sum(map(_is_unit, header[1:])) or len(header) == widest:
        return list(header)
    joined = header[:1]
    for cell in header[1:]:
        if _is_unit(cell):
            joined[-1] += f" {cell}"
        else:
            joined.append(cell)
    return joined


def _is_unit(cell: str) -> bool:
    return parse_speed_unit(cell) is not None or cell.lower() in LENGTH_UNIT_M


def _has_figures(cell: str) -> bool:
    return any(map(str.isdigit, cell))


def _is_words(row: list[str]) -> bool:
    return not _is_data(row) and any(row)


def _other_tables(rows: Rows, top: int, start: int) -> tuple[int, ...]:
    """Return the lines that name columns of a dial above rows of data, the header in use apart."""
    found = []
    for i in (*range(top), *range(start, len(rows.cells) - 1)):
        cells = rows.cells[i]
        if cells and _is_number(cells[-1]):  # as most rows of data end
            continue
        if _is_words(cells) and cells not in rows.cells[top:start] and is_all_data(rows.cells[i + 1]):
            headings = [read_heading(cell) for cell in cells]
            if sum(1 for heading in headings if heading.role) > 1 and "speed" in {h.role for h in headings}:
                found.append(rows.line[i])
    return tuple(found)


def _is_data(row: list[str]) -> bool:
    """Tell whether a row holds a number or a time; most rows end with a number, and times take longer to tell."""
    return bool(row) and (_is_number(row[-1]) or any(map(_is_number, row)) or any(map(_is_datum, row)))


def is_all_data(row: list[str]) -> bool:
    """Tell whether a row holds numbers and times and nothing else, several of them."""
    filled = [cell for cell in row if cell]
    return len(filled) > 1 and all(_is_datum(cell) for cell in filled)


def _is_number(cell: str) -> bool:
    return len(cell) <= _LONGEST_DATUM and _NUMBERLIKE.fullmatch(cell) is not None


def _is_datum(cell: str) -> bool:
    if len(cell) > _LONGEST_DATUM or not any(character.isdigit() for character in cell):
        return False
    return _is_number(cell) or parse_stamp(cell) is not None


def check_header(source: Source, table: Table) -> None:
    """Refuse a table whose header stands in the middle of its rows, or another below it: one of them would be lost."""
    if table.above:
        source.fail("data_above_header", line=table.above[0], count=len(table.above), header_line=table.header_line)
    if table.others:
        first, second = sorted((table.header_line, table.others[0]))
        source.fail("second_table", line=second, header_line=first)


def named_column(source: Source, table: Table, name: str) -> int:
    """Return the index of the column that a user named: its whole header, or the beginning of one only."""
    plain = [header.strip().casefold() for header in table.header]
    wanted = name.strip().casefold()
    found = [i for i, header in enumerate(plain) if header == wanted]
    found = found or [i for i, header in enumerate(plain) if wanted and header.startswith(f"{wanted} ")]
    if len(found) == 1:
        return found[0]
    if found:
        columns = [table.header[i] for i in found]
        source.fail("several_named_columns", line=table.header_line, found=name, columns=columns)
    near = difflib.get_close_matches(wanted, plain, 1, 0.4)
    meant = table.header[plain.index(near[0])] if near else None
    source.fail("no_such_column", line=table.header_line, found=name, meant=meant, columns=table.header[:30])


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
