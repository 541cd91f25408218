"""The drives of a vehicle over months, in words."""

from __future__ import annotations

from typing import TYPE_CHECKING

from speedcal.units import SPEED_UNIT_MPS

if TYPE_CHECKING:
    from speedcal.conformity.trend import History


def summary(history: History) -> str:
    """Return one line a drive, the trend and what happened between the drives."""
    lines = [f"error at a true {history.reference_mps / SPEED_UNIT_MPS[history.unit]:.0f} {history.unit}"]
    lines += [
        f"{row.date}  {error.value:+5.1f} % ({error.low:+.1f} to {error.high:+.1f})"
        for row in history.rows
        for error in [row.error_percent]
    ]
    trend = history.trend_percent_a_year
    if trend:
        lines.append(f"trend {trend.value:+.2f} % a year ({trend.low:+.2f} to {trend.high:+.2f})")
    return "\n".join(lines + [f"note: {finding.text}" for finding in history.findings])
