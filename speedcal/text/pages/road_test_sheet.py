"""What stands on the sheet that a passenger fills in during the road test."""

from __future__ import annotations

from typing import Any

from speedcal.conformity.road_test import RoadTestPlan
from speedcal.text.results.road_test import BY_GPS, answers
from speedcal.text.words.names import shortened
from speedcal.text.words.numbers import distance
from speedcal.units import SPEED_UNIT_MPS

TITLE = "Road test sheet"
_SHORT = ("one_sheet_is_short", "may_not_settle", "expected_at_limit")
"""Findings that say that the sheet may not answer what was asked."""
HOW_TO_FILL = (
    "Write the time to the second, always from the same phone or watch, and exactly what the needle shows at that "
    "moment, even when it is not on the mark. Between two holds of the same mark slow down and come back to it."
)


HOW_TO_FILL_BY_GPS = (
    "Write the time to the second, from one phone or watch, and what the needle shows at that moment, as it is. "
    "Between two holds of the same speed slow down and come back to it."
)


def words(plan: RoadTestPlan, number: str, shop: str) -> dict[str, Any]:
    """Return everything on the sheet, by the names that its template uses."""
    factor, unit = SPEED_UNIT_MPS[plan.unit], plan.unit
    length = "miles" if unit == "mph" else "km"
    return {
        "title": TITLE,
        "about": f"{len(plan.plateaus)} marks to hold, with blanks for the time and what the needle shows.",
        "heading": shortened(" · ".join(filter(None, (number and f"Job {number}", shop))), 120),
        "vehicle": shortened(plan.vehicle_label, 120) or "Vehicle:",
        "limit": f"Speed limit {plan.speed_limit_mps / factor:.0f} {unit}",
        "blanks": [
            [["Date", 1.5], ["Driver", 1.9], ["Passenger", 1.9], ["Clock", 1.3]],
            [[f"Odometer at start ({length})", 2.4], ["at end", 1.4], ["Tire pressures, cold", 2.1]],
        ],
        "cautions": [*([BY_GPS] if plan.by_gps else []), *(caution.text for caution in plan.cautions)],
        "how": HOW_TO_FILL_BY_GPS if plan.by_gps else HOW_TO_FILL,
        "heads": ["no.", f"GPS {unit}" if plan.by_gps else f"hold {unit}", "seconds"],
        "cells": ["time", "shows"],
        "rows": [
            [f"{i}", f"{hold.mark_mps / factor:.0f}", f"{hold.hold_s:.0f}"]
            for i, hold in enumerate(plan.plateaus, start=1)
        ],
        "most": max(hold.readings for hold in plan.plateaus),
        "promise": _promise(plan),
    }


def _promise(plan: RoadTestPlan) -> list[str]:
    """Say how long it takes, and what it will tell."""
    return [
        f"{plan.n_readings} readings, about {plan.duration_s / 60:.0f} minutes, {distance(plan.distance_m, plan.unit)} "
        f"of road; no single stretch longer than {distance(plan.stretch_m, plan.unit)}.",
        f"Answers: {answers(plan)}.",
        *(finding.text for finding in plan.findings if finding.code in _SHORT),
    ]
