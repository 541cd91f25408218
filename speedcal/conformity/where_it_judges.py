"""What to do about a road test that was far from the speeds at which its rule judges."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from speedcal.conformity.tolerance import Tolerance
from speedcal.finding import Finding
from speedcal.vehicle.advised.advice import Advice
from speedcal.vehicle.judged.limits import FAR_BEYOND

if TYPE_CHECKING:
    from speedcal.calibration.result import Calibration

_FASTER = 1.1
"""A drive before that went so many times as fast shows that the vehicle can. Our own judgment."""
_UNDECIDED = ("more_readings", "more_drives", "within_way_of_reading", "on_the_limit")


def drive_there(
    before: Calibration | None,
    after: Calibration,
    rule: Tolerance,
    findings: Sequence[Finding],
    judged_mps: Sequence[float],
) -> list[Advice]:
    """Return driving where the rule judges, where the road test was far from there."""
    if nowhere := [found for found in findings if found.code == "rule_holds_nowhere_driven"]:
        slow = before is not None and before.speed_range_mps[1] < rule.domain_mps[0]  # it went no faster on any drive
        return [
            Advice("measure_fact" if slow else "drive_again", part="rule" if slow else "after", because=(nowhere[0],))
        ]
    unreached = _unreached(after, judged_mps) if any(found.code in _UNDECIDED for found in findings) else None
    return [_drive_faster(unreached, before, rule)] if unreached else []


def _drive_faster(unreached: Finding, before: Calibration | None, rule: Tolerance) -> Advice:
    """Return what to do about speeds far beyond those driven, which the plan or the vehicle did not reach."""
    top = before.speed_range_mps[1] if before else 0.0
    if top > _FASTER * unreached.values["driven_mps"] and FAR_BEYOND * top >= max(unreached.values["speeds_mps"]):
        why = Finding("driven_too_slowly", **unreached.values, before_mps=top)
        return Advice("drive_again", part="after", because=(why,))
    if rule.own_speeds:
        return Advice("drive_again", part="after", because=(Finding("named_not_driven", **unreached.values),))
    return Advice("measure_fact", part="max_speed", because=(unreached,))


def _unreached(after: Calibration, judged_mps: Sequence[float]) -> Finding | None:
    """Return that a rule names speeds far beyond those driven, as it does for a vehicle that cannot."""
    top = after.speed_range_mps[1]
    speeds = [v for v in judged_mps if v > FAR_BEYOND * top]
    if not speeds:
        return None
    return Finding("vehicle_does_not_reach", speeds_mps=speeds, driven_mps=top, unit=after.unit)
