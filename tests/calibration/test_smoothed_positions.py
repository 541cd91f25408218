"""Positions that were smoothed before they were written, on drives made apart from the package."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest
from benchmark.outside.drive import generator, make_drive
from benchmark.outside.kinds import KINDS
from benchmark.outside.receiver import ReceiverStyle
from benchmark.outside_score import answer, in_memory, outside_drive
from scipy.interpolate import CubicSpline

import speedcal
from speedcal.calibration.logged.smoothed_way import rate_of_curve
from speedcal.calibration.speed.positions import Smoothing
from speedcal.calibration.speed.smoothing import share_left
from speedcal.interval import FloatArray
from speedcal.logs.drive.track import Track
from speedcal.units import MPH_MPS


def _on_the_way(values: FloatArray, constant_s: float) -> FloatArray:
    """Return values, one a second, as an exponential filter passes them on: late."""
    out, kept = values.copy(), np.exp(-1 / constant_s)
    for k in range(1, len(values)):
        out[k] = kept * out[k - 1] + (1 - kept) * values[k]
    return out


def _afterwards(values: FloatArray, length_s: float) -> FloatArray:
    """Return values, one a second, each the mean over so many seconds about it."""
    reach = int(length_s) // 2
    return np.convolve(np.pad(values, reach, mode="edge"), np.full(2 * reach + 1, 1 / (2 * reach + 1)), mode="valid")


def _filtered(values: FloatArray, noise: float, push: float, *, back: bool) -> FloatArray:
    """Return values, one a second, as Kalman's filter for a steady course has them, or the one run back as well.

    H. E. Rauch, F. Tung and C. T. Striebel, AIAA Journal 3, 1965, 1445-1450.
    """
    step = np.array([[1.0, 1.0], [0.0, 1.0]])
    pushed = push**2 * np.array([[1 / 3, 1 / 2], [1 / 2, 1.0]])
    states, covariances = [np.array([values[0], 0.0])], [np.diag([noise**2, (30 * noise) ** 2])]
    ahead = []
    for value in values[1:]:
        state, covariance = step @ states[-1], step @ covariances[-1] @ step.T + pushed
        ahead.append((state, covariance))
        gain = covariance[:, 0] / (covariance[0, 0] + noise**2)
        states.append(state + gain * (value - state[0]))
        covariances.append(covariance - np.outer(gain, covariance[0]))
    for k in range(len(values) - 2, -1, -1) if back else ():
        state, covariance = ahead[k]
        states[k] = states[k] + covariances[k] @ step.T @ np.linalg.solve(covariance, states[k + 1] - state)
    return np.array(states)[:, 0]


_HOW: dict[str, Callable[[FloatArray], FloatArray]] = {
    "on the way": lambda x: _on_the_way(x, 3.0),
    "afterwards": lambda x: _afterwards(x, 11.0),
    "by a filter": lambda x: _filtered(x, 4e-5, 1e-5, back=False),
    "by a filter and back": lambda x: _filtered(x, 4e-5, 1e-5, back=True),
}


def _smoothed(track: Track, how: str) -> Track:
    smooth = _HOW[how]
    return replace(track, latitude_deg=smooth(track.latitude_deg), longitude_deg=smooth(track.longitude_deg))


def _every(track: Track, some: int) -> Track:
    columns = ("time_s", "latitude_deg", "longitude_deg", "elevation_m", "speed_mps", "segment")
    return replace(track, **{name: getattr(track, name)[::some] for name in columns})


@pytest.mark.parametrize("how", ["on the way", "afterwards"])
def test_factors_beside_smoothed_positions_are_right(how: str) -> None:
    """By 3 s: overlooked, factors are 0.8 to 1.1 % high on average, and off by 1.0 to 1.4 %."""
    errors, held, told = [], [], []
    for seed in range(6):
        drive = outside_drive("positions", (143, seed))
        track, readings = in_memory(drive)
        result = speedcal.calibrate(_smoothed(track, how), readings)
        factor = drive.truth.factor(drive.truth.speed_mps)
        errors.append(result.error_factor.value / factor - 1)
        held.append(result.error_factor.contains(factor))
        told.append("positions_smoothed" in [found.code for found in result.findings])
    assert abs(float(np.mean(errors))) < 0.002
    assert float(np.sqrt(np.mean(np.square(errors)))) < 0.004
    assert sum(held) >= 5
    assert sum(told) == 6


@pytest.mark.parametrize("kind", ["log", "needle damped", "convoy, log", "log, canyons"])
@pytest.mark.parametrize("seed", range(2))
def test_positions_as_they_were_measured_are_not_taken_for_smoothed_ones(kind: str, seed: int) -> None:
    track, readings = in_memory(outside_drive(kind, (142, seed)))
    result = speedcal.calibrate(replace(track, speed_mps=np.full(len(track.time_s), np.nan)), readings)
    assert result.speed_source == "positions"
    assert "positions_smoothed" not in [found.code for found in result.findings]


@pytest.mark.parametrize("seed", [2, 3, 5])
def test_a_list_of_held_speeds_beside_positions_is_no_log(seed: int) -> None:
    """Marks listed twice and three times for one hold; the interval holds the factor."""
    kind = replace(KINDS["held, repeats"], receiver=ReceiverStyle(recorded=False))
    drive = make_drive(kind, generator("held", (3, seed)))
    result = answer(drive)
    speed = drive.truth.speed_mps[result.readings["used"].to_numpy()]
    assert result.error_factor.contains(drive.truth.factor(speed[np.isfinite(speed)]))


@pytest.mark.parametrize("way", ["by a filter", "by a filter and back"])
def test_factors_beside_filtered_positions_are_right(way: str) -> None:
    """Errors of 4 m expected, and pushes of 1 m/s2: as if smoothed by the first order, factors are 0.5 to 0.8 % low."""
    errors, held = [], []
    for seed in range(4):
        drive = outside_drive("positions", (143, seed))
        track, readings = in_memory(drive)
        result = speedcal.calibrate(_smoothed(track, way), readings)
        factor = drive.truth.factor(drive.truth.speed_mps)
        errors.append(result.error_factor.value / factor - 1)
        held.append(result.error_factor.contains(factor))
    assert abs(float(np.mean(errors))) < 0.003
    assert sum(held) == 4


@pytest.mark.parametrize("how", [*_HOW, None])
def test_readings_beside_smoothed_positions_of_every_few_seconds_are_right(how: str | None) -> None:
    """Overlooked, readings in the middle are 0.4 to 1.5 mph off; positions as they were measured are left alone."""
    errors, held, told = [], [], []
    for seed in range(8):
        drive = outside_drive("positions", (143, seed))
        track, readings = in_memory(drive)
        track = _every(track if how is None else _smoothed(track, how), (2, 5)[seed % 2])
        result = speedcal.calibrate(track, readings)
        middle = float(np.median(drive.truth.speed_mps))
        off = (float(result.indicated(middle)) - float(drive.truth.reading(middle))) / MPH_MPS
        errors.append(off)
        held.append(abs(off) < float(result.half_width(middle)) / MPH_MPS)
        told.append("positions_smoothed" in [found.code for found in result.findings])
    assert float(np.sqrt(np.mean(np.square(errors)))) < 0.3
    assert sum(held) >= 7
    assert any(told) == (how is not None)
    assert sum(told) >= 7 or how in (None, "by a filter and back")  # which is told by its sharpest ramps alone


@pytest.mark.parametrize("way", [(False, False), (True, False), (True, True), (False, True)])
def test_what_smoothing_takes_of_a_winding_road_is_found_from_what_it_left(way: tuple[bool, bool]) -> None:
    """Courses of 0.4 rad either way in 30 s: as if smoothed for the first time, up to a tenth of it is missed."""
    time, piece, smoothing = np.arange(3000) * 0.5, np.zeros(3000, np.int64), Smoothing(3.0, *way)
    course = 0.4 * np.sin(2 * np.pi / 30 * time)
    east, north = (smoothing.mean(f(course), piece, 0.5) for f in (np.sin, np.cos))
    left = share_left(east, north, piece, 0.5, smoothing)[500:2500]
    lost = 1 - np.hypot(east, north)[500:2500]
    assert 1 - left == pytest.approx(lost, abs=0.03 * float(np.max(np.abs(lost))))


_TURNS = 0.2 * 3.0
_CIRCLES = {
    (False, False): np.exp(-(_TURNS**2) / 2),
    (True, False): 1 / np.sqrt(1 + _TURNS**2),
    (True, True): np.sqrt((1 + 2 * _TURNS**2) / (1 + _TURNS**4)),
    (False, True): 1 / (1 + _TURNS**4),
}
"""What is left of a radius, by the transfer functions of Gauss's mean, a filter of the first order, the settled filter
of a steady course (damping ratio 1/sqrt(2), its lead taken in), and that one run forth and back."""


@pytest.mark.parametrize(("way", "left"), _CIRCLES.items())
def test_smoothing_delays_nothing_and_shortens_a_circle_as_theory_says(way: tuple[bool, bool], left: float) -> None:
    smoothing, piece = Smoothing(3.0, *way), np.zeros(4000, np.int64)
    time = np.arange(4000) * 0.1
    assert smoothing.mean(time, piece, 0.1)[1000:3000] == pytest.approx(time[1000:3000], abs=0.15)
    turning = 0.2
    radius = np.hypot(*(smoothing.mean(f(turning * time), piece, 0.1)[1000:3000] for f in (np.sin, np.cos)))
    assert radius == pytest.approx(left, rel=0.01)


def test_pieces_are_smoothed_each_by_itself() -> None:
    values, piece = np.repeat([1.0, 5.0], 50), np.repeat([0, 1], 50)
    assert Smoothing(4.0, one_sided=True).mean(values, piece, 1.0) == pytest.approx(values, abs=1e-9)


@pytest.mark.parametrize("count", [2, 3, 4, 50])
def test_the_course_between_fixes_is_a_natural_cubic_spline(count: int) -> None:
    """Held against scipy's, at times of their own and at the fixes."""
    rng = np.random.default_rng(count)
    time, place = np.cumsum(rng.uniform(0.5, 3.0, count)), rng.normal(0, 10, (count, 2))
    at = np.concatenate([time, np.linspace(time[0], time[-1], 37)])
    assert rate_of_curve(time, place, at) == pytest.approx(CubicSpline(time, place, bc_type="natural")(at, 1))
