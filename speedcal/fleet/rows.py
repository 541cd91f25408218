"""One vehicle of a fleet: its drives pooled as it is now, what happened to it, and how far it is off."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime
from itertools import pairwise
from typing import TYPE_CHECKING, Any, Literal

import numpy as np

from speedcal.calibration.tuning import TIRE_STATE_U
from speedcal.conformity.probability import Box
from speedcal.errors import FleetError
from speedcal.finding import Finding
from speedcal.fleet.drive import Outcome, calibration_of
from speedcal.fleet.sources import Found
from speedcal.fleet.steps import Course, Step, follow
from speedcal.interval import FloatArray, Interval, tidy
from speedcal.vehicle.advice import Advice

if TYPE_CHECKING:
    from speedcal.calibration import Calibration
    from speedcal.conformity import Tolerance

_FASTEST_MEAN_MPS = 25.0
"""No vehicle drives faster day and night for weeks; an odometer that says so was set or belongs to another one."""
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
            "date": _date(self.time_s),
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
    def reason(self) -> Mapping[str, Any] | None:
        """Why there is no number: the commonest refusal of its drives."""
        if self.calibration is not None or not self.refused:
            return None
        code, _ = Counter(error["error"] for _, error in self.refused).most_common(1)[0]
        return next(error for _, error in self.refused if error["error"] == code)

    @property
    def trust(self) -> str:
        """Word of trust; empty where there is no number."""
        return self.calibration.trust.word if self.calibration else ""

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
        calibration, reason = self.calibration, self.reason
        trend = self.course.trend_percent_a_year
        return {
            "vehicle": self.vehicle,
            "drives": self.drives,
            "refused": [{"drive": name, **error} for name, error in self.refused],
            "trust": self.trust or None,
            "error_factor": calibration.error_factor.to_dict() if calibration else None,
            "odometer_factor": self.odometer_factor.to_dict() if self.odometer_factor else None,
            "error_percent": self.error_percent.to_dict(digits=3) if self.error_percent else None,
            "judged_by": self.judged_by or None,
            "p_value": None if self.p_value is None else float(f"{self.p_value:.3g}"),
            "wrong": self.wrong,
            "new": self.is_new,
            "distance_m": tidy(self.distance_m, 0),
            "cost_m": tidy(self.cost_m, 0),
            "changes": [
                {
                    "from": _date(step.earliest_s),
                    "to": _date(step.latest_s),
                    "percent": step.percent.to_dict(digits=3),
                }
                for step in self.changed
            ],
            "trend_percent_a_year": trend.to_dict(digits=3) if trend else None,
            "findings": [finding.to_dict() for finding in self.findings],
            "advice": self.advice.to_dict() if self.advice else None,
            "reason": dict(reason) if reason else None,
            "points": [point.to_dict() for point in self.points],
        }


def _date(time_s: float | None) -> str | None:
    return None if time_s is None else datetime.fromtimestamp(time_s, UTC).date().isoformat()


def make_row(found: Found, outcomes: Sequence[tuple[str, Outcome]], limits: Limits) -> FleetRow:
    """Return the row of a vehicle from the outcomes of its drives, by their names."""
    refused = [(name, error.to_dict()) for name, error in found.refused]
    refused += [(name, outcome["error"]) for name, outcome in outcomes if "error" in outcome]
    count = len(found.drives) + len(found.refused)
    good, twice = _once([item for item in outcomes if "error" not in item[1]])
    if not good:
        if not refused:
            refused = [("", FleetError("no_drives", source=found.vehicle).to_dict())]
        return FleetRow(found.vehicle, count, tuple(refused), advice=Advice("check_files"))
    return _Vehicle(found, good, limits).row(count, tuple(refused), twice)


def _once(outcomes: Sequence[tuple[str, Outcome]]) -> tuple[list[tuple[str, Outcome]], int]:
    """Return the drives in order of time, each once, and how many there were more than once."""
    seen: dict[tuple[str, ...], tuple[str, Outcome]] = {}
    for name, outcome in outcomes:
        seen.setdefault(tuple(outcome["digests"]), (name, outcome))
    ordered = sorted(seen.values(), key=lambda item: (item[1]["start_s"] is None, item[1]["start_s"] or 0.0, item[0]))
    return ordered, len(outcomes) - len(seen)


class _Vehicle:
    """The measured drives of a vehicle, in order of time, and what follows from them."""

    def __init__(self, found: Found, outcomes: Sequence[tuple[str, Outcome]], limits: Limits) -> None:
        self.found, self.limits = found, limits
        trusted = [item for item in outcomes if item[1]["trust"] == "TRUSTED"]
        self.names, self.outcomes = zip(*(trusted or outcomes), strict=True)
        self.calibrations = [calibration_of(outcome) for outcome in self.outcomes]
        self.weak = len(outcomes) - len(trusted) if trusted else 0
        self.every = [outcome for _, outcome in outcomes]
        with_odometer = [c.odometer_factor is not None for c in self.calibrations]
        self.by_odometer = all(with_odometer)
        self.value, self.u = self._compared()
        self.course = self._followed()

    def _compared(self) -> tuple[FloatArray, FloatArray]:
        """Return what the drives are compared by, and its relative uncertainty within a drive."""
        if self.by_odometer:
            known = [c.odometer_factor for c in self.calibrations if c.odometer_factor]
            value = np.array([factor.value for factor in known])
            return value, np.array([factor.half_width / 1.96 for factor in known]) / value
        return self._readings()

    def _readings(self) -> tuple[FloatArray, FloatArray]:
        """Return the readings at the middle of what all drives have in common, over the truth, in the same way."""
        low = max(c.speed_range_mps[0] for c in self.calibrations)
        high = min(c.speed_range_mps[1] for c in self.calibrations)
        at = (low + high) / 2
        value = np.array([float(c.indicated(at)) / at for c in self.calibrations])
        half = np.array([float(c.half_width(at)) / at for c in self.calibrations])
        return value, half / 1.96 / value

    def _followed(self) -> Course:
        """Return what happened, told by odometer or readings, whichever know more: tires and gears move both."""
        start = np.array([np.nan if o["start_s"] is None else o["start_s"] for o in self.outcomes])
        end = np.array([np.nan if o["end_s"] is None else o["end_s"] for o in self.outcomes])
        if np.isnan(start).any():
            return Course()
        value, u = min((self.value, self.u), self._readings(), key=lambda known: float(np.median(known[1])))
        return follow(start, end, value, np.hypot(u, TIRE_STATE_U))

    def row(self, count: int, refused: tuple[tuple[str, Mapping[str, Any]], ...], twice: int) -> FleetRow:
        """Return the row."""
        from speedcal.conformity import pool

        now = self.course.last(len(self.outcomes))
        pooled = pool([self.calibrations[i] for i in now])
        of_each = np.array([self.outcomes[i]["u_way"] for i in now])
        none = np.zeros(len(now))
        factor = _together(self.value[list(now)], self.u[list(now)], of_each if self.by_odometer else none)
        odometer = factor if self.by_odometer else self._odometer(now)
        judged, error, p_value = self._judged(pooled, factor)
        findings = self._findings(pooled, len(refused), twice)
        return FleetRow(
            vehicle=self.found.vehicle,
            drives=count,
            refused=refused,
            calibration=pooled,
            odometer_factor=odometer,
            error_percent=error,
            judged_by=judged,
            p_value=p_value if pooled.trust.word == "TRUSTED" or "pooled_disagree" in pooled.trust.codes else None,
            distance_m=self._distance_m(),
            course=self.course,
            points=self._points(now),
            findings=findings,
        )

    def _odometer(self, now: Sequence[int]) -> Interval | None:
        known = [f for f in (self.calibrations[i].odometer_factor for i in now) if f]
        if not known:
            return None
        value = np.array([factor.value for factor in known])
        shared = np.array([self.outcomes[i]["u_way"] for i in now if self.calibrations[i].odometer_factor])
        return _together(value, np.array([factor.half_width / 1.96 for factor in known]) / value, shared)

    def _judged(self, pooled: Calibration, factor: Interval) -> tuple[JudgedBy, Interval | None, float | None]:
        """Return what it is judged by, how far that is off, and the chance of that in a vehicle that is right."""
        rule = self.limits.speed_rule
        chances = []
        judged: JudgedBy = ""
        if self.by_odometer or (rule is None and all(outcome["logged"] for outcome in self.outcomes)):
            judged = "odometer" if self.by_odometer else "speed"
            chances.append(_chance(factor, self.limits.band))
        if rule is not None:
            chance = _chance_of_rule(pooled, rule)
            judged = judged or "rule"
            chances += [] if chance is None else [chance]
        error = Interval(*(100 * (x - 1) for x in (factor.value, factor.low, factor.high)))
        return judged, error, min(1.0, len(chances) * min(chances)) if chances else None

    def _distance_m(self) -> float:
        """Return the true distance: what the odometer counted from first to last where it says so, else of the logs."""
        logged = sum(outcome["distance_m"] for outcome in self.every)
        shown = [outcome["odometer_m"] for outcome in self.every]
        if not self.by_odometer or None in shown or len(shown) < 2:
            return float(logged)
        between = [later[0] - earlier[1] for earlier, later in pairwise(shown)]
        counted = float((shown[-1][1] - shown[0][0]) / np.mean(self.value))
        begin, end = self.every[0]["start_s"], self.every[-1]["end_s"]
        if min(between) < 0 or begin is None or end is None or counted > _FASTEST_MEAN_MPS * (end - begin):
            return float(logged)
        return max(float(logged), counted)

    def _points(self, now: Sequence[int]) -> tuple[DrivePoint, ...]:
        rows = zip(self.names, self.outcomes, self.value, self.u, strict=True)
        return tuple(
            DrivePoint(
                name,
                outcome["start_s"],
                Interval.around(100 * (float(value) - 1), 196.0 * float(value * u)),
                i in now,
            )
            for i, (name, outcome, value, u) in enumerate(rows)
        )

    def _findings(self, pooled: Calibration, refused: int, twice: int) -> tuple[Finding, ...]:
        """Return what the reader should know, the weightiest first."""
        found = list(pooled.trust.reasons)
        for step in self.course.steps:
            days = {"earliest": _date(step.earliest_s), "latest": _date(step.latest_s)}
            found.append(Finding("vehicle_changed", percent=step.percent.value, **days))
        if self.course.odd:
            found.append(Finding("drives_stand_apart", names=[self.names[i] for i in self.course.odd]))
        if refused:
            found.append(Finding("drives_refused", count=refused))
        if self.weak:
            found.append(Finding("weak_drives_left_out", count=self.weak))
        if twice:
            found.append(Finding("drives_given_twice", count=twice))
        trend = self.course.trend_percent_a_year
        if trend is not None and (trend.low > 0 or trend.high < 0):
            found.append(Finding("vehicle_creeps", percent=trend.value))
        return tuple(found)


def _together(value: FloatArray, u: FloatArray, shared: FloatArray) -> Interval:
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


def _chance(factor: Interval, band: tuple[float, float]) -> float:
    low, high = (np.array([end]) for end in band)
    u = factor.half_width / 1.96
    return Box(low, high, np.array([factor.value]), np.array([[u * u]])).risk_of_false_fail()


def _chance_of_rule(pooled: Calibration, rule: Tolerance) -> float | None:
    """Return how likely a dial inside a rule looks as bad as this at the ends and the middle of its driven speeds."""
    rule = rule.in_unit(pooled.unit)
    low, high = pooled.speed_range_mps
    low, high = max(low, rule.domain_mps[0]), min(high, rule.domain_mps[1])
    speeds = rule.speeds_mps or ((low, (low + high) / 2, high) if low < high else ())
    if not speeds:
        return None
    limits = rule.shown_limits(tuple(speeds))
    day = np.outer(*(2 * [TIRE_STATE_U * pooled.indicated(limits.speeds_mps)]))
    box = limits.box(pooled.dial)
    return Box(box.low, box.high, box.mean, box.covariance + day, box.dof).risk_of_false_fail()
