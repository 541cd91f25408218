"""What to look at where a road test shows another change than the planned one."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from speedcal.conformity.change import ChangeCheck
from speedcal.finding import Finding
from speedcal.units import MILE_M
from speedcal.vehicle.advised.advice import Advice

_ODD = 0.03
"""A change that is so much, relative, from the planned one is of the drive, and not of the needle. Our own judgment."""
_TAKEN_FOR = {"kmh_taken_for_mph": "km/h", "mph_taken_for_kmh": "mph"}


def fitting_causes(changes: Sequence[ChangeCheck]) -> list[Finding]:
    """Return what would explain a change other than planned."""
    return [cause.what for change in changes for cause in change.causes if cause.fits]


def looks_at_files(changes: Sequence[ChangeCheck]) -> list[Advice]:
    """Return what to do about files, units and ranges that cannot be right."""
    return [step for cause in fitting_causes(changes) for step in _about_files(cause)]


def looks_after_pass(changes: Sequence[ChangeCheck]) -> tuple[Advice, ...]:
    """Return what to look at although it passes: what is fitted is not what the job says, or something else changed.

    A unit that was mixed up was so on the drive before: the one that passes is right.
    """
    fitting = fitting_causes(changes)
    if ranges := [what for what in fitting if what.code == "cause_range"]:
        return tuple(_in_range(ranges[0])[:1])
    was_of_unit = any(abs(abs(np.log(change.righted)) - np.log(MILE_M / 1000)) < _ODD for change in changes)
    if was_of_unit or any(what.values.get("why") in _TAKEN_FOR for what in fitting):
        return (Advice("check_files", part="before", because=(Finding("before_in_other_unit"),)),)
    return tuple(looks_at(changes))


def gears_counted(changes: Sequence[ChangeCheck]) -> list[Finding]:
    """Return the gears that would explain a change other than planned; none where one that came out would as well.

    What came out of a pair is known by what the job says, what went in was in somebody's hand.
    """
    fitting = fitting_causes(changes)
    came_out = any(what.code == "cause_old_gear" for what in fitting)
    return [] if came_out else [what for what in fitting if what.code == "cause_gear"]


def looks_at(changes: Sequence[ChangeCheck]) -> list[Advice]:
    """Return what to look at where the change is not the planned one: the gear that fits it, else what was done."""
    why = tuple(_in_short(change) for change in changes if not change.agrees)[:1]
    found = []
    for what in gears_counted(changes):
        teeth = what.values["teeth"]
        came_out = what.values["came_out"]
        if_not = Finding("count_decides", teeth=teeth, planned=what.values["planned"], came_out=came_out)
        found.append(Advice("check_count", part=what.values["gear"], value=teeth, unit="teeth", because=(*why, if_not)))
    odd = [change for change in changes if not change.agrees and abs(change.excess - 1) > _ODD]
    if found or not odd or any(finding.code == "needle_moved" for change in odd for finding in change.findings):
        return found
    old = tuple(cause.what for change in odd for cause in change.causes if cause.what.code == "cause_old_gear")
    return [Advice("check_count", part="work", because=(*why, *old[:1]))]


def _in_short(change: ChangeCheck) -> Finding:
    values: dict[str, Any] = {"planned": change.planned, "measured": change.measured_change}
    return Finding("changed_otherwise", quantity=change.quantity, **values)


def _in_range(what: Finding) -> list[Advice]:
    """Return the look at the range of one drive, and that drive once more."""
    again = Advice("drive_again", part=what.values["phase"], because=(Finding("one_range_throughout"),))
    return [Advice("check_count", part="range", because=(what,)), again]


def _about_files(what: Finding) -> list[Advice]:
    if what.code == "cause_range":
        return _in_range(what)
    why = what.values.get("why")
    if why == "unchanged":
        return [Advice("check_files", part="after", because=(what,)), Advice("check_count", part="work")]
    return [Advice("set_unit", part="after", value=_TAKEN_FOR[why], because=(what,))] if why in _TAKEN_FOR else []
