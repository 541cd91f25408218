"""The tech's part of a report: names and words of its figures and tables."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any

import numpy as np

from speedcal.calibration.result import ANOTHER_DAY
from speedcal.text.codes.conformity_messages import CHANGED
from speedcal.text.messages import label
from speedcal.text.results.calibration_summary import clock_shift
from speedcal.text.results.verdict import band, beside_the_verdict, cause_words, fitting_causes, planned_words
from speedcal.text.words.names import capital, one_line
from speedcal.text.words.numbers import chance, counted, signed, signed_interval
from speedcal.units import SPEED_UNIT_MPS, DisplayUnit

if TYPE_CHECKING:
    from collections.abc import Iterable

    from speedcal.calibration.result import BudgetLine, Calibration
    from speedcal.conformity import History, Verification
    from speedcal.conformity.change import ChangeCheck
    from speedcal.conformity.verification import Check
    from speedcal.interval import Interval

Rows = tuple[tuple[str, str], ...]
"""Names and values."""

_METHOD_OF_TRACKS = (
    "True speed comes from the track (receiver speed where it was recorded, otherwise positions on the WGS84 "
    "ellipsoid); nothing is interpolated across gaps.",
    "The clock of the readings is shifted until they agree with it; the shift is stated with its range.",
    "A curve, shown against true, is fitted with errors in both, weights by how steady the speed was, and a bounded "
    "influence of each reading, so that a wrong reading does not steer it.",
    "Every figure uses the covariance of the whole curve. All intervals are 95 %.",
)
_METHOD_OF_CHECKS = (
    "No track: each reading of the dial is held against a true speed that is known otherwise, by distance and time or "
    "from another instrument.",
    "A curve, shown against true, is fitted with each check weighted by its own uncertainty: timing, rounding, holding "
    "the speed. What all true speeds share is not averaged away.",
    "Every figure uses the covariance of the whole curve. All intervals are 95 %.",
)
_TRACKS_IN_SHORT = (
    "True speed from the track, never across gaps. The reading clock is shifted until the readings agree with it. "
    "Curve of shown against true, errors in both, influence of each reading bounded. 95 % intervals from its "
    "covariance."
)
_CHECKS_IN_SHORT = (
    "No track: each reading held against a true speed known by distance and time or another instrument. Curve of shown "
    "against true, each check weighted by its own uncertainty; what all share is not averaged away. 95 % intervals."
)

METHOD_HEADING, VEHICLE_HEADING = "Method, version, files", "Vehicle, all choices in report.html"
CLOCK_MATCH = (
    "Clock match: each reading, the error of the dial taken out, lies on the GPS speed when the clocks agree. The line "
    "is broken where there were no fixes."
)
CLOCK_MATCH_IN_SHORT = "clock match: each reading, the error taken out, lies on the GPS speed"
_SOURCES = {
    "recorded": "recorded by the receiver",
    "positions": "from positions",
    "checks": "checks: distance and time, or another instrument",
}
NOT_IN_IT = "a usual size; not in this range"
"""Instead of a share, for what differs from one day to the next."""


def is_checks(c: Calibration) -> bool:
    """Tell whether a drive has no track, and true speeds that are known otherwise."""
    return c.speed_source == "checks"


def no_clocks(c: Calibration) -> str:
    """Say why there is no clock match."""
    what = "Checks, without a track" if is_checks(c) else "Speeds held in order without times"
    return f"{what}: there are no clocks to match."


def method(drives: Iterable[Calibration]) -> tuple[str, ...]:
    """Say how the figures were made."""
    kinds = {is_checks(c) for c in drives}
    return (*(_METHOD_OF_TRACKS if False in kinds else ()), *(_METHOD_OF_CHECKS if True in kinds else ()))


def method_in_short(drives: Iterable[Calibration]) -> str:
    """Say the same on the printed page."""
    kinds = {is_checks(c) for c in drives}
    return " ".join([_TRACKS_IN_SHORT] * (False in kinds) + [_CHECKS_IN_SHORT] * (True in kinds))


def version(number: str) -> str:
    """Head the digests on the printed page."""
    return f"speedcal {number}. SHA-256 of the files (first 16 digits; all in result.json):"


def more_drives(count: int) -> str:
    """Say how many drives stand only on the page for the browser, to follow a heading."""
    return f" ({count} more {'drive' if count == 1 else 'drives'} in report.html)" if count else ""


def when(c: Calibration, *, has_date: bool, date: str = "") -> str:
    """Say on which day and for how long a drive was made; ``date`` is what the job says where no track does."""
    time = c.ground["time_s"].to_numpy(float)
    if not len(time):
        return date or ("checks, no date" if is_checks(c) else "no time")
    minutes = f"{(time[-1] - time[0]) / 60:.0f} min"
    start = datetime.fromtimestamp(float(time[0]) + (c.zone_s or 0.0), tz=UTC)
    day = f"{start:%Y-%m-%d}" if has_date else date
    return f"{day}, {minutes}" if day else minutes


def noted_words(noted: Iterable[tuple[str, float | str]], unit: DisplayUnit) -> list[str]:
    """Say what was written down of the vehicle on the day of a drive."""
    length = "miles" if unit == "mph" else "km"
    words = {
        "odometer": lambda value: f"odometer {value:,.0f} {length}",
        "tire": lambda value: f"tires {one_line(value)}",
        "cold_pressure_psi": lambda value: f"{value:g} psi cold",
        "cold_pressure_kpa": lambda value: f"{value:g} kPa cold",
    }
    return [words[name](value) for name, value in noted]


def counts(c: Calibration) -> str:
    """Say how many readings were used."""
    used, total = int(c.readings["used"].sum()), len(c.readings)
    if is_checks(c):
        return f"{used} of {c.counts()[1]} checks used"
    return f"{used} of {total} readings used, in {counted(c.steady_runs, 'steady run')}"


def drive_figures(c: Calibration, unit: DisplayUnit) -> Rows:
    """Return the figures of a drive by name."""
    factor = SPEED_UNIT_MPS[unit]
    low, high = (v / factor for v in c.dial.driven_mps)
    figures = [
        ("Trust", str(c.trust)),
        ("Error factor", c.error_factor.to_decimals(3)),
        ("Needle offset", f"{c.offset_mps.scaled(1 / factor).to_decimals(1)} {unit}"),
        ("Readings", counts(c)),
        ("Scatter of one reading", f"{c.scatter_mps / factor:.2f} {unit}"),
        ("Speeds driven", f"{low:.0f} to {high:.0f} {unit}"),
        ("Speed source", _SOURCES[c.speed_source]),
    ]
    if c.clock_offset_s:
        figures.append(("Clock shift", f"{clock_shift(c.clock_offset_s)} (reading clock + this = GPS clock)"))
    elif not is_checks(c):
        figures.append(("Clock shift", "none; the readings carry no times and were assigned in order"))
    if c.odometer_factor:
        figures.append(("Odometer factor", c.odometer_factor.to_decimals(3)))
    return tuple(figures)


def budget_title(c: Calibration, unit: DisplayUnit) -> str:
    """Say at which speed the uncertainty budget stands."""
    return f"at a true {c.reference_speed_mps / SPEED_UNIT_MPS[unit]:.0f} {unit}"


def budget_row(line: BudgetLine, unit: DisplayUnit) -> tuple[str, str, str, str]:
    """Return component, evaluation, part of the standard uncertainty of the shown speed, share."""
    share = NOT_IN_IT if line.component == ANOTHER_DAY else f"{100 * line.share:.0f} %"
    return label(line.component), line.evaluation, f"{line.u_indicated_mps / SPEED_UNIT_MPS[unit]:.3f} {unit}", share


def reading_row(row: dict[Any, Any], unit: DisplayUnit) -> tuple[str, str, str, str, str, str]:
    """Return line, time, shown, true, distance from the curve, and ``used`` or why not."""
    factor = SPEED_UNIT_MPS[unit]
    moment, residual = row["time_s"], row["residual_mps"] / factor
    shown, true = (row[name] / factor for name in ("indicated_mps", "ground_mps"))
    return (
        str(int(row["line"])),
        f"{datetime.fromtimestamp(round(float(moment) % 86400.0, 1), tz=UTC):%H:%M:%S}" if np.isfinite(moment) else "–",
        f"{shown:.1f}" if np.isfinite(shown) else "–",
        f"{true:.1f}" if np.isfinite(true) else "–",
        signed(residual) if np.isfinite(residual) else "–",
        "used" if row["used"] else f"not used: {label(row['reason'])}",
    )


def check_words(check: Check, verification: Verification, unit: DisplayUnit) -> tuple[str, str, str]:
    """Return where the rule is judged, what the dial does there, and what is permitted, in a unit."""
    if np.isnan(check.speed_mps):
        return "distance of 100", f"{100 * check.indicated:.2f}", band(100 * check.low, 100 * check.high, "")
    factor = SPEED_UNIT_MPS[unit]
    speed = f"{check.speed_mps / factor:.4g} {unit}"
    permitted = band(check.low / factor, check.high / factor, f" {unit}")
    if verification.tolerance.given == "true":
        return f"true {speed}", f"{check.indicated / factor:.1f} {unit}", permitted
    return f"shown {speed}", f"true {check.true / factor:.1f} {unit}", permitted


def check_verdict(check: Check) -> tuple[str, str]:
    """Return the verdict at one speed and its probability."""
    word = f"{check.verdict}, outside the speeds driven" if check.outside else check.verdict
    return word, chance(check.probability)


def driven_range(verification: Verification) -> str:
    """Say how the rule stands everywhere between the speeds driven; empty where it does not ask for that."""
    span = verification.driven_range
    if span is None:
        return ""
    low, high = (v / SPEED_UNIT_MPS[verification.unit] for v in (span.low_mps, span.high_mps))
    return (
        f"Everywhere between {low:.0f} and {high:.0f} {verification.unit}: {span.verdict}, chance that it complies "
        f"{chance(span.probability)}{beside_the_verdict(verification)}."
    )


def change_lines(change: ChangeCheck, *, only_fitting: bool = False) -> tuple[str, ...]:
    """Say what change was planned and what was measured, with what may have caused a difference."""
    low, high = (100 * (x - 1) for x in (change.measured_change.low, change.measured_change.high))
    name = CHANGED[change.quantity].capitalize()
    planned = planned_words(change.planned)
    told = "as planned" if change.agrees else "NOT as planned"
    line = f"{name}: planned change {planned}, measured {signed(low)} to {signed(high)} %: {told}."
    causes = fitting_causes(change) if only_fitting else [cause_words(cause) for cause in change.causes]
    return (line, *[f"{capital(cause)}." for cause in causes])


def over_time_title(name: str, history: History) -> str:
    """Head the drives of one state of the vehicle."""
    speed = history.reference_mps / SPEED_UNIT_MPS[history.unit]
    return f"Drives {name} the work in order of time, error at a true {speed:.0f} {history.unit}"


def over_time_notes(history: History, pooled: Calibration | None) -> tuple[str, ...]:
    """Say what the drives of one state have in common, and how the reading changes."""
    notes = [f.text for f in pooled.findings if f.code in ("pooled", "drives_disagree")] if pooled else []
    if trend := history.trend_percent_a_year:
        notes.append(f"Trend {signed_interval(trend, ' % a year', 2)}.")
    return tuple(one_line(note) for note in (*notes, *(finding.text for finding in history.findings)))


def over_time_row(date: str, error_percent: Interval, error_factor: Interval) -> tuple[str, str, str]:
    """Return date, error and error factor of one drive."""
    return date, signed_interval(error_percent, " %"), error_factor.to_decimals(3)
