"""The result of a measured drive: how the instrument reads, and how well that is known."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, Literal

import numpy as np

from speedcal.finding import Finding, Trust
from speedcal.interval import FloatArray, Interval, tidy, zone_and_seconds
from speedcal.units import SPEED_UNIT_MPS, DisplayUnit

if TYPE_CHECKING:
    import pandas as pd

ANOTHER_DAY = "tires on another day"
"""Budget line of what pressure, load and temperature of the tires change from one day to the next."""

SpeedSource = Literal["recorded", "positions"]


@dataclass(frozen=True, slots=True)
class BudgetLine:
    """One line of the uncertainty budget (JCGM 100:2008, clause 8): a component and its share."""

    component: str
    evaluation: Literal["A", "B"]
    u_factor: float
    """Contribution to the standard uncertainty of the error factor."""
    u_indicated_mps: float
    """Contribution to the standard uncertainty of the indicated speed at the reference speed. [m/s]"""
    share: float
    """Part of the combined variance of the indicated speed at the reference speed, 0 to 1."""

    def to_dict(self) -> dict[str, Any]:
        """Return the line, ready for JSON."""
        return {
            "component": self.component,
            "evaluation": self.evaluation,
            "u_factor": tidy(self.u_factor, 6),
            "u_indicated_mps": tidy(self.u_indicated_mps, 5),
            "share": tidy(self.share, 4),
        }


@dataclass(frozen=True)
class Calibration:
    """How an instrument reads: ``indicated = offset + error_factor * ground``, from one drive.

    The offset and the factor are strongly correlated; decide on :meth:`indicated` and :meth:`u_indicated` over
    the speeds that matter, never on the factor alone.

    Examples
    --------
    >>> import speedcal
    >>> track = speedcal.read_track("data_demo/before.gpx")
    >>> before = speedcal.calibrate(track, speedcal.read_readings("data_demo/before_notes.csv"))
    >>> before.error_factor.contains(1.152642)  # the truth of the demo drive
    True
    >>> 70 < float(before.indicated(60 * 0.44704)) / 0.44704 < 71  # mph shown at a true 60 mph
    True
    >>> sorted(before.to_dict()["error_factor"])
    ['high', 'low', 'value']
    """

    unit: DisplayUnit
    """Unit for people; every field below is SI."""
    error_factor: Interval
    """Gain of indicated on ground speed; 1.06 reads 6 % high."""
    offset_mps: Interval
    covariance: FloatArray
    """Joint covariance of (offset [m/s], error factor [1]), shape (2, 2), standard, not expanded."""
    coverage_factor: float
    """Standard uncertainty times this is the half width of a 95 % interval."""
    clock_offset_s: Interval | None
    """Reading clock + this = GPS clock; None for speeds held without times."""
    odometer_factor: Interval | None
    speed_range_mps: tuple[float, float]
    """Ground speeds between which readings were used."""
    scatter_mps: float
    """Standard deviation of a single steady reading about the line."""
    speed_source: SpeedSource
    trust: Trust
    readings: pd.DataFrame
    """One row a reading: ``line``, ``time_s`` (GPS clock), ``ground_mps``, ``indicated_mps``, ``predicted_mps``,
    ``residual_mps``, ``u_mps``, ``run`` (number of the steady run, -1 outside), ``used`` (bool), ``reason``."""
    ground: pd.DataFrame
    """Ground speed over time: ``time_s``, ``speed_mps``, ``piece`` (number of the unbroken piece)."""
    steady_runs: int
    """Number of steady runs that hold at least one used reading."""
    budget: tuple[BudgetLine, ...] = ()
    reference_speed_mps: float = 0.0
    """Speed the budget refers to."""
    findings: tuple[Finding, ...] = ()
    sources: tuple[tuple[str, str], ...] = field(default=())
    """Names and SHA-256 digests of the files used."""

    def _counts(self) -> tuple[int, int]:
        """Return how many readings of the speed were used, and how many there are."""
        return int(self.readings["used"].sum()), int(self.readings["indicated_mps"].notna().sum())

    def indicated(self, ground_mps: FloatArray | float) -> FloatArray:
        """Return the speed the instrument shows at a true ground speed. [m/s]."""
        return np.asarray(self.offset_mps.value + self.error_factor.value * np.asarray(ground_mps, float))

    def u_indicated(self, ground_mps: FloatArray | float) -> FloatArray:
        """Return the standard uncertainty of :meth:`indicated`, with the covariance of offset and factor. [m/s]."""
        v = np.asarray(ground_mps, float)
        c = self.covariance
        return np.asarray(np.sqrt(np.maximum(c[0, 0] + 2 * v * c[0, 1] + v * v * c[1, 1], 0.0)))

    def error_table(self, speeds: FloatArray | None = None) -> list[dict[str, float]]:
        """Return the error at round speeds of the driven range, in the display unit, with 95 % intervals.

        Parameters
        ----------
        speeds
            Ground speeds in the display unit; None takes the multiples of 5 mph or 10 km/h in the driven range.
        """
        factor = SPEED_UNIT_MPS[self.unit]
        if speeds is None:
            step = 5 if self.unit == "mph" else 10
            low, high = (v / factor for v in self.speed_range_mps)
            speeds = np.arange(np.ceil(low / step) * step, high + 1e-9, step)
        rows = []
        for v in np.asarray(speeds, float):
            shown = float(self.indicated(v * factor)) / factor
            half = self.coverage_factor * float(self.u_indicated(v * factor)) / factor
            error = shown - v
            rows.append(
                {
                    "ground": tidy(v, 4),
                    "indicated": tidy(shown, 4),
                    "error": tidy(error, 4),
                    "low": tidy(error - half, 4),
                    "high": tidy(error + half, 4),
                    "percent": tidy(100 * error / v, 3) if v else 0.0,
                }
            )
        return rows

    def budget_text(self) -> str:
        """Return the uncertainty budget as a table for people, at the reference speed."""
        factor = SPEED_UNIT_MPS[self.unit]
        u = float(self.u_indicated(self.reference_speed_mps)) / factor
        rows = [f"uncertainty at a true {self.reference_speed_mps / factor:.0f} {self.unit}, standard (k = 1)"]
        for line in self.budget:
            share = (
                "size from memory; not in the interval of this drive"
                if line.component == ANOTHER_DAY
                else f"{100 * line.share:3.0f} %"
            )
            size = f"{line.u_indicated_mps / factor:7.3f} {self.unit}"
            rows.append(f"  {line.component:<26} type {line.evaluation}  {size}  {share}")
        k = self.coverage_factor
        return "\n".join(
            [*rows, f"  combined {u:.3f} {self.unit}, expanded {k * u:.3f} {self.unit} (k = {k:.2f}, 95 %)"]
        )

    def to_dict(self) -> dict[str, Any]:
        """Return the result in the form other programs rely on, ready for JSON."""
        used, total = self._counts()
        offset = self.offset_mps.scaled(1 / SPEED_UNIT_MPS[self.unit])
        return {
            "speed_unit": self.unit,
            "error_factor": self.error_factor.to_dict(),
            "offset": {**offset.to_dict(digits=4), "unit": self.unit},
            "clock_offset_s": self.clock_offset_s.to_dict(digits=3) if self.clock_offset_s else None,
            "odometer_factor": self.odometer_factor.to_dict() if self.odometer_factor else None,
            "errors": self.error_table(),
            "readings": {"total": total, "used": used, "rejected": total - used},
            "steady_runs": self.steady_runs,
            "speed_source": self.speed_source,
            "trust": str(self.trust),
            "budget": [line.to_dict() for line in self.budget],
            "findings": [finding.to_dict() for finding in self.findings],
        }

    def __str__(self) -> str:
        factor = SPEED_UNIT_MPS[self.unit]
        used, total = self._counts()
        offset = self.offset_mps.scaled(1 / factor)
        lines = [
            f"{self.trust}",
            f"error factor  {self.error_factor}",
            f"needle offset {offset} {self.unit}",
            f"readings      {used} of {total} used, in {self.steady_runs} steady runs",
        ]
        if self.clock_offset_s:
            zone, rest = zone_and_seconds(self.clock_offset_s)
            shift = f"{zone} h and {rest} s" if zone else f"{rest} s"
            lines.append(f"clock offset  {shift} (reading clock + this = GPS clock)")
        if self.odometer_factor:
            lines.append(f"odometer      {self.odometer_factor}")
        lines += [
            f"at a true {row['ground']:g} {self.unit} it shows {row['indicated']:.1f} "
            f"({row['ground'] + row['low']:.1f} to {row['ground'] + row['high']:.1f})"
            for row in self.error_table()
        ]
        lines += [f"note: {finding.text}" for finding in self.findings]
        return "\n".join(lines)
