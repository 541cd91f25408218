"""The speed of positions that were smoothed, with what that cut of bends put back.

The speed is the length of a mean of velocities where it should be the mean of their lengths, and the ratio of the two
can be made from the positions themselves.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from speedcal.calibration.speed.ground_speed import GroundSpeed
from speedcal.calibration.speed.positions import LocalFit, Smoothing
from speedcal.calibration.tuning.logs import MOST_CUT
from speedcal.finding import Finding
from speedcal.interval import FloatArray, IntArray

SMOOTHED = "smoothed_positions"
"""Name in the budget of what smoothing did to a speed."""
_LEAST_LEFT = 0.5
_SHARPENED = 6
"""Times; at none a sixth of what bends lost to exponential smoothing is left, at two a twentieth."""


def with_smoothing(ground: GroundSpeed, fit: LocalFit, smoothing: Smoothing) -> GroundSpeed:
    """Return the ground speed of positions that were smoothed, with what they cut of bends, and the finding."""
    left = _left(ground, fit, smoothing)
    return replace(
        ground,
        speed_mps=ground.speed_mps / left,
        usable=ground.usable & (np.abs(left - 1) < MOST_CUT),
        distance_m=np.concatenate(([0.0], np.cumsum(2 * np.diff(ground.distance_m) / (left[1:] + left[:-1])))),
        local_fit=replace(fit, smoothing=smoothing),
        findings=(*ground.findings, Finding("positions_smoothed", smoothed_s=smoothing.constant_s)),
    )


def _left(ground: GroundSpeed, fit: LocalFit, smoothing: Smoothing) -> FloatArray:
    """Return what smoothing left of the speed at each fix: more than 1 where it swings out of a bend."""
    east, north = (fit.rate(coordinate) for coordinate in (ground.east_m, ground.north_m))
    return share_left(east, north, ground.piece, ground.interval_s, smoothing)


def share_left(
    east_mps: FloatArray, north_mps: FloatArray, piece: IntArray, interval_s: float, smoothing: Smoothing
) -> FloatArray:
    """Return what smoothing left of a speed, by the velocity that it left, at even times, shape (n,) each.

    What is smoothed once more loses less than it did the first time, so the velocity is sharpened before (P. H. van
    Cittert, Zeitschrift fuer Physik 69, 1931, 298-308; from memory).
    """
    mean = smoothing.mean_over(piece, interval_s)
    east, north = east_mps, north_mps
    for _ in range(_SHARPENED):
        east, north = east + east_mps - mean(east), north + north_mps - mean(north)
    left = np.hypot(mean(east), mean(north)) / np.maximum(mean(np.hypot(east, north)), 1e-6)
    return np.clip(left, _LEAST_LEFT, 1 / _LEAST_LEFT)
