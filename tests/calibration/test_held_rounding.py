"""Logs that show one figure for most of a drive: all rows of it are off by the same part of a step."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from support.roads import Road, readings_of, track_of

import speedcal
from speedcal.calibration.logged.held_rounding import HeldRounding, one_figure
from speedcal.calibration.result import Calibration
from speedcal.units import MPH_MPS

LIMIT_MPH, FACTOR = 56.0, 1.02
BEYOND = 0.4
"""Of a step, from the figure that is shown at the limit to what the dial would show there."""
WAYS = {"recorded": (True, 1.0), "positions": (False, 1.0), "far apart": (False, 5.0)}


def _truck() -> Road:
    """Return a drive that comes up to its limit from many speeds, and stays there for minutes."""
    rng = np.random.default_rng(3)
    time, speed = [0.0, 10.0], [0.0, 0.0]
    for hold_s in (60.0, 210.0, 270.0):
        for mph in (*rng.uniform(20.0, 53.0, 8), 50.0):
            time.append(time[-1] + max(abs(mph * MPH_MPS - speed[-1]) / 0.7, 1.0))
            speed.append(mph * MPH_MPS)
        time.append(time[-1] + 40.0)  # so slowly that it is one steady run with what follows
        speed.append(LIMIT_MPH * MPH_MPS)
        for _ in range(int(hold_s / 5)):
            time.append(time[-1] + 5.0)
            speed.append(LIMIT_MPH * MPH_MPS + 0.02 * rng.standard_normal())
    return Road(np.array(time), np.array(speed))


def _calibrated(way: str, *, step_mph: float, beyond: float = BEYOND) -> Calibration:
    road = _truck()
    recorded, interval_s = WAYS[way]
    track = track_of(road, time_s=np.arange(0.0, road.length_s, interval_s), recorded=recorded, noise_mps=0.05)
    strays_deg = 0.4 / 111_000 * np.random.default_rng(7).standard_normal(len(track.time_s))
    track = replace(track, latitude_deg=track.latitude_deg + strays_deg)
    rows = np.arange(0.4, road.length_s, 1.0)
    offset = 57.0 + beyond - FACTOR * LIMIT_MPH
    return speedcal.calibrate(
        track, readings_of(road, rows, factor=FACTOR, offset_mph=offset, step_mph=step_mph, time_resolution_s=0.01)
    )


@pytest.mark.parametrize("way", WAYS)
def test_a_limiter_leaves_the_part_of_a_step_that_it_is_off_by(way: str) -> None:
    """The interval at the limit holds what the dial would show without rounding, 0.4 of a step beside the figure."""
    for beyond in (-BEYOND, BEYOND):
        result = _calibrated(way, step_mph=1.0, beyond=beyond)
        off = float(result.indicated(LIMIT_MPH * MPH_MPS)) - (57.0 + beyond) * MPH_MPS
        assert abs(off) < result.half_width(LIMIT_MPH * MPH_MPS) < 0.75 * MPH_MPS


@pytest.mark.parametrize("way", WAYS)
def test_figures_to_the_hundredth_leave_nothing(way: str) -> None:
    """Without the rounding the same drive tells the dial at the limit to a twentieth of a mile an hour."""
    assert _calibrated(way, step_mph=0.01).half_width(LIMIT_MPH * MPH_MPS) < 0.05 * MPH_MPS


def test_rows_that_stray_over_the_steps_are_right_on_the_mean() -> None:
    """A speed held exactly keeps a step over the root of 12, one that wanders by more than half a step nothing."""
    time = np.arange(600.0)
    held = HeldRounding.of(time, np.full(600, 25.0), 1.0)
    assert held.u_mps == pytest.approx(np.sqrt(1 / 12), rel=0.06)  # the first five of the sum
    strayed = np.round(25.3 + 0.8 * np.random.default_rng(5).standard_normal(600))
    assert np.median(HeldRounding.of(time, strayed, 1.0).u_mps) < 0.01


def test_a_figure_that_changes_to_and_fro_tells_where_its_step_ends() -> None:
    """Held on the edge of a step less than half of that is left which a quarter of a step beside the edge leaves."""
    limit = LIMIT_MPH * MPH_MPS
    edge, beside = (_calibrated("recorded", step_mph=1.0, beyond=beyond) for beyond in (0.5, 0.25))
    for result, shown_mph in ((edge, 57.5), (beside, 57.25)):
        assert abs(float(result.indicated(limit)) - shown_mph * MPH_MPS) < result.half_width(limit)
    assert edge.half_width(limit) < beside.half_width(limit) / 2


def test_one_figure_is_one_without_a_change_a_quarter_of_a_minute_either_way() -> None:
    """At rows every 5 s six of them are asked, half a minute."""
    for every, reach in ((1.0, 15.0), (5.0, 30.0)):
        time = every * np.arange(100)
        shown = np.where(time < 200, 25.0, 26.0) + 1e-9 * np.arange(100)
        alone = (time < 200 - reach) | (time - every >= 200 - every + reach)
        assert one_figure(time, shown, 1.0).tolist() == alone.tolist()
        assert not one_figure(time, 25.0 + np.arange(100) // 3 % 2, 1.0).any()


def test_ramps_beside_a_short_hold_tell_nothing_of_its_rounding() -> None:
    """Held for 20 s between two ramps: a step over the root of 12 is left, and no change of figure tells its edge."""
    time = np.arange(60.0)
    shown = np.round(np.interp(time, [0.0, 20.0, 40.0, 60.0], [5.0, 25.0, 25.0, 45.0]))
    run = np.where((time >= 20) & (time <= 40), 0, -1)
    held = HeldRounding.of(time, shown, 1.0, run=run)
    assert held.u_mps[run == 0] == pytest.approx(np.sqrt(1 / 12), rel=0.06)
    assert (held.figure[run == 0] == 25).all()
    assert one_figure(time, shown, 1.0, run).tolist() == (run == 0).tolist()
    assert held.u_mps[run < 0].max() < 0.01
