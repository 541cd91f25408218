"""Notes of which many are taken while the speed changes, when a second of the watch is a mph or two: against truth."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

import speedcal
from speedcal.calibration.result import Calibration
from speedcal.simulate import simulate
from speedcal.units import MPH_MPS

_FACTOR = 1.04


def _answer(seed: int) -> Calibration:
    """Return the answer from notes of a dial that shows 4 % more, nine in ten of them taken while the speed changes."""
    drive, rng = simulate("noted", [85, seed]), np.random.default_rng(seed)
    time, speed = drive.track.time_s, drive.track.speed_mps
    change = np.abs(np.gradient(np.convolve(speed, np.full(3, 1 / 3), "same"), time))
    moving, count = speed > 6, len(drive.readings)
    changing, steady = np.flatnonzero(moving & (change > 0.7)), np.flatnonzero(moving & (change < 0.1))
    taken = np.concatenate([rng.choice(changing, 9 * count // 10), rng.choice(steady, count - 9 * count // 10)])
    taken.sort()
    written = time[taken] - drive.truth.clock_offset_s + rng.normal(0, 1.0, count)
    read = np.round(_FACTOR * speed[taken] / MPH_MPS + rng.normal(0, 0.4, count)) * MPH_MPS
    order = np.argsort(written)
    return speedcal.calibrate(
        drive.track, replace(drive.readings, time_s=np.floor(written[order]), speed_mps=read[order])
    )


def test_intervals_hold_where_the_speed_changes() -> None:
    """Of 30 drives 95 % intervals hold the factor in 0.87 and more; the binomial's standard deviation is 4 %.

    With the moments that fit best taken for those of the looks, 0.83 are held.
    """
    answers = [_answer(seed) for seed in range(30)]
    assert np.mean([answer.error_factor.contains(_FACTOR) for answer in answers]) >= 0.95 - 2 * 0.04
