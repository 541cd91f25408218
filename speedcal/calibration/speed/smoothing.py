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
from speedcal.interval import FloatArray

SMOOTHED = "smoothed_positions"
"""Name in the budget of what smoothing did to a speed."""
_LEAST_LEFT = 0.5


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
    if (
        smoothing.overshoots and not smoothing.one_sided
    ):  # by the fourth power of the turning rate: nothing where it counts
        return np.ones(len(ground.speed_mps))
    east, north = (fit.rate(coordinate) for coordinate in (ground.east_m, ground.north_m))
    mean_east, mean_north, mean = (
        smoothing.mean(rate, ground.piece, ground.interval_s) for rate in (east, north, np.hypot(east, north))
    )
    return np.clip(np.hypot(mean_east, mean_north) / np.maximum(mean, 1e-6), _LEAST_LEFT, 1 / _LEAST_LEFT)
