"""Plain notes and waypoints: one reading a line, as a passenger writes them."""

from __future__ import annotations

import numpy as np
import pytest
from support.logfiles import notes, small_drive, waypoints

from speedcal.errors import ReadingsFormatError, TrackFormatError
from speedcal.logs import read_readings, read_track

MPH_MPS = 0.44704


def _read(tmp_path, text, **options):
    path = tmp_path / "notes.txt"
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    return read_readings(path, **options)


@pytest.mark.parametrize(
    "text",
    [
        "10:32 am  45 mph\n10:33 am  50 mph",
        "45 mph at 10:32 AM\n50 mph at 10:33 AM",
        "10:32am, 45mph\n10:33am, 50mph",
        "10:32 a.m. - 45\n10:33 a.m. - 50 mph",
        "mph\n10:32 am 45\n10:33 am 50",
        "Test drive 2 in the valley, mph\n\n10:32 am: 45\n10:33 am: 50",
        "time  mph\n10:32 am  45\n10:33 am  50",
        "time  dial (mph)\n10:32 AM  45\n10:33 AM  50",
        "time  dial mph\n10:32 a.m.  45\n10:33 a.m.  50",
        "10:32 am\t45 mph\n10:33 am\t50 mph",
        "10:32 am; 45 mph; rough road\n10:33 am; 50 mph",
    ],
)
def test_notes_are_read_however_they_are_written(tmp_path, text):
    """Order, marks between, the unit once or behind every reading, a title, a remark."""
    readings = _read(tmp_path, text)
    assert readings.clock == "time of day"
    np.testing.assert_array_equal(readings.time_s, [37920, 37980])
    np.testing.assert_allclose(readings.speed_mps / MPH_MPS, [45, 50])
    assert readings.time_resolution_s == 60


def test_iso_stamps_without_a_header_are_read(tmp_path):
    """A log somebody cut the header off."""
    readings = _read(tmp_path, "2021-07-26T04:40:50.725Z,45\n2021-07-26T04:40:51.225Z,46\n", unit="km/h")
    assert readings.clock == "utc"
    np.testing.assert_allclose(np.diff(readings.time_s), 0.5)
    np.testing.assert_allclose(readings.speed_mps * 3.6, [45, 46])


@pytest.mark.parametrize(
    "text", ["30\n40\n50", "30 mph\n40 mph\n50 mph", "30, 40, 50", "30 40 50 mph", "held\n30\n40\n50"]
)
def test_speeds_without_times_are_held_speeds(tmp_path, text):
    """In their order, on lines of their own or in one."""
    readings = _read(tmp_path, text, unit="mph")
    assert readings.clock == "none"
    assert readings.kind == "held_speeds"
    np.testing.assert_allclose(readings.speed_mps / MPH_MPS, [30, 40, 50])


def test_lines_with_a_time_and_no_speed_are_counted(tmp_path):
    """A stop that was noted is no reading."""
    readings = _read(tmp_path, "10:32:15 45 mph\n10:33:00 stopped for a train\n10:35:15 50 mph\n")
    assert len(readings) == 2
    assert readings.dropped == {"line_without_speed": 1}


def test_every_line_that_cannot_be_understood_is_listed(tmp_path):
    """Two numbers, no time, a slip of the pen."""
    text = "10:32:15 45 mph\n10:33:15 45 and 46\n47 mph\n10:34:15 4S\nwhat a day\n10:36:15 50 mph\n"
    with pytest.raises(ReadingsFormatError) as caught:
        _read(tmp_path, text)
    message = str(caught.value)
    assert "3 problems" in message
    assert "line 2: '10:33:15 45 and 46' has 2 numbers" in message
    assert "line 3: there is no time in this line" in message
    assert "line 4: there is no reading in '10:34:15 4S'" in message
    assert "what a day" not in message, "a remark is no problem"


def test_notes_without_a_unit_or_with_two_are_refused(tmp_path):
    """Never guessed."""
    with pytest.raises(ReadingsFormatError, match="the unit of the speeds is not stated"):
        _read(tmp_path, "10:32:15 45\n10:33:15 50\n")
    with pytest.raises(ReadingsFormatError, match="several units are named: mph, km/h"):
        _read(tmp_path, "10:32:15 45 mph\n10:33:15 50 km/h\n")


def test_notes_of_a_drive_are_the_readings_that_were_written(tmp_path):
    """One in four readings of the small drive."""
    drive = small_drive()
    readings = _read(tmp_path, notes(drive))
    np.testing.assert_allclose(readings.speed_mps / MPH_MPS, drive.shown_mph[::4])
    np.testing.assert_array_equal(readings.time_s, drive.time_s[::4] % 86400)


def test_waypoints_named_with_the_reading_are_readings_on_the_clock_of_the_track(tmp_path):
    """One in five readings of the small drive; the track of the same file is read as ever."""
    drive = small_drive()
    path = tmp_path / "drive.gpx"
    path.write_bytes(waypoints(drive))
    readings = read_readings(path)
    assert readings.clock == "gps"
    np.testing.assert_array_equal(readings.time_s, drive.time_s[::5])
    np.testing.assert_allclose(readings.speed_mps / MPH_MPS, drive.shown_mph[::5])
    assert len(read_track(path)) == len(drive.time_s)


def _waypoint(second, name, inside=""):
    return f'<wpt lat="1" lon="2"><time>2020-09-13T12:26:{second:02d}Z</time><name>{name}</name>{inside}</wpt>'


def test_waypoints_with_other_names_are_left_out_and_counted(tmp_path):
    """A number in a name is not yet a speed; the comment may hold it."""
    path = tmp_path / "marks.gpx"
    marks = [
        _waypoint(1, "45"),
        _waypoint(2, "Speedo 50 MPH"),
        _waypoint(3, "WP007"),
        _waypoint(4, "Exit 12"),
        _waypoint(5, "WP008", "<cmt>shown: 55 mph</cmt>"),
    ]
    path.write_text(f'<gpx version="1.1" xmlns="http://www.topografix.com/GPX/1/1">{"".join(marks)}</gpx>')
    readings = read_readings(path)
    np.testing.assert_allclose(readings.speed_mps / MPH_MPS, [45, 50, 55])
    assert readings.dropped == {"waypoint_without_speed": 2}
    path.write_text(f'<gpx version="1.1">{_waypoint(1, "45")}</gpx>')
    with pytest.raises(ReadingsFormatError, match="the unit of the speeds is not stated"):
        read_readings(path)
    path.write_text(f'<gpx version="1.1">{_waypoint(1, "home")}</gpx>')
    with pytest.raises(ReadingsFormatError, match="no waypoint that is named with a speed"):
        read_readings(path)
    with pytest.raises(TrackFormatError, match="the track has no usable fix"):
        read_track(path)


@pytest.mark.parametrize("mark", [".", ")"])
def test_the_items_of_a_list_may_be_numbered(tmp_path, mark):
    """The number of the item is no speed."""
    readings = _read(tmp_path, f"1{mark} 10:32 am 45 mph\n2{mark} 10:33 am 50 mph\n")
    np.testing.assert_allclose(readings.speed_mps / MPH_MPS, [45, 50])


def test_bad_lines_are_named_before_a_missing_unit(tmp_path):
    """Whoever forgot both sees first what stands in the way."""
    with pytest.raises(ReadingsFormatError, match="'10:32:05 45 50' has 2 numbers"):
        _read(tmp_path, "10:32:05 45 50\n10:33:05 60 65\n")
