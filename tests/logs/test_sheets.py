"""Spreadsheets as people type them: written by openpyxl and odfpy, the independent libraries."""

from __future__ import annotations

import re
import warnings
import zipfile
from datetime import datetime, time, timedelta

import numpy as np
import openpyxl
import pytest
from odf.opendocument import OpenDocumentSpreadsheet
from odf.table import Table, TableCell, TableRow
from odf.text import P
from support.logfiles import small_drive, zipped

from speedcal.errors import ReadingsFormatError
from speedcal.logs import read_readings, read_track

MPH_MPS = 0.44704


def _xlsx(path, *rows, merge=None, second=None):
    book = openpyxl.Workbook()
    sheet = book.active
    for row in rows:
        sheet.append(row)
    if merge:
        sheet.merge_cells(merge)
    if second:
        other = book.create_sheet("data")
        for row in second:
            other.append(row)
    book.save(path)
    return path


def test_a_sheet_with_a_title_a_merged_header_and_empty_lines_is_read(tmp_path):
    """Rows keep their numbers, remarks beside the table are ignored."""
    path = _xlsx(
        tmp_path / "road test.xlsx",
        ["Road test of an invented van"],
        [],
        ["First drive", None, "remarks"],
        ["time", "indicated mph", None],
        [time(10, 32, 15), 45, "2 lanes"],
        [],
        [time(10, 33, 20), 50.5, None, "12"],
        merge="A3:B3",
    )
    readings = read_readings(path)
    np.testing.assert_array_equal(readings.time_s, [37935, 38000])
    np.testing.assert_allclose(readings.speed_mps / MPH_MPS, [45, 50.5])
    np.testing.assert_array_equal(readings.line, [5, 7])
    assert readings.kind == "sheet_xlsx"


@pytest.mark.parametrize(
    ("cells", "clock", "seconds"),
    [
        ([datetime(2021, 7, 26, 12), datetime(2021, 7, 26, 12, 0, 30)], "local", [1627300800, 1627300830]),
        ([time(10, 32), time(10, 40)], "time of day", [37920, 38400]),
        ([timedelta(seconds=30), timedelta(seconds=312)], "elapsed", [30, 312]),
        (["10:32 am", "10:40 am"], "time of day", [37920, 38400]),
        ([44403.5, 44403.50069444444], "local", [1627300800, 1627300860]),
    ],
)
def test_times_in_cells_of_every_type_are_read(tmp_path, cells, clock, seconds):
    """Dates, times, durations, text, bare day numbers."""
    path = _xlsx(tmp_path / "t.xlsx", ["time", "speed km/h"], *([cell, 45] for cell in cells))
    readings = read_readings(path)
    assert readings.clock == clock
    np.testing.assert_allclose(readings.time_s, seconds, atol=1e-3)


def test_the_sheet_with_the_readings_is_found(tmp_path):
    """A cover sheet comes first."""
    path = _xlsx(
        tmp_path / "t.xlsx", ["Vehicle", "van"], ["mass kg", 2000], second=[["time", "mph"], [time(10, 32, 15), 45]]
    )
    assert len(read_readings(path)) == 1


def test_a_track_in_a_sheet_is_read(tmp_path):
    """Columns as in a table."""
    drive = small_drive()
    rows = zip(drive.iso, drive.latitude_deg, drive.longitude_deg, drive.speed_mps, strict=True)
    path = _xlsx(
        tmp_path / "t.xlsx", ["time", "lat", "lon", "speed m/s"], *([t, *map(float, rest)] for t, *rest in rows)
    )
    track = read_track(path)
    np.testing.assert_array_equal(track.latitude_deg, drive.latitude_deg)
    np.testing.assert_array_equal(track.speed_mps, drive.speed_mps)


def _ods(path, *rows):
    book = OpenDocumentSpreadsheet()
    table = Table(name="drive")
    for row in rows:
        line = TableRow()
        for value in row:
            if isinstance(value, float):
                cell = TableCell(valuetype="float", value=value)
            elif isinstance(value, time):
                cell = TableCell(valuetype="time", timevalue=value.strftime("PT%HH%MM%SS"))
                cell.addElement(P(text=value.strftime("%H:%M:%S")))
            else:
                cell = TableCell(valuetype="string")
                cell.addElement(P(text=value))
            line.addElement(cell)
        line.addElement(TableCell(numbercolumnsrepeated=16380))
        table.addElement(line)
    table.addElement(TableRow(numberrowsrepeated=1048000))
    book.spreadsheet.addElement(table)
    book.save(path)
    return path


def test_an_open_document_sheet_is_read(tmp_path):
    """With the endless empty cells that such programs add."""
    path = _ods(
        tmp_path / "t.ods",
        ["Road test"],
        ["time", "indicated km/h"],
        [time(10, 32, 15), 45.0],
        [time(10, 33, 20), 50.5],
    )
    readings = read_readings(path)
    np.testing.assert_array_equal(readings.time_s, [37935, 38000])
    np.testing.assert_allclose(readings.speed_mps * 3.6, [45, 50.5])
    np.testing.assert_array_equal(readings.line, [3, 4])
    assert readings.kind == "sheet_ods"


def test_a_sheet_without_a_table_is_refused(tmp_path):
    """With what to write instead."""
    with pytest.raises(ReadingsFormatError, match="no sheet holds a header row above data"):
        read_readings(_xlsx(tmp_path / "t.xlsx", ["nothing"], ["here"]))


def test_a_damaged_workbook_is_refused(tmp_path):
    """Never a traceback of the library."""
    path = tmp_path / "t.xlsx"
    path.write_bytes(zipped("xl/workbook.xml", b"<workbook"))
    with pytest.raises(ReadingsFormatError, match="cannot be read as a spreadsheet"):
        read_readings(path)


def test_bad_cells_are_listed_with_their_rows(tmp_path):
    """As in a text file."""
    path = _xlsx(tmp_path / "t.xlsx", ["time", "mph"], [time(10, 32, 15), "4S"], ["soon", 45], [time(10, 33, 15), 46])
    with pytest.raises(ReadingsFormatError, match=r"(?s)2 problems.*line 2: '4S'.*line 3: 'soon'"):
        read_readings(path)


def test_a_workbook_without_named_styles_is_read_without_a_warning(tmp_path):
    """Small programs write such; warnings are errors here."""
    path = _xlsx(tmp_path / "t.xlsx", ["time", "mph"], ["10:32:15", 45])
    bare = tmp_path / "bare.xlsx"
    with zipfile.ZipFile(path) as full, zipfile.ZipFile(bare, "w") as archive:
        for name in full.namelist():
            data = full.read(name)
            if name == "xl/styles.xml":
                data = re.sub(rb"<cellStyles.*</cellStyles>", b"", data)
            archive.writestr(name, data)
    with warnings.catch_warnings(record=True) as caught:
        warnings.simplefilter("always")
        openpyxl.load_workbook(bare)
    assert caught, "openpyxl does warn about it"
    assert len(read_readings(bare)) == 1


def test_a_time_that_falls_on_a_full_minute_is_a_time_among_the_others(tmp_path):
    """A cell of 10:32:00 says the same as its neighbours: 10 * 3600 + 32 * 60 = 37920 s since midnight."""
    rows = [["time", "indicated mph"], [time(10, 32), 45], [time(10, 32, 40), 50], [time(10, 34), 55]]
    readings = read_readings(_xlsx(tmp_path / "typed.xlsx", *rows))
    assert readings.clock == "time of day"
    np.testing.assert_array_equal(readings.time_s, [37920, 37960, 38040])
    assert readings.time_resolution_s <= 20
