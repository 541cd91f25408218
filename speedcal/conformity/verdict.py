"""The verdict on a drive: pass, fail or not proven, with a probability and a named rule."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from speedcal.conformity.change import ChangeCheck, change_findings, compare_odometer, compare_speed
from speedcal.conformity.decision import Belief, decide, readings_to_settle
from speedcal.conformity.reference import reference_findings
from speedcal.conformity.rules import load_tolerance
from speedcal.conformity.tolerance import STATUS_TEXT, Tolerance
from speedcal.conformity.verification import Check, RangeCheck, Verification
from speedcal.errors import ToleranceError, VehicleError
from speedcal.finding import Finding
from speedcal.interval import FloatArray, Interval
from speedcal.units import SPEED_UNIT_MPS

if TYPE_CHECKING:
    from speedcal.calibration.result import Calibration
    from speedcal.vehicle import Vehicle, Work

_LEAST_SCATTER_MPS = 0.05


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
        What was fitted before, and what was changed (or the planned change of the gain itself, after over before).
    speeds
        Speeds to judge at, in the unit of ``after``; None takes those of the rule, or the driven range when it names
        none.

    Raises
    ------
    ToleranceError
        The rule does not hold at a speed asked for, or nowhere in the driven range.

    References
    ----------
    .. [1] JCGM 106:2012, Evaluation of measurement data: the role of measurement uncertainty in conformity assessment.
    .. [2] ISO/IEC 17025:2017, 7.8.6: the decision rule is stated with the verdict.

    Examples
    --------
    >>> import speedcal
    >>> track = speedcal.read_track("data_demo/after.gpx")
    >>> after = speedcal.calibrate(track, speedcal.read_readings("data_demo/after_notes.csv"))
    >>> speedcal.conformity(None, after, "un_r39_type", speeds=[30, 45, 60]).verdict
    'pass'
    """
    rule = tolerance if isinstance(tolerance, Tolerance) else load_tolerance(tolerance, unit=after.unit)
    rule = rule.in_unit(after.unit)
    if speeds is not None and rule.quantity == "speed":
        rule = rule.at_speeds(tuple(v * SPEED_UNIT_MPS[after.unit] for v in speeds))
    findings = _rule_findings(rule)
    if after.trust.word == "WEAK":
        findings.append(Finding("weak_drive", f"The drive after the work is {after.trust}."))
    changes: tuple[ChangeCheck, ...] = ()
    if before is not None and work is not None:
        try:
            changes = _changes(before, after, vehicle, work)
        except VehicleError as error:
            findings.append(Finding("change_not_predicted", f"The change by the work is not predicted: {error}"))
    for change in changes:
        findings += change_findings(change)
    judge = _judge_distance if rule.quantity == "distance" else _judge_speed
    return judge(after, rule, changes, findings)


def _judge_speed(
    after: Calibration, rule: Tolerance, changes: tuple[ChangeCheck, ...], findings: list[Finding]
) -> Verification:
    belief = Belief(
        np.array([after.offset_mps.value, after.error_factor.value]),
        np.asarray(after.covariance, float),
        after.dial.degrees_of_freedom,
    )
    driven = _driven(after, rule)
    speeds = rule.speeds_mps or _round_speeds(after, rule, driven)
    checks = tuple(_check(after, rule, belief, speed, driven) for speed in speeds)
    planes = [rule.half_planes(speed) for speed in speeds]
    if driven and not rule.speeds_mps:
        planes.append(rule.range_half_planes(*driven))
    limits = np.vstack(planes)
    verdict, probability = decide(limits, belief, rule.confidence)
    range_check = _range_check(rule, belief, driven)
    needed: tuple[int, tuple[float, ...]] | None = (0, ())
    if verdict == "not proven":
        needed = _needed(after, belief, limits, rule, tuple(_true_speed(after, rule, speed) for speed in speeds))
        findings = [*findings, _needed_finding(needed, after)]
    return Verification(
        verdict=verdict,
        probability=probability,
        tolerance=rule,
        unit=after.unit,
        checks=checks,
        driven_range=range_check,
        readings_needed=needed[0] if needed else None,
        readings_speeds_mps=needed[1] if needed else (),
        changes=changes,
        findings=(*findings, *_outside_findings(checks, after, rule), *reference_findings(after, rule, checks)),
    )


def _needed(
    after: Calibration, belief: Belief, limits: FloatArray, rule: Tolerance, named_mps: tuple[float, ...]
) -> tuple[int, tuple[float, ...]] | None:
    """Return how many readings at which speeds would settle it: at one not above those driven, else at both ends.

    Nobody is sent to drive faster than in the road test where that can be helped.
    """
    low, high = after.speed_range_mps
    legal = [(v,) for v in (*named_mps, low, high) if v <= _top(after)]
    for places in (legal, [(low, high)], [(v,) for v in named_mps]):
        found = readings_to_settle(
            limits, belief, rule.confidence, places=places, u_reading_mps=max(after.scatter_mps, _LEAST_SCATTER_MPS)
        )
        if found is not None:
            return found
    return None


def _true_speed(after: Calibration, rule: Tolerance, speed_mps: float) -> float:
    if rule.given == "true":
        return speed_mps
    return (speed_mps - after.offset_mps.value) / after.error_factor.value


def _driven(after: Calibration, rule: Tolerance) -> tuple[float, float] | None:
    """Return the part of the driven range where the rule holds, in the speed that the rule takes as given."""
    low, high = after.speed_range_mps
    if rule.given == "indicated":
        low, high = (float(after.indicated(v)) for v in (low, high))
    low, high = max(low, rule.domain_mps[0]), min(high, rule.domain_mps[1])
    return (low, high) if low < high else None


def _round_speeds(after: Calibration, rule: Tolerance, driven: tuple[float, float] | None) -> tuple[float, ...]:
    if driven is None:
        raise ToleranceError(
            f"the rule {rule.name} does not hold at any speed that was driven",
            remedy=f"It holds {rule.domain_text()}. Drive there, or choose another rule",
        )
    factor = SPEED_UNIT_MPS[after.unit]
    step = (5 if after.unit == "mph" else 10) * factor
    low, high = driven
    inside = np.arange(np.ceil(low / step - 1e-9), np.floor(high / step + 1e-9) + 1) * step
    return tuple(float(v) for v in inside) or driven


def _check(
    after: Calibration, rule: Tolerance, belief: Belief, speed: float, driven: tuple[float, float] | None
) -> Check:
    true = _true_speed(after, rule, speed)
    low, high = rule.band(speed)
    word, probability = decide(rule.half_planes(speed), belief, rule.confidence)
    u = float(after.u_indicated(true))
    first, last = after.speed_range_mps
    slack = 0.02 * last
    return Check(
        speed_mps=speed,
        indicated=float(after.indicated(true)),
        u=u if rule.given == "true" else u / after.error_factor.value,
        true=true,
        low=low,
        high=high,
        probability=probability,
        verdict=word,
        outside=not first - slack <= true <= last + slack,
    )


def _range_check(rule: Tolerance, belief: Belief, driven: tuple[float, float] | None) -> RangeCheck | None:
    if driven is None or all(limit.from_mps == limit.to_mps for limit in rule.limits):
        return None
    word, probability = decide(rule.range_half_planes(*driven), belief, rule.confidence)
    return RangeCheck(*driven, probability, word)


def _judge_distance(
    after: Calibration, rule: Tolerance, changes: tuple[ChangeCheck, ...], findings: list[Finding]
) -> Verification:
    """Judge the odometer by its own factor, or by the gain of the speed fit when no odometer was read."""
    factor = after.odometer_factor
    if factor is None:
        factor = after.error_factor
        findings.append(
            Finding(
                "odometer_not_read",
                "The odometer was not read: its factor is taken from the speeds, which holds when both are driven by "
                "the same gears. Note the odometer at the start and the end of the drive to be sure.",
            )
        )
    u = factor.half_width / after.coverage_factor
    low, high = rule.band(1.0)
    rows: list[tuple[float, float, float]] = [(1.0, 0.0, -low), (-1.0, 0.0, high)]
    limits: FloatArray = np.array([row for row in rows if np.all(np.isfinite(row))])
    belief = Belief(np.array([factor.value, 0.0]), np.diag([u * u, 0.0]), after.dial.degrees_of_freedom)
    word, probability = decide(limits, belief, rule.confidence)
    check = Check(np.nan, factor.value, u, 1.0, low, high, probability, word, False)
    if word == "not proven":
        findings.append(_longer_finding(factor, low, high))
    return Verification(
        verdict=word,
        probability=probability,
        tolerance=rule,
        unit=after.unit,
        checks=(check,),
        driven_range=None,
        readings_needed=None if word == "not proven" else 0,
        readings_speeds_mps=(),
        changes=changes,
        findings=tuple(findings),
    )


def _longer_finding(factor: Interval, low: float, high: float) -> Finding:
    room = min(abs(factor.value - low), abs(factor.value - high))
    times = np.ceil(1.5 * factor.half_width / room) if room > 0 else np.inf
    how = (
        f"about {times:.0f} times as long"
        if times <= 20
        else "of any length will hardly settle it: it sits on the limit,"
    )
    return Finding("not_proven", f"Not proven: a distance {how} between two odometer readings would settle it.")


def _changes(
    before: Calibration, after: Calibration, vehicle: Vehicle | None, work: Work | Mapping[str, Any] | float
) -> tuple[ChangeCheck, ...]:
    """Compare planned with measured change; work that changes nothing (a note alone) predicts nothing."""
    from speedcal.vehicle import GainChange, gain_change
    from speedcal.vehicle import Vehicle as AnyVehicle
    from speedcal.vehicle import Work as AnyWork

    done: Work | None = None
    if isinstance(work, int | float):
        planned = GainChange(float(work), 0.0)
    else:
        done = AnyWork.from_dict(work) if isinstance(work, Mapping) else work
        if done == AnyWork(note=done.note):
            return ()
        planned = gain_change(vehicle or AnyVehicle(), done)
    speed = compare_speed(before, after, planned, vehicle=vehicle, work=done)
    if before.odometer_factor and after.odometer_factor:
        return speed, compare_odometer(before.odometer_factor, after.odometer_factor, planned)
    return (speed,)


def _rule_findings(rule: Tolerance) -> list[Finding]:
    found = []
    if rule.status == "from memory":
        found.append(Finding("rule_from_memory", f"The limits of {rule.title} are {STATUS_TEXT[rule.status]}."))
    found += [Finding("rule_note", text) for text in (rule.note, rule.speeds_note) if text]
    if rule.own_speeds and rule.status != "own rule":
        found.append(Finding("speeds_chosen", "The speeds were chosen for this job; the rule names its own."))
    return found


def _needed_finding(needed: tuple[int, tuple[float, ...]] | None, after: Calibration) -> Finding:
    if needed is None:
        return Finding(
            "not_proven",
            "Not proven, and more readings will hardly settle it: the instrument sits too close to a limit. A change "
            "of gear or setting that moves it away from the limit will.",
        )
    readings, speeds = needed
    where = " and ".join(f"{speed / SPEED_UNIT_MPS[after.unit]:.0f}" for speed in speeds)
    shared = ", half of them at each," if len(speeds) > 1 else ""
    faster = ", faster than was driven and therefore only where it is legal," if max(speeds) > _top(after) else ""
    return Finding(
        "not_proven",
        f"Not proven: about {readings} more reading{'s' if readings > 1 else ''} at a true {where} {after.unit}"
        f"{shared or faster or ','} each after a fresh approach and pooled with this drive, would settle it in nine "
        "road tests of ten if the instrument is as estimated.",
    )


def _top(after: Calibration) -> float:
    return after.speed_range_mps[1] * (1 + 1e-9)


def _outside_findings(checks: tuple[Check, ...], after: Calibration, rule: Tolerance) -> list[Finding]:
    factor = SPEED_UNIT_MPS[after.unit]
    outside = [f"{check.speed_mps / factor:.4g}" for check in checks if check.outside]
    if not outside:
        return []
    low, high = (v / factor for v in after.speed_range_mps)
    return [
        Finding(
            "outside_driven_range",
            f"{rule.title} is judged at {', '.join(outside)} {after.unit}, outside the driven range of {low:.0f} to "
            f"{high:.0f}: there the line is carried on beyond what was measured.",
        )
    ]
