"""Logs of a needle that beats: their fit settles."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from benchmark.outside.drive import generator, make_drive
from benchmark.outside.kinds import KINDS
from benchmark.outside_score import in_memory

import speedcal
from speedcal.calibration.result import Calibration
from speedcal.interval import FloatArray
from speedcal.units import MPH_MPS

NEEDLE_S, ROWS_S = 0.8, 0.5


def filmed(seed: int, *, beat_mps: float, noise_mps: float, alike_s: float = 0.0) -> tuple[Calibration, float]:
    """Return the answer from a film of a damped needle that beats at 1.1 Hz, and the true factor.

    Parameters
    ----------
    seed
        Of drive and noise.
    beat_mps, noise_mps
        Amplitude of the beat, and standard deviation of each row. [m/s]
    alike_s
        Time constant over which rows err alike; 0 where each errs by itself. [s]
    """
    drive = make_drive(KINDS["log"], generator("beats", (seed,)))  # type: ignore[arg-type]
    track, readings = in_memory(drive)
    rng, motion = np.random.default_rng(seed), drive.truth.motion
    time = np.arange(motion.time_s[0], motion.time_s[-1], ROWS_S)
    noise = noise_mps * rng.standard_normal(len(time))
    kept = np.exp(-ROWS_S / alike_s) if alike_s else 0.0
    for k in range(1, len(time)):
        noise[k] = kept * noise[k - 1] + np.sqrt(1 - kept**2) * noise[k]
    beat = beat_mps * np.sin(2 * np.pi * 1.1 * time)
    shown = followed(drive.truth.dial.curve(motion.speed_mps), motion.time_s, time) + beat + noise
    step, count = 0.1 * MPH_MPS, len(time)
    film = replace(
        readings,
        time_s=time + readings.time_s[0] - drive.truth.time_s[0],
        speed_mps=np.maximum(np.round(shown / step) * step, 0.0),
        speed_resolution_mps=step,
        odometer_m=np.full(count, np.nan),
        line=np.arange(2, count + 2),
    )
    track = replace(track, speed_mps=np.maximum(track.speed_mps + rng.normal(0, 0.1, len(track.time_s)), 0.0))
    return speedcal.calibrate(track, film), drive.truth.factor(drive.truth.speed_mps)


def followed(course: FloatArray, time_s: FloatArray, at_s: FloatArray) -> FloatArray:
    """Return where a damped needle stands."""
    fine = np.arange(time_s[0], time_s[-1], 0.05)
    needle = np.interp(fine, time_s, course)
    for k in range(1, len(fine)):
        needle[k] = needle[k - 1] - (needle[k] - needle[k - 1]) * np.expm1(-0.05 / NEEDLE_S)
    return np.interp(at_s, fine, needle)


@pytest.mark.parametrize("seed", [0, 3])
def test_a_film_of_a_needle_that_beats_settles(seed: int) -> None:
    """A beat of 1.8 mph all but hides the damping, whose steps swing to and fro when taken whole."""
    result, factor = filmed(seed, beat_mps=0.8, noise_mps=0.13)
    assert "fit_unsettled" not in {reason.code for reason in result.trust.reasons}
    assert result.error_factor.contains(factor)
