"""Receivers that give the mean speed of some seconds, on drives made apart from the package."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from benchmark.outside_score import in_memory, outside_drive

import speedcal
from speedcal.calibration.logged.heavy_damping import u_even_mean
from speedcal.calibration.speed.speed_of_track import ground_speed
from speedcal.interval import FloatArray
from speedcal.logs.drive.track import Track


def _mean_of_ten(speed: FloatArray) -> FloatArray:
    """Return the mean of each speed and the nine before it, one a second."""
    return np.convolve(np.pad(speed, (9, 0), mode="edge"), np.full(10, 0.1), mode="valid")


def _smoothed(speed: FloatArray, constant_s: float = 10 / np.sqrt(12)) -> FloatArray:
    """Return what a filter of the first order makes of speeds, one a second; its delays vary as in a mean of ten."""
    out, kept = speed.copy(), np.exp(-1 / constant_s)
    for k in range(1, len(speed)):
        out[k] = kept * out[k - 1] + (1 - kept) * speed[k]
    return out


@cache
def _track(seed: int) -> tuple[Track, speedcal.Readings, float]:
    drive = outside_drive("log", (161, seed))
    track, readings = in_memory(drive)
    return track, readings, drive.truth.factor(drive.truth.speed_mps)


def test_intervals_beside_means_of_ten_seconds_hold() -> None:
    """Of twelve; taken for a filter of the first order, four in five."""
    held = []
    for seed in range(12):
        track, readings, factor = _track(seed)
        result = speedcal.calibrate(replace(track, speed_mps=_mean_of_ten(track.speed_mps)), readings)
        held.append(result.error_factor.contains(factor))
        assert result.error_factor.half_width < 0.015
    assert sum(held) >= 11


@pytest.mark.parametrize("seed", range(4))
def test_only_means_leave_a_doubt_about_what_smoothing_did(seed: int) -> None:
    """A tenth of one or two per cent, for a mean of ten seconds; none for a filter, or where the needle is damped."""
    track, readings, _ = _track(seed)
    truth = outside_drive("log", (161, seed)).truth
    u = {}
    for name, smooth in (("mean", _mean_of_ten), ("filter", _smoothed)):
        ground = ground_speed(replace(track, speed_mps=smooth(track.speed_mps)))
        u[name] = u_even_mean(ground, truth.time_s, readings.speed_mps, clock_offset_s=4.5, damping_s2=-100 / 24)
    assert 0.0005 < u["mean"] < 0.006
    assert u["filter"] == 0
    assert u_even_mean(ground, truth.time_s, readings.speed_mps, clock_offset_s=4.5, damping_s2=2.0) == 0


def test_logs_do_not_stray_from_a_receiver_that_smooths_by_five_seconds() -> None:
    """Against its speed as it stands, three of these eight do."""
    for seed in range(5):
        track, readings, factor = _track(seed)
        result = speedcal.calibrate(replace(track, speed_mps=_smoothed(track.speed_mps, 5.0)), readings)
        assert "log_strays" not in result.trust.codes
        assert result.error_factor.value == pytest.approx(factor, rel=0.01)
