"""Positions that were smoothed before they were written, on drives made apart from the package."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from benchmark.outside.drive import generator, make_drive
from benchmark.outside.kinds import KINDS
from benchmark.outside.receiver import ReceiverStyle
from benchmark.outside_score import answer, in_memory, outside_drive

import speedcal
from speedcal.calibration.speed.positions import Smoothing
from speedcal.interval import FloatArray
from speedcal.logs.drive.track import Track


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


def _smoothed(track: Track, how: str) -> Track:
    smooth = {"on the way": lambda x: _on_the_way(x, 3.0), "afterwards": lambda x: _afterwards(x, 11.0)}[how]
    return replace(track, latitude_deg=smooth(track.latitude_deg), longitude_deg=smooth(track.longitude_deg))


@pytest.mark.parametrize("how", ["on the way", "afterwards"])
def test_factors_beside_smoothed_positions_are_right(how: str) -> None:
    """By 3 s: overlooked, factors are 0.8 to 1.1 % high on average, and off by 1.0 to 1.4 %."""
    errors, held, told = [], [], []
    for seed in range(20):
        drive = outside_drive("positions", (143, seed))
        track, readings = in_memory(drive)
        result = speedcal.calibrate(_smoothed(track, how), readings)
        factor = drive.truth.factor(drive.truth.speed_mps)
        errors.append(result.error_factor.value / factor - 1)
        held.append(result.error_factor.contains(factor))
        told.append("positions_smoothed" in [found.code for found in result.findings])
    assert abs(float(np.mean(errors))) < 0.002
    assert float(np.sqrt(np.mean(np.square(errors)))) < 0.004
    assert sum(held) >= 17
    assert sum(told) >= 19


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


@pytest.mark.parametrize("one_sided", [False, True])
def test_smoothing_delays_nothing_and_shortens_a_circle_as_theory_says(one_sided: bool) -> None:
    """A filter on the way leaves 1 / sqrt(1 + (t w)^2) of a radius, an even one of Gauss exp(-(t w)^2 / 2)."""
    smoothing, piece = Smoothing(3.0, one_sided), np.zeros(4000, np.int64)
    time = np.arange(4000) * 0.1
    assert smoothing.mean(time, piece, 0.1)[1000:3000] == pytest.approx(time[1000:3000], abs=0.15)
    turning = 0.2
    radius = np.hypot(*(smoothing.mean(f(turning * time), piece, 0.1)[1000:3000] for f in (np.sin, np.cos)))
    left = 1 / np.sqrt(1 + (3.0 * turning) ** 2) if one_sided else np.exp(-((3.0 * turning) ** 2) / 2)
    assert radius == pytest.approx(left, rel=0.01)


def test_pieces_are_smoothed_each_by_itself() -> None:
    values, piece = np.repeat([1.0, 5.0], 50), np.repeat([0, 1], 50)
    assert Smoothing(4.0, one_sided=True).mean(values, piece, 1.0) == pytest.approx(values, abs=1e-9)
