"""Which reading the slope of a dial rests on: one far from all others, which are at nearly one speed."""

from __future__ import annotations

import numpy as np

from speedcal.calibration.tuning.general import FEWEST_READINGS
from speedcal.interval import FloatArray


def lone_reading(speed_mps: FloatArray, weight: FloatArray) -> int | None:
    """Return the reading that tells more of the slope than all others together, None if there is none.

    Parameters
    ----------
    speed_mps
        True speeds, shape (n,).
    weight
        Inverse variances of the readings, or a multiple of them, shape (n,).
    """
    if len(speed_mps) <= FEWEST_READINGS:
        return None
    place = speed_mps - np.average(speed_mps, weights=weight)
    # by how much the spread about the mean falls without each
    gone = weight * place**2 / (1 - weight / weight.sum())
    lone = int(np.argmax(gone))
    return lone if gone[lone] > float(weight @ place**2) / 2 else None
