"""A vehicle over months: whether the error creeps with the tires, or jumped when something was changed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

import numpy as np

from speedcal.calibration.result import Calibration
from speedcal.calibration.tuning.general import TIRE_STATE_U
from speedcal.conformity.mixups import is_same_drive
from speedcal.errors import FitError
from speedcal.finding import Finding
from speedcal.interval import COVERAGE_FACTOR, FloatArray, Interval, reached, tidy
from speedcal.units import SPEED_UNIT_MPS, DisplayUnit
from speedcal.wording import Spoken

_YEAR_S = 365.25 * 86400
WEAR_PERCENT = 2.5
"""Most that wear of one set of tires adds to the reading, in per cent: 8 mm of tread off a small tire is 2.5 % of its
diameter (arithmetic: 16 mm of 632 mm)."""
_DAY_S = 86400.0
"""A track that starts earlier has a time of day and no date."""
JUMP_PERCENT = 1.0
"""A step from one drive to the next that is surely larger than this is no wear; about a third of a tooth."""
_Dated = tuple[Calibration, str]
"""A drive, and its day where the track does not tell it."""


@dataclass(frozen=True, slots=True)
class HistoryRow:
    """One drive of the history."""

    time_s: float
    """When it was made, seconds since 1970. [s]"""
    error_percent: Interval
    """Error at the reference speed, in per cent of the true speed."""
    error_factor: Interval
    odometer_factor: Interval | None
    zone_s: float = 0.0
    """Time zone in which it has its day, ahead of UTC. [s]"""

    @property
    def date(self) -> str:
        """The day."""
        return datetime.fromtimestamp(self.time_s + self.zone_s, UTC).date().isoformat()


@dataclass(frozen=True)
class History(Spoken):
    """The drives of a vehicle in order of time, and what happened between them."""

    unit: DisplayUnit
    reference_mps: float
    """Speed at which the drives are compared: inside the driven range of all where possible. [m/s]"""
    rows: tuple[HistoryRow, ...]
    trend_percent_a_year: Interval | None
    """Change of the error at the reference speed; None with fewer than three drives or less than a month."""
    findings: tuple[Finding, ...]

    def to_dict(self) -> dict[str, Any]:
        """Return the history, ready for JSON."""
        trend = self.trend_percent_a_year
        return {
            "speed_unit": self.unit,
            "reference_speed": tidy(self.reference_mps / SPEED_UNIT_MPS[self.unit], 3),
            "drives": [
                {
                    "date": row.date,
                    "error_percent": row.error_percent.to_dict(digits=3),
                    "error_factor": row.error_factor.to_dict(),
                    "odometer_factor": row.odometer_factor.to_dict() if row.odometer_factor else None,
                }
                for row in self.rows
            ],
            "trend_percent_a_year": trend.to_dict(digits=3) if trend else None,
            "findings": [finding.to_dict() for finding in self.findings],
        }


def history(
    calibrations: Sequence[Calibration], *, days: Sequence[str] = (), reference_mps: float | None = None
) -> History:
    """Lay the drives of one vehicle in order of time and say whether they creep or jump.

    A worn tire is smaller, turns more often and makes the instrument read higher; slowly, and by no more than
    :data:`WEAR_PERCENT` in its life. Anything else between two drives was done by somebody. A drive that is given
    twice, under whatever name, counts once.

    Parameters
    ----------
    calibrations
        Drives in any order.
    days
        Day of each, ISO 8601, where its track carries no date and for checks; empty where the track tells it.
    reference_mps
        Speed to compare at; None takes the middle of what all drives have in common.

    Raises
    ------
    FitError
        No drive, or a drive without a day.
    ValueError
        ``reference_mps`` is not above zero.
    """
    if reference_mps is not None and not 0 < reference_mps < np.inf:
        raise ValueError(f"reference_mps must be above zero, not {reference_mps}")
    dated = list(zip(calibrations, days or [""] * len(calibrations), strict=True))
    if not dated or any(not day and not len(c.ground) for c, day in dated):
        raise FitError("no_drives_for_history")
    each = _once(sorted(dated, key=_start_s))
    ordered = [c for c, _ in each]
    reference = reference_mps if reference_mps is not None else _common_speed(ordered)
    rows = tuple(_row(one, reference) for one in each)
    time = np.array([row.time_s for row in rows]) / _YEAR_S
    value = np.array([row.error_percent.value for row in rows])
    u = np.array([c.u_indicated(reference) / reference * 100 for c in ordered])
    u = np.hypot(u, 100 * TIRE_STATE_U)
    findings = _jumps(rows, value, u)
    twice = len(calibrations) - len(ordered)
    trend = None if findings else _trend(time, value, u)
    if twice:
        findings.append(Finding("drives_given_twice", count=twice))
    if not all(reached(c.speed_range_mps, reference) for c in ordered):
        findings.append(Finding("compared_beyond_driven", speed_mps=reference, unit=ordered[0].unit))
    if trend is not None and trend.low > 0 and value[-1] - value[0] <= WEAR_PERCENT:
        findings.append(Finding("wear"))
    elif trend is not None and trend.high < 0:
        findings.append(Finding("creeps_down"))
    return History(ordered[0].unit, reference, rows, trend, tuple(findings))


def _once(ordered: Sequence[_Dated]) -> list[_Dated]:
    """Return the drives, in order of time, each once."""
    found: list[_Dated] = []
    for one, day in ordered:
        dated = not day and _start_s((one, day)) >= _DAY_S
        if not any(is_same_drive(other, one, dated=dated) for other, _ in found):
            found.append((one, day))
    return found


def _start_s(drive: _Dated) -> float:
    """Return when a drive began, or the noon of its day."""
    calibration, day = drive
    if day:
        return datetime.fromisoformat(day).replace(tzinfo=UTC).timestamp() + _DAY_S / 2
    return float(calibration.ground["time_s"].iloc[0])


def _common_speed(calibrations: Sequence[Calibration]) -> float:
    low = max(c.speed_range_mps[0] for c in calibrations)
    high = min(c.speed_range_mps[1] for c in calibrations)
    return (low + high) / 2


def _row(drive: _Dated, reference_mps: float) -> HistoryRow:
    calibration, day = drive
    error = 100 * (float(calibration.indicated(reference_mps)) / reference_mps - 1)
    half = 100 * float(calibration.half_width(reference_mps)) / reference_mps
    interval = Interval.around(error, half)
    told = interval, calibration.error_factor, calibration.odometer_factor
    return HistoryRow(_start_s(drive), *told, zone_s=0.0 if day else calibration.zone_s or 0.0)


def _jumps(rows: Sequence[HistoryRow], value: FloatArray, u: FloatArray) -> list[Finding]:
    found = []
    for i in range(1, len(rows)):
        step, u_step = value[i] - value[i - 1], float(np.hypot(u[i], u[i - 1]))
        if abs(step) - COVERAGE_FACTOR * u_step > JUMP_PERCENT:
            found.append(Finding("jump", first=rows[i - 1].date, second=rows[i].date, percent=float(step)))
    return found


def _trend(time_years: FloatArray, value: FloatArray, u: FloatArray) -> Interval | None:
    """Fit a straight line by weighted least squares with known uncertainties."""
    if len(value) < 3 or np.ptp(time_years) < 1 / 12:
        return None
    weight = 1 / u**2
    centred = time_years - np.average(time_years, weights=weight)
    precision = float(np.sum(weight * centred**2))
    slope = float(np.sum(weight * centred * value)) / precision
    return Interval.known_to(slope, 1 / float(np.sqrt(precision)))
