"""Rows of a log at which the needle lay at an end of its scale and told nothing more."""

from __future__ import annotations

import numpy as np

from speedcal.calibration.tuning import SLOWEST_MPS, STOP_ROWS, STOP_SHARE, STOP_SPREAD_MPS, STOP_SPREAD_STEPS
from speedcal.interval import BoolArray, FloatArray

_EDGE = 5.0
"""Percentile of the speeds at a stop from which on rows are left out: cut by speed, not by what was shown, which would
leave the rows that err away from the stop."""


def at_stops(ground_mps: FloatArray, indicated_mps: FloatArray, step_mps: float) -> BoolArray:
    """Tell for each row of a log whether the needle lay at a stop, shape (n,).

    It does where the greatest or the least value was shown at speeds farther apart than rounding and lag explain, and
    hardly anything else was shown beyond.

    Parameters
    ----------
    ground_mps, indicated_mps
        Speed at each row, NaN where it is not known, and what was shown, shape (n,). [m/s]
    step_mps
        Step of the rows. [m/s]
    """
    moving = ground_mps > SLOWEST_MPS
    stopped = np.zeros(len(ground_mps), bool)
    if not moving.any():
        return stopped
    for end, toward in ((float(indicated_mps[moving].max()), 1.0), (float(indicated_mps[moving].min()), -1.0)):
        here = moving & (np.abs(indicated_mps - end) <= step_mps / 2)
        if here.sum() < STOP_ROWS:
            continue
        low, edge, high = np.percentile(toward * ground_mps[here], [10, _EDGE, 90])
        beyond = moving & (toward * ground_mps > edge)
        if high - low > STOP_SPREAD_STEPS * step_mps + STOP_SPREAD_MPS and here[beyond].mean() > STOP_SHARE:
            stopped |= here | beyond
    return stopped
