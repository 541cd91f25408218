"""A few rows that cannot be read are left out, counted and named; a file of many is refused."""

from __future__ import annotations

from datetime import UTC, datetime

import numpy as np
import pytest
from support.logfiles import TRACKS, small_drive

from speedcal.errors import SpeedcalError
from speedcal.finding import codes_of
from speedcal.logs import read_readings, read_track
from speedcal.vehicle.train.engine_speed import read_engine_speed

DRIVE = small_drive()
CLOCK = [datetime.fromtimestamp(t, UTC).strftime("%H:%M:%S") for t in DRIVE.time_s]
BAD = 17
"""Which of the forty rows is bad; the table has it in line 19, notes without a header in line 18."""


def _file(tmp_path, text, name="log.txt"):
    path = tmp_path / name
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    return path


def _table(rows):
    return "time,dial (mph)\n" + "".join(f"{time},{speed}\n" for time, speed in rows)


def _notes(rows):
    return "".join(f"{time}  {speed} mph\n" for time, speed in rows)


def _rows(change):
    rows = [[time, f"{speed:.0f}"] for time, speed in zip(CLOCK, DRIVE.shown_mph, strict=True)]
    change(rows)
    return rows


def _with(time, speed):
    def change(rows):
        rows[BAD] = [time or rows[BAD][0], speed]

    return change


@pytest.mark.parametrize(
    ("write", "time", "speed", "reason", "line"),
    [
        (_table, None, "-5", "impossible_speed", 19),
        (_table, None, "1000", "impossible_speed", 19),
        (_table, None, "fast", "cell_not_a_number", 19),
        (_table, None, "4S", "cell_not_a_number", 19),
        (_table, None, "45,99", "row_too_long", 19),
        (_table, "soon", "45", "not_a_time", 19),
        (_table, "10:75:05", "45", "not_a_time", 19),
        (_notes, None, "4S", "no_reading_in_line", 18),
        (_notes, None, "45 47", "several_numbers", 18),
        (_notes, None, "over 80", "one_sided", 18),
        (_notes, "12:2O:00", "45", "letter_for_digit", 18),
        (_notes, " ", "45", "no_time_in_line", 18),
        (_notes, None, "1000", "impossible_speed", 18),
    ],
)
def test_one_bad_row_is_left_out_counted_and_named(tmp_path, write, time, speed, reason, line):
    """The others are as they were, and the sentence names the line."""
    readings = read_readings(_file(tmp_path, write(_rows(_with(time, speed)))))
    np.testing.assert_allclose(readings.speed_mps / 0.44704, np.delete(DRIVE.shown_mph, BAD), rtol=1e-12)
    np.testing.assert_array_equal(np.diff(readings.time_s), np.diff(np.delete(DRIVE.time_s, BAD)))
    assert readings.dropped == {reason: 1}
    (finding,) = readings.findings
    assert f"line {line}: " in finding.text


@pytest.mark.parametrize("cell", ["", "NaN", "--", "n/a"])
def test_one_cell_without_a_value_is_counted(tmp_path, cell):
    readings = read_readings(_file(tmp_path, _table(_rows(_with(None, cell)))))
    np.testing.assert_allclose(readings.speed_mps / 0.44704, np.delete(DRIVE.shown_mph, BAD), rtol=1e-12)
    assert readings.dropped == {"speed_missing": 1}


@pytest.mark.parametrize(("count", "read"), [(8, True), (9, False)])
def test_from_more_than_a_fifth_on_it_is_the_file_that_is_wrong(tmp_path, count, read):
    """Of forty rows; the first of them stands in the message with its line."""

    def change(rows):
        for i in range(count):
            rows[4 * i][1] = f"-{i + 1}"

    path = _file(tmp_path, _table(_rows(change)))
    if read:
        readings = read_readings(path)
        assert (len(readings), readings.dropped) == (32, {"impossible_speed": 8})
        return
    with pytest.raises(SpeedcalError) as caught:
        read_readings(path)
    assert [problem.line for problem in caught.value.problems] == [2 + 4 * i for i in range(9)]


def test_a_ditto_mark_does_not_reach_over_a_line_that_cannot_be_read(tmp_path):
    """It repeats that line and not the one before; below the next good line it counts again."""

    def change(rows):
        rows[BAD][1], rows[BAD + 1][1], rows[BAD + 3][1] = "45 or so 63", '"', '"'

    readings = read_readings(_file(tmp_path, _notes(_rows(change)).replace('" mph', '"')))
    assert readings.dropped == {"several_numbers": 1, "repeats_unread": 1}
    left = np.delete(DRIVE.shown_mph, [BAD, BAD + 1])
    left[BAD + 1] = left[BAD]
    np.testing.assert_allclose(readings.speed_mps / 0.44704, left, rtol=1e-12)


def test_a_bad_row_of_the_engine_speed_is_left_out_and_named(tmp_path):
    rows = [f"{time},{2000 + 10 * i}" for i, time in enumerate(CLOCK)]
    rows[BAD] = f"{CLOCK[BAD]},idle"
    engine = read_engine_speed(_file(tmp_path, "time,engine rpm\n" + "\n".join(rows) + "\n"))
    np.testing.assert_array_equal(engine.speed_mps, np.delete(2000 + 10 * np.arange(40), BAD))
    assert engine.dropped == {"cell_not_a_number": 1}
    assert codes_of(engine.findings) == {"rows_unreadable"}


@pytest.mark.parametrize("kind", ["gpx 1.0", "gpx 1.1"])
@pytest.mark.parametrize("fixes", [9, 10, 25])
def test_a_recording_that_ends_too_early_is_read_as_far_as_it_goes(tmp_path, kind, fixes):
    """A phone whose battery was empty; a few fixes are no drive."""
    data = TRACKS[kind](DRIVE)
    marks = [at for at in range(len(data)) if data.startswith(b"<trkpt", at)]
    path = _file(tmp_path, data[: marks[fixes] + 30], "drive.gpx")
    if fixes < 10:
        with pytest.raises(SpeedcalError) as caught:
            read_track(path)
        assert caught.value.code == "damaged_xml"
        return
    track = read_track(path)
    np.testing.assert_array_equal(track.time_s, DRIVE.time_s[:fixes])
    np.testing.assert_array_equal(track.latitude_deg, DRIVE.latitude_deg[:fixes])
    assert "cut_off" in codes_of(track.findings)


@pytest.mark.parametrize("name", [name for name in TRACKS if "fit" not in name and "zip" not in name])
def test_what_a_logger_leaves_behind_when_its_power_goes_is_no_part_of_the_text(tmp_path, name):
    """Bytes of zero up to the end of the block."""
    data = TRACKS[name](DRIVE)
    whole, padded = (read_track(_file(tmp_path, text)) for text in (data, data + bytes(700)))
    np.testing.assert_array_equal(padded.time_s, whole.time_s)
    np.testing.assert_array_equal(padded.latitude_deg, whole.latitude_deg)


def test_a_ditto_mark_in_a_table_repeats_the_cell_above(tmp_path):
    """As in notes; below a cell that cannot be read it repeats that, and neither is used."""
    rows = _rows(lambda rows: rows[3].__setitem__(1, '"'))
    np.testing.assert_allclose(
        read_readings(_file(tmp_path, _table(rows))).speed_mps[3] / 0.44704, DRIVE.shown_mph[2], rtol=1e-12
    )
    rows[2][1] = "4S"
    readings = read_readings(_file(tmp_path, _table(rows)))
    np.testing.assert_allclose(readings.speed_mps / 0.44704, np.delete(DRIVE.shown_mph, [2, 3]), rtol=1e-12)
    assert readings.dropped == {"cell_not_a_number": 2}
