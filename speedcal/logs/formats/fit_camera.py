"""FIT files of cameras: fixes in ``gps_metadata`` messages, several a second, on the clock of the camera.

One ``timestamp_correlation`` message tells which UTC that clock had; the UTC beside the fixes has whole seconds only.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from speedcal.finding import Finding
from speedcal.logs.drive.track import Fixes
from speedcal.logs.tables.angles import SEMICIRCLE_DEG

_FIELDS = ("timestamp", "timestamp_ms", "utc_timestamp", "position_lat", "position_long", "enhanced_speed")


@dataclass(slots=True)
class CameraLog:
    """What the messages of a camera say."""

    rows: list[dict[str, Any]] = field(default_factory=list)
    segments: list[int] = field(default_factory=list)
    utc_less_clock_s: float = math.nan
    """What must be added to the clock of the camera to get UTC."""

    def take(self, frame: Any, piece: int) -> None:
        """Add a message to the log if it is one of a camera."""
        if frame.name == "gps_metadata":
            self.rows.append({name: frame.get_value(name, fallback=None) for name in _FIELDS})
            self.segments.append(piece)
        elif frame.name == "timestamp_correlation" and math.isnan(self.utc_less_clock_s):
            utc_s = _seconds(frame, "timestamp", "timestamp_ms")
            self.utc_less_clock_s = utc_s - _seconds(frame, "system_timestamp", "system_timestamp_ms")

    def fixes(self, findings: list[Finding]) -> Fixes:
        """Return the fixes; heights are left out, they are up to a hundred metres off."""
        return Fixes(
            time_s=[self._time(row) for row in self.rows],
            latitude_deg=[number(row["position_lat"]) * SEMICIRCLE_DEG for row in self.rows],
            longitude_deg=[number(row["position_long"]) * SEMICIRCLE_DEG for row in self.rows],
            speed_mps=[number(row["enhanced_speed"]) for row in self.rows],
            segment=self.segments,
            findings=findings,
        )

    def _time(self, row: dict[str, Any]) -> float:
        clock_s = instant(row["timestamp"]) + (number(row["timestamp_ms"]) if row["timestamp_ms"] else 0.0) / 1000
        if isinstance(row["timestamp"], datetime):  # of a camera whose clock is set
            return clock_s
        known = math.isfinite(self.utc_less_clock_s)
        return clock_s + self.utc_less_clock_s if known else instant(row["utc_timestamp"])


def _seconds(frame: Any, whole: str, thousandths: str) -> float:
    return instant(frame.get_value(whole, fallback=None)) + number(frame.get_value(thousandths, fallback=0)) / 1000


def number(value: Any) -> float:
    """Return the number of a field, NaN when it holds none."""
    return float(value) if isinstance(value, int | float) else math.nan


def instant(value: Any) -> float:
    """Return a time [s]: since 1970 of a date, on the clock of the device of a number; NaN when there is none."""
    return value.timestamp() if isinstance(value, datetime) else number(value)
