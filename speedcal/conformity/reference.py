"""Whether the true speed itself is known as well as a rule demands."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from speedcal.conformity.tolerance import STATUS_TEXT, Tolerance
from speedcal.conformity.verification import Check
from speedcal.finding import Finding
from speedcal.units import SPEED_UNIT_MPS

if TYPE_CHECKING:
    from speedcal.calibration.result import Calibration

GROUND = "ground_speed"
"""Budget line of the true speed."""


def true_speed_percent(calibration: Calibration, speed_mps: float) -> float:
    """Return half the 95 % interval of the true speed that a drive stands for, in per cent of it.

    The part of the ground speed in the uncertainty of the line, as in its budget; all of it when there is no budget,
    which is then an upper bound.

    Parameters
    ----------
    calibration
        The drive, or several pooled.
    speed_mps
        True speed. [m/s]
    """
    share = next((line.share for line in calibration.budget if line.component == GROUND), None)
    part = 1.0 if share is None else float(np.sqrt(share))
    u = part * float(calibration.u_indicated(speed_mps)) / calibration.error_factor.value
    return 100 * calibration.coverage_factor * u / speed_mps


def reference_findings(calibration: Calibration, rule: Tolerance, checks: tuple[Check, ...]) -> list[Finding]:
    """Say at which speeds the true speed is known less well than the rule demands."""
    if rule.reference is None:
        return []
    factor, most = SPEED_UNIT_MPS[calibration.unit], rule.reference.percent
    short = [
        f"±{known:.1f} % at {check.speed_mps / factor:.4g} {calibration.unit}"
        for check in checks
        for known in [true_speed_percent(calibration, check.true)]
        if known > most
    ]
    if not short:
        return []
    text = (
        f"The true speed is known to {', '.join(short)} (95 %); the rule wants ±{most:g} % ({rule.reference.source}; "
        f"{STATUS_TEXT[rule.reference.status]}). The verdict counts this in, but the drive is no test as the rule "
        "describes it; more steady readings there would narrow it."
    )
    return [Finding("reference_speed", text)]
