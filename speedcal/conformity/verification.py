"""What a verdict is made of, for people and for programs."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from speedcal.conformity.change import ChangeCheck
from speedcal.conformity.decision import Word
from speedcal.conformity.tolerance import Tolerance
from speedcal.finding import Finding
from speedcal.interval import tidy
from speedcal.units import SPEED_UNIT_MPS, DisplayUnit
from speedcal.vehicle.advised.advice import Advice
from speedcal.wording import Spoken


@dataclass(frozen=True, slots=True)
class Check:
    """The rule at one speed. For distance, ``speed_mps`` is NaN and the numbers are factors registered/travelled."""

    speed_mps: float
    """Speed the rule names: true, or indicated when the rule's limits are on the true speed."""
    indicated: float
    """What the instrument shows. [m/s, or 1]"""
    u: float
    """Standard uncertainty of what the limits are on. [m/s, or 1]"""
    true: float
    """True speed that belongs to it. [m/s, or 1]"""
    low: float
    high: float
    """Limits, infinite where there is none. [m/s, or 1]"""
    probability: float
    verdict: Word
    outside: bool
    """Whether the speed lies outside the driven range."""

    def to_dict(self, unit: DisplayUnit, limits_on: str) -> dict[str, Any]:
        """Return the check in the unit for people, ready for JSON."""
        factor = 1.0 if np.isnan(self.speed_mps) else SPEED_UNIT_MPS[unit]

        def written(value: float) -> float | None:
            return tidy(value / factor, 4) if np.isfinite(value) else None

        return {
            "speed": written(self.speed_mps),
            "indicated": written(self.indicated),
            "true": written(self.true),
            "limit_low": written(self.low),
            "limit_high": written(self.high),
            "limits_on": limits_on,
            "u": written(self.u),
            "probability": tidy(self.probability, 4),
            "verdict": self.verdict,
            "outside_driven_range": self.outside,
        }


@dataclass(frozen=True, slots=True)
class RangeCheck:
    """The rule everywhere between two speeds of the driven range."""

    low_mps: float
    high_mps: float
    probability: float
    verdict: Word

    def to_dict(self, unit: DisplayUnit) -> dict[str, Any]:
        """Return the check in the unit for people, ready for JSON."""
        factor = SPEED_UNIT_MPS[unit]
        return {
            "low": tidy(self.low_mps / factor, 4),
            "high": tidy(self.high_mps / factor, 4),
            "probability": tidy(self.probability, 4),
            "verdict": self.verdict,
        }


@dataclass(frozen=True)
class Verification(Spoken):
    """What the drive after the work says about a tolerance, and about the work.

    Examples
    --------
    >>> import speedcal
    >>> track = speedcal.read_track("data_demo/before.gpx")
    >>> before = speedcal.calibrate(track, speedcal.read_readings("data_demo/before_notes.csv"))
    >>> result = speedcal.verify(None, before, "un_r39_type", speeds=[45, 60])  # the drive before the work
    >>> result.verdict, result.probability < 0.01
    ('fail', True)
    """

    verdict: Word
    probability: float
    """Probability of conformance at every speed judged, taken together."""
    tolerance: Tolerance
    unit: DisplayUnit
    checks: tuple[Check, ...]
    driven_range: RangeCheck | None
    """None where the rule holds at single speeds only, or for distance."""
    readings_needed: int | None
    """Further readings that would settle it: 0 when settled, None when no reasonable number would."""
    readings_speeds_mps: tuple[float, ...]
    """True speeds to take them at, shared evenly. [m/s]"""
    changes: tuple[ChangeCheck, ...] = ()
    findings: tuple[Finding, ...] = ()
    advice: tuple[Advice, ...] = ()
    """What to do next, first on top; empty for a pass."""

    @property
    def predicted_agrees(self) -> bool | None:
        """Whether the measured change is the planned one; None when nothing was predicted."""
        return all(change.agrees for change in self.changes) if self.changes else None

    def to_dict(self) -> dict[str, Any]:
        """Return the result in the form other programs rely on, ready for JSON."""
        factor = SPEED_UNIT_MPS[self.unit]
        limits_on = "indicated" if self.tolerance.given == "true" else "true"
        return {
            "verdict": self.verdict,
            "probability": tidy(self.probability, 4),
            "rule": self.tolerance.name,
            "rule_detail": self.tolerance.to_dict(),
            "speed_unit": self.unit,
            "checks": [check.to_dict(self.unit, limits_on) for check in self.checks],
            "driven_range": self.driven_range.to_dict(self.unit) if self.driven_range else None,
            "predicted_agrees": self.predicted_agrees,
            "changes": [change.to_dict() for change in self.changes],
            "readings_needed": self.readings_needed,
            "readings_speeds": [tidy(v / factor, 4) for v in self.readings_speeds_mps],
            "advice": [advice.to_dict() for advice in self.advice],
            "findings": [finding.to_dict() for finding in self.findings],
        }
