"""Spreadsheets (.xlsx through openpyxl, .ods from its XML) as rows of cells."""

from __future__ import annotations

import io
import warnings
import zipfile
from collections import Counter
from collections.abc import Iterable, Iterator
from dataclasses import replace
from datetime import date, datetime, time, timedelta
from typing import Any
from xml.etree import ElementTree

from speedcal.logs import limits
from speedcal.logs.drive.readings import Readings
from speedcal.logs.drive.track import Track
from speedcal.logs.formats.notes import read_notes
from speedcal.logs.formats.registry import LogFormat, Request
from speedcal.logs.formats.table_readings import read_table
from speedcal.logs.formats.table_tracks import read_table_track
from speedcal.logs.formats.xmltree import local, parse
from speedcal.logs.source import Source, check_archive, is_spreadsheet, read_member
from speedcal.logs.tables.delimited import Rows
from speedcal.logs.tables.note_numbers import has_speed
from speedcal.logs.tables.noted_times import time_in
from speedcal.logs.tables.sessions import choose
from speedcal.logs.tables.several_tables import Wanted, table_for, tells
from speedcal.logs.tables.tabular import Table, find_table
from speedcal.logs.writing.characters import plain_characters
from speedcal.logs.writing.headers import read_heading
from speedcal.logs.writing.local_times import in_usual_form

_LONGEST_NOTE, _LOOKED_AT = 80, 40


def _sheets(source: Source) -> Iterator[tuple[str, Rows]]:
    """Yield the sheets of a workbook with their names, one after the other."""
    check_archive(source)
    with source.foreign("spreadsheet"), zipfile.ZipFile(io.BytesIO(source.data)) as archive:
        names = archive.namelist()
        for name in names:
            if name.endswith((".xml", ".rels")):
                head = read_member(source, archive, name)
                if b"<!DOCTYPE" in head or b"<!ENTITY" in head:
                    source.fail("doctype")
        if "xl/workbook.xml" in names:
            yield from _office_sheets(source)
        else:
            content = replace(source, data=read_member(source, archive, "content.xml"))
            yield from _open_document_sheets(content)


def _office_sheets(source: Source) -> list[tuple[str, Rows]]:
    import openpyxl

    sheets = []
    with source.foreign("spreadsheet"), warnings.catch_warnings():
        warnings.simplefilter("ignore")  # about styles, themes and headers, which are not read
        book = openpyxl.load_workbook(io.BytesIO(source.data), read_only=True, data_only=True)
        try:
            for sheet in book.worksheets:
                sheet.reset_dimensions()
                rows = ([_text(value) for value in row] for row in sheet.iter_rows(values_only=True))
                sheets.append((str(sheet.title), _within_limits(source, rows)))
        finally:
            book.close()
    return sheets


def _text(value: Any) -> str:
    """Return a cell as it would stand in a table: times without seconds as hours and minutes."""
    if value is None or isinstance(value, bool):
        return "" if value is None else str(value)
    if isinstance(value, timedelta):
        seconds = value.total_seconds()
        return f"{int(seconds // 3600)}:{int(seconds % 3600 // 60):02d}:{seconds % 60:06.3f}"
    if isinstance(value, datetime):
        return value.isoformat(sep=" ")
    if isinstance(value, time):
        return value.strftime("%H:%M") if value.second == value.microsecond == 0 else value.isoformat()
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, float):
        return str(int(value)) if value.is_integer() and abs(value) < 1e15 else repr(value)
    return " ".join(plain_characters(str(value)).split())


def _open_document_sheets(source: Source) -> Iterator[tuple[str, Rows]]:
    for table in parse(source).iter():
        if local(table.tag) == "table":
            name = next((value for key, value in table.attrib.items() if local(key) == "name"), "")
            yield name, _within_limits(source, _open_document_rows(table))


def _open_document_rows(table: ElementTree.Element) -> Iterator[list[str]]:
    for row in table.iter():
        if local(row.tag) != "table-row":
            continue
        cells: list[str] = []
        for cell in row:
            if local(cell.tag) in {"table-cell", "covered-table-cell"}:
                text = _open_document_text(cell)
                count = _repeats(cell, "number-columns-repeated")
                cells += [text] * (count if text else min(count, limits.MAX_COLUMNS))
                if len(cells) > limits.MAX_COLUMNS and text:
                    break
        while cells and not cells[-1]:
            cells.pop()
        for _ in range(_repeats(row, "number-rows-repeated") if cells else 1):
            yield cells


def _repeats(element: ElementTree.Element, name: str) -> int:
    word = next((value for key, value in element.attrib.items() if local(key) == name), "1")
    return min(int(word), limits.MAX_POINTS + 1) if word.isdigit() and len(word) < 10 else 1


def _open_document_text(cell: ElementTree.Element) -> str:
    kept = {local(key): value for key, value in cell.attrib.items()}
    if kept.get("value-type") in {"float", "percentage", "currency"} and "value" in kept:
        return kept["value"]
    if kept.get("value-type") == "date" and "date-value" in kept:
        return kept["date-value"].replace("T", " ")
    if "time-value" in kept:  # what is shown of it may lack the seconds
        return in_usual_form(kept["time-value"])
    return " ".join(plain_characters("".join(cell.itertext())).split())


def _within_limits(source: Source, rows: Iterable[list[str]]) -> Rows:
    kept: list[list[str]] = []
    line: list[int] = []
    budget = limits.MAX_CELLS
    for number, row in enumerate(rows, 1):
        budget -= len(row) + 1
        if number > limits.MAX_POINTS or budget < 0:
            source.fail("too_many", what="cells", most=limits.MAX_CELLS)
        if len(row) > limits.MAX_COLUMNS and any(row[limits.MAX_COLUMNS :]):
            source.fail("too_many", line=number, what="columns", most=limits.MAX_COLUMNS)
        if any(row) and not row[0].startswith("#"):
            kept.append(row[: limits.MAX_COLUMNS])
            line.append(number)
    return Rows(kept, line)


def sheet_table(source: Source, wanted: Wanted, session: str | None) -> Table:
    """Return the table of the sheet that holds what is wanted; see :func:`table_of`."""
    return table_of(source, _sheets(source), wanted, session)


def table_of(source: Source, named: Iterable[tuple[str, Rows]], wanted: Wanted, session: str | None) -> Table:
    """Return the table of the sheet that has the column wanted, else of the first sheet that has any.

    Sheets with one and the same header are sessions, and it is asked which is meant, or whether all are one drive.
    """
    tables = [(name, table) for name, rows in named if (table := table_for(rows, wanted)) is not None]
    if not tables:
        source.fail("no_table_in_sheet")
    fit = [(name, table) for name, table in tables if tells(table, wanted)]
    if not fit:
        fit = [(name, table) for name, table in tables if wanted in {read_heading(word).role for word in table.header}]
    if not fit:
        return tables[0][1]
    alike = {name: table for name, table in fit if table.header == fit[0][1].header}
    if len(alike) == 1:
        return replace(fit[0][1], overlong=())  # remarks beside a table are no readings
    counts = Counter({name: len(table.rows) for name, table in alike.items()})
    chosen = choose(source, counts, session, column="sheet")
    if chosen in alike:
        return replace(alike[chosen], overlong=())
    pages = list(alike.values())
    rows = [row for page in pages for row in page.rows]
    line = [number for page in pages for number in page.line]
    return replace(pages[0], rows=rows, line=line, summed=sum(page.summed for page in pages), overlong=())


def _kind(source: Source) -> str:
    return "sheet_ods" if b"mimetypeapplication/vnd.oasis" in source.data[:100] else "sheet_xlsx"


def _is_noted(rows: Rows) -> bool:
    """Tell whether cells hold a time and a speed each, as lines of notes do."""
    found = [time_in(cell) for row in rows.cells[:_LOOKED_AT] for cell in row if len(cell) <= _LONGEST_NOTE]
    return any(time and has_speed(rest) for time, rest in found) and find_table(rows) is None


def _read_readings(source: Source, request: Request) -> Readings:
    sheets = list(_sheets(source))
    noted = next((rows for _, rows in sheets if _is_noted(rows)), None)
    if noted is not None:
        lines = [(line, " ".join(filter(None, row))) for row, line in zip(noted.cells, noted.line, strict=True)]
        return read_notes(source, lines, request)
    return read_table(source, table_of(source, sheets, "speed", request.session), request, kind=_kind(source))


def _read_track(source: Source, request: Request) -> Track:
    return read_table_track(source, sheet_table(source, "latitude", request.session), request, kind=_kind(source))


FORMAT = LogFormat("sheet", is_spreadsheet, track=_read_track, readings=_read_readings)
