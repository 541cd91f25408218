"""The round speeds at which a report tells what a dial shows."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING

from speedcal.units import SPEED_UNIT_MPS, DisplayUnit

if TYPE_CHECKING:
    from speedcal.calibration.result import Calibration
    from speedcal.conformity import Tolerance

_HEADLINE_SPEEDS: dict[DisplayUnit, tuple[int, ...]] = {
    "mph": (60, 50, 55, 45, 40, 65, 70, 30),
    "km/h": (100, 80, 90, 70, 60, 110, 50, 120),
}
_ROUND = 5
"""A slow vehicle's reading is told at a multiple of this, in the unit of the dial."""
_TABLE_SPEEDS: dict[DisplayUnit, tuple[int, ...]] = {"mph": (30, 50, 70), "km/h": (50, 80, 110)}
"""Speeds at which a report says what the dial shows, where a vehicle reaches two of them."""
_MOST_CHOSEN = 4
_SLACK = 1.02
"""A speed this little beyond those driven still counts as driven."""
_STEPS = (5, 2, 1)


def headline_speed(calibrations: list[Calibration], unit: DisplayUnit) -> float:
    """Return a usual speed inside every driven range, else a round one near the middle of what they share. [unit]."""
    factor = SPEED_UNIT_MPS[unit]
    low = max(c.dial.driven_mps[0] for c in calibrations) / factor
    high = min(c.dial.driven_mps[1] for c in calibrations) / factor
    for speed in _HEADLINE_SPEEDS[unit]:
        if low - 0.5 <= speed <= high + 0.5:
            return float(speed)
    round_one = _ROUND * round((low + high) / 2 / _ROUND)
    return float(round_one if low <= round_one <= high else round((low + high) / 2))


def table_speeds(
    calibrations: Sequence[Calibration], unit: DisplayUnit, tolerance: Tolerance | None = None
) -> tuple[float, ...]:
    """Return the speeds of the table: those chosen for the job, else usual ones or what a slow vehicle reaches. [unit].

    Of many that were chosen the table has the first, the middle and the last.
    """
    factor = SPEED_UNIT_MPS[unit]
    if tolerance and (chosen := sorted({round(v / factor, 1) for v in tolerance.chosen_true_mps})):
        return tuple(chosen if len(chosen) <= _MOST_CHOSEN else (chosen[0], chosen[len(chosen) // 2], chosen[-1]))
    low = min(c.dial.driven_mps[0] for c in calibrations) / factor
    high = _SLACK * max(c.dial.driven_mps[1] for c in calibrations) / factor
    usual = _TABLE_SPEEDS[unit]
    if usual[1] <= high:
        return usual
    found: list[int] = []
    for step in _STEPS:
        found = list(range(step * math.ceil(low / step), math.floor(high) + 1, step))
        if len(found) >= len(usual):
            return found[0], found[len(found) // 2], found[-1]
    return tuple(found) or (max(1, round(high)),)
