"""A row of a fleet: one vehicle as it is now, what happened to it, and how far it is off."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, Literal

from speedcal.finding import Finding
from speedcal.fleet.steps import Course, Step, iso_date
from speedcal.interval import Interval, tidy
from speedcal.vehicle.advised.advice import Advice

if TYPE_CHECKING:
    from speedcal.calibration import Calibration
    from speedcal.conformity import Tolerance

JudgedBy = Literal["odometer", "speed", "rule", ""]
"""What a vehicle is judged by: its odometer; the logged speed, where there is no odometer; a rule for the speed; or
nothing, since a dial reads high by design and no rule is named."""


@dataclass(frozen=True, slots=True)
class Limits:
    """What counts as wrong."""

    percent: float
    """What the distance counted, or a logged speed, may be off either way. [%]"""
    tolerance: Tolerance | None = None
    """Rule for the speed shown, or for the distance in place of ``percent``."""

    @property
    def band(self) -> tuple[float, float]:
        """Lowest and highest factor of the distance."""
        if self.tolerance is not None and self.tolerance.quantity == "distance":
            return self.tolerance.band(1.0)
        return 1 - self.percent / 100, 1 + self.percent / 100

    @property
    def speed_rule(self) -> Tolerance | None:
        """The rule for the speed, where one is named."""
        return self.tolerance if self.tolerance is not None and self.tolerance.quantity == "speed" else None


@dataclass(frozen=True, slots=True)
class DrivePoint:
    """One drive in the picture of its vehicle."""

    name: str
    time_s: float | None
    error_percent: Interval
    """Of the reading at the speed at which the drives are compared, or of the odometer, as the vehicle is judged."""
    counts: bool
    """Whether it is among those that show the vehicle as it is now."""

    def to_dict(self) -> dict[str, Any]:
        """Return the point, ready for JSON."""
        return {
            "drive": self.name,
            "date": None if self.time_s is None else iso_date(self.time_s),
            "error_percent": self.error_percent.to_dict(digits=3),
            "now": self.counts,
        }


@dataclass(frozen=True)
class FleetRow:
    """One vehicle."""

    vehicle: str
    drives: int
    """How many drives there are."""
    refused: tuple[tuple[str, Mapping[str, Any]], ...] = ()
    """Drives without a number, and why: the parts of the refusal."""
    calibration: Calibration | None = None
    """All drives of its present state, pooled; without readings and track."""
    odometer_factor: Interval | None = None
    error_percent: Interval | None = None
    """What it is judged by, off the truth. [%]"""
    judged_by: JudgedBy = ""
    p_value: float | None = None
    """Chance of a result as bad as this from a vehicle that is inside the limits."""
    distance_m: float = 0.0
    """True distance: between the first and the last odometer reading, or within the drives."""
    course: Course = field(default_factory=Course)
    points: tuple[DrivePoint, ...] = ()
    findings: tuple[Finding, ...] = ()
    """What lessens trust or was seen over the drives, the weightiest first; what concerns single drives is left out."""
    advice: Advice | None = None
    wrong: bool = False
    is_new: bool = False
    """Whether it is wrong and was not in the run before."""

    @property
    def has_number(self) -> bool:
        """Tell whether any of its drives gave one."""
        return self.calibration is not None

    @property
    def is_judged(self) -> bool:
        """Tell whether its number tells if it is wrong; without a number none does."""
        return self.p_value is not None

    @property
    def reason(self) -> Mapping[str, Any] | None:
        """Why there is no number: the commonest refusal of its drives."""
        return None if self.has_number else self.refusal

    @property
    def refusal(self) -> Mapping[str, Any] | None:
        """The commonest refusal of its drives."""
        if not self.refused:
            return None
        code, _ = Counter(error["error"] for _, error in self.refused).most_common(1)[0]
        return next(error for _, error in self.refused if error["error"] == code)

    @property
    def trust(self) -> str:
        """Word of trust; empty where there is no number."""
        return self.calibration.trust.word if self.calibration else ""

    @property
    def error_factor(self) -> Interval | None:
        """Error factor of the dial; none where its drives tell of the odometer only."""
        if self.calibration is None or any(finding.code == "odometer_only" for finding in self.findings):
            return None
        return self.calibration.error_factor

    @property
    def cost_m(self) -> float:
        """Distance counted wrongly: error times distance. [m]."""
        return abs(self.error_percent.value) / 100 * self.distance_m if self.error_percent else 0.0

    @property
    def changed(self) -> tuple[Step, ...]:
        """What changed within the drives."""
        return self.course.steps

    def to_dict(self) -> dict[str, Any]:
        """Return the row, ready for JSON."""
        reason = self.reason
        trend = self.course.trend_percent_a_year
        return {
            "vehicle": self.vehicle,
            "drives": self.drives,
            "refused": [{"drive": name, **error} for name, error in self.refused],
            "trust": self.trust or None,
            "error_factor": self.error_factor.to_dict() if self.error_factor else None,
            "odometer_factor": self.odometer_factor.to_dict() if self.odometer_factor else None,
            "error_percent": self.error_percent.to_dict(digits=3) if self.error_percent else None,
            "judged_by": self.judged_by or None,
            "p_value": None if self.p_value is None else float(f"{self.p_value:.3g}"),
            "wrong": self.wrong,
            "new": self.is_new,
            "distance_m": tidy(self.distance_m, 0),
            "cost_m": tidy(self.cost_m, 0),
            "changes": [
                {"from": step.days["earliest"], "to": step.days["latest"], "percent": step.percent.to_dict(digits=3)}
                for step in self.changed
            ],
            "trend_percent_a_year": trend.to_dict(digits=3) if trend else None,
            "findings": [finding.to_dict() for finding in self.findings],
            "advice": self.advice.to_dict() if self.advice else None,
            "reason": dict(reason) if reason else None,
            "points": [point.to_dict() for point in self.points],
        }
