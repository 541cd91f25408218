"""Logs and tracks of which one stands or hangs for minutes while the other moves."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from benchmark.outside_score import answer, in_memory, outside_drive

import speedcal
from speedcal.calibration.logged.standstill import rows_apart
from speedcal.calibration.result import Calibration
from speedcal.interval import FloatArray
from speedcal.text.messages import finding

_STEP = 1 / 3.6


def _hanging(seed: int, *, at_zero: bool) -> tuple[Calibration, float, int, int]:
    """Return the answer to a log that shows one value for five minutes, the true factor, and those lines."""
    drive = outside_drive("log", (131, seed))
    track, readings = in_memory(drive)
    speed, time = readings.speed_mps.copy(), readings.time_s
    begin = int(np.searchsorted(time, time[0] + 0.4 * np.ptp(time)))
    rows = slice(begin, int(np.searchsorted(time, time[begin] + 300.0)))
    speed[rows] = 0.0 if at_zero else speed[rows.start]
    result = speedcal.calibrate(track, replace(readings, speed_mps=speed))
    lines = readings.line[rows]
    return result, drive.truth.factor(drive.truth.speed_mps), int(lines[0]), int(lines[-1])


@pytest.mark.parametrize("seed", range(4))
def test_minutes_with_the_ignition_off_are_left_out_and_told(seed: int) -> None:
    """Five minutes of the drive: the rest of it tells the factor to 0.5 %."""
    result, factor, first, last = _hanging(seed, at_zero=True)
    assert result.trust.word == "TRUSTED"
    (told,) = (found.values["rows"] for found in result.findings if found.code == "minutes_apart")
    assert [(row["first"], row["last"]) for row in told] == [
        (pytest.approx(first, abs=60), pytest.approx(last, abs=60))
    ]
    assert result.error_factor.value == pytest.approx(factor, rel=0.005)
    assert result.error_factor.half_width < 0.01


@pytest.mark.parametrize("seed", [1, 5, 6, 7])
def test_minutes_in_which_the_display_hangs_are_left_out_where_it_shows(seed: int) -> None:
    """It may hang at a speed that is held for another minute, and be right for so long."""
    result, factor, first, last = _hanging(seed, at_zero=False)
    assert result.trust.word == "TRUSTED"
    (told,) = (found.values["rows"] for found in result.findings if found.code == "minutes_apart")
    assert all(first <= row["first"] < row["last"] <= last + 5 for row in told)
    assert result.error_factor.value == pytest.approx(factor, rel=0.005)


def test_the_finding_names_lines_time_and_both_speeds() -> None:
    rows = [{"first": 664, "last": 1190, "lasts_s": 530.0, "shown_mps": 0.0, "ground_mps": 12.8}]
    text = finding("minutes_apart", {"rows": rows, "unit": "km/h"})
    assert "lines 664 to 1190 (9 min), which show 0 km/h while the track shows 46 km/h" in text


@pytest.mark.parametrize("kind", ["log", "log, ends", "log, tunnels", "log, canyons", "cruise"])
@pytest.mark.parametrize("seed", range(2))
def test_no_minute_is_left_out_where_log_and_track_go_together(kind: str, seed: int) -> None:
    result = answer(outside_drive(kind, (132, seed)))
    assert "minutes_apart" not in [found.code for found in result.findings]


def _stop_and_go() -> FloatArray:
    """Return a speed each second: standing, rising to 30 m/s, held for three minutes, falling; four times, by turns."""
    rise = np.linspace(0.0, 30.0, 60)
    return np.tile(np.concatenate([np.zeros(120), rise, np.full(180, 30.0), rise[::-1]]), 4)


@pytest.mark.parametrize(("low", "high"), [(0.0, 60.0), (9.0, 60.0), (0.0, 22.0), (9.0, 22.0)])
def test_a_needle_at_an_end_of_its_scale_stands_for_minutes_without_harm(low: float, high: float) -> None:
    """Standing it shows 9 m/s, at 30 m/s it shows 22: never less at more speed."""
    speed = _stop_and_go()
    shown = np.round(np.clip(1.05 * speed, low, high) / _STEP) * _STEP
    assert not rows_apart(np.arange(len(speed)) * 1.0, speed, shown, _STEP).any()


def test_a_dial_that_shows_nothing_below_its_lowest_mark_crawls_for_minutes_without_harm() -> None:
    """Stop and go at 2 m/s, where it shows none yet."""
    speed = np.concatenate([_stop_and_go(), np.full(300, 2.0), _stop_and_go()])
    shown = np.where(speed < 2.2, 0.0, np.round(speed / _STEP) * _STEP)
    assert not rows_apart(np.arange(len(speed)) * 1.0, speed, shown, _STEP).any()


@pytest.mark.parametrize(
    ("ground_mps", "shown_mps"),
    [(6.0, 0.0), (18.0, 0.0), (0.0, 15.0), (28.0, 20.0)],
    ids=["ferry", "tow truck", "wheels on a stand", "display hangs"],
)
def test_minutes_against_the_dial_are_those_left_out(ground_mps: float, shown_mps: float) -> None:
    drive, minutes = _stop_and_go(), np.ones(200)
    speed = np.concatenate([drive, ground_mps * minutes, drive])
    shown = np.concatenate([drive, shown_mps * minutes, drive])
    apart = rows_apart(np.arange(len(speed)) * 1.0, speed, shown, _STEP)
    assert np.array_equal(np.flatnonzero(apart), len(drive) + np.arange(len(minutes)))


def test_two_rows_about_a_pause_of_the_logger_are_no_minutes() -> None:
    """The logger stops with the vehicle and begins anew 5 min later: one row shows nothing at a speed, not minutes."""
    time = np.concatenate((np.arange(300.0), 600.0 + np.arange(300.0)))
    speed = 8.0 + 4.0 * np.sin(time / 20)
    shown = np.round(speed / _STEP) * _STEP
    shown[299:301] = 0.0
    assert not rows_apart(time, speed, shown, _STEP).any()
