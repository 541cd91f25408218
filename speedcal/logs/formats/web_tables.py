"""Tables of web pages, which portals also offer under the name of a spreadsheet, as rows of cells."""

from __future__ import annotations

import html
import re
from collections.abc import Iterator
from dataclasses import dataclass, field

from speedcal.logs import limits
from speedcal.logs.drive.readings import Readings
from speedcal.logs.drive.track import Track
from speedcal.logs.formats.registry import LogFormat, Request
from speedcal.logs.formats.sheets import table_of
from speedcal.logs.formats.table_readings import read_table
from speedcal.logs.formats.table_tracks import read_table_track
from speedcal.logs.formats.xmltree import without_comments
from speedcal.logs.source import Source
from speedcal.logs.tables.delimited import Rows
from speedcal.logs.tables.several_tables import Wanted
from speedcal.logs.tables.tabular import Table, find_table
from speedcal.logs.writing.characters import plain_characters
from speedcal.logs.writing.patterns import late_pattern

_TAG = late_pattern(r"<(/?)([a-zA-Z][a-zA-Z0-9]{0,15})([^<>]{0,2000})>")
_SPAN = late_pattern(r"(col|row)span\s*=\s*[\"']?(\d{1,4})", re.IGNORECASE)
_CELL = re.compile(rb"<t[dh][\s>]", re.IGNORECASE)
_UNSHOWN = frozenset({"script", "style", "head"})
_DELIMITER = "\t"
"""Says of the cells that decimals may be written either way."""


@dataclass(slots=True)
class _Grid:
    """A table while its cells are read."""

    rows: list[list[list[str]]] = field(default_factory=list)
    line: list[int] = field(default_factory=list)
    cell: list[str] | None = None
    """The pieces of the open cell."""
    below: dict[int, tuple[int, list[str]]] = field(default_factory=dict)
    """Columns of cells that reach down: the last row that each reaches, and what stands there."""

    def open(self, tag: str, line: int, attributes: str) -> int:
        """Begin a row or a cell, and return how many cells that makes; the one before ends where its end was left out.

        A cell over several columns stands in the first of them; one over several rows in each, if it is no name.
        """
        made = 1
        if tag == "tr" or not self.rows:
            made += self._reach_down()
            self.rows.append([])
            self.line.append(line)
        if tag == "tr":
            self.cell = None
            return made
        made += self._reach_down()
        row, span = self.rows[-1], {kind.lower(): int(size) for kind, size in _SPAN.findall(attributes)}
        self.cell = []
        columns = max(min(span.get("col", 1), limits.MAX_COLUMNS - len(row)), 1)
        for k in range(columns):
            cell = [] if k else self.cell
            if span.get("row", 1) > 1:
                self.below[len(row)] = (len(self.rows) - 2 + span["row"], cell if tag == "td" else [])
            row.append(cell)
        return made + columns

    def _reach_down(self) -> int:
        """Give the last row what reaches into it from above, where it has come to, and return how many cells."""
        made = 0
        while self.rows and len(self.rows[-1]) in self.below and len(self.rows[-1]) < limits.MAX_COLUMNS:
            last, cell = self.below[len(self.rows[-1])]
            if last < len(self.rows) - 1:
                break
            self.rows[-1].append(cell)
            made += 1
        return made

    def finished(self) -> Rows:
        """Return the cells as text; rows of none are left out."""
        self._reach_down()
        cells = [
            [" ".join(plain_characters(html.unescape("".join(cell))).split()) for cell in row] for row in self.rows
        ]
        kept = [(row, line) for row, line in zip(cells, self.line, strict=True) if any(row)]
        return Rows([row for row, _ in kept], [line for _, line in kept], _DELIMITER)


def _grids(source: Source) -> Iterator[Rows]:
    """Yield the tables of the page; one within another is a table of its own."""
    text = without_comments(source.text())
    grids: list[_Grid] = []
    unshown, at, line, budget = "", 0, 1, limits.MAX_CELLS
    for found in _TAG.finditer(text):
        piece, tag, closes = text[at : found.start()], found[2].lower(), bool(found[1])
        if grids and grids[-1].cell is not None and not unshown:
            grids[-1].cell.append(piece + " " * (tag == "br"))
        line += text.count("\n", at, found.end())
        at = found.end()
        if tag in _UNSHOWN:
            unshown = "" if closes else unshown or tag
        elif tag == "table" and not closes:
            grids.append(_Grid())
        elif tag == "table" and grids:
            yield grids.pop().finished()
        elif tag in {"td", "th", "tr"} and grids and closes:
            grids[-1].cell = None
        elif tag in {"td", "th", "tr"} and grids:
            budget -= grids[-1].open(tag, line, found[3])
            if budget < 0:
                source.fail("too_many", what="cells", most=limits.MAX_CELLS)
    for grid in grids:
        yield grid.finished()


def _table(source: Source, request: Request, wanted: Wanted) -> Table:
    named = [(f"table {i}", rows) for i, rows in enumerate(_grids(source), 1)]
    if not any(find_table(rows) for _, rows in named):
        source.fail("not_a_log", found="web_page")
    return table_of(source, named, wanted, request.session)


def _read_readings(source: Source, request: Request) -> Readings:
    return read_table(source, _table(source, request, "speed"), request, kind="web_table")


def _read_track(source: Source, request: Request) -> Track:
    return read_table_track(source, _table(source, request, "latitude"), request, kind="web_table")


def _is_web_table(source: Source) -> bool:
    return source.data[:_HEAD].lstrip(b"\xef\xbb\xbf \t\r\n")[:1] == b"<" and _CELL.search(source.data) is not None


_HEAD = 400
FORMAT = LogFormat("web_table", _is_web_table, track=_read_track, readings=_read_readings)
