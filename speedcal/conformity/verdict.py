"""The verdict on a drive: pass, fail or not proven, with a probability and a named rule."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import numpy as np

from speedcal.conformity.change import ChangeCheck, compare_odometer, compare_speed
from speedcal.conformity.decision import decide
from speedcal.conformity.marks import multiples
from speedcal.conformity.next_step import looks_at, looks_first, next_steps
from speedcal.conformity.probability import Box
from speedcal.conformity.reference_speed import reference_findings
from speedcal.conformity.righted import righted_since
from speedcal.conformity.rules import load_tolerance
from speedcal.conformity.settling import driving_to_settle, way_to_settle
from speedcal.conformity.shown_by_gps import as_gps
from speedcal.conformity.tolerance import ShownLimits, Tolerance
from speedcal.conformity.verification import Check, RangeCheck, Verification
from speedcal.errors import VehicleError
from speedcal.finding import Finding
from speedcal.interval import COVERAGE_FACTOR, reached
from speedcal.units import ROUND_SPEED, SPEED_UNIT_MPS
from speedcal.vehicle.advised.advice import Advice
from speedcal.vehicle.judged.limits import POINTER_DIFFERS

if TYPE_CHECKING:
    from speedcal.calibration.result import Calibration
    from speedcal.vehicle import Vehicle, Work


def verify(
    before: Calibration | None,
    after: Calibration,
    tolerance: Tolerance | str | Mapping[str, Any],
    *,
    vehicle: Vehicle | None = None,
    work: Work | Mapping[str, Any] | float | None = None,
    speeds: Sequence[float] | None = None,
) -> Verification:
    """Judge the drive after the work against a tolerance, and against what the drive before predicts.

    Parameters
    ----------
    before
        The drive before the work, or None.
    after
        The drive to be judged.
    tolerance
        The rule, its name, or a ``[tolerance]`` table.
    vehicle, work
        What was fitted before, and what was changed (or the factor itself, after over before).
    speeds
        Speeds to judge at, in the unit of ``after``; None takes those of the rule, or the driven range when it names
        none.

    Raises
    ------
    ToleranceError
        The rule does not hold at a speed asked for.
    ValueError
        A speed is not above zero, there is none in ``speeds``, or a factor in ``work`` is not above zero.

    References
    ----------
    .. [1] JCGM 106:2012, Evaluation of measurement data: the role of measurement uncertainty in conformity assessment.
    .. [2] ISO/IEC 17025:2017, 7.8.6: the decision rule is stated with the verdict.

    Examples
    --------
    >>> import speedcal
    >>> track = speedcal.read_track("data_demo/after.gpx")
    >>> after = speedcal.calibrate(track, speedcal.read_readings("data_demo/after_notes.csv"))
    >>> speedcal.verify(None, after, "un_r39_type", speeds=[30, 45, 60]).verdict
    'pass'
    """
    rule = tolerance if isinstance(tolerance, Tolerance) else load_tolerance(tolerance, unit=after.unit)
    rule = rule.in_unit(after.unit)
    asked = None if speeds is None else tuple(float(v) for v in speeds)
    if asked is not None and not (asked and all(0 < v < np.inf for v in asked)):
        raise ValueError(f"speeds must be above zero and at least one, not {asked}")
    if asked is not None and rule.quantity == "speed":
        rule = rule.at_speeds(tuple(v * SPEED_UNIT_MPS[after.unit] for v in asked))
    findings = _rule_findings(rule)
    if after.trust.word == "WEAK":
        findings.append(Finding("weak_drive", reasons=after.trust.reasons))
    findings += as_gps(after, before)
    changes: tuple[ChangeCheck, ...] = ()
    if before is not None and work is not None:
        try:
            changes = _changes(before, after, vehicle, work)
        except VehicleError as error:
            findings.append(Finding("change_not_predicted", error=error))
    findings += [finding for change in changes for finding in change.findings]
    judge = _judge_distance if rule.quantity == "distance" else _judge_speed
    result = judge(after, rule, changes, findings)
    if result.verdict == "pass" and _falls_out(result, after):
        fell = Finding("fell_on_road_test")
        again = Advice("drive_again", part="after", because=(fell,))
        steps = (*looks_first(after), again)
        return replace(result, verdict="not proven", findings=(*result.findings, fell), advice=steps)
    if result.verdict == "pass":
        return replace(result, advice=(*looks_first(after), *looks_at(changes)))
    steps = next_steps(
        before,
        after,
        rule,
        vehicle=vehicle,
        work=None if isinstance(work, int | float) else _work_done(work),
        changes=changes,
        findings=result.findings,
        judged_mps=[check.true for check in result.checks],
        as_it_is=result.probability if result.verdict == "not proven" else 0.0,
    )
    settles = any(step.action == "drive_again" for step in steps)  # then nothing says that driving will not
    told = tuple(found for found in result.findings if not (settles and found.code == "on_the_limit"))
    return replace(result, advice=(*looks_first(after), *steps), findings=told)


def _work_done(work: Work | Mapping[str, Any] | None) -> Work | None:
    from speedcal.vehicle import Work as AnyWork

    return AnyWork.from_dict(work) if isinstance(work, Mapping) else work


def _judge_speed(
    after: Calibration, rule: Tolerance, changes: tuple[ChangeCheck, ...], findings: list[Finding]
) -> Verification:
    driven = driven_part(after, rule)
    speeds = rule.speeds_mps or (_round_speeds(after, driven) if driven else _nearest_speed(after, rule))
    checks = tuple(_check(after, rule, speed) for speed in speeds)
    holds_between = any(limit.from_mps < limit.to_mps for limit in rule.limits)  # and not at single speeds only
    everywhere = rule.limits_between(*driven, after.dial) if driven and holds_between else None
    limits = rule.shown_limits(speeds)
    if everywhere is not None and not rule.speeds_mps:
        limits = everywhere
    verdict, probability = decide(limits.box(after.dial), rule.confidence)
    needed: int | None = 0
    needed_at: tuple[float, ...] = ()
    if not (rule.speeds_mps or driven):  # what is expected there was not seen
        verdict, needed = "not proven", None
        about = {"domain_mps": rule.domain_mps, "rule_unit": rule.unit, "driven_mps": after.speed_range_mps}
        findings = [*findings, Finding("rule_holds_nowhere_driven", rule=rule.title, **about, unit=after.unit)]
    elif verdict == "not proven":
        found, needed, needed_at = driving_to_settle(after, limits, rule, tuple(check.true for check in checks))
        findings = [*findings, found]
    return Verification(
        verdict=verdict,
        probability=probability,
        tolerance=rule,
        unit=after.unit,
        checks=checks,
        driven_range=_range_check(after, rule, everywhere, driven),
        readings_needed=needed,
        readings_speeds_mps=needed_at,
        changes=changes,
        findings=(*findings, *_outside_findings(checks, after, rule), *reference_findings(checks, after, rule)),
    )


def _falls_out(result: Verification, after: Calibration) -> bool:
    """Tell whether a logged needle fell on the road test to where the rule does not allow it, at a speed judged."""
    fell = [found.values for found in after.findings if found.code == "needle_falls" and found.values["spells"]]
    speeds = [check for check in result.checks if result.tolerance.quantity == "speed"]
    if result.tolerance.given != "true":  # its bounds are true speeds: a needle that falls shows a lower one
        return bool(fell and speeds)
    return any(check.indicated * (1 - values["most"]) < check.low for values in fell for check in speeds)


def driven_part(after: Calibration, rule: Tolerance) -> tuple[float, float] | None:
    """Return the part of the driven range where the rule holds, in the speed that the rule takes as given.

    A rule of the shop's own that names no speeds is judged where parts are chosen by it, and not at walking pace.
    """
    from speedcal.vehicle.choices.judged_vehicle import slowest_judged_mps

    low, high = after.speed_range_mps
    if rule.status == "own rule" and not (rule.speeds_mps or rule.domain_mps[0]):
        low = slowest_judged_mps(after)
    if rule.given == "indicated":
        low, high = (float(after.indicated(v)) for v in (low, high))
    low, high = max(low, rule.domain_mps[0]), min(high, rule.domain_mps[1])
    return (low, high) if low < high else None


def _nearest_speed(after: Calibration, rule: Tolerance) -> tuple[float, ...]:
    """Return the speed at which a rule holds that is nearest to those driven."""
    low, high = rule.domain_mps
    return (high if high < after.speed_range_mps[0] else low,)


def _round_speeds(after: Calibration, driven: tuple[float, float]) -> tuple[float, ...]:
    step = ROUND_SPEED[after.unit] * SPEED_UNIT_MPS[after.unit]
    return tuple(float(v) for v in multiples(step, *driven)) or driven


def _check(after: Calibration, rule: Tolerance, speed: float) -> Check:
    true = speed if rule.given == "true" else float(after.dial.true_speed(speed))
    low, high = rule.band(speed)
    word, probability = decide(rule.shown_limits((speed,)).box(after.dial), rule.confidence)
    u = float(after.u_indicated(true))
    return Check(
        speed_mps=speed,
        indicated=float(after.indicated(true)),
        u=u if rule.given == "true" else u / float(after.dial.slope(true)),
        true=true,
        low=low,
        high=high,
        probability=probability,
        verdict=word,
        outside=not reached(after.speed_range_mps, true),
    )


def _range_check(
    after: Calibration, rule: Tolerance, everywhere: ShownLimits | None, driven: tuple[float, float] | None
) -> RangeCheck | None:
    if everywhere is None or driven is None:
        return None
    word, probability = decide(everywhere.box(after.dial), rule.confidence)
    return RangeCheck(*driven, probability, word)


def _judge_distance(
    after: Calibration, rule: Tolerance, changes: tuple[ChangeCheck, ...], findings: list[Finding]
) -> Verification:
    """Judge the odometer by its own factor; the needle's tells how likely it complies, and proves nothing."""
    factor, is_read = after.odometer_factor or after.error_factor, after.odometer_factor is not None
    half = factor.half_width if is_read else float(np.hypot(factor.half_width, POINTER_DIFFERS * factor.value))
    u = half / COVERAGE_FACTOR
    low, high = rule.band(1.0)
    limits, known = (np.array([low]), np.array([high])), (np.array([factor.value]), np.array([[u * u]]))
    word, probability = decide(Box(*limits, *known), rule.confidence)
    if not is_read:
        word = "not proven"
        findings.append(Finding("odometer_not_read"))
    elif word == "not proven":
        findings.append(way_to_settle(factor, low, high))
    return Verification(
        verdict=word,
        probability=probability,
        tolerance=rule,
        unit=after.unit,
        checks=(Check(np.nan, factor.value, u, 1.0, low, high, probability, word, False),),
        driven_range=None,
        readings_needed=None if word == "not proven" else 0,
        readings_speeds_mps=(),
        changes=changes,
        findings=tuple(findings),
    )


def _changes(
    before: Calibration, after: Calibration, vehicle: Vehicle | None, work: Work | Mapping[str, Any] | float
) -> tuple[ChangeCheck, ...]:
    """Compare planned with measured change; work that changes nothing (a note alone) predicts nothing.

    Nor does a repair of the instrument; a unit or a count put right since the drive before is part of the plan.
    """
    from speedcal.vehicle import GainChange, gain_change
    from speedcal.vehicle import Vehicle as AnyVehicle
    from speedcal.vehicle import Work as AnyWork
    from speedcal.vehicle.forward import with_needle_set

    done: Work | None = None
    if isinstance(work, int | float):
        planned = GainChange(float(work), 0.0)
    else:
        done = _work_done(work) or AnyWork()
        if done.instrument_repaired or replace(done, note="", date="", odometer=None, odometer_now=None) == AnyWork():
            return ()
        planned = gain_change(vehicle or AnyVehicle(), done)
        set_over = with_needle_set(before.dial, done, before.unit)
        before = replace(before, dial=set_over)  # at v it then shows what it showed at g v, and the shift
    righted = righted_since(before, after, vehicle or AnyVehicle(), planned.value)
    planned = replace(planned, value=planned.value * righted)
    speed = replace(compare_speed(before, after, planned, vehicle=vehicle, work=done), righted=righted)
    if before.odometer_factor and after.odometer_factor:
        return speed, compare_odometer(before.odometer_factor, after.odometer_factor, planned)
    return (speed,)


def _rule_findings(rule: Tolerance) -> list[Finding]:
    found = []
    if rule.status == "from memory":
        found.append(Finding("rule_from_memory", **rule.about))
    found += [Finding("rule_note", note=note) for note in (rule.note, rule.speeds_note) if note]
    if rule.own_speeds and rule.status != "own rule":
        found.append(Finding("speeds_chosen"))
    return found


def _outside_findings(checks: tuple[Check, ...], after: Calibration, rule: Tolerance) -> list[Finding]:
    outside = [check.speed_mps for check in checks if check.outside]
    if not outside:
        return []
    driven = after.speed_range_mps
    return [Finding("outside_driven_range", **rule.about, speeds_mps=outside, driven_mps=driven, unit=after.unit)]
