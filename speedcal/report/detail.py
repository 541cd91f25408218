"""One drive in detail, for the tech: readings, what was rejected and why, uncertainty budget, findings."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any

import numpy as np

from speedcal.calibration.result import ANOTHER_DAY
from speedcal.interval import Interval, round_together
from speedcal.report.facts import DriveFacts
from speedcal.report.words import one_line, signed
from speedcal.text.calibration_summary import zone_and_seconds
from speedcal.text.messages import label
from speedcal.units import SPEED_UNIT_MPS, DisplayUnit

if TYPE_CHECKING:
    from speedcal.calibration.result import Calibration

NOT_IN_IT = "size from memory; not in this interval"
"""Instead of a share, for what differs from one day to the next."""
MOST_READINGS = 250
"""More readings than this are not listed one by one; the table beside the report holds them all."""


@dataclass(frozen=True)
class ReadingRow:
    """One reading."""

    line: str
    time: str
    shown: str
    true: str
    residual: str
    verdict: str
    """``used``, or why not."""
    is_used: bool


@dataclass(frozen=True)
class DriveDetail:
    """A drive as the tech wants to see it."""

    name: str
    calibration: Calibration
    when: str
    figures: tuple[tuple[str, str], ...]
    """Name and value."""
    readings: tuple[ReadingRow, ...]
    rejected: tuple[ReadingRow, ...]
    reasons: tuple[tuple[str, int], ...]
    """Why readings were not used and how many, the most frequent first."""
    counts: str
    budget: tuple[tuple[str, str, str, str], ...]
    """Component, evaluation, part of the standard uncertainty of the shown speed, share."""
    budget_title: str
    findings: tuple[str, ...]
    picture_text: str

    @property
    def has_all_rejected(self) -> bool:
        """Whether ``rejected`` holds every rejected reading."""
        return sum(count for _, count in self.reasons) == len(self.rejected)

    @property
    def has_clock_match(self) -> bool:
        """Whether any reading has a time, so that the clock match can be drawn."""
        return bool(np.isfinite(self.calibration.readings["time_s"].to_numpy(float)).any())


def drive_detail(drive: DriveFacts, unit: DisplayUnit) -> DriveDetail:
    """Return the details of a measured drive."""
    c = drive.calibration
    factor = SPEED_UNIT_MPS[unit]
    rows = tuple(_reading_row(row, factor, has_date=drive.has_date) for row in c.readings.to_dict("records"))
    rejected = tuple(row for row in rows if not row.is_used)
    used = len(rows) - len(rejected)
    counts = f"{used} of {len(rows)} readings used, in {c.steady_runs} steady runs"
    return DriveDetail(
        name=drive.name,
        calibration=c,
        when=_when(c, has_date=drive.has_date),
        figures=_figures(c, unit, counts),
        readings=rows if len(rows) <= MOST_READINGS else (),
        rejected=rejected[:MOST_READINGS],
        reasons=tuple(Counter(c.readings.loc[~c.readings["used"].to_numpy(bool), "reason"]).most_common()),
        counts=counts,
        budget=tuple(
            (
                label(line.component),
                line.evaluation,
                f"{line.u_indicated_mps / factor:.3f} {unit}",
                NOT_IN_IT if line.component == ANOTHER_DAY else f"{100 * line.share:.0f} %",
            )
            for line in c.budget
        ),
        budget_title=f"at a true {c.reference_speed_mps / factor:.0f} {unit}",
        findings=tuple(one_line(finding.text) for finding in c.findings),
        picture_text=(
            f"GPS speed over time, drive {drive.name}, with the readings on it, the error of the dial taken out. "
            f"{counts}, {len(rejected)} rejected."
        ),
    )


def _figures(c: Calibration, unit: DisplayUnit, counts: str) -> tuple[tuple[str, str], ...]:
    factor = SPEED_UNIT_MPS[unit]
    offset = c.offset_mps.scaled(1 / factor)
    low, high = (v / factor for v in c.speed_range_mps)
    figures = [
        ("Trust", str(c.trust)),
        ("Error factor", with_interval(c.error_factor)),
        ("Needle offset", f"{with_interval(offset)} {unit}"),
        ("Readings", counts),
        ("Scatter of one reading", f"{c.scatter_mps / factor:.2f} {unit}"),
        ("Speeds driven", f"{low:.0f} to {high:.0f} {unit}"),
        ("Speed source", "recorded by the receiver" if c.speed_source == "recorded" else "from positions"),
    ]
    if c.clock_offset_s:
        figures.append(("Clock shift", f"{clock_shift(c.clock_offset_s)} (reading clock + this = GPS clock)"))
    else:
        figures.append(("Clock shift", "none; the readings carry no times and were assigned in order"))
    if c.odometer_factor:
        figures.append(("Odometer factor", with_interval(c.odometer_factor)))
    return tuple(figures)


def with_interval(x: Interval) -> str:
    """Write a value with its 95 % interval, all to the decimals that the interval supports."""
    text = round_together(x.value, max(x.half_width / 2, 1e-9))
    decimals = len(text.partition(".")[2])
    low, high = (f"{end:.{decimals}f}".replace("-", "−") for end in (x.low, x.high))
    return f"{text.replace('-', '−')} ({low} to {high})"


def clock_shift(shift_s: Interval) -> str:
    """Say a clock offset as people do: hours and minutes of the zone, and seconds."""
    zone, rest = zone_and_seconds(shift_s)
    return f"{zone.replace('-', '−')} h and {with_interval(rest)} s" if zone else f"{with_interval(rest)} s"


def _when(c: Calibration, *, has_date: bool) -> str:
    time = c.ground["time_s"].to_numpy(float)
    if not len(time):
        return "no time"
    minutes = f"{(time[-1] - time[0]) / 60:.0f} min"
    return f"{datetime.fromtimestamp(float(time[0]), tz=UTC):%Y-%m-%d} (UTC), {minutes}" if has_date else minutes


def _reading_row(row: dict[Any, Any], factor: float, *, has_date: bool) -> ReadingRow:
    def number(name: str) -> str:
        value = row[name] / factor
        return f"{value:.1f}" if np.isfinite(value) else "–"

    moment = row["time_s"]
    time = f"{datetime.fromtimestamp(round(float(moment), 1), tz=UTC):%H:%M:%S}" if np.isfinite(moment) else "–"
    residual = row["residual_mps"] / factor
    return ReadingRow(
        line=str(int(row["line"])),
        time=time,
        shown=number("indicated_mps"),
        true=number("ground_mps"),
        residual=signed(residual) if np.isfinite(residual) else "–",
        verdict="used" if row["used"] else f"not used: {row['reason']}",
        is_used=bool(row["used"]),
    )
