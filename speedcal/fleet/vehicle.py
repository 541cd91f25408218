"""One vehicle of a fleet: its measured drives in order of time, and the row that follows from them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import TYPE_CHECKING, Any

import numpy as np

from speedcal.calibration.tuning.general import TIRE_STATE_U
from speedcal.errors import FleetError, SpeedcalError
from speedcal.finding import Finding
from speedcal.fleet.judged import beyond_driven, chance_of_rule, chance_within, together
from speedcal.fleet.kept import Outcome, calibration_of
from speedcal.fleet.rows import DrivePoint, FleetRow, JudgedBy, Limits
from speedcal.fleet.steps import Course, follow, iso_date
from speedcal.fleet.what_to_do import advise, is_about_the_dial
from speedcal.interval import FloatArray, Interval
from speedcal.jobs.contents import JobContents
from speedcal.vehicle.advised.advice import Advice

if TYPE_CHECKING:
    from speedcal.calibration import Calibration

_FASTEST_MEAN_MPS = 25.0
"""No vehicle drives faster day and night for weeks; an odometer that says so was set or belongs to another one."""
_ODOMETER_STEP_M = 1700.0
"""How far an odometer in whole miles that are rounded may seem to fall between two drives."""
_LEAP_M = 20e3
"""How far it may rise with nothing logged in no time, where clocks and the ends of drives are not exact."""


@dataclass(frozen=True, slots=True)
class Measured:
    """A vehicle whose drives were measured: all that its row is made of."""

    vehicle: str
    drives: int
    """How many drives there are, those that cannot be looked for too."""
    outcomes: tuple[tuple[str, Outcome], ...] = ()
    """What became of each drive, by its name."""
    refused: tuple[tuple[str, Mapping[str, Any]], ...] = ()
    """Drives that cannot even be looked for, and why."""
    job: JobContents | None = None


def make_rows(several: Sequence[Measured], limits: Limits, rate: float) -> list[FleetRow]:
    """Return the rows of some vehicles; the task that a worker gets.

    Parameters
    ----------
    rate
        False discovery rate. Where the chance is not above it, the row has the advice for a vehicle that is wrong.
    """
    return [_made(one, limits, rate) for one in several]


def _made(one: Measured, limits: Limits, rate: float) -> FleetRow:
    try:
        row = _row(one, limits)
        row = replace(row, advice=(advice := advise(row, one.job, rate)))
        return replace(row, findings=(*advice.because, *row.findings)) if is_about_the_dial(row) else row
    except SpeedcalError as error:
        return row_of_failure(one, error)
    except Exception as fault:  # one vehicle must not end a fleet
        return row_of_failure(one, fault)


def row_of_failure(one: Measured, fault: BaseException) -> FleetRow:
    """Return the row of a vehicle that cannot be judged, with the reason."""
    if not isinstance(fault, SpeedcalError):
        name, reason = type(fault).__name__, str(fault)[:200]
        fault = FleetError("vehicle_not_judged", source=one.vehicle, fault=name, reason=reason)
    return FleetRow(one.vehicle, one.drives, (("", fault.to_dict()),), advice=Advice("check_files"))


def _row(one: Measured, limits: Limits) -> FleetRow:
    refused = [*one.refused, *((name, outcome["error"]) for name, outcome in one.outcomes if "error" in outcome)]
    good, twice = _once([item for item in one.outcomes if "error" not in item[1]])
    if not good:
        if not refused:
            refused = [("", FleetError("no_drives", source=one.vehicle).to_dict())]
        return FleetRow(one.vehicle, one.drives, tuple(refused))
    return _Vehicle(one, good, limits).row(tuple(refused), twice)


def _once(outcomes: Sequence[tuple[str, Outcome]]) -> tuple[list[tuple[str, Outcome]], int]:
    """Return the drives in order of time, each once, and how many there were more than once."""
    seen: dict[tuple[str, ...], tuple[str, Outcome]] = {}
    for name, outcome in outcomes:
        seen.setdefault(tuple(outcome["digests"]), (name, outcome))
    ordered = sorted(seen.values(), key=lambda item: (item[1]["start_s"] is None, item[1]["start_s"] or 0.0, item[0]))
    return ordered, len(outcomes) - len(seen)


class _Vehicle:
    """The measured drives of a vehicle, in order of time, and what follows from them."""

    def __init__(self, measured: Measured, outcomes: Sequence[tuple[str, Outcome]], limits: Limits) -> None:
        self.measured, self.limits = measured, limits
        trusted = [item for item in outcomes if item[1]["trust"] == "TRUSTED"]
        self.names, self.outcomes = zip(*_comparable(trusted or outcomes), strict=True)
        self.calibrations = [calibration_of(outcome) for outcome in self.outcomes]
        self.weak = len(outcomes) - len(trusted) if trusted else 0
        self.every = [outcome for _, outcome in outcomes]
        with_odometer = [c.odometer_factor is not None for c in self.calibrations]
        self.by_odometer = all(with_odometer)
        self.odometer_only = any(outcome["odometer_only"] for outcome in self.outcomes)
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
        known = [(self.value, self.u)]
        if not self.odometer_only:
            known.append(self._readings())
        value, u = min(known, key=lambda one: float(np.median(one[1])))
        return follow(start, end, value, np.hypot(u, TIRE_STATE_U))

    def row(self, refused: tuple[tuple[str, Mapping[str, Any]], ...], twice: int) -> FleetRow:
        """Return the row."""
        from speedcal.conformity import pool

        now = self.course.last(len(self.outcomes))
        pooled = pool([self.calibrations[i] for i in now])
        of_each = np.array([self.outcomes[i]["u_way"] for i in now])
        none = np.zeros(len(now))
        factor = together(self.value[list(now)], self.u[list(now)], of_each if self.by_odometer else none)
        odometer = factor if self.by_odometer else self._odometer(now)
        judged, error, p_value = self._judged(pooled, factor)
        findings = self._findings(pooled, len(refused), twice)
        return FleetRow(
            vehicle=self.measured.vehicle,
            drives=self.measured.drives,
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
        return together(value, np.array([factor.half_width / 1.96 for factor in known]) / value, shared)

    def _judged(self, pooled: Calibration, factor: Interval) -> tuple[JudgedBy, Interval | None, float | None]:
        """Return what it is judged by, how far that is off, and the chance of that in a vehicle that is right."""
        rule = None if self.odometer_only else self.limits.speed_rule
        chances = []
        judged: JudgedBy = ""
        if self.by_odometer or (rule is None and all(outcome["logged"] for outcome in self.outcomes)):
            judged = "odometer" if self.by_odometer else "speed"
            chances.append(chance_within(factor, self.limits.band))
        if rule is not None:
            chance = chance_of_rule(pooled, rule)
            judged = judged or "rule"
            chances += [] if chance is None else [chance]
        error = Interval(*(100 * (x - 1) for x in (factor.value, factor.low, factor.high)))
        return judged, error, min(1.0, len(chances) * min(chances)) if chances else None

    def _distance_m(self) -> float:
        """Return the true distance: what the odometer counted from first to last where it says so, else of the logs."""
        logged = sum(outcome["distance_m"] for outcome in self.every)
        shown = [outcome["odometer_m"] for outcome in self.every]
        dated = all(outcome["start_s"] is not None for outcome in self.every)
        if not self.by_odometer or None in shown or len(shown) < 2 or not dated or self._leaps():
            return float(logged)
        return max(float(logged), float((shown[-1][1] - shown[0][0]) / np.mean(self.value)))

    def _leaps(self) -> list[tuple[float, float]]:
        """Return between which times the odometer did not go on: it fell, or rose by more than can be driven."""
        known = [o for o in self.every if o["odometer_m"] is not None and o["start_s"] is not None]
        return [
            (earlier["end_s"], later["start_s"])
            for earlier, later in pairwise(known)
            if not -_ODOMETER_STEP_M
            <= later["odometer_m"][0] - earlier["odometer_m"][1]
            <= _FASTEST_MEAN_MPS * max(later["start_s"] - earlier["end_s"], 0.0) + _LEAP_M
        ]

    def _points(self, now: Sequence[int]) -> tuple[DrivePoint, ...]:
        rows = zip(self.names, self.outcomes, self.value, self.u, strict=True)
        return tuple(
            DrivePoint(
                name, outcome["start_s"], Interval.around(100 * (float(value) - 1), 196.0 * float(value * u)), i in now
            )
            for i, (name, outcome, value, u) in enumerate(rows)
        )

    def _findings(self, pooled: Calibration, refused: int, twice: int) -> tuple[Finding, ...]:
        """Return what the reader should know, the weightiest first."""
        rule = None if self.odometer_only else self.limits.speed_rule
        found = [*pooled.trust.reasons, *beyond_driven(pooled, rule)]
        for step in self.course.steps:
            found.append(Finding("vehicle_changed", percent=step.percent.value, **step.days))
        if self.course.odd:
            found.append(Finding("drives_stand_apart", names=[self.names[i] for i in self.course.odd]))
        found += _stands_still(self.every)
        if leaps := self._leaps():
            earliest, latest = map(iso_date, leaps[-1])
            found.append(Finding("odometer_leaps", earliest=earliest, latest=latest))
        meant = next((outcome["odometer_unit"] for outcome in self.every if outcome["odometer_unit"]), "")
        if meant:
            found.append(Finding("odometer_unit_by_speed", length_unit=meant))
        if self.odometer_only:
            found.append(Finding("odometer_only"))
        if refused:
            found.append(Finding("drives_refused", count=refused))
        if self.weak:
            found.append(Finding("weak_drives_left_out", count=self.weak))
        if twice:
            found.append(Finding("drives_given_twice", count=twice))
        creep = self.course.creep_percent_a_year
        if creep is not None:
            found.append(Finding("vehicle_creeps", percent=creep.value))
        return tuple(found)


def _stands_still(outcomes: Sequence[Outcome]) -> list[Finding]:
    """Return that a logged odometer did not move on the last drive, which was longer than any step of one."""
    last = outcomes[-1]
    shown = last["odometer_m"]
    if not last["logged"] or shown is None or shown[0] != shown[1] or last["distance_m"] < 2 * _ODOMETER_STEP_M:
        return []
    return [Finding("odometer_stands_still", distance_m=last["distance_m"], unit=last["unit"])]


def _comparable(outcomes: Sequence[tuple[str, Outcome]]) -> Sequence[tuple[str, Outcome]]:
    """Leave out drives that tell of the odometer only, where others do not tell of it."""
    if all(outcome["odometer"] is not None for _, outcome in outcomes):
        return outcomes
    return [item for item in outcomes if not item[1]["odometer_only"]]
