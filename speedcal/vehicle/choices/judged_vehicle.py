"""What a vehicle is judged by: its dial, the speeds that matter, its sets of tires and the limits."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from speedcal.calibration.checked.fit_checks import USUAL_SPEEDS
from speedcal.calibration.result import Calibration
from speedcal.interval import FloatArray, multiples, tidy
from speedcal.units import LOWEST_SPEED, SPEED_UNIT_MPS, DisplayUnit, is_slow, round_step, speed_from_mps
from speedcal.vehicle.choices.facts_only import FactsDial
from speedcal.vehicle.drivetrain import driving_tire
from speedcal.vehicle.judged.judge import Judge
from speedcal.vehicle.judged.limits import FAR_BEYOND, ROAD_TEST_MPS, Limits, RuleLimits, TireSet, road_test_like
from speedcal.vehicle.tires.rolling_circumference import roll_by_convention
from speedcal.vehicle.vehicle import Criterion, Vehicle


def judge_of(
    calibration: Calibration | None,
    known: FactsDial | None,
    vehicle: Vehicle,
    unit: DisplayUnit,
    speeds: Sequence[float] | FloatArray | None,
    criterion: Criterion | None,
    limits: Limits | None,
) -> Judge:
    """Return the judge of a vehicle, by its drive or by the facts alone."""
    if speeds is not None:
        at = tuple(float(v) for v in speeds)
    else:
        at = driven_speeds(calibration) if calibration is not None else USUAL_SPEEDS[unit]
        if calibration is not None and "one_speed" in calibration.trust.codes:
            at = _around(calibration, at)
    dial = calibration.dial if calibration is not None else known.dial if known else None
    assert dial is not None  # noqa: S101 - one of the two is there
    unit = calibration.unit if calibration is not None else unit
    of_odometer = isinstance(limits, RuleLimits) and limits.of_odometer
    if isinstance(limits, RuleLimits) and limits.say_nothing_at(SPEED_UNIT_MPS[unit] * np.array(at)):
        limits = None
    return Judge(
        dial=dial,
        unit=unit,
        speeds=at,
        criterion="odometer first" if of_odometer else criterion or vehicle.criterion,
        acceptable_percent=vehicle.acceptable_percent,
        odometer_factor=calibration.odometer_factor if calibration is not None else None,
        tire_sets=_tire_sets(vehicle),
        limits=limits,
        road_test_mps=road_test_like(dial) if calibration is not None else ROAD_TEST_MPS,
    )


def _tire_sets(vehicle: Vehicle) -> tuple[TireSet, ...]:
    rolled = driving_tire(vehicle)
    if vehicle.second_tire is None or rolled is None:
        return (TireSet(),)
    other = roll_by_convention(vehicle.second_tire)
    gain = rolled.circumference_m.value / other.circumference_m.value
    return (TireSet(), TireSet(gain, (rolled.u_relative**2 + other.u_relative**2) ** 0.5))


def _around(calibration: Calibration, driven: tuple[float, ...]) -> tuple[float, ...]:
    """Return the speeds driven with the usual ones about them: nobody drives at one speed alone."""
    top = FAR_BEYOND * speed_from_mps(calibration.speed_range_mps[1], calibration.unit)
    return tuple(sorted({*driven, *(v for v in USUAL_SPEEDS[calibration.unit] if v <= top)}))


SLOW_FROM = 0.3
"""Lowest speed that matters of a slow vehicle (a tractor, an ATV) over the fastest it was driven, where nobody names
any; the lowest mark of its road test too. Our own judgment."""


def slowest_judged_mps(calibration: Calibration) -> float:
    """Return the lowest true speed driven that matters where nobody names any. [m/s]."""
    low, top = calibration.speed_range_mps
    unit = calibration.unit
    return max(low, SLOW_FROM * top if is_slow(unit, top) else LOWEST_SPEED[unit] * SPEED_UNIT_MPS[unit])


def driven_speeds(calibration: Calibration) -> tuple[float, ...]:
    """Return the speeds taken when nobody names any: round ones of those driven that matter, in the display unit."""
    unit, top_mps = calibration.unit, calibration.speed_range_mps[1]
    low, high = (v / SPEED_UNIT_MPS[unit] for v in (slowest_judged_mps(calibration), top_mps))
    return tuple(tidy(v, 4) for v in multiples(round_step(unit, top_mps), low, high)) or (tidy(low, 1), tidy(high, 1))
