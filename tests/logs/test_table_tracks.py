"""Tracks from tables, and fixes and readings from one table."""

from __future__ import annotations

import time

import numpy as np
import pytest
from support.logfiles import START_S, one_table, small_drive

from speedcal.errors import TrackFormatError
from speedcal.logs import read_readings, read_track

T = ("2020-09-13T12:26:40Z", "2020-09-13T12:26:41Z", "2020-09-13T12:26:42Z")


def _read(tmp_path, header, *rows, **options):
    path = tmp_path / "log.csv"
    path.write_text("\n".join((header, *rows)) + "\n", encoding="utf-8")
    return read_track(path, **options)


@pytest.mark.parametrize(
    ("header", "value", "mps"),
    [
        ("speed m/s", "10", 10),
        ("Speed (km/h)", "36", 10),
        ("gps_speed_kmh", "36", 10),
        ("SOG (kn)", "10", 10 * 1852 / 3600),
        ("ground speed mph", "10", 4.4704),
        ("GPS", "36 km/h", 10),  # used to go unread
        ("gps speed", "10 mph", 4.4704),  # used to be taken for m/s
        ("speed", "10", 10),
    ],
)
def test_the_speed_of_the_receiver_is_read_in_the_unit_of_its_header(tmp_path, header, value, mps):
    """Without a unit m/s is assumed, said so, and left to be judged against the positions."""
    track = _read(tmp_path, f"time,lat,lon,{header}", f"{T[0]},45.1,9.1,{value}", f"{T[1]},45.1001,9.1,{value}")
    np.testing.assert_allclose(track.speed_mps, mps)
    assert [finding.code for finding in track.findings] == (["speed_unit_assumed"] if header == "speed" else [])


@pytest.mark.parametrize(
    ("header", "cells"),
    [
        ("lat,lon", "-45.5,-9.25"),
        ("Latitude,Longitude", "45.5S,9.25 W"),
        ("LATITUDE N/S,LONGITUDE E/W", "S45.5,W9.25"),
        ("lat,N/S,lon,E/W", "45.5,S,9.25,W"),
        ("latitude_deg,longitude_deg", "-45.5000,-9.2500"),
        ("GPS Lat,GPS Long", "-45.5,-9.25"),
        ("lat,N/S,lon,E/W", "45.5S,S,9.25W,W"),  # used to be north and east again
        ("lat,N/S,lon,E/W", "-45.5,S,-9.25,W"),
        ("Position", "S45° 30.0' W9° 15.0'"),
        ("Position", '"45°30\'00""S, 9°15\'00""W"'),
    ],
)
def test_positions_may_carry_their_side_of_the_globe_in_any_way(tmp_path, header, cells):
    """South and west are negative."""
    track = _read(tmp_path, f"time,{header}", f"{T[0]},{cells}", f"{T[1]},{cells}")
    np.testing.assert_array_equal(track.latitude_deg, [-45.5, -45.5])
    np.testing.assert_array_equal(track.longitude_deg, [-9.25, -9.25])


@pytest.mark.parametrize(
    ("header", "bad", "good"),
    [("fix", "0", "1"), ("fix type", "1", "3"), ("valid", "V", "A"), ("status", "no fix", "3D"), ("quality", "0", "1")],
)
def test_rows_that_the_receiver_marks_invalid_are_no_fixes(tmp_path, header, bad, good):
    """Words and numbers of every habit."""
    rows = [f"{time},45.1,9.1,{mark}" for time, mark in zip(T, (bad, good, good), strict=True)]
    track = _read(tmp_path, f"time,lat,lon,{header}", *rows)
    assert track.dropped == {"marked_invalid": 1}


def test_a_differential_fix_is_a_fix(tmp_path):
    """Quality 2 beside quality 1 does not make 1 invalid."""
    track = _read(tmp_path, "time,lat,lon,quality", f"{T[0]},45.1,9.1,1", f"{T[1]},45.1,9.1,2")
    assert len(track) == 2


def test_heights_in_feet_become_metres(tmp_path):
    """1000 ft = 304.8 m."""
    track = _read(tmp_path, "time,lat,lon,altitude (ft)", f"{T[0]},45.1,9.1,1000", f"{T[1]},45.1,9.1,")
    assert track.elevation_m[0] == pytest.approx(304.8)
    assert np.isnan(track.elevation_m[1])


def test_date_and_time_in_two_columns_with_a_decimal_comma(tmp_path):
    """Local stamps are taken as UTC unless a zone is given."""
    rows = ("13.09.2020;12:26:40;45,5;9,25", "13.09.2020;12:26:41;45,5001;9,25")
    track = _read(tmp_path, "Date;Time;Lat;Lon", *rows)
    np.testing.assert_array_equal(track.time_s, [START_S, START_S + 1])
    assert [finding.code for finding in track.findings] == ["time_without_zone"]
    track = _read(tmp_path, "Date;Time;Lat;Lon", *rows, zone="+02:00")
    np.testing.assert_array_equal(track.time_s, [START_S - 7200, START_S - 7199])
    assert track.findings == ()


def test_zeros_and_blanks_before_the_first_fix_are_no_fixes(tmp_path):
    """Counted by what they are."""
    rows = (f"{T[0]},0,0", f"{T[0]},,", f"{T[0]},-,NA", f"{T[1]},45.1,9.1", f"{T[2]},45.1,9.1")
    track = _read(tmp_path, "time,lat,lon", *rows)
    assert track.dropped == {"no_position": 2, "no_position_yet": 1}


def test_a_table_of_something_else_names_its_columns(tmp_path):
    """So that the user sees what was read."""
    with pytest.raises(
        TrackFormatError, match="no columns for latitude and longitude; the columns are 'time' and 'mph'"
    ):
        _read(tmp_path, "time,mph", "10:32:05,45")
    with pytest.raises(TrackFormatError, match="no column holds a time"):
        _read(tmp_path, "lat,lon", "45.1,9.1")
    with pytest.raises(TrackFormatError, match="no table with a header row"):
        _read(tmp_path, "just words")


def test_fixes_and_readings_of_one_table_share_their_clock(tmp_path):
    """The satellite speed is the track's, the indicated speed the reading."""
    drive = small_drive()
    path = tmp_path / "both.csv"
    path.write_bytes(one_table(drive))
    track, readings = read_track(path), read_readings(path)
    assert readings.clock == "gps"
    np.testing.assert_array_equal(track.time_s, readings.time_s)
    np.testing.assert_array_equal(track.speed_mps, drive.speed_mps)
    np.testing.assert_allclose(readings.speed_mps / 0.44704, drive.shown_mph)


@pytest.mark.parametrize(("form", "step"), [("%H:%M", 60), ("%H:%M:%S", 30), ("%H:%M:%S", 10)])
def test_rows_of_one_table_that_share_a_coarse_stamp_lie_evenly_in_it(tmp_path, form, step):
    """Seven minutes and a bit, a row a second: the times of fixes and readings come out to a second, and alike."""
    true = np.arange(36027, 36027 + 450)
    rows = [
        f"{time.strftime(form, time.gmtime(s // step * step))},45.{1000 + i:04d},9.5,{20 + i % 7},{40 + i // 20}"
        for i, s in enumerate(true.tolist())
    ]
    path = tmp_path / "both.csv"
    path.write_text("\n".join(("time,lat,lon,gps speed m/s,indicated mph", *rows)) + "\n", encoding="utf-8")
    track, readings = read_track(path), read_readings(path)
    np.testing.assert_allclose(track.time_s % 86400, true, atol=1.0)
    np.testing.assert_allclose(readings.time_s, track.time_s, atol=1e-6)
    assert "fixes_share_stamps" in {finding.code for finding in track.findings}


@pytest.mark.parametrize("times", [("0.0", "0.5", "1.0"), ("10:32:05", "10:32:06", "10:32:07")])
def test_one_table_without_dates_still_shares_its_clock(tmp_path, times):
    """Elapsed times and times of day start on 2000-01-01 in both."""
    path = tmp_path / "both.csv"
    rows = "\n".join(f"{time},45.1,9.{i},{40 + i}" for i, time in enumerate(times))
    path.write_text(f"time,lat,lon,indicated mph\n{rows}\n", encoding="utf-8")
    track, readings = read_track(path), read_readings(path)
    assert not track.has_date
    np.testing.assert_array_equal(track.time_s, readings.time_s)
    assert np.isnan(track.speed_mps).all()


@pytest.mark.parametrize(
    ("latitude", "longitude"),
    [
        ("45°06.6' S", "9°30.24' E"),
        ("S 45 06.600", "E 009 30.240"),
        ('"45°06\'36"" S"', '"9°30\'14.4"" E"'),
        ("-45°6′36″", "9°30′14.4″"),
    ],
)
def test_degrees_may_be_written_with_minutes_and_seconds(tmp_path, latitude, longitude):
    """45 + 6.6 / 60 = 45.11 and 9 + 30.24 / 60 = 9.504; 0.6 minutes are 36 seconds, 0.24 are 14.4."""
    track = _read(tmp_path, "time,lat,lon", f"{T[0]},{latitude},{longitude}", f"{T[1]},{latitude},{longitude}")
    np.testing.assert_allclose(track.latitude_deg, -45.11, rtol=0, atol=1e-9)
    np.testing.assert_allclose(track.longitude_deg, 9.504, rtol=0, atol=1e-9)


@pytest.mark.parametrize(
    ("names", "cells"),
    [
        (("lat_rad", "lon_rad"), ("-0.78731802", "0.16587609")),
        (("latitude (min)", "longitude (min)"), ("-2706.6", "570.24")),
        (("latE6", "lonE6"), ("-45110000", "9504000")),
        (("lat_e7", "lon_e7"), ("-451100000", "95040000")),
        (("positionLat E7", "positionLong E7"), ("-451100000", "95040000")),
        (("positionLat", "positionLon"), ("S4506.60", "E00930.24")),
        (("latitude (deg min)", "longitude (deg min)"), ("-4506.60", "00930.24")),
        (("lat ddmm.mmmm (min)", "lon dddmm.mmmm (min)"), ("-4506.60", "00930.24")),
        (("lat (minutes of a degree)", "lon (minutes of a degree)"), ("-2706.6", "570.24")),
        (("Latitude (D M S)", "Longitude (D M S)"), ("-45 06 36", "9 30 14.4")),
        (("lat d°m'", "lon d°m'"), ("-45 06.6", "9 30.24")),
        (("Breite", "Länge"), ("S 45° 06.6", "O 9° 30.24")),
        (("Breite", "Longitude"), ("45,11 Süd", "9,504 Ost")),
        (("lat", "longitude"), ("45.11 S", "9.504 E")),
    ],
)
def test_angles_are_in_what_their_headers_say(tmp_path, names, cells):
    """Of 45.11 degrees south 0.787318 radians, 2706.6 minutes; in radians the road was taken to lie off Africa."""
    header = ("time", *names, "Lat acc", "Long G")
    track = _read(tmp_path, ";".join(header), *(";".join((stamp, *cells, "0.02", "0.01")) for stamp in T[:2]))
    np.testing.assert_allclose(track.latitude_deg, -45.11, atol=1e-6)
    np.testing.assert_allclose(track.longitude_deg, 9.504, atol=1e-6)


@pytest.mark.parametrize(("unit_deg", "read"), [(1e-7, True), (1e-6, False)])
def test_whole_numbers_faster_than_any_car_as_millionths_are_ten_millionths(tmp_path, unit_deg, read):
    """20 m/s at 5.2 north, 7.1 east: as millionths they would be on the globe, at 200 m/s. Millionths may be either."""
    stamps = (f"2024-05-01T10:00:{second:02d}Z" for second in range(30))
    rows = [
        f"{stamp},{round((5.2 + 20 / 111_000 * i) / unit_deg)},{7.1 / unit_deg:.0f}" for i, stamp in enumerate(stamps)
    ]
    if read:
        np.testing.assert_allclose(_read(tmp_path, "time,lat,lon", *rows).longitude_deg, 7.1)
    else:
        with pytest.raises(TrackFormatError, match="positions such as"):
            _read(tmp_path, "time,lat,lon", *rows)


def test_an_o_beside_a_longitude_is_west_where_its_name_says_so(tmp_path):
    """Ouest and oeste, under ``longitude``."""
    track = _read(tmp_path, "heure;latitude;longitude", *(f"{stamp};45,1 N;9,5 O" for stamp in T[:2]))
    np.testing.assert_allclose(track.longitude_deg, -9.5)


def test_a_column_named_by_the_sign_of_a_number_is_one(tmp_path):
    """Its header was taken for a comment, and the names of the columns with it."""
    track = _read(tmp_path, "#,time,lat,lon", *(f"{i},{stamp},45.{i},9.1" for i, stamp in enumerate(T)))
    np.testing.assert_array_equal(track.latitude_deg, [45.0, 45.1, 45.2])


@pytest.mark.parametrize(
    "names", ["Lat acc (g),Long acc (g)", "LatForce,LongForce", "sdLat,sdLon", "Lat (m),Long (m)", "dest lat,dest lon"]
)
def test_what_stands_before_the_position_is_no_position(tmp_path, names):
    """How hard a vehicle turned and braked, how good a fix is, a grid, where it goes; they were taken for the road."""
    rows = [f"{stamp},48.2,9.1,45.{i},9.{i}" for i, stamp in enumerate(T)]
    track = _read(tmp_path, f"time,{names},Latitude,Longitude", *rows)
    np.testing.assert_array_equal(track.latitude_deg, [45.0, 45.1, 45.2])


@pytest.mark.parametrize("cells", [("-3390000", "1860000"), ("47", "310000"), ("47 grad", "8 grad"), ("48", "1000")])
def test_a_position_that_is_not_understood_is_shown(tmp_path, cells):
    """It was counted as missing, which left nothing to mend; 48,1000 was taken for 48 minutes north and 10 degrees."""
    with pytest.raises(TrackFormatError, match=f"log.csv:2: positions such as '{cells[0]}' and '{cells[1]}'"):
        _read(tmp_path, "time,lat,lon", *(",".join((stamp, *cells)) for stamp in T[:2]))


def test_sixty_minutes_are_no_part_of_a_degree(tmp_path):
    """Such a fix is left out."""
    fixes = [f"{stamp},{latitude},9" for stamp, latitude in zip(T, ("45°06.0'", "45°60.0'", "45°06.1'"), strict=True)]
    assert _read(tmp_path, "time,lat,lon", *fixes).dropped == {"no_position": 1}


def test_words_grown_together_with_gps_are_understood(tmp_path):
    """As some loggers head their columns."""
    track = _read(tmp_path, "timestamp,gpslatitude,gpslongitude", f"{T[0]},45.1,9.1", f"{T[1]},45.2,9.1")
    np.testing.assert_array_equal(track.latitude_deg, [45.1, 45.2])


def _rows_each(times, fixes):
    return [f"{START_S + i / times:.2f},{fix}" for i, fix in enumerate(np.repeat(fixes, times))]


def test_a_log_that_repeats_each_fix_until_the_next_keeps_the_first_row_of_each(tmp_path):
    """Four rows a second, one fix a second; of a vehicle that stands, one row a second is kept."""
    moving = [f"{45.1 + i * 1e-4:.4f},9.1" for i in range(30)]
    track = _read(tmp_path, "time,lat,lon", *_rows_each(4, moving + moving[-1:] * 10))
    np.testing.assert_allclose(track.time_s, START_S + np.arange(40), rtol=0, atol=1e-6)
    np.testing.assert_allclose(track.latitude_deg[:30], 45.1 + np.arange(30) * 1e-4, rtol=0, atol=1e-9)
    assert track.dropped == {"fix_not_renewed": 120}


def test_fixes_of_a_vehicle_that_moves_and_stands_are_all_kept(tmp_path):
    """Equal fixes alone do not make a log that repeats them: most differ from the one before."""
    moving = [f"{45.1 + i * 1e-4:.4f},9.1" for i in range(30)]
    track = _read(tmp_path, "time,lat,lon", *_rows_each(1, moving + moving[-1:] * 20))
    assert len(track) == 50
    assert not track.dropped


def test_an_angle_of_ninety_thousand_spaces_costs_no_time(tmp_path):
    """An angle has at most sixty characters; the fix is left out."""
    start = time.process_time()
    with pytest.raises(TrackFormatError, match="are not understood"):
        _read(tmp_path, "time,lat,lon", *(f"{stamp},45{' ' * 90_000}x,9" for stamp in T[:2]))
    assert time.process_time() - start < 2
