"""A planned road test in words."""

from __future__ import annotations

from typing import TYPE_CHECKING

from speedcal.text.words.numbers import counted, distance
from speedcal.text.words.sources import status_in_short
from speedcal.units import SPEED_UNIT_MPS

if TYPE_CHECKING:
    from speedcal.conformity.road_test import Assumption, RoadTestPlan

BY_GPS = (
    "Hold the speeds below by GPS, not by the dial: what it will show is not known without a drive before the work and "
    "the work itself in the job. The passenger calls out the GPS speed; the driver watches the road."
)
"""Where nobody knows what the dial will show."""


def summary(plan: RoadTestPlan) -> str:
    """Return the road test in short: cautions, holds, what it takes and what it promises."""
    return "\n".join([*_lines(plan), *_notes(plan), f"rests on {counted(len(plan.assumptions), 'assumption')}"])


def in_full(plan: RoadTestPlan) -> str:
    """Return the road test with every assumption."""
    assumed = [f"assumed: {assumption_words(assumption)}" for assumption in plan.assumptions]
    return "\n".join([*_lines(plan), *assumed, *_notes(plan)])


def _notes(plan: RoadTestPlan) -> list[str]:
    return [f"note: {finding.text}" for finding in plan.findings]


def _lines(plan: RoadTestPlan) -> list[str]:
    factor = SPEED_UNIT_MPS[plan.unit]
    where = "by GPS" if plan.by_gps else "on the dial"
    return [
        f"road test for {answers(plan)}",
        *([f"CAUTION: {BY_GPS}"] if plan.by_gps else []),
        *(f"CAUTION: {caution.text}" for caution in plan.cautions),
        *(
            f"{order:3d}. hold {p.mark_mps / factor:.0f} {plan.unit} {where} for {p.hold_s:.0f} s, "
            f"note {p.readings} readings"
            for order, p in enumerate(plan.plateaus, start=1)
        ),
        f"{plan.n_readings} readings in {plan.duration_s / 60:.0f} minutes on {distance(plan.distance_m, plan.unit)} "
        f"of road (longest stretch {distance(plan.stretch_m, plan.unit)})",
        f"it will tell: the error factor to ±{plan.half_width_percent:.1f} %, the shown speed to "
        f"±{plan.half_width_speed_mps / factor:.1f} {plan.unit} (in nine drives of ten, or better)",
    ]


def answers(plan: RoadTestPlan) -> str:
    """Say which question the road test answers, with its number."""
    return plan.target.text.rstrip(".")


def assumption_words(assumption: Assumption) -> str:
    """Say what is assumed, and where that comes from."""
    return f"{assumption.text}: {assumption.value:g} {assumption.unit} ({status_in_short(assumption.status)})"
