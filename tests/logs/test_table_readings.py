"""Readings from tables: values by hand, one habit a test."""

from __future__ import annotations

import numpy as np
import pytest

from speedcal.errors import ReadingsFormatError
from speedcal.finding import Finding
from speedcal.logs import read_readings

MPH_MPS = 0.44704
MILE_M = 1609.344


def _read(tmp_path, text, **options):
    path = tmp_path / "my readings.csv"
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    return read_readings(path, **options)


@pytest.mark.parametrize(
    ("header", "unit", "factor"),
    [
        ("indicated mph", "mph", MPH_MPS),
        ("Speed (km/h)", "km/h", 1 / 3.6),
        ("speed_kmh", "km/h", 1 / 3.6),
        ("SpeedKmh", "km/h", 1 / 3.6),
        ("speed kph", "km/h", 1 / 3.6),
        ("v [m/s]", "m/s", 1.0),
        ("speedo, kn", "kn", 1852 / 3600),
        ("Geschwindigkeit km/h", "km/h", 1 / 3.6),
        ("snelheidsmeter (km/u)", "km/h", 1 / 3.6),
        ("hastighet km/t", "km/h", 1 / 3.6),
        ("скорость, км/ч", "km/h", 1 / 3.6),
    ],
)
def test_the_header_carries_the_unit(tmp_path, header, unit, factor):
    """Exact factors of the international mile and nautical mile."""
    quoted = f'"{header}"' if "," in header else header
    readings = _read(tmp_path, f"time,{quoted}\n10:32:05,45\n10:33:05,50\n")
    assert readings.speed_unit == unit
    np.testing.assert_allclose(readings.speed_mps, np.array([45, 50]) * factor, rtol=1e-12)


def test_a_unit_can_be_given_where_the_header_has_none(tmp_path):
    """And only there: a contradiction is refused, and so is no unit at all."""
    text = "time,speed\n10:32:05,45\n"
    assert _read(tmp_path, text, unit="kph").speed_unit == "km/h"
    with pytest.raises(
        ReadingsFormatError, match=r"column 'speed' does not state its unit\. Write the unit into the header"
    ):
        _read(tmp_path, text)
    with pytest.raises(ReadingsFormatError, match="contradict each other: the header says mph, the unit given is km/h"):
        _read(tmp_path, "time,speed mph\n10:32:05,45\n", unit="km/h")
    with pytest.raises(ReadingsFormatError, match="'furlongs' is not a unit of speed"):
        _read(tmp_path, text, unit="furlongs")


@pytest.mark.parametrize("delimiter", [",", ";", "\t", "|"])
@pytest.mark.parametrize("ending", ["\n", "\r\n", "\r"])
@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "cp1252"])
def test_delimiters_line_ends_and_encodings_make_no_difference(tmp_path, delimiter, ending, encoding):
    """Byte order marks and an umlaut included."""
    lines = ["# Überprüfung", "", "time;indicated km/h;remark", "10:32:05;45;gut", "10:33:05;50;für später"]
    readings = _read(tmp_path, ending.join(lines).replace(";", delimiter).encode(encoding))
    np.testing.assert_allclose(readings.speed_mps * 3.6, [45, 50])
    np.testing.assert_array_equal(readings.line, [4, 5])


def test_a_decimal_comma_is_read_between_semicolons(tmp_path):
    """45,5 km/h; the odometer with a point for the thousands."""
    text = "Zeit;Tacho km/h;Odometer km\n10:32:05;45,5;12.345,6\n10:33:05;50,0;12.346,5\n"
    readings = _read(tmp_path, text)
    np.testing.assert_allclose(readings.speed_mps * 3.6, [45.5, 50.0])
    np.testing.assert_allclose(readings.odometer_m, [12_345_600, 12_346_500])
    assert readings.odometer_resolution_m == pytest.approx(100)


def test_a_decimal_comma_between_commas_is_refused_and_not_cut(tmp_path):
    """10:32:05,45,5 has one cell too many."""
    with pytest.raises(ReadingsFormatError, match=r"readings\.csv:2: the row has 3 cells, the header 2"):
        _read(tmp_path, "time,indicated km/h\n10:32:05,45,5\n10:33:05,50\n")


@pytest.mark.parametrize(("header", "end"), [(",note", ","), (",", ""), (",,", ",")])
def test_decimals_in_the_cell_of_an_empty_column_are_not_cut(tmp_path, header, end):
    """Each speed was taken for the whole one below it: the empty column made up for the cell too many."""
    rows = "".join(f"10:32:{i:02d},{45 + i},{7 * i % 10}{end}\n" for i in range(20))
    with pytest.raises(ReadingsFormatError, match="decimals of column 'indicated km/h'"):
        _read(tmp_path, f"time,indicated km/h{header}\n{rows}")


@pytest.mark.parametrize(("name", "most"), [("gear", 9), ("throttle %", 100)])
def test_whole_numbers_beside_speeds_are_no_decimals(tmp_path, name, most):
    """In rows with a comma at their end."""
    rows = "".join(f"10:32:{i:02d},{45 + i},{i % most},\n" for i in range(40))
    assert len(_read(tmp_path, f"time,indicated km/h,{name}\n{rows}")) == 40


def test_two_figures_in_a_column_of_their_own_are_no_decimals(tmp_path):
    """No row is too long: nothing was parted."""
    rows = "".join(f"10:32:{i:02d},{45 + i},{10 + 7 * i % 90}\n" for i in range(40))
    assert len(_read(tmp_path, f"time,indicated km/h,throttle %\n{rows}")) == 40


@pytest.mark.parametrize(
    ("cells", "metres", "step"),
    [
        (("12345.6", "12346.6"), 12345.6 * MILE_M, 0.1 * MILE_M),
        (('"12,345.6"', '"12,346.6"'), 12345.6 * MILE_M, 0.1 * MILE_M),
        (('"12,345"', '"12,346"'), 12345 * MILE_M, MILE_M),
        (("12 345", "12 346"), 12345 * MILE_M, MILE_M),
        (("12345.60 mi", "12346.60 mi"), 12345.6 * MILE_M, 0.1 * MILE_M),
    ],
)
def test_the_odometer_is_read_with_its_step(tmp_path, cells, metres, step):
    """Thousands separators, a unit in the cell, digits that are always zero."""
    text = f"time,mph,odometer (mi)\n10:32:05,45,{cells[0]}\n10:42:05,45,{cells[1]}\n"
    readings = _read(tmp_path, text)
    assert readings.odometer_m[0] == pytest.approx(metres, rel=1e-12)
    assert np.diff(readings.odometer_m)[0] == pytest.approx(MILE_M, rel=1e-9)
    assert readings.odometer_resolution_m == pytest.approx(step)


def test_an_odometer_without_a_unit_follows_the_speed_and_says_so(tmp_path):
    """Never silently."""
    readings = _read(tmp_path, "time,mph,odometer\n10:32:05,45,100.0\n10:42:05,45,107.5\n")
    assert np.diff(readings.odometer_m)[0] == pytest.approx(7.5 * MILE_M)
    assert [finding.code for finding in readings.findings] == ["odometer_unit_assumed"]


@pytest.mark.parametrize("missing", ["", "-", "NA", "n/a", "NaN", "null", "--"])
def test_missing_values_are_left_out_and_counted(tmp_path, missing):
    """Whatever people write for nothing."""
    rows = (f"10:32:05,45,{missing}", f"10:33:05,{missing},{missing}", f"{missing},50,101", "10:35:05,52,102")
    readings = _read(tmp_path, "\n".join(("time,mph,odometer mi", *rows)))
    np.testing.assert_array_equal(readings.line, [2, 5])
    assert readings.dropped == {"speed_missing": 1, "time_missing": 1}
    assert np.isnan(readings.odometer_m[0])


def test_an_odometer_noted_without_a_speed_stays(tmp_path):
    """People note it standing, at the start and at the end."""
    readings = _read(tmp_path, "time,mph,odometer mi\n10:32:05,,100.2\n10:33:05,45,\n10:45:05,,112.7\n")
    np.testing.assert_array_equal(readings.line, [2, 3, 4])
    np.testing.assert_array_equal(np.isnan(readings.speed_mps), [True, False, True])
    assert readings.speed_resolution_mps == pytest.approx(MPH_MPS)
    assert readings.dropped == {}


def test_every_bad_line_is_listed_with_what_was_found(tmp_path):
    """Not only the first."""
    text = "time,mph\n10:32:05,4S\n10:75:05,44\nsoon,33\n10:33:00,-5\n10:34:00,1e9\n10:35:00,inf\n10:36:00,44\n"
    with pytest.raises(ReadingsFormatError) as caught:
        _read(tmp_path, text)
    message = str(caught.value)
    for part in (
        "6 problems",
        "line 2: '4S'",
        "line 3: '10:75:05'",
        "line 4: 'soon'",
        "line 5: −5 mph",
        "line 6: 1e+09 mph",
        "line 7: 'inf'",
    ):
        assert part in message


@pytest.mark.parametrize(("values", "step"), [((20, 30, 50), 10), ((20, 35, 50), 5), ((20, 31, 50), 1)])
def test_the_step_of_notes_is_seen_in_them(tmp_path, values, step):
    """A dozen speeds; of fives or ones one in four thousand dozens would be tens alone."""
    rows = "".join(f"10:{k:02d}:00,{values[k % 3]}\n" for k in range(12))
    assert _read(tmp_path, "time,mph\n" + rows).speed_resolution_mps == pytest.approx(step * MPH_MPS)


def test_a_table_without_a_time_column_is_a_list_of_held_speeds(tmp_path):
    """In the order of the file; whether the needle stood on its marks is asked of the drive, not of the list."""
    readings = _read(tmp_path, "mph\n30\n40\n50\n60\n30\n40\n50\n60\n")
    assert readings.clock == "none"
    assert np.isnan(readings.time_s).all()
    np.testing.assert_allclose(readings.speed_mps / MPH_MPS, [30, 40, 50, 60] * 2)
    assert readings.speed_resolution_mps == pytest.approx(5 * MPH_MPS)


def test_units_may_stand_in_a_second_header_row(tmp_path):
    """As data loggers write them."""
    text = "Time,Vehicle Speed,Engine Speed\n(s),(km/h),(rpm)\n0.0,45,2000\n0.5,46,2010\n"
    readings = _read(tmp_path, text)
    np.testing.assert_allclose(readings.speed_mps * 3.6, [45, 46])
    assert readings.clock == "elapsed"
    np.testing.assert_array_equal(readings.time_s, [0, 0.5])


WIDE = [
    *("Device Time", "Engine RPM(rpm)", "Speed (OBD)(km/h)", "Speed (GPS)(km/h)", "Engine Coolant Temperature(°C)"),
    *("Wind speed (m/s)", "Latitude", "Longitude", "Turbine speed (rpm)", "Fan speed", "Average speed (km/h)"),
    *[f"PID {i}" for i in range(40)],
]


def test_the_speed_is_found_among_dozens_of_columns(tmp_path):
    """Engine, wind, fan, limit and satellite speeds are not what the instrument showed."""
    row = ["26-Jul-2021 04:40:50.725", "2000", "45", "43.9", "90", "3.2", "45.1", "9.1", "0", "1", "50", *["0"] * 40]
    later = ["26-Jul-2021 04:40:51.725", "2000", "46", "44.9", "90", "3.2", "45.1", "9.1", "0", "1", "50", *["0"] * 40]
    readings = _read(tmp_path, "\n".join(",".join(cells) for cells in (WIDE, row, later)))
    np.testing.assert_allclose(readings.speed_mps * 3.6, [45, 46])
    assert readings.clock == "gps"
    assert "Speed (OBD)(km/h)" in next(f.text for f in readings.findings if f.code == "speed_column")


def test_two_columns_that_may_be_meant_are_a_question(tmp_path):
    """And --column answers it; a wrong name is answered with the nearest."""
    text = "time,speed km/h,vehicle speed km/h\n10:32:05,45,44\n10:33:05,46,45\n"
    with pytest.raises(ReadingsFormatError, match=r"several columns may hold the indicated speed: .*--column"):
        _read(tmp_path, text)
    np.testing.assert_allclose(_read(tmp_path, text, column="Vehicle Speed km/h").speed_mps * 3.6, [44, 45])
    with pytest.raises(ReadingsFormatError, match=r"no column 'vehicle sped'\. Did you mean 'vehicle speed km/h'\?$"):
        _read(tmp_path, text, column="vehicle sped")


def test_a_table_of_fixes_with_one_plain_speed_is_not_taken_for_readings(tmp_path):
    """It would calibrate the receiver against itself."""
    text = "time,lat,lon,speed m/s\n2021-07-26T04:40:50Z,45.1,9.1,10\n2021-07-26T04:40:51Z,45.1,9.1,11\n"
    with pytest.raises(ReadingsFormatError, match="not clear which column"):
        _read(tmp_path, text)
    with pytest.raises(ReadingsFormatError, match="not clear which column"):
        _read(tmp_path, text.replace("speed m/s", "gps speed m/s"))


def test_a_table_without_a_speed_names_its_columns(tmp_path):
    """So that the user sees what was read."""
    with pytest.raises(ReadingsFormatError, match="no column holds a speed; the columns are 'time' and 'rpm'"):
        _read(tmp_path, "time,rpm\n10:32:05,2000\n")


@pytest.mark.parametrize(
    ("values", "unit", "step_mps"),
    [
        ([25, 30, 35, 45, 50, 55, 60, 30, 40], "mph", 5 * MPH_MPS),
        ([25, 30, 35, 45, 50, 55, 60, 30, 43], "mph", 5 * MPH_MPS),  # one wrong reading
        ([24, 30, 35, 43, 51, 55, 60, 30, 42], "mph", MPH_MPS),
        ([30, 32, 34, 38, 40, 42, 46, 48] * 3, "mph", 2 * MPH_MPS),
        ([30.5, 32, 34.5, 38, 40.5, 42, 46, 48.5], "mph", 0.5 * MPH_MPS),
        ([30.1, 32.4, 34.5, 38.7], "km/h", 0.1 / 3.6),
        ([58.4861, 64, 64, 63, 62, 64, 55.8641, 60, 61], "km/h", 1 / 3.6),  # a logger that interpolated some
        ([27.9617, 28.5831, 29.2045, 31.0686, 31.6899, 32.3113, 34.1754, 35.4182], "mph", 1 / 3.6),  # whole km/h in mph
        ([8.94, 9.39, 9.83, 10.28, 10.73, 11.18, 12.52, 13.41], "m/s", MPH_MPS),  # whole mph in m/s
        ([0, 0, 0], "km/h", 1 / 3.6),
    ],
)
def test_the_step_of_the_speeds_is_found_from_the_values(tmp_path, values, unit, step_mps):
    """5, 2, 1, 0.5, 0.1; whole units of another unit, converted, are recognised (45 km/h = 27.9617 mph)."""
    rows = "\n".join(f"10:{i:02d}:07,{value}" for i, value in enumerate(values))
    readings = _read(tmp_path, f"time,indicated {unit}\n{rows}\n")
    assert readings.speed_resolution_mps == pytest.approx(step_mps, rel=1e-9)


def test_a_log_that_holds_every_row_twice_is_halved(tmp_path):
    """Pairs that differ are kept and spread over the second they share."""
    rows = [f"10:{i // 60:02d}:{i % 60:02d},{40 + i % 7}" for i in range(100)]
    twice = "\n".join(f"{row}\n{row}" for row in rows)
    readings = _read(tmp_path, f"time,mph\n{twice}\n")
    assert len(readings) == 100
    assert readings.dropped == {"repeated_row": 100}
    rows = [f"10:{i // 120:02d}:{i // 2 % 60:02d},{40 + i % 7}" for i in range(200)]
    readings = _read(tmp_path, "time,mph\n" + "\n".join(rows))
    assert len(readings) == 200
    np.testing.assert_allclose(np.diff(readings.time_s), 0.5)
    assert [finding.code for finding in readings.findings] == ["readings_share_stamps"]


@pytest.mark.parametrize(("step", "every"), [(60, 1), (60, 4), (30, 2), (10, 1), (5, 1)])
def test_rows_of_a_log_that_share_a_coarse_stamp_lie_evenly_in_it(tmp_path, step, every):
    """Speeds held for half a minute, rows begun and ended within a stamp: the times come out to a row."""
    true = np.arange(36027.0, 36027.0 + 700, every)
    rows = [
        f"{s // 3600:02d}:{s // 60 % 60:02d}" + (f":{s % 60:02d}" if step < 60 else "") + f",{40 + int(t) // 30 % 7}"
        for t, s in ((t, int(t // step * step)) for t in true)
    ]
    readings = _read(tmp_path, "time,mph\n" + "\n".join(rows))
    np.testing.assert_allclose(readings.time_s, true, atol=every)
    assert "readings_share_stamps" in {finding.code for finding in readings.findings}


def test_rows_written_in_bursts_stay_together(tmp_path):
    """Five rows at a time, every seven seconds, of one moment each: within the second that they share."""
    rows = [f"{i // 5 * 7 + 3},{40 + i // 5 % 7 + (i % 5 == 4)}" for i in range(200)]
    readings = _read(tmp_path, "time s,mph\n" + "\n".join(rows))
    assert (readings.time_s - np.arange(200) // 5 * 7 - 3 < 1).all()


def test_notes_that_share_a_minute_stay_where_they_are(tmp_path):
    """Four a minute are as many as a hand writes."""
    rows = [f"10:{i // 4:02d},{40 + i % 7}" for i in range(40)]
    readings = _read(tmp_path, "time,mph\n" + "\n".join(rows))
    assert set(readings.time_s % 60) == {0.0}
    assert readings.time_resolution_s == 60


def test_a_dead_band_is_mentioned(tmp_path):
    """Whole km/h from zero to four do not occur: zero does not mean standing."""
    speeds = [0] * 50 + [5 + i % 40 for i in range(300)]
    rows = "\n".join(f"{i},{speed}" for i, speed in enumerate(speeds))
    assert [f.code for f in _read(tmp_path, f"time s,vehicle speed km/h\n{rows}").findings] == ["dead_band"]
    speeds = [0] * 50 + [1 + i % 40 for i in range(300)]
    rows = "\n".join(f"{i},{speed}" for i, speed in enumerate(speeds))
    assert _read(tmp_path, f"time s,vehicle speed km/h\n{rows}").findings == ()


@pytest.mark.parametrize("stamp", ["1970-01-01T00:0{k}:05Z", "1969-12-31T19:0{k}:05", "2000-01-01 12:0{k}:05"])
def test_a_clock_that_was_never_set_counts_from_an_unknown_start(tmp_path, stamp):
    """A logger without a battery begins at an epoch; a zone puts it up to half a day earlier."""
    readings = _read(tmp_path, "time,mph\n" + "".join(f"{stamp.format(k=k)},{40 + k}\n" for k in range(4)))
    assert readings.clock == "elapsed"
    np.testing.assert_allclose(np.diff(readings.time_s), 60.0)
    assert [finding.code for finding in readings.findings] == ["clock_never_set"]


@pytest.mark.parametrize("year", [1971, 2099])
def test_impossible_dates_are_refused(tmp_path, year):
    """No clock begins there."""
    with pytest.raises(ReadingsFormatError, match="before 1990 or after 2090"):
        _read(tmp_path, f"time,mph\n{year}-01-01T10:32:05Z,45\n")


@pytest.mark.parametrize("text", ["", "\n\n", "# nothing\n", "time,mph\n", "time,mph\n10:32:05,\n"])
def test_a_file_without_readings_is_refused(tmp_path, text):
    """Empty, comments only, a header only, no values."""
    with pytest.raises(ReadingsFormatError, match=r"empty|no readings"):
        _read(tmp_path, text)


def test_a_header_in_the_middle_of_its_rows_is_refused_and_a_repeated_one_is_skipped(tmp_path):
    """Rows above it would be lost without a word; a restarted logger writes it again."""
    with pytest.raises(ReadingsFormatError, match=r":1: 2 rows of data are above the header in line 3"):
        _read(tmp_path, "10:32:05,45\n10:32:06,46\ntime,mph\n10:32:07,47\n")
    readings = _read(tmp_path, "time,mph\n10:32:05,45\ntime,mph\n10:40:06,46\n")
    np.testing.assert_array_equal(readings.line, [2, 4])


def test_a_header_behind_a_comment_mark_is_a_header(tmp_path):
    """Some loggers write it so."""
    readings = _read(tmp_path, "# logger 7\n#time,indicated mph\n10:32:05,45\n10:33:05,46\n")
    np.testing.assert_allclose(readings.speed_mps / MPH_MPS, [45, 46])
    np.testing.assert_array_equal(readings.line, [3, 4])


def test_numbered_rows_below_a_marked_header_are_rows_of_it(tmp_path):
    """``#`` stands for the number of the row; speeds with their unit are no names of quantities."""
    rows = "".join(f"{i + 1};10:{32 + i}:05;{45 + i % 3} mph;uphill\n" for i in range(12))
    readings = _read(tmp_path, f"#;clock;speedo;remark\n{rows}")
    np.testing.assert_allclose(readings.speed_mps / MPH_MPS, [45 + i % 3 for i in range(12)])
    assert readings.clock == "time of day"


def test_a_date_in_the_first_row_alone_leaves_the_times_of_day(tmp_path):
    """As it is noted by hand."""
    readings = _read(tmp_path, "date,time,dial mph\n26.07.2021,10:32:05,45\n,10:33:05,46\n,10:34:05,47\n")
    assert readings.clock == "time of day"
    np.testing.assert_allclose(readings.time_s, [37925, 37985, 38045])


def test_times_that_cannot_be_read_do_not_blame_the_speeds(tmp_path):
    """Another column of speeds would not mend them."""
    rows = "".join(f"10-32-{i:02d},45\n" for i in range(30))
    with pytest.raises(ReadingsFormatError) as caught:
        _read(tmp_path, f"time,dial mph\n{rows}")
    assert caught.value.code == "most_rows_unreadable"
    assert "dial" not in str(caught.value)
    assert "10-32-00" in str(caught.value)


@pytest.mark.parametrize(
    ("speed", "odometer", "metres"),
    [
        ("45,5", "12.345", 12_345_000),
        ("45.5", "12,345", 12_345_000),
        ("45.5", "12.345", 12_345),
        ("45", "1234.567", 1_234_567),
    ],
)
def test_a_mark_in_the_odometer_is_read_as_the_other_numbers_tell(tmp_path, speed, odometer, metres):
    """A point among decimal commas groups thousands, a comma among decimal points too."""
    readings = _read(tmp_path, f"time;indicated km/h;odometer km\n10:32:05;{speed};{odometer}\n")
    assert readings.odometer_m[0] == pytest.approx(metres)
    assert readings.speed_mps[0] * 3.6 == pytest.approx(float(speed.replace(",", ".")))


@pytest.mark.parametrize("odometer", ["12,345", "12.345"])
def test_a_mark_in_the_odometer_that_nothing_explains_is_a_question(tmp_path, odometer):
    """Twelve kilometres or twelve thousand."""
    with pytest.raises(ReadingsFormatError, match=r"may mean 12345 or 12\.3450"):
        _read(tmp_path, f"time;indicated km/h;odometer km\n10:32:05;45;{odometer}\n")


@pytest.mark.parametrize(
    ("header", "seconds"),
    [("t [s]", 1), ("t (min)", 60), ("minutes", 60), ("t_ms", 0.001), ("s", 1), ("t", 1), ("minutes after start", 60)]
    + [(name, 60) for name in ("mins", "Minutes into the drive", "min. from start", "Minuten nach Start")],
)
def test_short_names_of_times_are_understood(tmp_path, header, seconds):
    """A letter and a unit are a time since the start, and so are minutes after it."""
    rows = "".join(f"{i * 1000},{30 + i}\n" for i in range(5))
    readings = _read(tmp_path, f"{header},v [mph]\n{rows}")
    assert readings.clock == "elapsed"
    np.testing.assert_allclose(readings.time_s, np.arange(5) * 1000 * seconds)


@pytest.mark.parametrize(
    "text",
    [
        "time,speed\n10:00:01,48 mph\n10:00:30,77 km/h\n10:01:30,50 mph\n",
        "time,speed,unit\n10:00:01,48,mph\n10:00:30,77,km/h\n10:01:30,50,mph\n",
    ],
)
def test_units_that_change_from_row_to_row_are_named_with_the_line(tmp_path, text):
    """They were said to contradict each other, one unit named, or to be missing."""
    with pytest.raises(ReadingsFormatError, match=r"several units are named: mph, km/h") as caught:
        _read(tmp_path, text)
    assert caught.value.line == 3


@pytest.mark.parametrize("header", ["max min", "min", "l/min"])
def test_a_least_value_is_no_time_beside_one(tmp_path, header):
    """Min may be the least, and nothing else tells the time then."""
    rows = "".join(f"10:3{i}:07,{20 - i},{30 + i}\n" for i in range(5))
    np.testing.assert_allclose(np.diff(_read(tmp_path, f"time,{header},v [mph]\n{rows}").time_s), 60)


@pytest.mark.parametrize(
    ("header", "write"),
    [
        ("minutes after start", lambda s: f"{s // 60}:{s % 60:02d}"),
        ("minutes after start", lambda s: f"{s / 60:.2f}"),
        ("stopwatch s", lambda s: f"{s + 500}"),
        ("seconds", lambda s: f"{(s + 47) % 60}"),
    ],
)
def test_a_column_of_seconds_beside_whole_minutes_tells_the_time(tmp_path, header, write):
    """The dash clock alone was read, to the minute. The two clocks begin their minutes together but for 47 s."""
    at_s = np.array([0, 8, 14, 72, 79, 108, 333])
    rows = "".join(
        f"{7 + (s + 47) // 3600:02d}:{(s + 47) // 60 % 60:02d},{write(s)},{40 + i}\n" for i, s in enumerate(at_s)
    )
    readings = _read(tmp_path, f"clock,{header},dial mph\n{rows}")
    assert readings.clock == "time of day"
    assert readings.time_resolution_s <= 1
    np.testing.assert_allclose(np.diff(readings.time_s), np.diff(at_s), atol=0.6)
    assert abs(readings.time_s[0] - (7 * 3600 + 47)) <= 30


def test_a_column_that_runs_otherwise_is_not_taken_for_seconds(tmp_path):
    """What a stopwatch showed for each mile says nothing of when a reading was taken."""
    rows = "".join(f"10:{30 + 2 * i},{60 + 7 * i % 5},{40 + i}\n" for i in range(8))
    readings = _read(tmp_path, f"clock,lap seconds,dial mph\n{rows}")
    assert readings.time_resolution_s == 60
    np.testing.assert_allclose(np.diff(readings.time_s), 120)


@pytest.mark.parametrize("encoding", ["utf-16-le", "utf-16-be"])
def test_utf_16_is_read_without_its_mark(tmp_path, encoding):
    """Every other byte of the text is zero; which ones tells the order."""
    readings = _read(tmp_path, "time,indicated mph\n10:32:15,45\n10:33:20,50\n".encode(encoding))
    np.testing.assert_allclose(readings.speed_mps / MPH_MPS, [45, 50])


def test_a_time_column_without_times_is_said_to_be_empty(tmp_path):
    """The speeds are then held speeds, as in a table without such a column; that table has nothing to say."""
    findings = _read(tmp_path, "time,indicated mph\n,30\n-,40\n").findings
    assert findings == (Finding("no_times", column="time"),)
    assert not _read(tmp_path, "note,indicated mph\nfirst,30\nsecond,40\n").findings
