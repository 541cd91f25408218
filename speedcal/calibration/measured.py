"""What every way of fitting a drive returns, whatever the readings were like."""

from __future__ import annotations

from dataclasses import dataclass

from speedcal.interval import FloatArray

NO_SPEED = "no speed or no time noted"
UNUSED = "no speed of a road vehicle, or a stamp given twice"
NO_GROUND = "no ground speed at that time"
TOO_SLOW = "standing, crawling or turning"
WRONG = "disagrees with the other readings"
UNMATCHED = "matches no steady run"


@dataclass(frozen=True, slots=True)
class MeasuredLine:
    """Offset and gain with their covariance, and what each reading was found to be; arrays of shape (n,)."""

    offset_mps: float
    gain: float
    covariance: FloatArray
    """Of offset [m/s] and gain [1], shape (2, 2)."""
    coverage_factor: float
    clock_offset_s: float | None
    u_clock_offset_s: float
    scatter_mps: float
    """Standard deviation of one steady reading about the line."""
    time_share: float
    """Part of the variance at the middle of the speeds that comes from not knowing the clock offset."""
    time_s: FloatArray
    """Moment of each reading on the GPS clock; NaN when unknown."""
    ground_mps: FloatArray
    """Ground speed then; NaN when there is none."""
    reason: tuple[str, ...]
    """Why each reading was left out; empty for those used."""
