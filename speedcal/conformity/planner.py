"""The shortest road test that answers a question."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import numpy as np

from speedcal.calibration.dial.dial import Dial
from speedcal.conformity.designs import MOST_HOLDS, MOST_READINGS_A_HOLD, Design, Expected, designs_of, fair_design
from speedcal.conformity.marks import marks_to_hold
from speedcal.conformity.more_checks import more_checks
from speedcal.conformity.questions import far_beyond, is_provable, question, within_reach
from speedcal.conformity.road_test import Assumption, Plateau, RoadTestPlan, assumptions_with
from speedcal.conformity.rules import load_tolerance
from speedcal.conformity.tolerance import Tolerance
from speedcal.errors import PlanError
from speedcal.finding import Finding
from speedcal.interval import FloatArray, reached
from speedcal.units import SPEED_UNIT_MPS, USUAL_LIMIT, DisplayUnit, check_display_unit

if TYPE_CHECKING:
    from speedcal.calibration.result import Calibration
    from speedcal.vehicle import Vehicle, Work


_BEYOND_NAMED = 1.05
"""The limit over the fastest speed that the job names, where nobody names a limit. Our own judgment."""


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
    by_gps: bool = False,
) -> RoadTestPlan:
    """Plan the road test that settles which tooth is right, or whether a tolerance is met.

    The holds are chosen so that the 95 % interval is as narrow as promised in nine drives of ten: without a tolerance,
    the error factor to half a tooth, 1/(2 zn); with one, the verdict is clear. The shortest test that does it is
    returned, its rounds going up and down the marks in turn, so that nothing that drifts passes for an error; four or
    more different marks show a bend. Where no sheet is sure to do it after the stated work, a fair one is returned that
    says so.

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
        Lowest mark to hold, in ``unit``; None takes 25 mph or 40 km/h, and a lower one for a slow vehicle.
    assumptions
        Values other than those shipped, see :func:`speedcal.conformity.road_test.assumptions_with`.
    by_gps
        Whether the speeds are held by GPS, because nobody knows what the dial will show: not as in ``calibration``. So
        they are too without a ``calibration``, since a mark of the dial may then be any speed.

    Raises
    ------
    PlanError
        The speed limit leaves too few marks, an assumption is unknown, or no road test of one sheet is enough.
    ToleranceError, VehicleError
        The rule, or the work on the vehicle, cannot be used.
    ValueError
        ``unit`` is another.

    Examples
    --------
    >>> import speedcal
    >>> vehicle = speedcal.Vehicle.from_dict({"driven_gear": 12})
    >>> test = speedcal.plan(vehicle, speed_limit=65, unit="mph")
    >>> test.half_width <= 1 / 24  # half a tooth of twelve
    True
    """
    check_display_unit(unit)
    assumed = assumptions_with(assumptions)
    factor = SPEED_UNIT_MPS[unit]
    if not 0 < speed_limit < 500:
        raise PlanError("speed_limit_unusable", found=speed_limit, wanted_unit=unit)
    rule = _rule(tolerance, unit)
    by_gps = by_gps or calibration is None
    expected = _expectation(None if by_gps else calibration, vehicle, work)
    marks = marks_to_hold(unit, speed_limit * factor, lowest, expected, named_mps=_named(rule))
    teeth, is_assumed = _teeth(vehicle, work, assumed)
    judged = within_reach(rule, expected.true(marks))
    target, answers = question(judged, expected, marks, teeth, is_assumed=is_assumed)
    designs = list(designs_of(marks, expected, assumed))
    design = next((design for design in designs if answers(design)), None)
    more = more_checks(calibration, teeth) if calibration is not None else None
    short: tuple[Finding, ...] = ()
    if design is None:
        is_open = by_gps or is_provable(judged, expected, expected.true(marks))
        if not is_open and (work is None or far_beyond(judged, expected.true(marks))):
            raise _no_test(designs, expected, target, changed=work is not None, rule=judged, marks=marks, more=more)
        design = fair_design(designs)
        of_verdict = by_gps and judged is not None
        code = "may_not_settle" if of_verdict else "one_sheet_is_short" if is_open else "expected_at_limit"
        short = (Finding(code, target=target),)
    if not target.values.get("assumed"):
        assumed.pop("teeth")
    findings = (*_findings(rule, design.expected.true(design.order()), unit), *([more] if more else ()))
    made = _finished(design, assumed, unit, rule, target, speed_limit * factor, vehicle, (*findings, *short))
    return replace(made, by_gps=by_gps)


def _no_test(
    designs: Sequence[Design],
    expected: Expected,
    target: Finding,
    *,
    changed: bool,
    rule: Tolerance | None,
    marks: FloatArray,
    more: Finding | None,
) -> PlanError:
    """Return that no road test of one sheet tells it, with how near the longest comes."""
    fullest = max(designs, key=lambda d: (d.holds * d.readings, d.holds))
    return PlanError(
        "no_road_test_answers",
        target=target,
        holds=MOST_HOLDS,
        readings=MOST_READINGS_A_HOLD,
        reached_percent=100 * fullest.half_width_factor() / expected.dial.line.error_factor,
        known=expected.known,
        changed=changed,
        beyond_mps=max(far_beyond(rule, expected.true(marks)), default=None),
        more=more,
    )


def usual_limit(unit: DisplayUnit, calibration: Calibration | None, rule: Tolerance | None = None) -> float:
    """Return the speed limit, in ``unit``, where nobody names one.

    No faster than the vehicle was driven before, unless the job names speeds that matter: a dial that read twice the
    speed kept that drive slow. A little beyond those: marks are far apart, and the dial may read low.
    """
    if calibration is None:
        return USUAL_LIMIT[unit]
    named = max(rule.chosen_true_mps, default=0.0) if rule else 0.0
    return min(USUAL_LIMIT[unit], max(calibration.speed_range_mps[1], _BEYOND_NAMED * named) / SPEED_UNIT_MPS[unit])


def _teeth(
    vehicle: Vehicle | None, work: Work | Mapping[str, Any] | float | None, assumed: Mapping[str, Assumption]
) -> tuple[float, bool]:
    """Return the driven gear that the road test is made with, and whether it is an assumption."""
    planned = work.get("driven_gear") if isinstance(work, Mapping) else getattr(work, "driven_gear", None)
    teeth = planned or (vehicle.driven_gear if vehicle else None)
    return (assumed["teeth"].value, True) if teeth is None else (teeth, False)


def _rule(tolerance: Tolerance | str | Mapping[str, Any] | None, unit: DisplayUnit) -> Tolerance | None:
    if tolerance is None:
        return None
    rule = tolerance if isinstance(tolerance, Tolerance) else load_tolerance(tolerance, unit=unit)
    rule = rule.in_unit(unit)
    if rule.quantity == "distance":
        raise PlanError("rule_about_distance", rule=rule.name)
    return rule


def _expectation(
    calibration: Calibration | None, vehicle: Vehicle | None, work: Work | Mapping[str, Any] | float | None
) -> Expected:
    if calibration is None:
        return Expected(Dial.straight(0.0, 1.0, np.zeros((2, 2)), used_mps=[10.0, 30.0]), known=False)
    if work is None or isinstance(work, int | float):
        return Expected(calibration.dial.geared(1.0 if work is None else float(work)), known=True)
    from speedcal.vehicle import Vehicle as AnyVehicle
    from speedcal.vehicle import predict_after

    return Expected(predict_after(calibration, vehicle or AnyVehicle(), work).dial, known=True)


def _named(rule: Tolerance | None) -> float:
    """Return the slowest speed that a rule names; infinite where it names none. [m/s]."""
    return min(rule.speeds_mps, default=np.inf) if rule else np.inf


def _finished(
    design: Design,
    assumed: Mapping[str, Assumption],
    unit: DisplayUnit,
    rule: Tolerance | None,
    target: Finding,
    speed_limit_mps: float,
    vehicle: Vehicle | None,
    findings: tuple[Finding, ...],
) -> RoadTestPlan:
    marks = design.order()
    true = design.expected.true(marks)
    duration, distance = design.road(assumed)
    top = float(true.max())
    return RoadTestPlan(
        unit=unit,
        question="tooth" if rule is None else "tolerance",
        target=target,
        plateaus=tuple(
            Plateau(float(mark), float(v), design.hold_s, design.readings) for mark, v in zip(marks, true, strict=True)
        ),
        half_width=design.half_width_factor(),
        expected_factor=design.expected.dial.line.error_factor,
        half_width_speed_mps=design.coverage() * float(design.dial().u_indicated(true.mean())),
        target_half_width=1 / (2 * target.values["teeth"]) if rule is None else None,
        speed_limit_mps=speed_limit_mps,
        duration_s=duration,
        distance_m=distance,
        stretch_m=top * design.hold_s + top**2 / max(assumed["acceleration"].si, 1e-3),
        assumptions=tuple(assumed.values()),
        vehicle_label=vehicle.label if vehicle else "",
        rule=rule,
        findings=findings,
    )


def _findings(rule: Tolerance | None, true: FloatArray, unit: DisplayUnit) -> tuple[Finding, ...]:
    if rule is None:
        return ()
    far = far_beyond(rule, true)
    near = [v for v in rule.speeds_mps if v not in far and not reached((float(true.min()), float(true.max())), v)]
    codes = {"rule_beyond_road_test": near, "rule_far_beyond_road_test": far}
    return tuple(Finding(code, **rule.about, speeds_mps=list(v), unit=unit) for code, v in codes.items() if v)
