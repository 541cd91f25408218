"""Times as people write them: which clock, which second. Every expectation is worked out by hand."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta, timezone
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from speedcal.errors import Problem, ReadingsFormatError
from speedcal.finding import Finding
from speedcal.logs.times.clock_times import UnclearTimesError
from speedcal.logs.times.timestamps import parse_stamps
from speedcal.logs.writing.written_times import fixed_offset, parse_zone

NOON_S = datetime(2021, 7, 26, 12, tzinfo=UTC).timestamp()


@pytest.mark.parametrize(
    ("cells", "clock", "seconds", "step"),
    [
        # with a date
        (["2021-07-26T12:00:00Z"], "utc", [NOON_S], 1),
        (["2021-07-26 12:00:00.250Z"], "utc", [NOON_S + 0.25], 0.001),
        (["2021-07-26t12:00:00z"], "utc", [NOON_S], 1),
        (["2021-07-26 12:00:00 CEST"], "local", [NOON_S], 1),
        (["Mon Jul 26 12:00:00 MST 2021"], "local", [NOON_S], 1),
        (["2021-07-26T14:00+02:00"], "utc", [NOON_S], 60),
        (["2021-07-26T14:00:00+0200"], "utc", [NOON_S], 1),
        (["2021-07-26T12:00:00"], "local", [NOON_S], 1),
        (["2021/07/26 12:00:00"], "local", [NOON_S], 1),
        (["2021:07:26 12:00:00"], "local", [NOON_S], 1),  # of a photograph
        (["IMG_20210726_120000.jpg", "IMG_20210726_120001~2.JPG"], "local", [NOON_S, NOON_S + 1], 1),
        (["PIC-20210726-120000250.heic"], "local", [NOON_S + 0.25], 0.001),
        (["26.07.2021 12:00:00"], "local", [NOON_S], 1),
        (["26.7.21, 12:00"], "local", [NOON_S], 60),
        (["26-Jul-2021 12:00:00.000"], "local", [NOON_S], 0.001),
        (["26-Jul-2021 12:00:00.250"], "local", [NOON_S + 0.25], 0.001),
        (["July 26, 2021 12:00:00 PM"], "local", [NOON_S], 1),
        (["Mon Jul 26 14:00:00 GMT+02:00 2021"], "utc", [NOON_S], 1),
        (["20210726T120000Z"], "utc", [NOON_S], 1),
        (["07/26/2021 12:00:00 PM"], "local", [NOON_S], 1),
        (["26/07/2021 12:00:00"], "local", [NOON_S], 1),
        (["26.07.99 12:00:00"], "local", [datetime(1999, 7, 26, 12, tzinfo=UTC).timestamp()], 1),
        (["26/07/2021 12:00:00", "05/08/2021 12:00:00"], "local", [NOON_S, NOON_S + 10 * 86400], 1),
        # numbers
        (["1627300800", "1627300801"], "utc", [NOON_S, NOON_S + 1], 1),
        (["1627300800000", "1627300800250"], "utc", [NOON_S, NOON_S + 0.25], 0.001),
        (["1627300800.5"], "utc", [NOON_S + 0.5], 0.1),
        (["1.627300800000000000e+09", "1.627300800250000000e+09"], "utc", [NOON_S, NOON_S + 0.25], None),
        (["1.627300800E+9", "1.627300801E+9"], "utc", [NOON_S, NOON_S + 1], 1),
        (["44403.5", "44403.50069444"], "local", [NOON_S, NOON_S + 60], None),
        # times of day
        (["0.43923611", "0.43924769", "0.43925926"], "time of day", [37950, 37951, 37952], None),  # of a spreadsheet
        (["10:32 am", "10:33 AM", "1:05 p.m."], "time of day", [37920, 37980, 47100], 60),
        (["12:05:09 AM", "12:06:10 am"], "time of day", [309, 370], 1),
        (["12:05 pm"], "time of day", [43500], 60),
        (["10:32:15.5 am"], "time of day", [37935.5], 0.1),
        (["13:05 pm", "14:00 PM"], "time of day", [47100, 50400], 60),  # said twice, and the same both times
        (["0:30 am", "0:31 am"], "time of day", [1800, 1860], 60),
        (["11:58 pm", "12:03 am"], "time of day", [86280, 86580], 60),
        (["10:32:15", "10:33:20"], "time of day", [37935, 38000], 1),
        (["103215", "103320", "110005", *["110110"] * 5], "time of day", [37935, 38000, 39605, *[39670] * 5], 1),
        (["235958.5", "000003.5", *["000109.5"] * 6], "time of day", [86398.5, 86403.5, *[86469.5] * 6], 0.1),
        ([str(10032 + 10 * i) for i in range(9)], "elapsed", [10032 + 10 * i for i in range(9)], 1),
        (["10:32", "10:32:40", "10:33:20"], "time of day", [37920, 37960, 38000], 1),
        (["50:10", "1:00:05", "1:10:10"], "elapsed", [3010, 3605, 4210], 1),
        (["23:59:58", "00:00:03", "00:00:09"], "time of day", [86398, 86403, 86409], 1),
        (["12:59:50", "1:00:10"], "time of day", [46790, 46810], 1),
        (["12:59:50", "1:00:00", "1:00:10"], "time of day", [46790, 46800, 46810], 1),
        (["23:59:58", "00:00:03", "23:59:59", "00:00:09"], "time of day", [86398, 86403, 86399, 86409], 1),
        (["10:32", "10:40", "11:03"], "time of day", [37920, 38400, 39780], 60),
        (["23:50", "0:05"], "time of day", [85800, 86700], 60),
        (["12:50", "1:05"], "time of day", [46200, 47100], 60),
        (["10:32 am", "10:40", "11:03"], "time of day", [37920, 38400, 39780], 60),
        (["1:05 pm", "1:10", "1:15"], "time of day", [47100, 47400, 47700], 60),
        (["12:50", "1:05 pm"], "time of day", [46200, 47100], 60),
        (["20:00:10", "9:00:05"], "time of day", [72010, 86400 + 32405], 1),  # no clock of twelve hours shows 20:00
        (["1:00:00", "1:01:00"], "time of day", [3600, 3660], 1),
        (["10:32", "10:32:30", "10:33"], "time of day", [37920, 37950, 37980], 1),
        (["10:32:15Z", "10:32:16Z"], "time of day", [37935, 37936], 1),
        # since a start
        (["0:30", "5:12", "61:03"], "elapsed", [30, 312, 3663], 1),
        (["00:30", "09:12", "18:03"], "elapsed", [30, 552, 1083], 1),
        (["59:30", "1:00:10", "1:02:00"], "elapsed", [3570, 3610, 3720], 1),
        (["20:30", "1:00:05", "1:10:10"], "elapsed", [1230, 3605, 4210], 1),  # as clock times over four hours
        (["0:00:05", "0:07:10"], "elapsed", [5, 430], 1),
        (["1:30.5", "2:10.0"], "elapsed", [90.5, 130], 0.1),
        (["100:00:05", "100:07:10"], "elapsed", [360005, 360430], 1),
        (["0", "1", "2.5"], "elapsed", [0, 1, 2.5], 0.1),
        ([], "none", [], None),
        (["", "-"], "none", [np.nan, np.nan], None),
    ],
)
def test_times_are_read_on_the_right_clock(cells, clock, seconds, step):
    """The comment above each group names it."""
    stamps = parse_stamps(cells)
    assert stamps.clock == clock
    np.testing.assert_allclose(stamps.time_s, seconds, rtol=0, atol=1e-3 if step is None else 1e-6)
    assert stamps.problems == []
    if step is not None:
        assert stamps.resolution_s == pytest.approx(step)


@pytest.mark.parametrize(
    ("header", "cells", "clock", "seconds"),
    [
        ("elapsed", ["1:30:00", "1:31:00"], "elapsed", [5400, 5460]),
        ("time hh:mm:ss", ["0:30:00", "0:31:00"], "time of day", [1800, 1860]),
        ("elapsed mm:ss", ["10:32", "10:40"], "elapsed", [632, 640]),
        ("time hh:mm", ["0:32", "6:40"], "time of day", [1920, 24000]),
        ("mm:ss", ["10:32", "10:40"], "elapsed", [632, 640]),
        ("Time (ms)", ["0", "500", "1000"], "elapsed", [0, 0.5, 1.0]),
        ("time mS", ["0", "500", "1000"], "elapsed", [0, 0.5, 1.0]),
        ("mSec", ["0", "500", "1000"], "elapsed", [0, 0.5, 1.0]),
        ("elapsedMilliSeconds", ["0", "500", "1000"], "elapsed", [0, 0.5, 1.0]),
        ("uSec", ["0", "500000"], "elapsed", [0, 0.5]),
        ("time_min", ["0", "1.5"], "elapsed", [0, 90]),
        ("minutesSinceStart", ["0", "1.5"], "elapsed", [0, 90]),
        ("iTOW (ms)", ["388800000", "388800250"], "elapsed", [388800, 388800.25]),  # a Thursday, no date of 1982
        ("iTOW", [str(604000000 + 250 * i) for i in range(400)], "elapsed", [604000 + i / 4 for i in range(400)]),
        ("UTC time", ["2021-07-26T12:00:00"], "utc", [NOON_S]),
        ("elapsed s", [str(103200 + i) for i in range(9)], "elapsed", [103200 + i for i in range(9)]),
    ],
)
def test_the_header_decides_where_the_times_alone_cannot(header, cells, clock, seconds):
    """Words a person would write above the column."""
    stamps = parse_stamps(cells, header=header)
    assert stamps.clock == clock
    np.testing.assert_allclose(stamps.time_s, seconds)


@pytest.mark.parametrize("cells", [["10:32"], ["2:40", "6:30"], ["0:32", "2:40", "4:03"], ["9:26", "17:40"]])
def test_hours_and_minutes_that_may_be_minutes_and_seconds_are_a_question(cells):
    """One stamp alone, a span between three minutes and six (or hours), or a day's drive that sets out after five."""
    with pytest.raises(UnclearTimesError, match="hours_or_minutes"):
        parse_stamps(cells)


@pytest.mark.parametrize("day", ["250614", "140625", "050625"])
def test_a_date_in_figures_before_those_of_the_clock_leaves_them_a_clock(day):
    """Year or day first is open and the clock is not; they were taken for seconds, a minute for a hundred of them."""
    stamps = parse_stamps([f"{day}{clock}" for clock in ("140312", "140350", "140430", "140731")])
    assert stamps.clock == "time of day"
    np.testing.assert_array_equal(stamps.time_s - stamps.time_s[0], [0, 38, 78, 259])


def test_a_few_clock_times_in_digits_are_no_seconds_of_a_day_long_drive():
    """Fewer than eight were taken as seconds, the first of them 39 hours after a start."""
    cells = ["140312", "140350", "140430", "140731"]
    stamps = parse_stamps(cells)
    assert stamps.clock == "time of day"
    np.testing.assert_allclose(np.diff(stamps.time_s), [38, 40, 181])
    assert parse_stamps(["1312", "1350", "1430", "1731"]).clock == "elapsed"  # seven minutes of a stopwatch


@pytest.mark.parametrize("cells", [["9:26", "11:02", "13:40"], ["13:05", "14:59", "18:31"], ["22:50", "0:10", "3:20"]])
def test_half_a_day_by_the_clock_is_no_stopwatch(cells):
    """One of a drive of four minutes would have been started ten before it."""
    hours = np.array([int(cell.split(":")[0]) + int(cell.split(":")[1]) / 60 for cell in cells])
    stamps = parse_stamps(cells)
    assert stamps.clock == "time of day"
    np.testing.assert_allclose(np.diff(stamps.time_s), np.diff(hours) % 24 * 3600)


def test_a_decision_between_hours_and_minutes_is_mentioned():
    """So that a person can object."""
    eight_minutes, quarter_of_an_hour = (
        parse_stamps(cells).findings for cells in (["10:32", "10:40"], ["0:32", "15:40"])
    )
    assert eight_minutes == [Finding("hours_and_minutes", otherwise_s=8.0)]
    assert quarter_of_an_hour == [Finding("minutes_and_seconds", otherwise_s=15 * 3600 + 8 * 60.0)]


@pytest.mark.parametrize(
    "cell",
    [
        "25:61:00",
        "2021-02-30 10:00:00",
        "13:05 am",
        "0:30 pm",
        "25:05 pm",
        "soon",
        "10:32:75",
        "1:2:3",
        "2021-07-26",
        "26.07.2021 25:00:00",
    ],
)
def test_what_is_no_time_is_a_problem(cell):
    """With its place in the column."""
    stamps = parse_stamps(["10:32:15", cell, "10:32:17"])
    assert [index for index, _ in stamps.problems] == [1]
    assert np.isnan(stamps.time_s[1])


def test_a_time_written_unlike_the_others_is_a_problem():
    """A date among times of day is more likely a slip than a second clock."""
    stamps = parse_stamps(["10:32:15", "2021-07-26T10:32:16Z", "10:32:17"])
    problem = Problem("time_unlike_others", found="2021-07-26T10:32:16Z", example="10:32:15")
    assert stamps.problems == [(1, problem)]


def test_an_example_of_the_others_is_one_that_could_be_read():
    cells = ["soon", "2021-07-26T10:32:16Z", "10:32:15", "10:32:17"]
    unlike = Problem("time_unlike_others", found=cells[1], example=cells[2])
    assert dict(parse_stamps(cells).problems) == {0: Problem("not_a_time", found="soon"), 1: unlike}


def test_a_date_that_can_mean_two_days_gives_the_time_of_day_only():
    """03/04 is March or April; the alignment does not need the day."""
    stamps = parse_stamps(["03/04/2021 10:32:15", "03/04/2021 10:32:17"])
    assert stamps.clock == "time of day"
    np.testing.assert_array_equal(stamps.time_s, [37935, 37937])
    assert [finding.code for finding in stamps.findings] == ["date_unclear"]


@pytest.mark.parametrize(
    ("zone", "offset_h"), [("+02:00", 2), ("UTC-7", -7), ("+0530", 5.5), ("CET", 2), ("MST7MDT", -6), ("UTC", 0)]
)
def test_stamps_without_a_zone_are_placed_in_the_one_given(zone, offset_h):
    """In July both cities keep summer time."""
    stamps = parse_stamps(["2021-07-26T12:00:00"], zone=parse_zone(zone))
    assert stamps.clock == "utc"
    assert stamps.time_s[0] == NOON_S - offset_h * 3600


def test_no_place_is_further_from_utc_than_fourteen_hours():
    """UTC+14 is the time of the Line Islands, the furthest there is."""
    assert fixed_offset("+14:00") == timedelta(hours=14)
    assert fixed_offset("+15:00") is None


def test_a_zone_that_is_not_known_is_refused():
    """With two ways to write one."""
    with pytest.raises(ReadingsFormatError, match=r"'No/Where' is not known.*\+02:00"):
        parse_zone("No/Where")


def test_a_fixed_offset_applies_to_times_of_day_and_a_name_cannot():
    """Without a date summer time is not known."""
    stamps = parse_stamps(["10:32:15", "10:32:16"], zone=parse_zone("+02:00"))
    np.testing.assert_array_equal(stamps.time_s, [30735, 30736])
    assert [f.code for f in parse_stamps(["10:32:15", "10:32:16"], zone=parse_zone("CET")).findings] == ["zone_unused"]


@pytest.mark.parametrize(
    ("zone", "cells", "seconds"),
    [("+02:00", ["1:10:15", "1:10:16"], [83415, 83416]), ("-02:00", ["23:10:15", "23:10:16"], [4215, 4216])],
)
def test_a_time_of_day_moved_over_midnight_is_one_of_the_day_it_falls_into(zone, cells, seconds):
    np.testing.assert_array_equal(parse_stamps(cells, zone=parse_zone(zone)).time_s, seconds)


def _through_change(start_utc, zone, n=40, step_s=30):
    """Return true times and what a wall clock in the zone shows."""
    times = [start_utc + timedelta(seconds=step_s * i) for i in range(n)]
    return np.array([t.timestamp() for t in times]), [t.astimezone(zone).strftime("%Y-%m-%d %H:%M:%S") for t in times]


@pytest.mark.parametrize("start", [datetime(2021, 10, 31, 0, 50, tzinfo=UTC), datetime(2021, 3, 28, 0, 50, tzinfo=UTC)])
def test_a_change_of_daylight_saving_is_right_in_a_named_zone(start):
    """CET leaves summer time at 01:00 UTC on 31 October 2021 and enters it on 28 March (independent: zoneinfo)."""
    true, shown = _through_change(start, ZoneInfo("CET"))
    stamps = parse_stamps(shown, zone=parse_zone("CET"))
    np.testing.assert_array_equal(stamps.time_s, true)


@pytest.mark.parametrize(
    ("start", "step_s", "n"),
    [(datetime(2021, 10, 31, 0, 50, tzinfo=UTC), 60, 20), (datetime(2021, 3, 28, 0, 58, tzinfo=UTC), 1, 300)],
)
@pytest.mark.parametrize("dated", [True, False])
def test_a_change_of_daylight_saving_is_undone_without_a_zone(start, step_s, n, dated):
    """The stamps go on as they began; a begin of it needs a dense log."""
    true, shown = _through_change(start, ZoneInfo("CET"), n=n, step_s=step_s)
    stamps = parse_stamps(shown if dated else [text[11:] for text in shown])
    np.testing.assert_array_equal(np.diff(stamps.time_s), np.diff(true))
    assert [finding.code for finding in stamps.findings] == ["daylight_saving"]


def test_a_pause_of_an_hour_is_no_change_of_daylight_saving():
    """It does not begin and end at full hours, or the log is sparse."""
    early = [f"2021-03-28 01:{m:02d}:00" for m in range(40, 60)]
    late = [f"2021-03-28 03:{m:02d}:00" for m in range(20)]
    stamps = parse_stamps(early + late)
    assert stamps.findings == []
    assert stamps.time_s[-1] - stamps.time_s[0] == 99 * 60 + 0


def test_a_clock_put_back_within_the_hour_is_no_change_of_daylight_saving():
    """By 45 minutes, at ten past: nobody's daylight saving, and left for the matching to judge."""
    shown = [f"2021-03-28 10:{m:02d}:00" for m in range(50, 60)] + [f"2021-03-28 10:{m:02d}:00" for m in range(15, 30)]
    stamps = parse_stamps(shown)
    assert "daylight_saving" not in [finding.code for finding in stamps.findings]
    assert stamps.time_s[10] - stamps.time_s[9] == -44 * 60


def test_a_stamp_written_twice_in_the_hour_that_comes_twice_stays_in_its_half():
    """On 31 October 2021 CET shows 02:30 first at 00:30 UTC; the hour moves on only where the clock runs back."""
    shown = [f"2021-10-31 02:{text}" for text in ("30:00", "30:00", "30:01", "59:59", "00:00", "00:00")]
    first = datetime(2021, 10, 31, 0, 30, tzinfo=UTC).timestamp()
    stamps = parse_stamps(shown, zone=parse_zone("CET"))
    np.testing.assert_array_equal(stamps.time_s - first, [0, 0, 1, 1799, 1800, 1800])


def test_whole_minutes_and_whole_seconds_are_recognised_from_the_values():
    """Decimals that are always zero add nothing."""
    whole = [f"2021-07-26T12:{m:02d}:00.000Z" for m in range(8)]
    assert parse_stamps(whole).resolution_s == 60
    seconds = [f"2021-07-26T12:{m:02d}:{m:02d}.000Z" for m in range(8)]
    assert parse_stamps(seconds).resolution_s == 1


def test_fixed_zone_in_stamps_may_change_in_the_middle():
    """Stamps with offsets need no care at all."""
    cells = ["2021-10-31T02:59:59+02:00", "2021-10-31T02:00:01+01:00"]
    expected = [datetime(2021, 10, 31, 2, 59, 59, tzinfo=timezone(timedelta(hours=2))).timestamp()]
    np.testing.assert_array_equal(parse_stamps(cells).time_s, [expected[0], expected[0] + 2])


def test_a_number_from_which_a_program_cut_the_seconds_is_no_time():
    """1.93681E+12 ms are written in steps of 1e7 ms, almost three hours."""
    stamps = parse_stamps(["1.93681E+12", "1.93682E+12"])
    assert stamps.problems == [(i, Problem("not_a_time", found=f"1.9368{i + 1}E+12")) for i in range(2)]
