"""A needle that sits wrong: whether it does, and how far it may be set over."""

from __future__ import annotations

import numpy as np

from speedcal.interval import FloatArray
from speedcal.units import KMH_MPS, MPH_MPS
from speedcal.vehicle.judged.judge import Judge

NEEDLE_STEP_MPS = {"mph": 0.5 * MPH_MPS, "km/h": KMH_MPS}
"""As finely as a needle can be set on its shaft. Our own judgment."""
_LEAST_NEEDLE_STEPS = 2
"""For less no instrument is opened."""
_NEEDLE_U = 2.0
"""A needle is called off when its offset is so many standard uncertainties, and at least a step, from zero."""


def needle_is_off(judge: Judge) -> bool:
    """Tell whether the needle is off for sure, by a step that it can be set by."""
    if judge.is_of_odometer:
        return False
    return abs(judge.dial.line.offset_mps) > max(_NEEDLE_U * _u_of_offset(judge), NEEDLE_STEP_MPS[judge.unit])


def _u_of_offset(judge: Judge) -> float:
    return float(np.sqrt(judge.dial.line.covariance[0, 0]))


def is_mostly_needle(judge: Judge) -> bool:
    """Tell whether the needle makes more of the error at the usual speed than the drive does."""
    line = judge.dial.line
    return abs(line.offset_mps) > abs(line.error_factor - 1) * float(np.median(judge.speeds_mps))


def shifts_of(judge: Judge) -> FloatArray:
    """Return how far the needle may be set over, by about its offset, in steps a person can set. [m/s].

    Not as far may leave the margin that a rule wants; farther than the offset may be would make up for the drive.
    """
    step = NEEDLE_STEP_MPS[judge.unit]
    middle, farther = -judge.dial.line.offset_mps, np.clip(_NEEDLE_U * _u_of_offset(judge), step, 4 * step)
    shifts = middle + np.sign(middle) * np.linspace(-4 * step, farther, 17)
    shifts = step * np.unique(np.round(shifts / step))
    least = (_LEAST_NEEDLE_STEPS - 0.5) * step
    return np.asarray(shifts[shifts * np.sign(middle) > least])  # never away from the peg it has left
