"""The dial or the odometer of a drive held against a rule, at each speed and over those driven."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from speedcal.conformity.change import ChangeCheck
from speedcal.conformity.decision import decide
from speedcal.conformity.probability import Box
from speedcal.conformity.reference_speed import reference_findings
from speedcal.conformity.settling import driving_to_settle, way_to_settle
from speedcal.conformity.tolerance import ShownLimits, Tolerance
from speedcal.conformity.verification import Check, RangeCheck, Verification
from speedcal.finding import Finding
from speedcal.interval import COVERAGE_FACTOR, multiples, reached
from speedcal.units import SPEED_UNIT_MPS, round_step
from speedcal.vehicle.judged.limits import POINTER_DIFFERS

if TYPE_CHECKING:
    from speedcal.calibration.result import Calibration


def judge_speed(
    after: Calibration, rule: Tolerance, changes: tuple[ChangeCheck, ...], findings: list[Finding]
) -> Verification:
    """Judge the speed shown: at the speeds that the rule names, else over all that were driven where it holds."""
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
    step = round_step(after.unit, driven[1]) * SPEED_UNIT_MPS[after.unit]
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


def judge_distance(
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


def _outside_findings(checks: tuple[Check, ...], after: Calibration, rule: Tolerance) -> list[Finding]:
    outside = [check.speed_mps for check in checks if check.outside]
    if not outside:
        return []
    driven = after.speed_range_mps
    return [Finding("outside_driven_range", **rule.about, speeds_mps=outside, driven_mps=driven, unit=after.unit)]
