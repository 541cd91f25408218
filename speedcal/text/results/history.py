"""The drives of a vehicle over months, in words."""

from __future__ import annotations

from typing import TYPE_CHECKING

from speedcal.text.words.numbers import signed, signed_interval
from speedcal.units import SPEED_UNIT_MPS

if TYPE_CHECKING:
    from speedcal.conformity.trend import History


def summary(history: History) -> str:
    """Return one line a drive, the trend and what happened between the drives."""
    lines = [f"error at a true {history.reference_mps / SPEED_UNIT_MPS[history.unit]:.0f} {history.unit}"]
    lines += [
        f"{row.date}  {signed(error.value):>5} % ({signed(error.low)} to {signed(error.high)})"
        for row in history.rows
        for error in [row.error_percent]
    ]
    trend = history.trend_percent_a_year
    if trend:
        lines.append(f"trend {signed_interval(trend, ' % a year', 2)}")
    return "\n".join(lines + [f"note: {finding.text}" for finding in history.findings])
