"""The search for the shortest road test that answers the question."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING, Any

import numpy as np

from speedcal.conformity.decision import Belief, decide, power_margin
from speedcal.conformity.design import (
    MOST_HOLDS,
    MOST_READINGS,
    MOST_READINGS_A_HOLD,
    Design,
    Expected,
    noise_of,
    shortest,
)
from speedcal.conformity.roadtest import Assumption, Plateau, RoadTestPlan, assumptions_with, half_a_tooth
from speedcal.conformity.rules import load_tolerance
from speedcal.conformity.tolerance import Tolerance
from speedcal.errors import PlanError
from speedcal.finding import Finding
from speedcal.interval import FloatArray
from speedcal.units import SPEED_UNIT_MPS, DisplayUnit

if TYPE_CHECKING:
    from speedcal.calibration.result import Calibration
    from speedcal.vehicle import Vehicle, Work

_LEAST_MARKS = 3
_LOWEST = {"mph": 25.0, "km/h": 40.0}
_STEP = {"mph": 5.0, "km/h": 10.0}


def plan(
    vehicle: Vehicle | None = None,
    *,
    speed_limit: float,
    unit: DisplayUnit = "mph",
    tolerance: Tolerance | str | Mapping[str, Any] | None = None,
    calibration: Calibration | None = None,
    work: Work | Mapping[str, Any] | float | None = None,
    lowest: float | None = None,
    assumptions: Mapping[str, float] | None = None,
) -> RoadTestPlan:
    """Plan the road test that settles which tooth is right, or whether a tolerance is met.

    The holds are chosen so that the 95 % interval is as narrow as promised in nine drives of ten: without a tolerance,
    the error factor to half a tooth, 1/(2 zn); with one, the verdict is clear. The shortest test that does it is
    returned, its rounds going up and down the marks in turn, so that nothing that drifts passes for an error.

    Parameters
    ----------
    vehicle
        For the teeth of the driven gear.
    speed_limit
        Legal speed on the road, true speed in ``unit``.
    unit
        Unit of the dial.
    tolerance
        The rule that is to be judged; None plans for the tooth.
    calibration, work
        How the instrument read before, and what is changed before the road test (or the change of gain itself).
    lowest
        Lowest mark to hold, in ``unit``; None takes 25 mph or 40 km/h.
    assumptions
        Values other than those shipped, see :func:`speedcal.conformity.roadtest.assumptions_with`.

    Raises
    ------
    PlanError
        The speed limit leaves too few marks, an assumption is unknown, or no road test of one sheet is enough.
    ToleranceError, VehicleError
        The rule, or the work on the vehicle, cannot be used.

    Examples
    --------
    >>> import speedcal
    >>> vehicle = speedcal.Vehicle.from_dict({"driven_gear": 12})
    >>> test = speedcal.plan(vehicle, speed_limit=65, unit="mph")
    >>> test.half_width <= 1 / 24  # half a tooth of twelve
    True
    """
    assumed = assumptions_with(assumptions)
    factor = SPEED_UNIT_MPS[unit]
    if not 0 < speed_limit < 500:
        raise PlanError(f"the speed limit is {speed_limit!r}", remedy=f"Give the legal speed in {unit}, such as 65")
    rule = _rule(tolerance, unit)
    planned = getattr(work, "driven_gear", None) if not isinstance(work, Mapping) else work.get("driven_gear")
    expected = _expectation(calibration, vehicle, work)
    marks = _marks(unit, speed_limit, lowest, expected, assumed)
    noise = noise_of(assumed)
    if rule is None:
        target, text = half_a_tooth(vehicle, planned, assumed["teeth"].value)

        answers = _narrow_enough(target * expected.factor)
    else:
        target, text = None, f"a clear verdict on {rule.named} with {100 * rule.confidence:g} %"
        answers = _verdict_clear(rule, expected, expected.true(marks * factor))
    design = shortest(marks * factor, expected, noise, assumed, answers)
    if design is None:
        fullest = shortest(marks * factor, expected, noise, assumed, lambda d: d.holds * d.readings == MOST_READINGS)
        reached = f"; the fullest reaches ±{100 * fullest.half_width_factor / expected.factor:.2f} %" if fullest else ""
        raise PlanError(
            f"no road test of {MOST_HOLDS} holds with {MOST_READINGS_A_HOLD} readings gives {text}{reached}",
            remedy=_remedy(rule, expected),
        )
    return _finished(design, expected, assumed, unit, rule, target, text, speed_limit * factor, vehicle)


def _narrow_enough(half_width: float) -> Callable[[Design], bool]:
    return lambda design: design.half_width_factor <= half_width


def _rule(tolerance: Tolerance | str | Mapping[str, Any] | None, unit: DisplayUnit) -> Tolerance | None:
    if tolerance is None:
        return None
    rule = tolerance if isinstance(tolerance, Tolerance) else load_tolerance(tolerance, unit=unit)
    rule = rule.in_unit(unit)
    if rule.quantity == "distance":
        raise PlanError(
            f"{rule.name} is about distance, which no held speed settles",
            remedy="Note the odometer at both ends of a long drive, or plan with a rule about speed",
        )
    return rule


def _expectation(
    calibration: Calibration | None, vehicle: Vehicle | None, work: Work | Mapping[str, Any] | float | None
) -> Expected:
    if calibration is None:
        return Expected(0.0, 1.0, known=False)
    change = 1.0
    if isinstance(work, int | float):
        change = float(work)
    elif work is not None:
        from speedcal.vehicle import Vehicle as AnyVehicle
        from speedcal.vehicle import gain_change

        change = gain_change(vehicle or AnyVehicle(), work).value
    return Expected(calibration.offset_mps.value, calibration.error_factor.value * change, known=True)


def _marks(
    unit: DisplayUnit, speed_limit: float, lowest: float | None, expected: Expected, assumed: Mapping[str, Assumption]
) -> FloatArray:
    """Return the marks of the dial that may be held, in the unit of the dial; the true speed stays under the limit."""
    factor, step = SPEED_UNIT_MPS[unit], _STEP[unit]
    if expected.known:
        top = expected.offset_mps / factor + expected.factor * speed_limit
    else:
        top = speed_limit * (1 - assumed["may_read_low"].si)
    bottom = _LOWEST[unit] if lowest is None else lowest
    marks = np.arange(np.ceil(bottom / step - 1e-9), np.floor(top / step + 1e-9) + 1) * step
    if len(marks) < _LEAST_MARKS:
        raise PlanError(
            f"under a limit of {speed_limit:g} {unit} there are {len(marks)} marks to hold from {bottom:g} {unit} on",
            remedy="Use a road with a higher limit, or a lower mark to start with (lowest)",
        )
    return np.asarray(marks)


def _verdict_clear(rule: Tolerance, expected: Expected, true_mps: FloatArray) -> Callable[[Design], bool]:
    """Return the test that a design makes the verdict clear nine times in ten.

    For an instrument of which nothing is known: clear if it reads in the middle half of the tolerance.
    """
    speeds = rule.speeds_mps or tuple(float(v) for v in (true_mps[0], true_mps[-1]))
    speeds = tuple(v for v in speeds if rule.domain_mps[0] <= v <= rule.domain_mps[1] and rule.limits_at(v))
    if not speeds:
        raise PlanError(f"{rule.name} does not hold at any mark of this road", remedy="Use a road with another limit")
    limits = np.vstack([rule.half_planes(v) for v in speeds])
    margin, mean = power_margin(rule.confidence), np.array([expected.offset_mps, expected.factor])
    if not expected.known:
        mean, margin = _middle(rule, speeds), 2 * margin

    def clear(design: Design) -> bool:
        widen = margin * design.coverage / 1.96
        return (
            decide(limits, Belief(mean, design.covariance, np.inf).widened(widen), rule.confidence)[0] != "not proven"
        )

    return clear


def _middle(rule: Tolerance, speeds: tuple[float, ...]) -> FloatArray:
    bands = np.array([rule.band(v) for v in speeds])
    if not np.isfinite(bands).all():
        raise PlanError(
            f"{rule.name} limits one side only, so how many readings are needed depends on how the instrument reads",
            remedy="Add the drive before the work to the job, so that the plan knows what to expect",
        )
    middle, given = bands.mean(axis=1), np.array(speeds)
    true, shown = (given, middle) if rule.given == "true" else (middle, given)
    if len(speeds) == 1:
        return np.array([0.0, shown[0] / true[0]])
    slope, intercept = np.polyfit(true, shown, 1)
    return np.array([intercept, slope])


def _remedy(rule: Tolerance | None, expected: Expected) -> str:
    if rule is None:
        return "Use a road with a higher limit, log the readings, or drive the plan twice and pool the drives"
    if expected.known:
        return "The instrument is expected to sit on a limit; choose a gear or setting that moves it away"
    return "Add the drive before the work to the job, or judge at speeds inside the range of the road"


def _finished(
    design: Design,
    expected: Expected,
    assumed: Mapping[str, Assumption],
    unit: DisplayUnit,
    rule: Tolerance | None,
    target: float | None,
    text: str,
    speed_limit_mps: float,
    vehicle: Vehicle | None,
) -> RoadTestPlan:
    marks = design.order()
    true = expected.true(marks)
    middle = np.array([1.0, float(true.mean())])
    duration, distance = design.road(expected, assumed)
    top = float(true.max())
    used = dict(assumed)
    if rule is not None or "assumed" not in text:
        used.pop("teeth")
    if expected.known:
        used.pop("may_read_low")
    return RoadTestPlan(
        unit=unit,
        question="tooth" if rule is None else "tolerance",
        target_text=text,
        plateaus=tuple(
            Plateau(float(mark), float(v), design.hold_s, design.readings) for mark, v in zip(marks, true, strict=True)
        ),
        half_width=design.half_width_factor,
        expected_factor=expected.factor,
        half_width_speed_mps=design.coverage * float(np.sqrt(middle @ design.covariance @ middle)),
        target_half_width=target,
        speed_limit_mps=speed_limit_mps,
        duration_s=duration,
        distance_m=distance,
        stretch_m=top * design.hold_s + top**2 / max(assumed["acceleration"].si, 1e-3),
        assumptions=tuple(used.values()),
        vehicle_label=vehicle.label if vehicle else "",
        rule=rule,
        findings=_findings(rule, true, unit),
    )


def _findings(rule: Tolerance | None, true: FloatArray, unit: DisplayUnit) -> tuple[Finding, ...]:
    if rule is None:
        return ()
    factor = SPEED_UNIT_MPS[unit]
    outside = [f"{v / factor:.4g}" for v in rule.speeds_mps if not 0.98 * true.min() <= v <= 1.02 * true.max()]
    if not outside:
        return ()
    text = (
        f"{rule.title} names {', '.join(outside)} {unit}, which this road test does not reach; there the line is "
        "carried on."
    )
    return (Finding("outside_driven_range", text),)
