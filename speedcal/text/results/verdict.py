"""A verdict in words: what was judged, how sure it is, what the work changed, and what to do next."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from speedcal.interval import Interval
from speedcal.text.codes.conformity_messages import CHANGED
from speedcal.text.words import rules
from speedcal.text.words.numbers import chance, signed, signed_interval
from speedcal.units import SPEED_UNIT_MPS

if TYPE_CHECKING:
    from speedcal.conformity.change import Cause, ChangeCheck
    from speedcal.conformity.verification import Check, Verification

NO_CAUSE = "none of the usual causes fits by its size; look at what was fitted, at the tires and at the needle"
_EXACT = 2e-4
"""A planned change known better than this has no interval worth showing."""


def summary(result: Verification) -> str:
    """Return the verdict in a few lines."""
    return "\n".join([*_lines(result), f"decided so that {rules.decision_in_short(result.tolerance)}"])


def in_full(result: Verification) -> str:
    """Return the verdict with everything it rests on."""
    lines = _lines(result)
    for change in result.changes:
        lines += [f"  {cause_words(cause)}" for cause in change.causes if not cause.fits]
    return "\n".join([*lines, f"decision rule: {rules.decision_rule(result.tolerance)}"])


def _lines(result: Verification) -> list[str]:
    falls = any(found.code == "fell_on_road_test" for found in result.findings)
    of_it = " while its needle stays up" if falls else ""
    lines = [f"{result.verdict.upper()} ({chance(result.probability)} chance that it complies{of_it})"]
    lines += [f"next: {advice}" for advice in result.advice]
    lines += [str(result.tolerance), *(_check(result, check) for check in result.checks)]
    if result.driven_range:
        factor = SPEED_UNIT_MPS[result.unit]
        low, high = result.driven_range.low_mps / factor, result.driven_range.high_mps / factor
        lines.append(
            f"everywhere from {low:.0f} to {high:.0f} {result.unit}, as driven: {result.driven_range.verdict}, "
            f"{chance(result.driven_range.probability)}{beside_the_verdict(result)}"
        )
    for change in result.changes:
        lines.append(change_words(change))
        lines += [f"  {line}" for line in fitting_causes(change)]
    said = {"not_as_predicted", *(code for advice in result.advice for code in advice.codes)}
    return lines + [f"note: {finding.text}" for finding in result.findings if finding.code not in said]


def beside_the_verdict(result: Verification) -> str:
    """Say that what holds everywhere does not count, where a rule is judged at the speeds it names."""
    return " (beside the verdict)" if result.tolerance.speeds_mps else ""


def _check(result: Verification, check: Check) -> str:
    tail = f"{check.verdict}, {chance(check.probability)}"
    if math.isnan(check.speed_mps):
        permitted = band(100 * check.low, 100 * check.high, "")
        return f"over a true 100 it registers {100 * check.indicated:.2f} (permitted {permitted}): {tail}"
    factor = SPEED_UNIT_MPS[result.unit]
    named = f"{check.speed_mps / factor:.4g} {result.unit}"
    permitted = band(check.low / factor, check.high / factor, f" {result.unit}")
    if result.tolerance.given == "true":
        return f"at a true {named} it shows {check.indicated / factor:.1f} (permitted {permitted}): {tail}"
    return f"showing {named} the true speed is {check.true / factor:.1f} (permitted {permitted}): {tail}"


def band(low: float, high: float, unit: str) -> str:
    """Write what is permitted."""
    if not math.isfinite(low):
        return f"at most {high:.1f}{unit}"
    return f"at least {low:.1f}{unit}" if not math.isfinite(high) else f"{low:.1f} to {high:.1f}{unit}"


def planned_words(planned: Interval) -> str:
    """Write a planned change in per cent, with its interval where it has one."""
    change = in_percent(planned)
    return signed_interval(change, " %") if planned.half_width > _EXACT / 2 else f"{signed(change.value)} %"


def in_percent(gain: Interval) -> Interval:
    """Return a change of gain as what it adds, in per cent."""
    return Interval(*(100 * (end - 1) for end in (gain.value, gain.low, gain.high)))


def change_words(change: ChangeCheck) -> str:
    """Say what was planned, what was measured, and whether that agrees."""
    word = "agree" if change.agrees else "DO NOT AGREE"
    return (
        f"{CHANGED[change.quantity]}: planned change {planned_words(change.planned)}, measured "
        f"{signed_interval(in_percent(change.measured_change), ' %')}: they {word}"
    )


def fitting_causes(change: ChangeCheck) -> list[str]:
    """Say what explains a change other than planned, or that nothing does, lest nobody looks.

    Causes are looked for by what the dial showed; the odometer goes along, and says nothing of its own.
    """
    fitting = [cause_words(cause) for cause in change.causes if cause.fits]
    return fitting if fitting or change.agrees or not change.causes else [NO_CAUSE]


def cause_words(cause: Cause) -> str:
    """Say what would explain a change other than planned, and whether by its size it does."""
    return f"{'possible cause' if cause.fits else 'does not fit by its size'}: {cause.what.text.rstrip('.')}"
