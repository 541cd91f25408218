"""Logs that hold the receiver's speed beside the dial's and no positions."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner

import speedcal
from speedcal.cli import cli
from speedcal.errors import SpeedcalError
from speedcal.interval import FloatArray
from speedcal.jobs import load_job, measure_job
from speedcal.jobs.contents import Drive
from speedcal.jobs.measured_drive import as_driven, track_of
from speedcal.units import MPH_MPS

FACTOR, OFFSET_MPH = 1.06, 1.0
HEADER = "time (s),GPS speed (mph),Vehicle speed (mph)"


def _late(speed: FloatArray, constant_s: float, every_s: float) -> FloatArray:
    late = speed.copy()
    for k in range(1, len(speed)):
        late[k] += (late[k - 1] - speed[k]) * np.exp(-every_s / constant_s)
    return late


def _log(folder: Path, *, every_s: float = 1.0, minutes: float = 20, header: str = HEADER) -> Path:
    """Write a log of a drive with stops, by a receiver and by a dial that each come late in their own way."""
    rng = np.random.default_rng(7)
    time_s = np.arange(0.0, 60 * minutes, 0.2)
    wanted = np.repeat(rng.choice([0, 25, 35, 45, 55, 65], 60), 200)[: len(time_s)]
    speed = _late(wanted + 2 * np.sin(time_s / 7) * (wanted > 0), 5.0, 0.2)
    gps = _late(speed, 0.6, 0.2) + _late(rng.normal(0, 0.8, len(speed)), 3.0, 0.2)
    dial = _late(speed, 0.9, 0.2)
    shown = np.where(dial > 3, np.round(FACTOR * dial + OFFSET_MPH), 0.0)
    rows = range(0, len(time_s), round(every_s / 0.2))
    path = folder / "log.csv"
    lines = [f"{time_s[k]:.1f},{max(gps[k], 0):.1f},{shown[k]:.0f}" for k in rows]
    path.write_text("\n".join([header, *lines]), encoding="utf-8")
    return path


@pytest.mark.parametrize("every_s", [1.0, 10.0])
def test_the_dial_is_told_by_the_speed_of_the_receiver(tmp_path: Path, every_s: float) -> None:
    """Both come late, so that pairs in a row err alike; the answer holds the truth, and is near it."""
    path = _log(tmp_path, every_s=every_s)
    result = speedcal.calibrate(speedcal.read_track(path), speedcal.read_readings(path))
    assert not result.trust.codes
    for mph in (30, 50, 60):
        half_width = result.half_width(mph * MPH_MPS) / MPH_MPS
        assert abs(result.indicated(mph * MPH_MPS) / MPH_MPS - FACTOR * mph - OFFSET_MPH) < half_width < 0.011 * mph
    assert "speed_alone" in {finding.code for finding in result.findings}


def test_it_is_measured_given_once_and_given_as_checks(tmp_path: Path) -> None:
    """Its thousand rows were weighed as checks, each by itself: no answer for ten minutes, and seven gigabytes."""
    path = _log(tmp_path)
    assert "TRUSTED" in CliRunner().invoke(cli, ["calibrate", str(path)]).output
    driven = as_driven(Drive(checks=path))
    assert (driven.track, driven.readings, driven.checks) == (path, path, None)


@pytest.mark.parametrize(
    "header", ["time (s),GPS speed,Vehicle speed", "time (s),GPS speed,Vehicle speed (mph)", HEADER[:-6]]
)
def test_a_unit_that_it_does_not_name_is_asked_for_and_may_be_said(tmp_path: Path, header: str) -> None:
    """It was taken for checks, and asked for the times that it has; a unit said for it changed nothing."""
    path = _log(tmp_path, minutes=8, header=header)
    assert getattr(CliRunner().invoke(cli, ["calibrate", str(path)]).exception, "code", "") == "column_without_unit"
    driven = as_driven(Drive(checks=path, unit="mph"))
    assert float(np.nanmax(track_of(driven).speed_mps)) == pytest.approx(67 * MPH_MPS, rel=0.03)
    assert "\nerror factor  1.0" in CliRunner().invoke(cli, ["calibrate", str(path), "--unit", "mph"]).output


def test_a_log_in_one_unit_is_answered_in_the_other(tmp_path: Path) -> None:
    """The unit of the answer was held against that of the log, and nothing was said to show what the dial did."""
    path = _log(tmp_path, minutes=8)
    answer = json.loads(CliRunner().invoke(cli, ["calibrate", str(path), "--unit", "km/h", "--json"]).output)
    assert answer["speed_unit"] == "km/h"
    assert answer["offset"]["value"] == pytest.approx(1.609 * OFFSET_MPH, abs=0.4)


@pytest.mark.parametrize(("gps", "dial"), [(50, 54), (51, 54), (51, 60)])
def test_one_speed_throughout_is_said_and_is_no_factor_of_thousands(tmp_path: Path, gps: int, dial: int) -> None:
    """One row that differs is none."""
    path = tmp_path / "log.csv"
    rows = "".join(f"{k},{gps},{dial}\n" if k == 300 else f"{k},50,54\n" for k in range(600))
    path.write_text(f"{HEADER}\n{rows}", encoding="utf-8")
    with pytest.raises(SpeedcalError) as refused:
        speedcal.calibrate(speedcal.read_track(path), speedcal.read_readings(path))
    assert refused.value.code == "one_speed_noted"


def test_a_job_tells_the_day_of_a_log_and_what_its_dial_is_marked_in(tmp_path: Path) -> None:
    """Neither is in the log: its times begin at zero, and what is written in km/h may stand on the dial in mph."""
    _log(tmp_path, minutes=8, header=HEADER.replace("mph", "km/h"))
    (tmp_path / "job.toml").write_text(
        '[job]\nunit = "mph"\n[before]\nchecks = "log.csv"\ndate = 2026-05-04\n', encoding="utf-8"
    )
    job = measure_job(load_job(tmp_path / "job.toml"))
    assert (job.dial_unit, [drive.date for drive in job.drives]) == ("mph", ["2026-05-04"])


def test_a_row_without_a_time_and_a_short_log_leave_a_log_a_log(tmp_path: Path) -> None:
    """Weighed as checks their rows gave a dial that lags as one that reads wrong, and were TRUSTED."""
    first, *rows = _log(tmp_path, minutes=5).read_text(encoding="utf-8").splitlines()
    for name, some in {"gap": [*rows[:100], "," + rows[100].split(",", 1)[1], *rows[101:]], "short": rows[:50]}.items():
        path = tmp_path / f"{name}.csv"
        path.write_text("\n".join([first, *some]), encoding="utf-8")
        assert as_driven(Drive(checks=path)).track == path


def test_an_empty_second_pair_of_places_takes_no_positions_away(tmp_path: Path) -> None:
    first, *rows = _log(tmp_path, minutes=3).read_text(encoding="utf-8").splitlines()
    header = f"{first},latitude,longitude,phone latitude,phone longitude"
    lines = [f"{row},{45 + k / 5000:.6f},9.5,," for k, row in enumerate(rows)]
    (tmp_path / "two.csv").write_text("\n".join([header, *lines]), encoding="utf-8")
    assert speedcal.read_track(tmp_path / "two.csv").has_positions


def test_of_two_columns_that_may_be_the_dial_one_is_asked_for(tmp_path: Path) -> None:
    first, *rows = _log(tmp_path, minutes=3, header="time (s),GPS speed (mph),OBD speed (mph)").read_text().splitlines()
    path = tmp_path / "three.csv"
    path.write_text("\n".join([f"{first},wheel speed (mph)", *(f"{row},30" for row in rows)]), encoding="utf-8")
    told = CliRunner().invoke(cli, ["calibrate", str(path)]).exception
    assert getattr(told, "code", "") == "several_speed_columns"


def test_checks_with_their_places_are_checks(tmp_path: Path) -> None:
    """Six pairs with a position each are no drive: they were refused as one of six fixes."""
    rows = [
        f"10:{m:02d}:00,45.{m:02d},9.5,{v},{round(FACTOR * v + OFFSET_MPH)}" for m, v in enumerate((30, 60, 45) * 2)
    ]
    path = tmp_path / "six.csv"
    path.write_text("\n".join(["time,latitude,longitude,GPS speed (mph),dial (mph)", *rows]), encoding="utf-8")
    assert as_driven(Drive(checks=path)).checks == path
    assert "checks        6 of 6 used" in CliRunner().invoke(cli, ["calibrate", str(path)]).output


@pytest.mark.parametrize("times", [1, 2])
def test_the_zone_of_a_log_given_once_or_twice_is_heeded_and_refused_for_checks(tmp_path: Path, times: int) -> None:
    log, checks = _log(tmp_path, minutes=3), tmp_path / "checks.csv"
    checks.write_text("dial mph,gps mph\n35,32\n60,55\n45,41\n", encoding="utf-8")
    told = [CliRunner().invoke(cli, ["calibrate", *[str(path)] * times, "--zone", "+02:00"]) for path in (log, checks)]
    assert [getattr(one.exception, "code", "") for one in told] == ["", "checks_without_clock"]


def test_the_odometer_is_known_no_better_than_the_way_by_that_speed(tmp_path: Path) -> None:
    path = _log(tmp_path)
    first, *rows = path.read_text(encoding="utf-8").splitlines()
    way_mi = np.cumsum([float(row.split(",")[1]) for row in rows]) / 3600
    lines = [f"{first},odometer (mi)", *(f"{row},{900 + mi:.2f}" for row, mi in zip(rows, way_mi, strict=True))]
    path.write_text("\n".join(lines), encoding="utf-8")
    odometer = speedcal.calibrate(speedcal.read_track(path), speedcal.read_readings(path)).odometer_factor
    assert odometer is not None
    assert odometer.value == pytest.approx(1, abs=0.001)
    assert odometer.half_width > 0.008  # twice the 0.4 % that receivers differ by


@pytest.mark.parametrize(
    ("log", "code"),
    [
        ({"every_s": 20.0, "minutes": 30}, "no_positions"),  # checks, noted on the way
        ({"minutes": 0.3}, "no_positions"),
        ({"header": "time (s),speed (mph),Vehicle speed (mph)"}, "no_positions"),
    ],
)
def test_what_is_no_such_log_is_no_track(tmp_path: Path, log: dict[str, float | str], code: str) -> None:
    path = _log(tmp_path, **log)  # type: ignore[arg-type]
    with pytest.raises(SpeedcalError) as refused:
        speedcal.read_track(path)
    assert refused.value.code == code
    assert as_driven(Drive(checks=path)).checks == path


def test_a_log_without_times_is_refused_as_checks(tmp_path: Path) -> None:
    """Not for the rows in which the vehicle stands: without them it is none either."""
    path = _log(tmp_path, minutes=5)
    rows = [line.split(",", 1)[1] for line in path.read_text(encoding="utf-8").splitlines()]
    path.write_text("\n".join(rows), encoding="utf-8")
    with pytest.raises(SpeedcalError, match="headers such as 'GPS speed") as refused:
        speedcal.read_checks(path)
    assert refused.value.code == "too_many_checks"


@pytest.mark.parametrize("place", [",", "0,0", "0.000000,0.000000", "n/a,n/a"])
def test_columns_of_positions_that_hold_none_change_nothing(tmp_path: Path, place: str) -> None:
    path = _log(tmp_path, minutes=5)
    plain = speedcal.read_track(path)
    first, *rows = path.read_text(encoding="utf-8").splitlines()
    path.write_text("\n".join([f"{first},lat,lon", *(f"{row},{place}" for row in rows)]), encoding="utf-8")
    track = speedcal.read_track(path)
    assert not track.has_positions
    np.testing.assert_array_equal(track.speed_mps, plain.speed_mps)


def test_without_positions_there_is_nothing_to_trim(tmp_path: Path) -> None:
    command = ["trim", str(_log(tmp_path)), "--out", str(tmp_path / "drive.gpx")]
    assert getattr(CliRunner().invoke(cli, command).exception, "code", "") == "nothing_to_trim"
    assert not (tmp_path / "drive.gpx").exists()
