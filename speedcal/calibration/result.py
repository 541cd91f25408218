"""The result of a measured drive: how the instrument reads, and how well that is known."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, Literal

import numpy as np

from speedcal.calibration.dial.dial import Dial
from speedcal.calibration.speed.ground_speed import SpeedSource
from speedcal.finding import Finding, Trust
from speedcal.interval import COVERAGE_FACTOR, FloatArray, Interval, multiples, tidy
from speedcal.units import ROUND_SPEED, SPEED_UNIT_MPS, DisplayUnit
from speedcal.wording import Spoken

if TYPE_CHECKING:
    import pandas as pd

ANOTHER_DAY = "another_day"
"""Budget line of what pressure, load and temperature of the tires change from one day to the next."""
HILLS = "hills"
"""Budget line of how much longer the road is than its map."""
RECEIVER = "receiver"
"""Budget line of what the recorded speed of a receiver and its positions contradict each other by."""


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


@dataclass(frozen=True, eq=False)
class Calibration(Spoken):
    """How an instrument reads, from one drive.

    Decide on :meth:`indicated` and :meth:`half_width` over the speeds that matter: the line's offset and factor are a
    summary, and lean on each other.

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
    dial: Dial
    """The reading at every true speed, and the covariance of any two."""
    clock_offset_s: Interval | None
    """Reading clock + this = GPS clock; None for speeds held without times."""
    odometer_factor: Interval | None
    scatter_mps: float
    """Standard deviation of a single steady reading about the dial."""
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
    needle_lag_s: float | None = None
    """Time constant with which the needle follows the speed, 0 when at once; None where the drive does not tell."""
    zone_s: float | None = None
    """Time zone in which the drive has its day, ahead of UTC; None without a track. [s]"""
    sources: tuple[tuple[str, str], ...] = field(default=())
    """Names and SHA-256 digests of the files used."""

    def counts(self) -> tuple[int, int]:
        """Return how many readings of the speed were used, and how many there are."""
        return int(self.readings["used"].sum()), int(self.readings["indicated_mps"].notna().sum())

    @property
    def error_factor(self) -> Interval:
        """Slope of the line through the dial over the driven speeds; 1.06 reads 6 % high."""
        line = self.dial.line
        return Interval.known_to(line.error_factor, line.u_factor)

    @property
    def offset_mps(self) -> Interval:
        """Offset of that line. [m/s]."""
        line = self.dial.line
        return Interval.known_to(line.offset_mps, float(np.sqrt(line.covariance[0, 0])))

    @property
    def covariance(self) -> FloatArray:
        """Joint covariance of (offset [m/s], error factor [1]), shape (2, 2), standard, not expanded."""
        return self.dial.line.covariance

    @property
    def coverage_factor(self) -> float:
        """Standard uncertainty times this is the half width of a 95 % interval."""
        return COVERAGE_FACTOR

    @property
    def speed_range_mps(self) -> tuple[float, float]:
        """True speeds between which readings were used. [m/s]."""
        return self.dial.driven_mps

    def indicated(self, ground_mps: FloatArray | float) -> FloatArray:
        """Return the speed the instrument shows at a true ground speed. [m/s]."""
        return self.dial.indicated(ground_mps)

    def u_indicated(self, ground_mps: FloatArray | float) -> FloatArray:
        """Return the standard uncertainty of :meth:`indicated`. [m/s]."""
        return self.dial.u_indicated(ground_mps)

    def half_width(self, ground_mps: FloatArray | float) -> FloatArray:
        """Return half the width of the 95 % interval of :meth:`indicated`. [m/s]."""
        return self.dial.half_width(ground_mps)

    def error_table(self) -> list[dict[str, float]]:
        """Return the error at the multiples of 5 mph or 10 km/h driven, in the display unit, with 95 % intervals."""
        factor = SPEED_UNIT_MPS[self.unit]
        step = ROUND_SPEED[self.unit]
        low, high = (v / factor for v in self.speed_range_mps)
        rows = []
        for v in multiples(step, low, high):
            shown = float(self.indicated(v * factor)) / factor
            half = float(self.half_width(v * factor)) / factor
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

    def to_dict(self) -> dict[str, Any]:
        """Return the result in the form other programs rely on, ready for JSON."""
        used, total = self.counts()
        offset = self.offset_mps.scaled(1 / SPEED_UNIT_MPS[self.unit])
        return {
            "speed_unit": self.unit,
            "trust": self.trust.word,
            "reasons": self.trust.codes,
            "error_factor": self.error_factor.to_dict(),
            "offset": {**offset.to_dict(digits=4), "unit": self.unit},
            "shape": self.dial.shape,
            "clock_offset_s": self.clock_offset_s.to_dict(digits=3) if self.clock_offset_s else None,
            "odometer_factor": self.odometer_factor.to_dict() if self.odometer_factor else None,
            "errors": self.error_table(),
            "readings": {"total": total, "used": used, "rejected": total - used},
            "steady_runs": self.steady_runs,
            "speed_source": self.speed_source,
            "budget": [line.to_dict() for line in self.budget],
            "findings": [finding.to_dict() for finding in self.findings],
        }
