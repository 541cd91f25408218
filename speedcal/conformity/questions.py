"""What a road test is to tell, and which design tells it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np

from speedcal.calibration.dial.dial import Dial
from speedcal.conformity.decision import decide, power_margin
from speedcal.conformity.designs import Design, Expected
from speedcal.conformity.tolerance import Tolerance
from speedcal.errors import PlanError
from speedcal.finding import Finding
from speedcal.interval import COVERAGE_FACTOR, FloatArray
from speedcal.units import MPH_MPS
from speedcal.vehicle.judged.limits import FAR_BEYOND

_RIGHT_AT_A_LIMIT_MPS = 0.2 * MPH_MPS
"""So near to a limit neither a log nor a film settles a verdict: on another day tires roll by so much otherwise. Our
own judgment."""


def question(
    rule: Tolerance | None, expected: Expected, marks: FloatArray, teeth: float, *, is_assumed: bool
) -> tuple[Finding, Callable[[Design], bool]]:
    """Return what the road test is to tell, and the test that a design tells it."""
    if rule is None:
        target = Finding("half_a_tooth", teeth=teeth, assumed=is_assumed)
        return target, _narrow_enough(expected.dial.line.error_factor / (2 * teeth))
    target = Finding("clear_verdict", **rule.about, confidence=rule.confidence)
    return target, _verdict_clear(rule, expected, expected.true(marks))


def _narrow_enough(half_width: float) -> Callable[[Design], bool]:
    return lambda design: design.half_width_factor() <= half_width


def _verdict_clear(rule: Tolerance, expected: Expected, true_mps: FloatArray) -> Callable[[Design], bool]:
    """Return the test that a design makes the verdict clear nine times in ten.

    For an instrument of which nothing is known: clear if it reads in the middle half of the tolerance.
    """
    speeds = _judged(rule, true_mps)
    limits = rule.shown_limits(speeds)
    margin, dial = power_margin(rule.confidence), expected.dial
    if not expected.known:
        dial, margin = _middle(rule, speeds), 2 * margin

    def clear(design: Design) -> bool:
        known = design.dial()
        known = replace(known, shown_mps=dial.indicated(known.knots_mps))
        box = limits.box(known).widened(margin * design.coverage() / COVERAGE_FACTOR)
        return decide(box, rule.confidence)[0] != "not proven"

    return clear


def _judged(rule: Tolerance, true_mps: FloatArray) -> tuple[float, ...]:
    """Return the speeds of the rule, or the ends of those driven, where it holds. [m/s]."""
    speeds = rule.speeds_mps or tuple(float(v) for v in (true_mps[0], true_mps[-1]))
    speeds = tuple(v for v in speeds if rule.domain_mps[0] <= v <= rule.domain_mps[1] and rule.limits_at(v))
    if not speeds:
        raise PlanError("rule_holds_at_no_mark", rule=rule.name)
    return speeds


def _middle(rule: Tolerance, speeds: tuple[float, ...]) -> Dial:
    """Return the straight dial that runs in the middle of the limits."""
    bands = np.array([rule.band(v) for v in speeds])
    if not np.isfinite(bands).all():
        raise PlanError("rule_limits_one_side", rule=rule.name)
    middle, given = bands.mean(axis=1), np.array(speeds)
    true, shown = (given, middle) if rule.given == "true" else (middle, given)
    slope, offset = (shown[0] / true[0], 0.0) if len(speeds) == 1 else np.polyfit(true, shown, 1)
    return Dial.straight(float(offset), float(slope), np.zeros((2, 2)), used_mps=true)


def far_beyond(rule: Tolerance | None, true_mps: FloatArray) -> tuple[float, ...]:
    """Return the speeds that a rule names far beyond those that can be driven. [m/s]."""
    return tuple(v for v in (rule.speeds_mps if rule else ()) if v > FAR_BEYOND * float(true_mps.max()))


def within_reach(rule: Tolerance | None, true_mps: FloatArray) -> Tolerance | None:
    """Return the rule at those of its speeds that this road tells of; all of it where that is none of them."""
    beyond = far_beyond(rule, true_mps)
    if rule is None or not beyond or len(beyond) == len(rule.speeds_mps):
        return rule
    return replace(rule, speeds_mps=tuple(v for v in rule.speeds_mps if v not in beyond))


def is_provable(rule: Tolerance | None, expected: Expected, true_mps: FloatArray) -> bool:
    """Tell whether more than one sheet, a film or a log can tell what one sheet cannot."""
    if not expected.known or far_beyond(rule, true_mps):
        return False
    if rule is None:
        return True
    limits = rule.shown_limits(_judged(rule, true_mps))
    shown = expected.dial.indicated(limits.speeds_mps)
    room = np.minimum(shown - limits.low_mps, limits.high_mps - shown)
    return bool(abs(room.min()) > _RIGHT_AT_A_LIMIT_MPS)
