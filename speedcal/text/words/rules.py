"""A tolerance rule in words: what it allows, where, who says so, and how a verdict is reached."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from speedcal.text.words.numbers import joined
from speedcal.text.words.sources import status_words
from speedcal.units import SPEED_UNIT_MPS

if TYPE_CHECKING:
    from speedcal.conformity.tolerance import Limit, Tolerance


OF_JOB = "the rule of this job"
"""What a rule is called that a shop wrote and gave no name; the customer reads it as well."""


def title(about: Mapping[str, Any]) -> str:
    """Return the name of a rule, with what must be known of its limits."""
    name = about["title"] or OF_JOB
    return f"{name} (limits not verified)" if about["status"] == "from memory" else str(name)


def summary(rule: Tolerance) -> str:
    """Return the rule in one line: name, limits, source and how well that is known."""
    source = ", ".join(part for part in (rule.source, "" if not rule.title else status_words(rule.status)) if part)
    name = rule.title or OF_JOB.capitalize()
    return f"{name}: {limits(rule)}" + (f" ({source})" if source else "")


def limits(rule: Tolerance) -> str:
    """Say what is allowed."""
    given, other = ("true", "shown") if rule.given == "true" else ("shown", "true")
    if rule.quantity == "distance":
        given, other = "traveled", "registered"
    return "; ".join(_limit(limit, given, other, rule.unit) for limit in rule.limits)


def _limit(limit: Limit, given: str, other: str, unit: str) -> str:
    factor = SPEED_UNIT_MPS[unit]  # type: ignore[index]
    parts = []
    for word, bound in (("at least", limit.low), ("at most", limit.high)):
        if bound is not None:
            percent, add = 100 * (bound.factor - 1), bound.add_mps / factor
            text = f"{word} {given}"
            text += f" {'+' if percent > 0 else '−'} {abs(percent):.4g} %" if abs(percent) > 1e-9 else ""
            text += f" {'+' if add > 0 else '−'} {abs(add):.4g} {unit}" if abs(add) > 1e-9 else ""
            parts.append(text)
    low, high = limit.from_mps / factor, limit.to_mps / factor
    where = ""
    if math.isfinite(high):
        where = f"at {low:g}: " if low == high else f"up to {high:g}: "
    elif low > 0:
        where = f"from {low:g}: "
    return f"{where}{other} {' and '.join(parts)}"


def domain(values: Mapping[str, Any]) -> str:
    """Say where a rule may be used."""
    factor = SPEED_UNIT_MPS[values["unit"]]
    low, high = (v / factor for v in values["domain_mps"])
    if values["quantity"] == "distance":
        return "for distance"
    if values["points_mps"]:
        return f"at {joined(f'{v / factor:g}' for v in values['points_mps'])} {values['unit']} only"
    if math.isfinite(high) and math.isclose(low, high, abs_tol=1e-6):
        return f"at {low:g} {values['unit']} only"
    if math.isfinite(high):
        return f"from {low:g} to {high:g} {values['unit']}"
    return f"above {low:g} {values['unit']}" if low > 0 else "at every speed"


def decision_rule(rule: Tolerance) -> str:
    """Name the decision rule in full (ISO/IEC 17025:2017, 7.8.6)."""
    risk = 100 * (1 - rule.confidence)
    return (
        f"pass: the probability of conformance at all speeds together is at least {100 * rule.confidence:g} %; "
        f"fail: an instrument inside every limit would look this far out in at most {risk:g} % of road tests; "
        f"not proven: neither (guarded acceptance and guarded rejection, specific risk at most {risk:g} %, "
        "JCGM 106:2012)"
    )


def decision_in_short(rule: Tolerance) -> str:
    """Name the decision rule in one line."""
    return f"a wrong pass or a wrong fail happens in at most {100 * (1 - rule.confidence):g} % of road tests"
