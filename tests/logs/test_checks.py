"""Checks: each way to know the truth is understood by header and units, by hand arithmetic; the rest is asked about."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner

import speedcal
from speedcal.cli import cli
from speedcal.errors import ReadingsFormatError, SpeedcalError
from speedcal.interval import Interval
from speedcal.logs import Checks, read_checks
from speedcal.units import KMH_MPS, MILE_M, MPH_MPS


def _read(folder: Path, text: str, **options: object) -> Checks:
    path = folder / "checks.csv"
    path.write_text(text, encoding="utf-8")
    return read_checks(path, **options)  # type: ignore[arg-type]


def _true_mph(folder: Path, text: str, **options: object) -> list[float]:
    checks = _read(folder, text, **options)
    return [round(float(v) / MPH_MPS, 3) for v in checks.true_mps[checks.has_speed]]


@pytest.mark.published("seconds over a measured mile, 3600 / t: 45 s are 80 mph, 60 s 60, 72 s 50, 90 s 40; arithmetic")
def test_seconds_over_a_measured_mile_are_those_of_the_chart(tmp_path: Path) -> None:
    text = "dial mph,measured mile s\n80,45\n60,60\n50,72\n40,90\n30,120\n"
    assert _true_mph(tmp_path, text) == [80, 60, 50, 40, 30]


@pytest.mark.published("km/h = rpm x RC x 60 / (1000 i): 3000 rpm, 2.0 m, 3.6 give 100 km/h, arithmetic")
def test_engine_speed_in_a_known_gear_gives_the_road_speed(tmp_path: Path) -> None:
    """A turn of the shaft is 2.0 m / 3.6; in 0.8 the same engine goes 125 km/h."""
    turn = Interval.around(2.0 / 3.6, 0.01 * 2.0 / 3.6)
    checks = _read(tmp_path, "dial km/h,rpm,gear\n105,3000,1.00\n131,3000,0.80\n", shaft_turn_m=turn)
    np.testing.assert_allclose(checks.true_mps / KMH_MPS, [100, 125])
    assert checks.u_common == pytest.approx(np.hypot(0.01, 0.005))  # tachometer 1 %, tire half of its interval


@pytest.mark.parametrize(
    ("text", "true"),
    [
        ("dial mph,true mph\n60,57\n40,38.5\n", [57, 38.5]),
        ("speedo,GPS (mph)\n60,57\n40,38\n", [57, 38]),
        ("needle mph;phone mph;remark\n60;57;wind\n40;38;\n", [57, 38]),
        ("dial mph,radar\n60,57\n40,38\n", [57, 38]),
        ("reading (mph),actual (km/h)\n60,91.732608\n", [57]),
        ("dial mph,distance mi,time mm:ss.s\n60,1,1:03.2\n60,1,1:04\n", [56.962, 56.25]),
        ("dial mph,distance,time\n60,1 mile,63.2\n60,2 miles,2:06.4\n", [56.962, 56.962]),
        ("dial mph,miles,time\n60,1,1 min 3.2 s\n60,1,1'03.2\"\n", [56.962, 56.962]),
        ("dial mph,distance,stopwatch\n60,1,0:01:03.2\n", [56.962]),
        ("dial mph,mile time\n60,1:03:20\n60,1:04:00\n", [56.962, 56.25]),  # a stopwatch with hundredths
        ("dial mph,time min,course mi\n60,1.05333333,1\n", [56.962]),
        ("dial mph,time for 2 miles\n60,2:06.4\n", [56.962]),
        ("dial mph,quarter mile s\n60,15.8\n", [56.962]),
        ("dial km/h;Strecke km;Zeit\n100;1;37,2\n100;1;37,0\n", [60.133, 60.458]),
        ("dial mph,distance,time\n60,1,63.2\n", [56.962]),  # kilometres would be 35 mph
        ("dial,distance mi,time\n60,1,63.2\n", [56.962]),  # 60 km/h would be 37 mph
        ("dial,distance mi,start time,end time\n60 mph,2,10:03:17,10:05:23.4\n", [56.962]),
        ('dial mph,distance mi,time\n60,1,63.2\n",ditto,64\n', [56.962, 56.25]),
        ("mile post,time,dial mph\n112,10:03:00,60\n113,10:04:03,\n114,10:05:07,\n", [57.143, 56.25]),
        ("mile marker,elapsed,dial mph\n112,0:00,60\n113,1:03,60\n114,2:07,60\n", [57.143, 56.25]),
        ("post,time hh:mm:ss,speedo mph\n114,10:03:00,60\n113,10:04:03,60\n", [57.143]),
        ("dial mph,gps mph,distance mi,time\n60,57,,\n60,,1,63.2\n", [57, 56.962]),
        ("mile,time,dial mph\n112,10:03:00,60\n113,10:04:03,60\n114,10:05:07,60\n", [57.143, 56.25]),
        ("mile,stopwatch,dial mph\n0,0:00,60\n1,1:03,60\n2,2:07,60\n", [57.143, 56.25]),
        ("dial mph,miles,time\n60,1,1:03\n60,2,2:06\n60,3,3:09\n", [57.143, 57.143, 57.143]),  # three runs
        ("lap,dial mph,1 mile time\n1,60,1:03.2\n2,60,1:04.0\n", [56.962, 56.25]),
        ("dial mph,mile\n60,1:03.2\n60,1:04.0\n", [56.962, 56.25]),
        ("dial mph,60,60,60,60\nGPS mph,57,56.5,57.5,57\n", [57, 56.5, 57.5, 57]),
        ("Tacho mph;60;60;60;60\nGPS mph;57;56,5;57,5;57\n", [57, 56.5, 57.5, 57]),
        ("dial mph,gps mph,error mph,error %\n60,57,3,5.3\n40,38,2,5.3\n", [57, 38]),
        ("date,time,dial mph,gps mph\n8/21/26,10:40,60,57\n8/21/26,10:41,40,38\n", [57, 38]),
        ("rpm,dial mph,gps mph\n2400,60,57\n1600,40,38\n", [57, 38]),
    ],
)
def test_each_way_to_know_the_truth_is_understood(tmp_path: Path, text: str, true: list[float]) -> None:
    """3600/63.2 = 56.962, 3600/64 = 56.25, 3600/63 = 57.143; 1000 m in 37.2 s are 96.77 km/h."""
    assert _true_mph(tmp_path, text) == pytest.approx(true, abs=0.001)


def test_miles_in_which_the_dial_changed_or_the_car_turned_are_left_out(tmp_path: Path) -> None:
    """113 to 114 is driven at another dial, and between 115 and 114 the car turned."""
    rows = ["112,10:00:00,60", "113,10:01:00,60", "114,10:02:10,50", "115,10:03:22,50", "114,10:09:00,50"]
    rows.append("113,10:10:12,50")
    checks = _read(tmp_path, "mile post,time,dial mph\n" + "\n".join(rows) + "\n")
    assert list(checks.line[checks.has_speed]) == [3, 5, 7]
    np.testing.assert_allclose(checks.true_mps[checks.has_speed] / MPH_MPS, [60, 50, 50])
    assert [dict(f.values["counts"]) for f in checks.findings if f.code == "checks_left_out"] == [
        {"mile_not_steady": 2}
    ]


def test_miles_one_after_the_other_share_the_time_at_the_post_between(tmp_path: Path) -> None:
    """What one ends late the next begins late: their sum over n miles is as uncertain as one mile, not as n."""
    rows = [f"{112 + k},{10}:0{k}:00,60" for k in range(5)]
    checks = _read(tmp_path, "mile post,time,dial mph\n" + "\n".join(rows) + "\n")
    assert checks.correlation is not None
    rows_used = np.flatnonzero(checks.has_speed)
    together = checks.correlation[np.ix_(rows_used, rows_used)]
    u = checks.u_true_mps[rows_used]
    mean = float(np.sqrt(np.outer(u, u).ravel() @ together.ravel())) / len(u)
    assert mean == pytest.approx(float(u[0]) / len(u), rel=1e-6)


@pytest.mark.published("arithmetic: a watch 0.2 s off at each end is 0.28 s in 60 s, 0.47 % of the speed")
def test_the_watch_the_mile_and_the_rounding_are_in_the_budget(tmp_path: Path) -> None:
    """0.283 s of 60 s at 60 mph: 0.283 mph; whole seconds that were cut off lack half a second, 0.5 mph."""
    watch = _read(tmp_path, "dial mph,mile time s\n60,60\n60,61\n")
    assert watch.u_true_mps[0] / MPH_MPS == pytest.approx(np.sqrt(0.08), rel=1e-6)
    assert watch.cut_mps is not None
    assert watch.cut_mps[0] / MPH_MPS == pytest.approx(-0.5, rel=1e-6)
    assert watch.u_common == 0.002


@pytest.mark.parametrize(
    ("text", "counted", "true"),
    [
        ("trip meter,distance mi\n10.4,10\n", 10.4, 10),
        ("odometer start,odometer end,measured miles\n61482.6,61493.0,10\n", 10.4, 10),
        ("odo start;odo end;distance mi\n61,482.6;61,493.0;10\n", 10.4, 10),
        ("mile post,time,dial mph,odo\n100,10:00:00,60,61482.6\n105,10:05:00,60,61487.8\n110,10:10:00,60,61493.0\n",
         10.4, 10),
        ("trip km,mapped distance km\n3.1,3\n6.2,6\n10.4,10\n", 10.4 / 1.609344, 10 / 1.609344),
    ],
)  # fmt: skip
def test_the_odometer_is_held_against_the_distance(tmp_path: Path, text: str, counted: float, true: float) -> None:
    """10.4 counted over 10."""
    checks = _read(tmp_path, text)
    known = np.isfinite(checks.odometer_m)
    assert float(checks.odometer_m[known].sum()) / MILE_M == pytest.approx(counted)
    assert float(checks.distance_m[known].sum()) / MILE_M == pytest.approx(true)


def test_an_odometer_alone_tells_the_drive_and_leaves_the_dial_open(tmp_path: Path) -> None:
    """10.4 over 10 is 1.04 at every speed; that the dial may be off by itself keeps it from being TRUSTED."""
    found = speedcal.calibrate_checks(_read(tmp_path, "trip meter mi,distance mi\n10.4,10\n10.4,10\n"))
    assert found.trust.codes == ["dial_not_checked"]
    assert found.odometer_factor is not None
    assert found.odometer_factor.value == pytest.approx(1.04)
    assert found.odometer_factor.half_width < 0.01
    assert found.error_factor.value == pytest.approx(1.04)
    low, high = (float(found.indicated(60 * MPH_MPS) + s * found.half_width(60 * MPH_MPS)) / MPH_MPS for s in (-1, 1))
    assert low < 60 * 0.99
    assert high > 60 * 1.04 * 1.04


def test_an_odometer_that_no_gear_puts_so_far_out_is_refused(tmp_path: Path) -> None:
    with pytest.raises(SpeedcalError):
        speedcal.calibrate_checks(_read(tmp_path, "trip meter mi,distance mi\n30,10\n30,10\n"))


@pytest.mark.parametrize(
    ("text", "code"),
    [
        ("the truck is fast\n", "no_table_of_checks"),
        ("<gpx></gpx>\n", "no_table_of_checks"),
        ("dial mph\n60\n50\n", "no_truth_columns"),
        ("dial,distance mi,time\n60,1,76.6\n", "column_without_unit"),  # 47 mph, 76 km/h: either may be
        ("dial,gps mph\n60,57\n100 km/h,59\n50,47\n", "column_without_unit"),  # a plausible dial in km/h, and in mph
        ("dial mph,gps mph,phone mph\n60,57,56\n", "several_true_columns"),
        ("dial mph,speedo mph,gps mph\n60,60,56\n", "several_speed_columns"),
        ("mph,mph 2\n60,57\n", "several_speed_columns"),
        ("dial mph,gps\n60,75\n60,76\n", "check_unit_open"),  # 75 mph, or 75 km/h = 47 mph
        ("dial mph,distance,time\n60,1,600\n", "check_implausible"),
        ("dial mph,distance mi,time\n60,1,fast\n60,1,63\n", "not_a_run_time"),
        ("dial mph,mile time\n60,0:00\n60,63.2\n", "not_a_run_time"),
        ("dial mph,distance mi,time\n60ish,1,63\n", "cell_not_a_number"),
        ("mile post,dial mph\n112,60\n113,60\n", "posts_without_times"),
        ("dial mph,rpm,gear\n60,2500,1.00\n", "rpm_without_vehicle"),
        ("odometer,distance mi,dial mph,gps mph\n61482.6,10,60,57\n", "odometer_without_start"),
        ("dial mph,distance furlongs,time\n60,1 furlong,63\n", "cell_not_a_number"),
        ("dial mph,true mph\n600,57\n", "impossible_speed"),
    ],
)
def test_what_can_be_read_two_ways_or_none_is_asked_about(tmp_path: Path, text: str, code: str) -> None:
    with pytest.raises(ReadingsFormatError) as caught:
        _read(tmp_path, text)
    assert caught.value.code == code
    assert caught.value.remedy


@pytest.mark.parametrize(("gear", "right"), [("4", False), ("4th", False), ("direct", True), ("0.71", True)])
def test_the_number_of_a_gear_is_no_ratio(tmp_path: Path, gear: str, *, right: bool) -> None:
    turn = Interval.around(0.6, 0.01)
    if right:
        assert _read(tmp_path, f"dial mph,rpm,gear\n60,2500,{gear}\n", shaft_turn_m=turn).has_speed.all()
        return
    with pytest.raises(ReadingsFormatError) as caught:
        _read(tmp_path, f"dial mph,rpm,gear\n60,2500,{gear}\n", shaft_turn_m=turn)
    assert caught.value.code == "gear_not_a_ratio"


def test_a_spreadsheet_of_checks_is_read(tmp_path: Path) -> None:
    """A time typed as 1:03.2 comes back from a spreadsheet as a time of day."""
    import datetime

    import openpyxl

    book = openpyxl.Workbook()
    sheet = book.active
    assert sheet is not None
    sheet.append(["dial mph", "distance mi", "time"])
    sheet.append([60, 1, datetime.time(0, 1, 3, 200_000)])
    book.save(tmp_path / "checks.xlsx")
    checks = read_checks(tmp_path / "checks.xlsx")
    assert float(checks.true_mps[0]) / MPH_MPS == pytest.approx(3600 / 63.2)


def test_the_command_takes_one_file_of_checks(tmp_path: Path) -> None:
    """With the contract of a calibration: no clock, and the truth from checks."""
    import json

    path = tmp_path / "mile.csv"
    path.write_text("dial,mile time\n60,63.2\n60,64.0\n35,109.0\n35,108.1\n", encoding="utf-8")
    run = CliRunner().invoke
    result = run(cli, ["calibrate", str(path), "--unit", "mph", "--json"])
    assert result.exit_code == 0, result.output
    told = json.loads(result.output)
    assert (told["speed_source"], told["clock_offset_s"], told["readings"]["used"]) == ("checks", None, 4)
    with pytest.raises(speedcal.SpeedcalError, match="TRACK and READINGS"):
        run(cli, ["calibrate", str(path), "--zone", "+02:00"], catch_exceptions=False)


def test_rows_in_which_the_vehicle_stands_are_left_out_and_counted(tmp_path: Path) -> None:
    """At a light a dial and a phone show nothing, or next to it; a dial of 0 at 57 mph is a slip, and no stop."""
    text = "dial mph,phone mph\n0,0\n35,32\n0,2\n3,0\n45,41\n0,\n,0\n"
    checks = _read(tmp_path, text)
    assert checks.has_speed.tolist() == [False, True, False, False, True, False, False]
    (left,) = (finding.values["counts"] for finding in checks.findings if finding.code == "checks_left_out")
    assert left == {"vehicle_stands": 5}
    with pytest.raises(ReadingsFormatError) as caught:
        _read(tmp_path, f"{text}0,57\n")
    assert caught.value.code == "impossible_speed"


def test_miles_of_one_time_and_one_reading_tell_one_speed(tmp_path: Path) -> None:
    """Of posts passed every 72 s to the second, the factor was 1e12: true speeds differed by their rounding alone."""
    times = [36000 + 72 * k for k in range(9)]
    rows = [f"{100 + k},{t // 3600}:{t % 3600 // 60:02}:{t % 60:02},55" for k, t in enumerate(times)]
    path = tmp_path / "posts.csv"
    path.write_text("\n".join(["mile post,time,dial mph", *rows]), encoding="utf-8")
    found = speedcal.calibrate_checks(speedcal.read_checks(path))
    assert found.error_factor.contains(1.1)
    assert found.error_factor.half_width < 0.25
    twice = CliRunner().invoke(cli, ["calibrate", str(path), str(path)])
    assert twice.output.startswith("WEAK (nearly one speed only, 50 mph")
