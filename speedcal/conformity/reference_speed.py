"""How well a drive knows the true speed, against what a rule demands of it."""

from __future__ import annotations

import numpy as np

from speedcal.calibration.result import Calibration
from speedcal.conformity.tolerance import Tolerance
from speedcal.conformity.verification import Check
from speedcal.finding import Finding

_TRUTH = ("ground_speed", "true_speed", "shared_truth")
"""Budget line of the true speed."""


def true_speed_percent(calibration: Calibration, speed_mps: float) -> float:
    """Return half the 95 % interval of the true speed that a drive stands for, in per cent of it.

    The part of the ground speed in the uncertainty of the dial, as in its budget; all of it when there is no budget,
    which is then an upper bound.
    """
    shares = [line.share for line in calibration.budget if line.component in _TRUTH]
    share = sum(shares) if shares else 1.0
    half = np.sqrt(share) * float(calibration.half_width(speed_mps)) / float(calibration.dial.slope(speed_mps))
    return 100 * float(half) / speed_mps


def reference_findings(checks: tuple[Check, ...], after: Calibration, rule: Tolerance) -> list[Finding]:
    """Say at which speeds the true speed is known less well than the rule demands."""
    if rule.reference is None:
        return []
    known = [(check.speed_mps, true_speed_percent(after, check.true)) for check in checks]
    poor = [{"speed_mps": speed, "percent": percent} for speed, percent in known if percent > rule.reference.percent]
    return [Finding("reference_speed", known=poor, wanted=rule.reference, unit=after.unit)] if poor else []
