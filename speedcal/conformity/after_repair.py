"""What a repaired instrument that reads just outside a rule asks for: its needle set over, and no gear."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from speedcal.conformity.tolerance import Tolerance
from speedcal.finding import Finding
from speedcal.units import SPEED_UNIT_MPS
from speedcal.vehicle.advised.advice import Advice
from speedcal.vehicle.advised.needle import NEEDLE_STEP_MPS
from speedcal.vehicle.choices.judged_vehicle import judge_of
from speedcal.vehicle.judged.judge import SURE_ENOUGH

if TYPE_CHECKING:
    from speedcal.calibration.result import Calibration
    from speedcal.vehicle import Vehicle, Work

_MOST_STEPS = 4
"""For a margin to a rule a needle is set no farther: 2 mph, 4 km/h. Our own judgment."""


def after_repair(
    asked: tuple[Advice, ...],
    after: Calibration,
    rule: Tolerance,
    vehicle: Vehicle,
    work: Work | None,
    speeds: Sequence[float],
) -> tuple[Advice, ...]:
    """Return what is asked for, after a repair the needle before any gear, where the drive is right.

    Whoever repaired the instrument sets it over; a gear would put the odometer wrong for a margin of the needle.

    Parameters
    ----------
    asked
        What the drive after asks for by itself.
    vehicle
        As it was on that drive.
    work
        What was done before it.
    speeds
        True speeds that were judged, in the unit of the drive.
    """
    gears = [entry for entry in asked if entry.action.startswith("fit_")]
    if work is None or not (work.instrument_repaired and gears):
        return asked
    if any(entry.action.startswith(("set_", "reseat_")) for entry in asked):
        return asked
    judge = judge_of(after, None, vehicle, after.unit, speeds, None, rule.for_choices)
    if judge.is_of_odometer or abs(judge.odometer.value - 1) > judge.acceptable_percent / 100:
        return asked
    steps = np.arange(1, _MOST_STEPS + 1) * NEEDLE_STEP_MPS[after.unit]
    shifts = sorted([*steps, *-steps], key=abs)
    chances = [judge.probability_within(1.0, shift) for shift in shifts]
    best = int(np.argmax(np.minimum(chances, SURE_ENOUGH)))  # the nearest that is sure
    if not judge.expected_within(1.0, shifts[best]):
        return asked
    percent, value = 100 * judge.worst_error(1.0, shifts[best]), shifts[best] / SPEED_UNIT_MPS[after.unit]
    why = (Finding("puts_right", percent=percent, chance=chances[best]), Finding("set_by_the_repairer"))
    needle = Advice("reseat_needle", "needle", round(float(value), 2), after.unit, percent, chances[best], because=why)
    instead = Finding("instead_of_the_first", kind="keep", needle=True)
    return (needle, *(e if instead.code in e.codes else replace(e, because=(*e.because, instead)) for e in gears[:1]))
