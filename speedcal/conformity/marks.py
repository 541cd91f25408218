"""The marks of a dial that a road test may hold."""

from __future__ import annotations

import numpy as np

from speedcal.conformity.designs import LEVELS, Expected
from speedcal.errors import PlanError
from speedcal.interval import FloatArray, multiples
from speedcal.units import LOWEST_SPEED, ROUND_SPEED, SPEED_UNIT_MPS, DisplayUnit
from speedcal.vehicle.choices.judged_vehicle import SLOW_FROM

_SLOW_STEPS = (5.0, 2.0)
"""Steps of the marks, in the unit of the dial, of a vehicle too slow for four marks at the usual steps: a tractor, an
ATV. Our own judgment."""


def marks_to_hold(
    unit: DisplayUnit,
    speed_limit_mps: float,
    lowest: float | None,
    expected: Expected,
    *,
    named_mps: float = np.inf,
) -> FloatArray:
    """Return the marks of the dial that may be held; the true speed stays under the limit. [m/s].

    They reach down to the slowest speed that a rule names, where no lowest one is wanted.
    """
    factor = SPEED_UNIT_MPS[unit]
    step = ROUND_SPEED[unit] * factor
    top = float(expected.dial.indicated(speed_limit_mps))
    bottom = (LOWEST_SPEED[unit] if lowest is None else lowest) * factor
    if lowest is None and np.isfinite(named_mps):
        bottom = min(bottom, max(round(float(expected.dial.indicated(named_mps)) / step), 1) * step)
    marks = multiples(step, bottom, top)
    for finer in _SLOW_STEPS:
        if len(marks) < min(LEVELS):
            marks = multiples(finer * factor, SLOW_FROM * top if lowest is None else bottom, top)
    if len(marks) < min(LEVELS):
        raise PlanError(
            "too_few_marks",
            limit_mps=speed_limit_mps,
            lowest_mps=bottom,
            count=len(marks),
            least=min(LEVELS),
            unit=unit,
        )
    return marks
