"""Receivers that follow speed and its change at once, and overshoot, on drives made apart from the package."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from benchmark.outside_score import in_memory, outside_drive

import speedcal
from speedcal.calibration.logged.heavy_damping import heavy_damping
from speedcal.calibration.result import Calibration
from speedcal.calibration.speed.speed_of_track import ground_speed
from speedcal.calibration.speed.tracking_receiver import Tracking
from speedcal.interval import FloatArray
from speedcal.simulate import simulate
from speedcal.units import MPH_MPS


def _tracked(speed: FloatArray, alpha: float, beta: float) -> FloatArray:
    """Return what an alpha-beta filter of one step a second makes of speeds; it writes no negative ones."""
    place, rate, out = speed[0], 0.0, []
    for seen in speed.tolist():
        foretold = place + rate
        place, rate = foretold + alpha * (seen - foretold), rate + beta * (seen - foretold)
        out.append(max(place, 0.0))
    return np.array(out)


def _beside(seed: int, alpha: float, beta: float) -> tuple[Calibration, float, FloatArray]:
    """Return what comes of a log beside such a receiver, its factor, and the true readings at 30 and 50 mph."""
    drive = outside_drive("log", (162, seed))
    track, readings = in_memory(drive)
    result = speedcal.calibrate(replace(track, speed_mps=_tracked(track.speed_mps, alpha, beta)), readings)
    return result, drive.truth.factor(drive.truth.speed_mps), drive.truth.reading(np.array([30.0, 50.0]) * MPH_MPS)


@pytest.mark.parametrize(("alpha", "beta"), [(0.35, 0.06), (0.5, 0.17), (0.35, 0.12)])
def test_logs_beside_receivers_that_overshoot_are_trusted_and_held(alpha: float, beta: float) -> None:
    """Quick, slow and ringing, five drives each; taken for a damped needle, half of them never settle or stray."""
    trusted, held = 0, []
    for seed in range(5):
        result, factor, shown = _beside(seed, alpha, beta)
        trusted += result.trust.word == "TRUSTED"
        held.append(result.error_factor.contains(factor))
        speeds = np.array([30.0, 50.0]) * MPH_MPS
        held += (np.abs(result.indicated(speeds) - shown) <= result.half_width(speeds)).tolist()
        assert result.error_factor.half_width < 0.008
        assert "needle_damped" not in {finding.code for finding in result.findings}
    assert trusted >= 4
    assert np.mean(held) >= 0.85


def test_the_filter_follows_a_ramp_without_delay_and_overshoots_where_it_ends() -> None:
    """By alpha and beta of the same filter in steps of a tenth of a second."""
    time = np.arange(0.0, 200.0, 0.1)
    course = np.clip(0.5 * (time - 60.0), 0.0, 30.0)
    tracking = Tracking(0.3, 0.7)
    seen = tracking.seen(time, course)
    step = 0.1
    foretold = _tracked(course, 2 * 0.7 * 0.3 * step, (0.3 * step) ** 2)
    assert np.interp(110.0, time, seen) == pytest.approx(25.0, abs=0.1)
    assert 0.1 < seen.max() - 30.0 < 1.0
    assert np.abs(seen - foretold)[time > 10].max() < 0.1


@pytest.mark.parametrize(("kind", "seed"), [("needle damped", 3), ("receiver smooths", 3), ("convoy, log", 5)])
def test_what_is_damped_or_foreign_is_not_taken_for_overshooting(kind: str, seed: int) -> None:
    track, readings = in_memory(outside_drive(kind, (162, seed)))
    ground = ground_speed(track)
    late_s = speedcal.calibrate(track, readings).clock_offset_s
    assert late_s is not None
    *_, tracking = heavy_damping(
        ground, readings.time_s, readings.speed_mps, tau_s=round(late_s.value), plain_mps=float(np.hypot(0.08, 0.06))
    )
    assert tracking is None


@pytest.mark.parametrize("number", [109, 149, 179])
def test_a_lightly_damped_needle_under_cruise_control_is_not_taken_for_overshooting(number: int) -> None:
    """Any smoothing brings such logs nearer; through the filter of a receiver factors are 3 to 4 % off."""
    drive = simulate("cruise control", np.random.default_rng([2026, 14, number]))
    result = speedcal.calibrate(drive.track, drive.readings)
    assert result.error_factor.value == pytest.approx(drive.truth.error_factor, rel=0.003)
    assert result.error_factor.half_width < 0.01
