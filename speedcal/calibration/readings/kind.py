"""Whether readings come from a machine or from a hand."""

from __future__ import annotations

import numpy as np

from speedcal.calibration.tuning import general as tuned
from speedcal.interval import FloatArray, median
from speedcal.logs.drive.readings_built import FASTEST_HAND_S


def is_log(time_s: FloatArray) -> bool:
    """Tell whether readings come from a machine.

    At least sixty that follow each other faster than a hand notes them, or slower and as evenly as no hand does. A
    hand in a hurry takes two seconds at the least, and its steps are not those of a period.
    """
    step = np.diff(np.unique(time_s))
    if len(step) < tuned.FEWEST_LOGGED - 1:
        return False
    usual = median(step)
    if usual > FASTEST_HAND_S:
        return usual <= tuned.SLOWEST_LOG_S and of_period(step, usual)
    shortest = float(np.partition(step, len(step) // 10)[len(step) // 10])
    hurried = shortest >= tuned.HURRIED_HAND_S and len(step) < tuned.MOST_BY_HAND
    return not hurried or of_period(step / np.maximum(np.round(step / shortest), 1.0), shortest)


def of_period(step: FloatArray, period_s: float) -> bool:
    """Tell whether steps are those of a period, as no hand's are."""
    return float(np.mean(np.abs(step - period_s) <= tuned.EVEN_STEP * period_s)) > tuned.EVEN_STEPS
