"""Logs whose clock was set, stood still or ran fast on the way, on drives made apart from the package."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest
from benchmark.outside.drive import generator, make_drive
from benchmark.outside.kinds import KINDS, Kind
from benchmark.outside_score import in_memory, outside_drive

import speedcal
from speedcal.calibration.logged.clock_steps import closed_jumps, course_of_clock
from speedcal.calibration.readings.clock_search import Shift
from speedcal.calibration.result import Calibration
from speedcal.calibration.speed.speed_of_track import ground_speed
from speedcal.errors import FitError
from speedcal.interval import FloatArray


def _calibrated(seed: int, clock: Callable[[FloatArray], FloatArray]) -> tuple[Calibration, float, FloatArray]:
    """Return the answer, the true factor, and the times as they were before the clock went wrong."""
    drive = outside_drive("log", (71, seed))
    track, readings = in_memory(drive)
    result = speedcal.calibrate(track, replace(readings, time_s=clock(readings.time_s)))
    return result, drive.truth.factor(drive.truth.speed_mps), readings.time_s


@pytest.mark.parametrize(("seed", "forward_s"), [(0, 2.5), (1, -5.0), (1, 18.0), (2, -90.0)])
def test_a_clock_that_is_set_on_the_way_is_found_and_put_right(seed: int, forward_s: float) -> None:
    """Told to 0.2 s, and where, but for a steady stretch; the factor to 0.3 %, which one clock for all turns by 1 %."""

    def clock(time: FloatArray) -> FloatArray:
        return np.asarray(time + forward_s * (np.arange(len(time)) >= len(time) // 2))

    result, factor, time = _calibrated(seed, clock)
    assert result.trust.word == "TRUSTED"
    (step,) = next(f.values["rows"] for f in result.findings if f.code == "clock_stepped")
    assert step["forward_s"] == pytest.approx(forward_s, abs=0.2 if abs(forward_s) < 10 else 1.2)
    row, middle = step["line"] - result.readings["line"].iloc[0], len(time) // 2
    between = result.readings["ground_mps"].to_numpy()[min(row, middle) : max(row, middle) + 1]
    assert np.ptp(between) < 3.0
    assert result.error_factor.value == pytest.approx(factor, rel=0.003)


def test_a_clock_that_drifts_and_is_set_as_far_as_is_tried_first_is_set_once() -> None:
    """Seven seconds of drift and a step of ten."""

    def clock(time: FloatArray) -> FloatArray:
        return np.asarray(time[0] + 1.006 * (time - time[0]) + 10.0 * (np.arange(len(time)) >= 0.55 * len(time)))

    result, factor, _ = _calibrated(0, clock)
    (step,) = next(f.values["rows"] for f in result.findings if f.code == "clock_stepped")
    assert step["forward_s"] == pytest.approx(10.0, abs=0.5)
    assert result.error_factor.value == pytest.approx(factor, rel=0.003)


def test_a_clock_set_back_by_an_hour_is_read_in_the_order_of_the_file() -> None:
    """Times that run back overlap nothing on the track; all of the log is used, and the hour is told."""

    def clock(time: FloatArray) -> FloatArray:
        return np.asarray(time - 3600.0 * (np.arange(len(time)) >= len(time) // 2))

    result, factor, _ = _calibrated(3, clock)
    (step,) = next(f.values["rows"] for f in result.findings if f.code == "clock_stepped")
    assert step["forward_s"] == pytest.approx(-3600.0, abs=1.5)
    assert (result.readings["reason"] == "no_ground_speed").mean() < 0.05
    assert result.error_factor.value == pytest.approx(factor, rel=0.003)


@pytest.mark.parametrize(("seed", "fast"), [(4, 0.01), (5, 0.035), (6, -0.04), (7, 0.05)])
def test_a_clock_that_runs_fast_or_slow_does_not_turn_the_factor(seed: int, fast: float) -> None:
    """Ten seconds to a minute over the drive, which no single offset fits."""
    result, factor, _ = _calibrated(seed, lambda time: np.asarray(time[0] + (1 + fast) * (time - time[0])))
    assert result.trust.word == "TRUSTED"
    assert result.error_factor.value == pytest.approx(factor, rel=0.003)
    assert "clock_stepped" not in [finding.code for finding in result.findings]


@pytest.mark.parametrize("kind", ["drift", "log, phone", "convoy, log"])
def test_a_clock_that_is_not_set_shows_no_step(kind: str) -> None:
    result = speedcal.calibrate(*in_memory(outside_drive(kind, (71, 5))))
    assert "clock_stepped" not in [finding.code for finding in result.findings]


def test_jumps_are_closed_in_the_order_of_the_file_and_rows_out_of_order_are_no_jumps() -> None:
    """Ten rows a second apart, then an hour back; a list that runs back at every other row has no clock to mend."""
    time = np.concatenate([np.arange(10.0), np.arange(10.0) - 3600.0])
    course = closed_jumps(time)
    assert course is not None
    assert time + course.late_s == pytest.approx(np.arange(20.0))
    assert course.steps == ((10, pytest.approx(-3610.0)),)
    assert closed_jumps(np.arange(20.0)) is None
    assert closed_jumps(np.arange(20.0)[::-1]) is None


@pytest.mark.parametrize("full_s", [65.536, 400.0])
def test_a_counter_that_begins_anew_is_joined(full_s: float) -> None:
    """Milliseconds in 16 bits begin anew each minute; the order of the file tells how often."""
    result, factor, _ = _calibrated(8, lambda time: np.asarray(time[0] + np.mod(time - time[0] + 20.0, full_s)))
    assert result.trust.word == "TRUSTED"
    assert result.error_factor.value == pytest.approx(factor, rel=0.003)
    assert "clock_stepped" not in [finding.code for finding in result.findings]


def test_a_log_of_more_than_four_hours_is_taken_as_its_clock_says() -> None:
    """One row a second for five hours beside the track of one drive: asked for no step, whatever fits by chance."""
    track, readings = in_memory(outside_drive("log", (71, 0)))
    time = readings.time_s[0] + np.arange(18000.0)
    course = course_of_clock(
        ground_speed(track),
        time,
        np.resize(readings.speed_mps[::-1], 18000),
        shift=Shift(0.0, 0.0, 0.0, 1.0),
        step_mps=readings.speed_resolution_mps,
    )
    assert not course.late_s.any()


@pytest.mark.parametrize("seed", [2, 6])
def test_a_part_of_another_dial_is_no_clock_that_was_set(seed: int) -> None:
    """The first part reads 6 % higher: some of its rows fit at another lateness, most at none."""
    track, readings = in_memory(outside_drive("log", (71, seed)))
    higher = np.where(np.arange(len(readings.speed_mps)) < 0.3 * len(readings.speed_mps), 1.06, 1.0)
    result = speedcal.calibrate(track, replace(readings, speed_mps=readings.speed_mps * higher))
    assert "clock_stepped" not in [finding.code for finding in result.findings]
    assert "dial_changes" in result.trust.codes


@pytest.mark.parametrize("seed", [16, 42, 126])
def test_a_log_of_the_same_road_on_another_day_is_not_laid_on_the_track_by_steps_of_its_clock(seed: int) -> None:
    """Piece by piece it follows to 0.8 m/s; taken as it is it would get a number."""
    log = KINDS["log"]
    assert isinstance(log, Kind)
    kind = replace(log, second="same road", answer=False)
    with pytest.raises(FitError, match="not as one dial shows it"):
        speedcal.calibrate(*in_memory(make_drive(kind, generator("same road log", (331, seed)))))
