"""Whether one dial holds through a whole log: no part that reads otherwise, no second vehicle.

What lies off the dial is summed over blocks of a fraction of a minute. A part of the drive with another gain (slip, low
range, another unit, another tire) stands out by its mean, judged against how blocks differ anyway (cluster-robust
variance: A. C. Cameron and D. L. Miller, J. Human Resources 50, 2015, 317-372). A log from another vehicle on the same
road keeps no company at steady speeds, where everything that a needle, a receiver or a clock does late is at rest.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from speedcal.calibration.tuning import (
    CHANGE_BLOCK_S,
    CHANGE_LEAST,
    CHANGE_SIGMAS,
    STEADY_ACCELERATION_MPS2,
    STEADY_WINDOW_S,
)
from speedcal.interval import FloatArray

_MOST_BLOCKS = 120
_LEAST_SHARE = 0.05
"""Of the weight, on either side of a change."""
_CLIP_SHARE, _CLIP_MPS = 0.25, 1.0
"""Farther off than this is a broken row, or enough to be seen."""
_FEWEST_WINDOWS = 8


@dataclass(frozen=True, slots=True)
class Change:
    """A part of a log that reads otherwise than the rest."""

    first: int
    """Index of its first reading."""
    last: int
    """Index of its last reading."""
    difference: float
    """How much higher it reads than the rest, relative."""


def change_within(time_s: FloatArray, ground_mps: FloatArray, off_mps: FloatArray, *, step_mps: float) -> Change | None:
    """Return the part of a log that reads otherwise than the rest and explains most; None where one dial holds.

    Parameters
    ----------
    time_s, ground_mps, off_mps
        Moments in order, true speed, and reading less what the dial says, shape (n,). [s, m/s, m/s]
    step_mps
        Step of rounding, of both sides together; speeds held still round alike for minutes. [m/s]
    """
    length = max(CHANGE_BLOCK_S, (time_s[-1] - time_s[0]) / _MOST_BLOCKS)
    label = np.unique(np.floor((time_s - time_s[0]) / length), return_inverse=True)[1]
    pull = np.bincount(label, weights=ground_mps * _clipped(ground_mps, off_mps)).astype(float)
    weight = np.bincount(label, weights=ground_mps**2).astype(float)
    least = max(3, len(weight) // 10)
    if len(weight) < 2 * least:
        return None
    inside, variance_inside = _gain(pull, weight, _between)
    outside, variance_outside = _gain(pull, weight, _around)
    difference = inside - outside
    count = _between(np.ones(len(weight)))
    share = _between(weight) / weight.sum()
    proper = (count >= least) & (len(weight) - count >= least) & (np.abs(share - 0.5) <= 0.5 - _LEAST_SHARE)
    sigmas = np.abs(difference) / np.sqrt(variance_inside + variance_outside)
    least_change = CHANGE_LEAST + step_mps / 4 / float(np.median(ground_mps))
    plain = proper & (sigmas >= CHANGE_SIGMAS) & (np.abs(difference) >= least_change)
    if not plain.any():
        return None
    told = np.where(plain, difference**2 * share * (1 - share), 0.0)
    begin, end = np.unravel_index(int(np.argmax(told)), told.shape)
    within = np.flatnonzero((label >= begin) & (label < end))
    return Change(int(within[0]), int(within[-1]), float(difference[begin, end]))


def steady_wander(
    time_s: FloatArray, ground_mps: FloatArray, off_mps: FloatArray, acceleration_mps2: FloatArray
) -> float:
    """Return how far readings stray from the dial for seconds together while the speed stands, robust. [m/s].

    Parameters
    ----------
    time_s, ground_mps, off_mps, acceleration_mps2
        Moments in order, true speed, reading less what the dial says, and change of speed, shape (n,).
        [s, m/s, m/s, m/s2]
    """
    label = np.unique(np.floor(time_s / STEADY_WINDOW_S), return_inverse=True)[1]
    count = np.bincount(label)
    mean = np.bincount(label, weights=_clipped(ground_mps, off_mps)) / count
    change = np.sqrt(np.bincount(label, weights=acceleration_mps2**2) / count)
    steady = mean[(count >= np.median(count) / 2) & (change < STEADY_ACCELERATION_MPS2)]
    if len(steady) < _FEWEST_WINDOWS:
        return 0.0
    return 1.4826 * float(np.median(np.abs(steady - np.median(steady))))


def _clipped(ground_mps: FloatArray, off_mps: FloatArray) -> FloatArray:
    most = _CLIP_SHARE * ground_mps + _CLIP_MPS
    return np.clip(off_mps, -most, most)


def _between(value: FloatArray) -> FloatArray:
    """Return the sum from block i up to before block j at [i, j], shape (m + 1, m + 1)."""
    total = np.concatenate(([0.0], np.cumsum(value)))
    return total[None, :] - total[:, None]


def _around(value: FloatArray) -> FloatArray:
    """Return the sum of all other blocks."""
    return float(value.sum()) - _between(value)


def _gain(
    pull: FloatArray, weight: FloatArray, total: Callable[[FloatArray], FloatArray]
) -> tuple[FloatArray, FloatArray]:
    """Return the relative gain over the blocks that are summed, and its variance by how they differ."""
    heavy = np.maximum(total(weight), 1e-9)
    gain = total(pull) / heavy
    apart = total(pull**2) - 2 * gain * total(pull * weight) + gain**2 * total(weight**2)
    return gain, np.maximum(apart, 0.0) / heavy**2 + 1e-12
