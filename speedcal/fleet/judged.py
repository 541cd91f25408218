"""The factors and dials of several drives of one vehicle, taken together and held against a band or a rule."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from speedcal.calibration.tuning.general import TIRE_STATE_U
from speedcal.conformity.judged_dial import driven_part
from speedcal.conformity.probability import Box
from speedcal.finding import Finding
from speedcal.interval import FloatArray, Interval, reached

if TYPE_CHECKING:
    from speedcal.calibration import Calibration
    from speedcal.conformity import Tolerance
    from speedcal.conformity.tolerance import ShownLimits


def together(value: FloatArray, u: FloatArray, shared: FloatArray) -> Interval:
    """Return the weighted mean of factors with its 95 % interval.

    The state of the tires on another day adds to each; drives that disagree widen it by the Birge ratio. What the roads
    between fixes add is in ``u`` and the same in every drive, so that no number of drives makes it smaller.
    """
    own = np.hypot(np.sqrt(np.maximum(u**2 - shared**2, 0.0)), TIRE_STATE_U) * value
    weight = (own**2 + (shared * value) ** 2) ** -1
    weight /= weight.sum()
    mean = float(weight @ value)
    spread = float(np.sum(((value - mean) / own) ** 2)) / max(len(value) - 1, 1)
    variance = max(spread, 1.0) * float(weight**2 @ own**2) + float(weight @ shared * mean) ** 2
    return Interval.around(mean, 1.96 * float(np.sqrt(variance)))


def chance_within(factor: Interval, band: tuple[float, float]) -> float:
    """Return how likely a factor inside a band looks as bad as this."""
    low, high = (np.array([end]) for end in band)
    u = factor.half_width / 1.96
    return Box(low, high, np.array([factor.value]), np.array([[u * u]])).risk_of_false_fail()


def _limits_of(pooled: Calibration, rule: Tolerance) -> ShownLimits | None:
    """Return what a rule allows at its own speeds, or at the ends and the middle of those driven."""
    rule = rule.in_unit(pooled.unit)
    driven = driven_part(pooled, rule)
    speeds = rule.speeds_mps or ((driven[0], sum(driven) / 2, driven[1]) if driven else ())
    return rule.shown_limits(speeds) if speeds else None


def beyond_driven(pooled: Calibration, rule: Tolerance | None) -> list[Finding]:
    """Return at which speeds a rule judges that were not driven."""
    limits = None if rule is None else _limits_of(pooled, rule)
    driven = pooled.speed_range_mps
    beyond = [] if limits is None else [float(v) for v in limits.speeds_mps if not reached(driven, float(v))]
    if not beyond or rule is None:
        return []
    return [Finding("outside_driven_range", **rule.about, speeds_mps=beyond, driven_mps=driven, unit=pooled.unit)]


def chance_of_rule(pooled: Calibration, rule: Tolerance) -> float | None:
    """Return how likely a dial inside a rule looks as bad as this at the speeds judged."""
    limits = _limits_of(pooled, rule)
    if limits is None:
        return None
    day = np.outer(*(2 * [TIRE_STATE_U * pooled.indicated(limits.speeds_mps)]))
    box = limits.box(pooled.dial)
    return Box(box.low, box.high, box.mean, box.covariance + day).risk_of_false_fail()
