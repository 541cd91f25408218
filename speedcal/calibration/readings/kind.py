"""Whether readings come from a machine or from a hand."""

from __future__ import annotations

import numpy as np

from speedcal.calibration.tuning.general import EVEN_STEP, EVEN_STEPS, FEWEST_LOGGED, SLOWEST_LOG_S
from speedcal.interval import FloatArray
from speedcal.logs.drive.readings import FASTEST_HAND_S


def is_log(time_s: FloatArray) -> bool:
    """Tell whether readings come from a machine.

    At least sixty that follow each other faster than a hand notes them, or slower and as evenly as no hand does.
    """
    step = np.diff(np.unique(time_s))
    if len(step) < FEWEST_LOGGED - 1:
        return False
    usual = float(np.median(step))
    even = float(np.mean(np.abs(step - usual) <= EVEN_STEP * usual)) > EVEN_STEPS
    return usual <= FASTEST_HAND_S or (usual <= SLOWEST_LOG_S and even)
