"""A log and notes in one file or given for each other, one speed in two units, and clocks that were never set."""

from __future__ import annotations

import zipfile
from datetime import UTC, datetime

import numpy as np
import pytest

from speedcal.errors import SpeedcalError
from speedcal.logs import read_readings, read_track, read_track_beside
from speedcal.units import KMH_MPS, MPH_MPS

START_S = datetime(2026, 3, 17, 14, 0, 0, tzinfo=UTC).timestamp()
N = 120
LATITUDE = 48.0 + np.arange(N) * 2e-4
SHOWN_MPH = (31, 44, 52, 60, 47, 38)
NOTED_S = START_S + 7 + 17.0 * np.arange(len(SHOWN_MPH))


def _file(tmp_path, text, name="file.csv"):
    path = tmp_path / name
    path.write_text(text, encoding="utf-8")
    return path


def _when(time_s, form="%Y-%m-%dT%H:%M:%SZ"):
    return datetime.fromtimestamp(time_s, UTC).strftime(form)


FIXES = [f"{_when(START_S + i)},{LATITUDE[i]:.6f},11.5,{22.24:.2f}" for i in range(N)]
NOTES = [f"{_when(t, '%H:%M:%S')},{mph}" for t, mph in zip(NOTED_S, SHOWN_MPH, strict=True)]
LOG, NOTED = "time,lat,lon,speed m/s", "clock,speedo mph"


def _beside(between):
    notes = [NOTED, *NOTES, *[","] * (N - len(NOTES))]
    return "\n".join(f"{fix}{between}{note}" for fix, note in zip([LOG, *FIXES], notes, strict=True))


@pytest.mark.parametrize(
    "text",
    [
        "\n".join([LOG, *FIXES, "", NOTED, *NOTES]),
        "\n".join([NOTED, *NOTES, "", LOG, *FIXES]),
        _beside(","),
        _beside(",,"),
    ],
    ids=["notes below", "notes above", "beside", "beside, with a column between"],
)
def test_a_log_and_notes_in_one_file_are_both_read(tmp_path, text):
    """The readings keep the watch they were noted by: they are not put on the fixes of the rows they stand in."""
    path = _file(tmp_path, text)
    track, readings = read_track(path), read_readings(path)
    np.testing.assert_allclose(track.time_s, START_S + np.arange(N))
    np.testing.assert_allclose(track.latitude_deg, LATITUDE, atol=1e-6)
    assert readings.clock == "time of day"
    np.testing.assert_allclose(readings.time_s, NOTED_S % 86400)
    np.testing.assert_allclose(readings.speed_mps, np.array(SHOWN_MPH) * MPH_MPS)


def test_two_times_of_one_log_are_one_log(tmp_path):
    """A receiver that loses its fix at the end writes no time then; the dial in the same rows goes on."""
    rows = [f"{i},{_when(START_S + i)},{LATITUDE[i]:.6f},11.5,{40 + i % 20}" for i in range(N)]
    rows[-20:] = [f"{i},,,,{40 + i % 20}" for i in range(N - 20, N)]
    readings = read_readings(_file(tmp_path, "\n".join(["elapsed s,gps time,lat,lon,speedo mph", *rows])))
    assert (readings.clock, len(readings)) == ("gps", N - 20)


def test_two_tables_of_readings_are_a_question(tmp_path):
    """Neither alone is the drive."""
    path = _file(tmp_path, "\n".join([NOTED, *NOTES, "", "clock,dial km/h", *NOTES]))
    with pytest.raises(SpeedcalError) as caught:
        read_readings(path)
    assert (caught.value.code, caught.value.line) == ("second_table", 9)


def test_files_given_for_each_other_are_called_so(tmp_path):
    """Two files of notes are no such case."""
    log = _file(tmp_path, "\n".join([LOG, *FIXES]), "one.csv")
    notes = _file(tmp_path, "\n".join([NOTED, *NOTES]), "two.csv")
    for other, code in ((log, "files_exchanged"), (notes, "no_positions")):
        with pytest.raises(SpeedcalError) as caught:
            read_track_beside(notes, other)
        assert caught.value.code == code


@pytest.mark.parametrize(
    ("between", "behind"), [(" mph (", " km/h)"), ("mph/", "kph"), (" mph = ", " km/h"), (" mph or ", "km/h")]
)
@pytest.mark.parametrize("form", ["{when} {speed}", "{when},{speed}"])
def test_a_speed_said_in_two_units_is_one_reading(tmp_path, between, behind, form):
    """44 mph is 70.8 km/h; the first was read, the second worked out."""
    said = [f"{mph}{between}{mph * MPH_MPS / KMH_MPS:.0f}{behind}" for mph in SHOWN_MPH]
    rows = [form.format(when=note[:8], speed=speed) for note, speed in zip(NOTES, said, strict=True)]
    readings = read_readings(_file(tmp_path, "\n".join(["time,speedo", *rows] if "," in form else rows)))
    assert readings.speed_unit == "mph"
    np.testing.assert_allclose(readings.speed_mps, np.array(SHOWN_MPH) * MPH_MPS)


def test_the_rounder_of_two_units_was_read(tmp_path):
    """The one with decimals was worked out."""
    rows = [f"{note[:8]},{mph * 1.609344:.1f},{mph}" for note, mph in zip(NOTES, SHOWN_MPH, strict=True)]
    readings = read_readings(_file(tmp_path, "\n".join(["time,dial km/h,dial mph", *rows])))
    assert readings.speed_unit == "mph"
    np.testing.assert_allclose(readings.speed_mps, np.array(SHOWN_MPH) * MPH_MPS)
    others = [row.rsplit(",", 1)[0] + f",{mph + 3}" for row, mph in zip(rows, SHOWN_MPH, strict=True)]
    with pytest.raises(SpeedcalError) as caught:  # another instrument
        read_readings(_file(tmp_path, "\n".join(["time,dial km/h,dial mph", *others])))
    assert caught.value.code == "several_speed_columns"


@pytest.mark.parametrize("begin_s", [0.0, 315_532_800.0, 315_964_800.0, 946_684_800.0])
def test_a_track_of_a_clock_that_was_never_set_keeps_its_times_of_day(tmp_path, begin_s):
    """Midnight of 1 January 1970, 1980 and 2000, and of 6 January 1980, week 0 of GPS."""
    shift_s = begin_s - START_S // 86400 * 86400
    points = "".join(
        f'<trkpt lat="{LATITUDE[i]:.6f}" lon="11.5"><time>{_when(START_S + i + shift_s)}</time></trkpt>'
        for i in range(N)
    )
    track = read_track(_file(tmp_path, f'<gpx version="1.1"><trk><trkseg>{points}</trkseg></trk></gpx>'))
    assert not track.has_date
    assert [(found.code, found.values["of"]) for found in track.findings] == [("clock_never_set", "fixes")]
    np.testing.assert_allclose(track.time_s % 86400, (START_S + np.arange(N)) % 86400)


@pytest.mark.published("IS-GPS-200, 3.3.4; IERS Bulletin C 52")
@pytest.mark.parametrize(
    ("header", "scale"), [("week,tow", 1), ("GPS Week,GPS time of week [ms]", 1000), ("GPSWeek,GPSSecondsOfWeek", 1)]
)
def test_weeks_and_their_seconds_are_instants(tmp_path, header, scale):
    """Week 2410 began on 2026-03-15, 2409 having begun 7 days before; GPS was 18 s ahead of UTC."""
    of_week_s = START_S - datetime(2026, 3, 15, tzinfo=UTC).timestamp() + 18
    rows = [f"2410,{(of_week_s + i) * scale:.0f},{LATITUDE[i]:.6f},11.5" for i in range(N)]
    track = read_track(_file(tmp_path, "\n".join([f"{header},lat,lon", *rows])))
    assert track.has_date
    np.testing.assert_allclose(track.time_s, START_S + np.arange(N))


@pytest.mark.parametrize("form", ["%Y%m%dT%H%M%SZ", "%Y%m%dT%H%M%S+0000", "%Y%m%d_%H%M%SZ"])
def test_figures_with_their_zone_keep_it(tmp_path, form):
    """``20260317T140007Z`` is UTC, whatever zone the user names for others."""
    rows = [f"{_when(t, form)} {mph} mph" for t, mph in zip(NOTED_S, SHOWN_MPH, strict=True)]
    readings = read_readings(_file(tmp_path, "\n".join(rows)), zone="+05:00")
    assert readings.clock == "utc"
    np.testing.assert_allclose(readings.time_s, NOTED_S)
    np.testing.assert_allclose(readings.speed_mps, np.array(SHOWN_MPH) * MPH_MPS)


def test_numbers_of_two_people_are_a_question(tmp_path):
    """The title says what they are; whose count is asked, and one may be named."""
    rows = [f"{note},{int(note.rpartition(',')[2]) + 1}" for note in NOTES]
    path = _file(tmp_path, "\n".join(["Speedo in mph", "time,me,passenger", *rows]))
    with pytest.raises(SpeedcalError) as caught:
        read_readings(path)
    assert (caught.value.code, caught.value.values["columns"]) == ("several_speed_columns", ["me", "passenger"])
    np.testing.assert_allclose(read_readings(path, column="me").speed_mps, np.array(SHOWN_MPH) * MPH_MPS)


def _gpx(first, last):
    points = "".join(
        f'<trkpt lat="{LATITUDE[i]:.6f}" lon="11.5"><time>{_when(START_S + i)}</time></trkpt>'
        for i in range(first, last)
    )
    head = '<?xml version="1.0" encoding="UTF-8"?>\n<gpx version="1.1" xmlns="http://www.topografix.com/GPX/1/1">'
    return f"{head}<trk><name>Hill & Dale</name><trkseg>{points}</trkseg></trk></gpx>\n"


@pytest.mark.parametrize(
    "text",
    [_gpx(0, 70).replace("&", "&amp;") + _gpx(70, N).replace("&", "&amp;"), _gpx(0, N), _gpx(0, N) + "\x1a\x1a~~~"],
    ids=["one behind another", "a bare and", "rubbish behind"],
)
def test_a_gpx_file_that_people_put_together_is_read_whole(tmp_path, text):
    """No fix is lost, in either part."""
    np.testing.assert_allclose(read_track(_file(tmp_path, text)).time_s, START_S + np.arange(N))


@pytest.mark.parametrize(
    ("name", "per_s"), [("t_us", 1e6), ("elapsed_ns", 1e9), ("t [ns]", 1e9), ("us", 1e6), ("time (h)", 1 / 3600)]
)
def test_times_have_the_unit_that_their_header_names(tmp_path, name, per_s):
    """Taken as milliseconds, two minutes were 1.4 days or four years; taken as parts of a day, 48 minutes."""
    rows = [f"{i * per_s:.7f},{40 + i % 30}" if per_s < 1 else f"{i * per_s:.0f},{40 + i % 30}" for i in range(N)]
    readings = read_readings(_file(tmp_path, "\n".join([f"{name},vehicle speed (km / h)", *rows])))
    assert readings.clock == "elapsed"
    np.testing.assert_allclose(readings.time_s, np.arange(N), atol=1e-3)


def test_a_log_is_found_among_what_came_with_it(tmp_path):
    """A word of thanks holds hardly a figure."""
    path = tmp_path / "export.zip"
    with zipfile.ZipFile(path, "w") as archive:
        archive.writestr("log.csv", "\n".join([NOTED, *NOTES]))
        archive.writestr("readme.txt", "Thank you\nfor using\nthe logger.\nVersion 2\nSee the manual.\n")
    np.testing.assert_allclose(read_readings(path).speed_mps, np.array(SHOWN_MPH) * MPH_MPS)


def test_fixes_of_the_phone_network_are_left_out(tmp_path):
    """They lie 50 m aside, and the column says whose they are."""
    rows = [f"{fix},gps" if i % 10 else f"{fix.replace('11.5', '11.501')},network" for i, fix in enumerate(FIXES)]
    track = read_track(_file(tmp_path, "\n".join([f"{LOG},provider", *rows])))
    assert track.dropped == {"marked_invalid": 12}
    np.testing.assert_allclose(track.longitude_deg, 11.5)


def test_lines_of_a_camera_are_fixes(tmp_path):
    """``N:48.000000 E:11.500000`` with the time before and the speed behind, as it is burnt into a film."""
    rows = [
        f"{_when(START_S + i, '%Y/%m/%d %H:%M:%S')}+01:00  N:{LATITUDE[i]:.6f} E:11.500000 80 km/h" for i in range(N)
    ]
    track = read_track(_file(tmp_path, "\n".join(rows), "camera.txt"))
    np.testing.assert_allclose(track.time_s, START_S - 3600 + np.arange(N))
    np.testing.assert_allclose(track.speed_mps, 80 * KMH_MPS)
