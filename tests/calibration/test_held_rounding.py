"""Logs that show one figure for most of a drive: all rows of it are off by the same part of a step."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from support.roads import Road, plateaus, readings_of, track_of

import speedcal
from speedcal.calibration.logged import fit_rounded
from speedcal.calibration.logged.held_rounding import HeldRounding, one_figure
from speedcal.calibration.result import Calibration
from speedcal.interval import FloatArray
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


@cache
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


def test_a_figure_that_changes_to_and_fro_tells_where_its_step_ends(monkeypatch: pytest.MonkeyPatch) -> None:
    """Held on the edge of a step less than half of that is left which is left where no change of figure is heard."""
    limit = LIMIT_MPH * MPH_MPS
    heard = _calibrated("recorded", step_mph=1.0, beyond=0.5)
    monkeypatch.setattr(fit_rounded, "one_figure", lambda time_s, *_: np.ones(len(time_s), bool))
    unheard = _calibrated.__wrapped__("recorded", step_mph=1.0, beyond=0.5)
    assert abs(float(heard.indicated(limit)) - 57.5 * MPH_MPS) < heard.half_width(limit) < unheard.half_width(limit) / 2


def test_a_limiter_beside_the_edge_of_a_step_does_not_pull_the_dial_to_its_middle() -> None:
    """Held for minutes 0.4 of a step off, of which a dial that hears the same time and again takes up 0.07."""
    result = _calibrated("recorded", step_mph=1.0, beyond=BEYOND)
    assert abs(float(result.indicated(LIMIT_MPH * MPH_MPS)) / MPH_MPS - 57.0 - BEYOND) < 0.05


@pytest.mark.parametrize("beyond", [-BEYOND, BEYOND])
def test_speeds_held_again_and_again_do_not_pull_the_dial_to_the_middle_of_their_steps(beyond: float) -> None:
    """Three speeds 0.4 of a step off, eight times each, beside noise that lasts: dials were 0.08 off."""
    rng = np.random.default_rng(9)
    shown_mph = np.array([32.0, 44.0, 57.0]) + beyond
    road = plateaus(shown_mph[rng.permutation(24) % 3] / FACTOR, hold_s=45.0, acceleration=1.2)
    fine = np.arange(0.0, road.length_s, 0.25)
    road = Road(fine, _behind(_behind(road.speed(fine), 0.25 / 1.2), 0.25 / 1.2))
    track = track_of(road, noise_mps=0.03)
    lasting = _behind(rng.standard_normal(len(track.time_s)), 0.25) * 0.04 / np.sqrt(0.125)
    track = replace(track, speed_mps=np.where(track.speed_mps > 0.3, track.speed_mps + lasting, track.speed_mps))
    readings = readings_of(road, np.arange(0.4, road.length_s), factor=FACTOR, step_mph=1.0, time_resolution_s=0.01)
    result = speedcal.calibrate(track, readings)
    held_mps = shown_mph / FACTOR * MPH_MPS
    off_mph = np.abs(result.indicated(held_mps) / MPH_MPS - shown_mph)
    assert (off_mph < np.minimum(result.half_width(held_mps) / MPH_MPS, 0.05)).all()


def _behind(value: FloatArray, share: float) -> FloatArray:
    """Return what follows a value by such a share of its distance at a time."""
    followed = [float(value[0])]
    for one in value[1:]:
        followed.append(followed[-1] + share * (float(one) - followed[-1]))
    return np.array(followed)


def test_one_figure_is_one_without_a_change_a_quarter_of_a_minute_either_way() -> None:
    """At rows every 5 s six of them are asked, half a minute."""
    for every, reach in ((1.0, 15.0), (5.0, 30.0)):
        time = every * np.arange(100)
        shown = np.where(time < 200, 25.0, 26.0) + 1e-9 * np.arange(100)
        alone = (time < 200 - reach) | (time - every >= 200 - every + reach)
        assert one_figure(time, shown, 1.0).tolist() == alone.tolist()
        assert not one_figure(time, 25.0 + np.arange(100) // 3 % 2, 1.0).any()


@pytest.mark.parametrize("hold_s", [20.0, 50.0])
def test_ramps_beside_a_hold_tell_nothing_of_its_rounding(hold_s: float) -> None:
    """Held between two ramps: a step over the root of 12 is left, and no change of figure tells its edge."""
    time = np.arange(40.0 + hold_s)
    shown = np.round(np.interp(time, [0.0, 20.0, 20.0 + hold_s, 40.0 + hold_s], [5.0, 25.0, 25.0, 45.0]))
    run = np.where((time >= 20) & (time <= 20 + hold_s), 0, -1)
    held = HeldRounding.of(time, shown, 1.0, run=run)
    assert held.u_mps[run == 0] == pytest.approx(np.sqrt(1 / 12), rel=0.06)
    assert (held.figure[run == 0] == 25).all()
    assert one_figure(time, shown, 1.0, run).tolist() == (run == 0).tolist()
    assert held.u_mps[run < 0].max() < 0.01
