"""What a vehicle is judged by: its dial, the speeds that matter, its sets of tires and the limits."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from speedcal.calibration.checked.fit_checks import USUAL_SPEEDS
from speedcal.calibration.result import Calibration
from speedcal.interval import FloatArray, tidy
from speedcal.units import SLOW_TOP_MPS, SPEED_UNIT_MPS, DisplayUnit, round_step, speed_from_mps
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


_LOWEST: dict[DisplayUnit, float] = {"mph": 25.0, "km/h": 40.0}
"""Lowest speed that matters where nobody names any: the lowest test speeds of SAE J2976 and UN R39. At walking pace a
small needle offset is a large percentage, and would decide a gear or a verdict."""
SLOW_FROM = 0.3
"""The same of a slow vehicle (a tractor, an ATV), over the fastest it was driven; the lowest mark of its road test too.
Our own judgment."""


def slowest_judged_mps(calibration: Calibration) -> float:
    """Return the lowest true speed that matters where nobody names any. [m/s].

    That is the lowest driven, where two speeds that matter were not.
    """
    low, lowest = calibration.speed_range_mps[0], _lowest(calibration)
    is_slow = driven_speeds(calibration)[0] < lowest
    return low if is_slow else max(low, lowest * SPEED_UNIT_MPS[calibration.unit])


def _lowest(calibration: Calibration) -> float:
    """Return the lowest speed that matters where nobody names any, in the display unit."""
    top = calibration.speed_range_mps[1]
    is_slow = top < SLOW_TOP_MPS
    return SLOW_FROM * speed_from_mps(top, calibration.unit) if is_slow else _LOWEST[calibration.unit]


def driven_speeds(calibration: Calibration) -> tuple[float, ...]:
    """Return the speeds taken when nobody names any: round ones of the driven range, in the display unit.

    None below the lowest that matters, unless that leaves fewer than two.
    """
    factor = SPEED_UNIT_MPS[calibration.unit]
    low, high = (v / factor for v in calibration.speed_range_mps)
    step = round_step(calibration.unit, calibration.speed_range_mps[1])
    found = tuple(tidy(v, 4) for v in np.arange(np.ceil(low / step) * step, high + 1e-9, step) if v > 0)
    road = tuple(speed for speed in found if speed >= _lowest(calibration))
    ends = tuple(tidy(v, 1) for v in (low, high) if v > 0)
    return road if len(road) > 1 else found or ends
