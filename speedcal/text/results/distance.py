"""The distance really driven since the work, in words."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from speedcal.conformity.distance import DrivenDistance


def summary(distance: DrivenDistance) -> str:
    """Say what was shown and what was driven, for service intervals; and that the odometer stays as it is."""
    unit = "miles" if distance.unit == "mph" else "km"
    since = f" on {distance.date}" if distance.date else ""
    step = 10 if distance.driven.half_width >= 10 else 1
    low, high = (step * round(end / step) for end in (distance.driven.low, distance.driven.high))
    by = "" if distance.told_by == "odometer" else ", taken from the speedometer because the odometer was not read"
    return (
        f"Since the work{since} the odometer has shown {distance.shown:,.0f} {unit}: {low:,} to {high:,} {unit} were "
        f"driven (95 %{by}). Go by this for service intervals. The odometer itself stays as it is: changing its count "
        "is against the law in most places; note the difference in the vehicle's papers where the law asks for it."
    )
