"""The verdict on a drive: pass, fail or not proven, with a probability and a named rule."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import numpy as np

from speedcal.conformity.change import ChangeCheck, compare_odometer, compare_speed
from speedcal.conformity.judged_dial import judge_distance, judge_speed
from speedcal.conformity.next_step import next_steps
from speedcal.conformity.odd_change import looks_after_pass
from speedcal.conformity.righted import righted_since
from speedcal.conformity.rules import load_tolerance
from speedcal.conformity.shown_by_gps import as_gps
from speedcal.conformity.tolerance import Tolerance
from speedcal.conformity.verification import Verification
from speedcal.errors import VehicleError
from speedcal.finding import Finding
from speedcal.units import SPEED_UNIT_MPS
from speedcal.vehicle.advised.advice import Advice
from speedcal.vehicle.advised.first_steps import after_falls

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
    judge = judge_distance if rule.quantity == "distance" else judge_speed
    result = judge(after, rule, changes, findings)
    if result.verdict == "pass" and _falls_out(result, after):
        fell = Finding("fell_on_road_test")
        again = Advice("drive_again", part="after", because=(fell,))
        steps = (*after_falls(after), again)
        return replace(result, verdict="not proven", findings=(*result.findings, fell), advice=steps)
    if result.verdict == "pass":
        return replace(result, advice=(*after_falls(after), *looks_after_pass(changes)))
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
    return replace(result, advice=(*after_falls(after), *steps), findings=told)


def _work_done(work: Work | Mapping[str, Any] | None) -> Work | None:
    from speedcal.vehicle import Work as AnyWork

    return AnyWork.from_dict(work) if isinstance(work, Mapping) else work


def _falls_out(result: Verification, after: Calibration) -> bool:
    """Tell whether a logged needle fell on the road test to where the rule does not allow it, at a speed judged."""
    fell = [found.values for found in after.findings if found.code == "needle_falls" and found.values["spells"]]
    speeds = [check for check in result.checks if result.tolerance.quantity == "speed"]
    if result.tolerance.given != "true":  # its bounds are true speeds: a needle that falls shows a lower one
        return bool(fell and speeds)
    return any(check.indicated * (1 - values["most"]) < check.low for values in fell for check in speeds)


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
