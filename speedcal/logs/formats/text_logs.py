"""Text files: delimited tables of readings or fixes, measurements one to a row, and plain notes."""

from __future__ import annotations

import re
from contextlib import suppress

import numpy as np

from speedcal.errors import ReadingsFormatError
from speedcal.logs.drive.readings import Readings
from speedcal.logs.drive.track import Track
from speedcal.logs.formats.notes import read_notes
from speedcal.logs.formats.registry import LogFormat, Request
from speedcal.logs.formats.table_readings import read_table
from speedcal.logs.formats.table_tracks import read_table_track
from speedcal.logs.source import Source
from speedcal.logs.tables.delimited import Rows, split_rows
from speedcal.logs.tables.long_form import long_table
from speedcal.logs.tables.several_tables import table_for
from speedcal.logs.tables.tabular import Table, is_all_data, usual_width
from speedcal.logs.tables.titled_vehicles import of_titled_vehicle
from speedcal.logs.writing.headers import read_heading
from speedcal.logs.writing.numbers import parse_numbers
from speedcal.logs.writing.spoken_times import cue_lines
from speedcal.logs.writing.written_times import parse_stamp
from speedcal.units import parse_speed_unit

_MOST_IN_NOTES = 3
"""Cells of a line of notes at most: a time, a reading, a remark."""
_OF_REMARKS, _WORD = frozenset({"row_too_long", "cell_not_a_number", "not_a_time"}), re.compile(r"[^\W\d_]{3}")
_FEWEST_ROWS, _MOSTLY = 5, 0.6
_MARKED_UP = re.compile(rb"<[A-Za-z/?!]|%PDF")
"""No text, as ``<14:03:12> <sam> 45`` is."""
_KINDS = {
    "\t": "table_tabs",
    ";": "table_semicolons",
    ",": "table_commas",
    "|": "table_bars",
    " ": "table",
    "": "table",
}


def read_text(source: Source, request: Request) -> Readings:
    """Return the readings of a text file: a table, or notes."""
    rows = of_titled_vehicle(source, split_rows(source), request.session)
    cues = cue_lines(rows.text)
    if cues:
        return read_notes(source, cues, request, heading="elapsed")
    table = table_for(rows, "speed")
    long = long_table(rows, table, for_track=False)
    if long is not None:
        return read_table(source, long, request, kind="table_long")
    if table is not None and (request.column is not None or _is_readings(table)):
        try:
            return read_table(source, table, request, kind=_KINDS[rows.delimiter])
        except ReadingsFormatError as error:
            if len(table.header) > _MOST_IN_NOTES or not _are_remarks(error, rows):
                raise
            with suppress(ReadingsFormatError):
                return read_notes(source, rows.text, request, heading=rows.remarks)
            raise
    if table is None:
        _ask_for_header(source, rows)
    return read_notes(source, rows.text, request, heading=rows.remarks)


def _are_remarks(error: ReadingsFormatError, rows: Rows) -> bool:
    """Tell whether all that is wrong with a table are words beside numbers, in a cell of their own or another."""
    beside = {line: text.partition(",")[2] or text for line, text in rows.text}
    faults = [(problem.code, problem.line) for problem in error.problems] or [(error.code, error.line)]
    words = [beside.get(line or 0, "") for code, line in faults if code in _OF_REMARKS]
    return len(words) == len(faults) and all(_WORD.search(text) and re.search(r"\d", text) for text in words)


def _ask_for_header(source: Source, rows: Rows) -> None:
    """Refuse rows of numbers in more columns than notes have, and no names above them."""
    width = usual_width(rows.cells)
    alike = [cells for cells in rows.cells if len(cells) == width and is_all_data(cells)]
    if width > _MOST_IN_NOTES and len(alike) >= _FEWEST_ROWS and 2 * len(alike) > len(rows.cells):
        source.fail("no_names_above", line=rows.line[0], width=width, found=rows.text[0][1])


def _is_readings(table: Table) -> bool:
    """Tell a table from notes with a title: it has several columns, or one that mostly holds nothing but numbers.

    Where times or words stand under the name of a speed, ``Speedo, mph`` and ``time - speedo`` were titles.
    """
    named = [read_heading(name).role for name in table.header]
    roles = set(named)
    as_notes = len(named) <= _MOST_IN_NOTES or table.delimiter == " "
    if as_notes and table.rows and any(map(_is_no_speed, named, table.rows[0])):
        return False
    if len(table.header) > 1:
        return bool(roles - {""}) or len(table.header) > _MOST_IN_NOTES
    numbers = np.isfinite(parse_numbers(table.column(0), decimal_comma=True).values)
    alone = len(table.rows[0]) == 1 and bool(numbers[0]) and numbers.mean() > _MOSTLY
    return "speed" in roles and alone and not any(map(str.isdigit, table.header[0]))


def _is_no_speed(role: str, cell: str) -> bool:
    """Tell whether a cell under the name of a speed holds a time, or a unit alone."""
    stamp = parse_stamp(cell) if role == "speed" else None
    return (stamp is not None and stamp.kind != "number") or (role == "speed" and parse_speed_unit(cell) is not None)


def _read_track(source: Source, request: Request) -> Track:
    rows = of_titled_vehicle(source, split_rows(source), request.session)
    table = table_for(rows, "latitude")
    long = long_table(rows, table, for_track=True)
    if long is not None:
        return read_table_track(source, long, request, kind="track_table_long")
    if table is None:
        _ask_for_header(source, rows)
        source.fail("no_table")
    return read_table_track(source, table, request, kind=f"track_{_KINDS[rows.delimiter]}")


def _is_text(source: Source) -> bool:
    head = source.data[:4096]
    if head[:2] in (b"\xff\xfe", b"\xfe\xff"):
        return True
    binary = sum(1 for byte in head if byte < 32 and byte not in b"\t\n\v\f\r\x1a")
    return binary <= 2 and not _MARKED_UP.match(head.lstrip(b"\xef\xbb\xbf \t\r\n"))


FORMAT = LogFormat("text", _is_text, track=_read_track, readings=read_text, certain=False)
