"""What to do after a road test that is no pass: from both drives, the first thing on top."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import numpy as np

from speedcal.conformity.after_repair import after_repair
from speedcal.conformity.change import Cause, ChangeCheck
from speedcal.conformity.same_state import kept_by_both
from speedcal.conformity.tolerance import Tolerance
from speedcal.conformity.where_it_judges import drive_there
from speedcal.finding import Finding
from speedcal.units import MILE_M, SPEED_UNIT_MPS
from speedcal.vehicle.advised.advice import Advice
from speedcal.vehicle.advised.drives_apart import drives_apart
from speedcal.vehicle.advised.first_steps import STICKS, read_odometer
from speedcal.vehicle.advised.plans import LIKELY, MAY_PASS
from speedcal.vehicle.advised.righting import WITHOUT_WORK
from speedcal.vehicle.judged.judge import SURE_ENOUGH

if TYPE_CHECKING:
    from speedcal.calibration.result import Calibration
    from speedcal.vehicle import Vehicle, Work
    from speedcal.vehicle.choices.undoing import StateBefore

_MORE_DRIVING = {
    "more_readings": "readings",
    "more_drives": "drives",
    "longer_distance": "times_as_far",
    "within_way_of_reading": None,
}
"""Finding that driving settles it, to the unit of its number."""
_ODD = 0.03
"""A change that is so much, relative, from the planned one is of the drive, and not of the needle. Our own judgment."""
_MOVED_MPS = 1.0
"""A needle that moved so far between two drives was moved; it is set back before more is driven. Our own judgment."""
_OUTSIDE = ("fit_driven_gear", "set_module", "set_pulse_scaler")
"""Work that is done from outside, or typed in."""
_NO_HELP = ("keep_as_is", "drive_again")
"""Advice that a drive may ask for, but not one that has failed, or that sits on a limit."""
_TAKEN_FOR = {"kmh_taken_for_mph": "km/h", "mph_taken_for_kmh": "mph"}


def next_steps(
    before: Calibration | None,
    after: Calibration,
    rule: Tolerance,
    *,
    vehicle: Vehicle | None,
    work: Work | None,
    changes: Sequence[ChangeCheck],
    findings: Sequence[Finding],
    judged_mps: Sequence[float],
    as_it_is: float,
) -> tuple[Advice, ...]:
    """Return what to do about a verdict that is no pass.

    Files and units that cannot be right come first, then the odd drive among pooled ones. Then, where the instrument
    likely complies, more driving or what stands in its way; else what the drive after asks for, by its own tooth
    arithmetic.

    Parameters
    ----------
    before
        The drive before the work: what undoing it leads back to.
    vehicle, work
        What was fitted before, and what was changed.
    changes
        Planned against measured.
    findings
        What the verdict noticed.
    judged_mps
        True speeds that were judged. [m/s]
    as_it_is
        Probability that it complies, zero for a fail.
    """
    causes = [cause for change in changes for cause in change.causes if cause.fits]
    wrong = [step for cause in causes for step in _about_files(cause)]
    if first := wrong or drive_there(before, after, rule, findings, judged_mps):
        return tuple(first)
    steps = [*(() if rule.quantity == "distance" else _how_rounded(after)), *drives_apart(after, "after")]
    counted = _counted(changes)
    looks = _looks(counted, changes)
    likely = as_it_is > LIKELY
    speeds = [v / SPEED_UNIT_MPS[after.unit] for v in judged_mps if v > 0]
    driving = [found for found in findings if found.code in _MORE_DRIVING]
    if any(found.code == "odometer_not_read" for found in findings):
        return (*looks, *steps, read_odometer())
    if likely and driving:
        is_repaired = work is not None and bool(work.note or work.instrument_repaired)  # a note may tell of it as well
        drives = [after] if before is None or is_repaired else [before, after]
        sticking = () if rule.quantity == "distance" else _sticking(drives, vehicle)
        moved = () if sticking or counted else _set_over(causes, after, rule, _fitted(vehicle, work, counted), speeds)
        return (*sticking, *looks, *steps, *moved, *([] if moved else map(_drive, driving)))
    undone = None
    if counted or all(change.agrees for change in changes):  # else undoing leads elsewhere
        undone = _undone(before, rule, vehicle, work, speeds)
    if as_it_is and not changes and kept_by_both(before, after, rule, vehicle=vehicle, work=work, speeds=speeds):
        return (*looks, *steps, Advice("drive_again", part="readings", because=(Finding("too_uncertain"),)))
    asked = _asked_by(after, rule, _fitted(vehicle, work, counted), speeds, undone)
    asked = after_repair(asked, after, rule, _fitted(vehicle, work, counted), work, speeds)
    looked_at = {look.part for look in looks}  # and not once more
    if "work" in looked_at or (work and work.driven_gear is not None and all(change.agrees for change in changes)):
        looked_at.add("driven_gear")  # the one just fitted is looked at, or did what its teeth do
    asked = tuple(entry for entry in asked if entry.action != "check_count" or entry.part not in looked_at)
    if counted:
        so = Finding("if_so_counted", teeth=counted[0].values["teeth"])
        asked = tuple(replace(e, because=(*e.because, so)) if _is_new_part(e) else e for e in asked)
    if likely:
        taken_out = vehicle.driven_gear if vehicle and work and work.driven_gear is not None else None
        return (*looks, *steps, *_with_left_open(asked, findings, as_it_is, taken_out=taken_out))
    if not asked:
        return (*looks, *steps, *map(_drive, driving))
    is_driven = any(entry.action == "drive_again" for entry in asked)
    return (*looks, *steps, *asked, *([] if looks or is_driven else _if_it_must_stay(driving, as_it_is)))


def _how_rounded(after: Calibration) -> list[Advice]:
    """Return the question how coarse readings were rounded: an answer costs nothing and may settle it."""
    asked = [found.values for found in after.findings if found.code == "nearest_mark_taken"]
    return [
        Advice("measure_fact", part="rounding", because=(Finding("rounded_or_held", **values),)) for values in asked
    ]


def _is_new_part(entry: Advice) -> bool:
    return entry.action.startswith("fit_") and "as_before" not in entry.codes


def _sticking(drives: Sequence[Calibration], vehicle: Vehicle | None) -> tuple[Advice, ...]:
    """Return the repair of a needle that sticks by one of the drives: what it shows hangs on how a speed is reached."""
    from speedcal.vehicle import Vehicle as AnyVehicle
    from speedcal.vehicle import diagnose

    found = [item for drive in drives for item in diagnose(drive, vehicle or AnyVehicle()).hypotheses]
    chance = max((item.probability for item in found if item.code == "needle_sticks"), default=0.0)
    if chance < STICKS:
        return ()
    return (Advice("repair_instrument", part="instrument", because=(Finding("needle_sticks_yet", chance=chance),)),)


def _set_over(
    causes: Sequence[Cause], after: Calibration, rule: Tolerance, vehicle: Vehicle, speeds: Sequence[float]
) -> tuple[Advice, ...]:
    """Return setting the needle back where the work moved it: a drive would prove what nobody wants to keep."""
    shifts = [cause.what.values["shift_mps"] for cause in causes if cause.what.code == "cause_needle"]
    if not shifts or abs(shifts[0]) < _MOVED_MPS:
        return ()
    asked = _asked_by(after, rule, vehicle, speeds, None)
    return tuple(entry for entry in asked if entry.action == "reseat_needle")


def _if_it_must_stay(driving: Sequence[Finding], as_it_is: float) -> list[Advice]:
    """Return the driving that may still prove what more likely fails; how much of it stands in the verdict."""
    if as_it_is < MAY_PASS:
        return []
    why = Finding("hardly_complies", chance=as_it_is)
    return [replace(_drive(found), because=(why,)) for found in driving]


def _with_left_open(
    asked: Sequence[Advice], findings: Sequence[Finding], as_it_is: float, *, taken_out: int | None
) -> list[Advice]:
    """Return what is asked for beside leaving what likely complies; what is doubted comes first.

    The driven gear that the work took out is not fitted again for a verdict that is nearly there.
    """
    is_back = bool(asked) and (
        "as_before" in asked[0].codes or (asked[0].action == "fit_driven_gear" and asked[0].value == taken_out)
    )
    is_sure = bool(asked) and _is_sure(asked[0]) and not is_back
    is_first = is_sure or (bool(asked) and asked[0].action == "check_files")
    is_all = is_first or all(entry.action in WITHOUT_WORK for entry in asked)
    left = _left_open(findings, as_it_is, is_all=is_all)
    asked = [entry for entry in asked if not left or entry.action != "drive_again"]  # no driving settles it then
    return [*asked, *left] if is_first else [*left, *asked]


def _left_open(findings: Sequence[Finding], as_it_is: float, *, is_all: bool) -> list[Advice]:
    """Return leaving it, which likely complies, where no driving will prove that."""
    kept = Finding("likely_complies", chance=as_it_is, is_all=is_all)
    near = [found for found in findings if found.code == "on_the_limit"]
    return [Advice("keep_as_is", probability=as_it_is, because=(found, kept)) for found in near]


def _is_sure(asked: Advice) -> bool:
    """Tell whether what is asked for passes for sure, opens nothing and puts no odometer wrong.

    Then nobody leaves a verdict open.
    """
    is_clean = asked.action in _OUTSIDE and "odometer_left" not in asked.codes
    return is_clean and (asked.probability or 0.0) >= SURE_ENOUGH


def _drive(found: Finding) -> Advice:
    value = found.values.get("count", found.values.get("times"))
    return Advice("drive_again", value=value, unit=_MORE_DRIVING[found.code], because=(found,))


def looks_at(changes: Sequence[ChangeCheck]) -> tuple[Advice, ...]:
    """Return what to look at although it passes: what is fitted is not what the job says, or something else changed.

    A unit that was mixed up was so on the drive before: the one that passes is right.
    """
    fitting = [cause.what for change in changes for cause in change.causes if cause.fits]
    if ranges := [what for what in fitting if what.code == "cause_range"]:
        return tuple(_in_range(ranges[0])[:1])
    was_of_unit = any(abs(abs(np.log(change.righted)) - np.log(MILE_M / 1000)) < _ODD for change in changes)
    if was_of_unit or any(what.values.get("why") in _TAKEN_FOR for what in fitting):
        return (Advice("check_files", part="before", because=(Finding("before_in_other_unit"),)),)
    return tuple(_looks(_counted(changes), changes))


def looks_first(after: Calibration) -> tuple[Advice, ...]:
    """Return what to look at whatever the verdict: what turns a needle that fell on the road test."""
    from speedcal.vehicle.advised.first_steps import after_falls

    return after_falls(after)


def _counted(changes: Sequence[ChangeCheck]) -> list[Finding]:
    """Return the gears that would explain a change other than planned; none where one that came out would as well.

    What came out of a pair is known by what the job says, what went in was in somebody's hand.
    """
    fitting = [cause.what for change in changes for cause in change.causes if cause.fits]
    came_out = any(what.code == "cause_old_gear" for what in fitting)
    return [] if came_out else [what for what in fitting if what.code == "cause_gear"]


def _looks(counted: Sequence[Finding], changes: Sequence[ChangeCheck]) -> list[Advice]:
    """Return what to look at where the change is not the planned one: the gear that fits it, else what was done."""
    why = tuple(_in_short(change) for change in changes if not change.agrees)[:1]
    looks = []
    for what in counted:
        teeth = what.values["teeth"]
        came_out = what.values["came_out"]
        if_not = Finding("count_decides", teeth=teeth, planned=what.values["planned"], came_out=came_out)
        looks.append(Advice("check_count", part=what.values["gear"], value=teeth, unit="teeth", because=(*why, if_not)))
    odd = [change for change in changes if not change.agrees and abs(change.excess - 1) > _ODD]
    if looks or not odd or any(finding.code == "needle_moved" for change in odd for finding in change.findings):
        return looks
    old = tuple(cause.what for change in odd for cause in change.causes if cause.what.code == "cause_old_gear")
    return [Advice("check_count", part="work", because=(*why, *old[:1]))]


def _in_short(change: ChangeCheck) -> Finding:
    values: dict[str, Any] = {"planned": change.planned, "measured": change.measured_change}
    return Finding("changed_otherwise", quantity=change.quantity, **values)


def _in_range(what: Finding) -> list[Advice]:
    """Return the look at the range of one drive, and that drive once more."""
    again = Advice("drive_again", part=what.values["phase"], because=(Finding("one_range_throughout"),))
    return [Advice("check_count", part="range", because=(what,)), again]


def _about_files(cause: Cause) -> list[Advice]:
    if cause.what.code == "cause_range":
        return _in_range(cause.what)
    why = cause.what.values.get("why")
    if why == "unchanged":
        return [Advice("check_files", part="after", because=(cause.what,)), Advice("check_count", part="work")]
    return [Advice("set_unit", part="after", value=_TAKEN_FOR[why], because=(cause.what,))] if why in _TAKEN_FOR else []


def _fitted(vehicle: Vehicle | None, work: Work | None, counted: Sequence[Finding]) -> Vehicle:
    """Return the vehicle as it was during the drive after: as planned, or with the gear that the drive stands for."""
    from speedcal.vehicle import Vehicle as AnyVehicle
    from speedcal.vehicle.forward import vehicle_after

    now = vehicle or AnyVehicle()
    if work is not None:
        now = vehicle_after(now, work)
    for found in counted:
        now = replace(now, **{found.values["gear"]: found.values["teeth"]})
    return now


def _undone(
    before: Calibration | None, rule: Tolerance, vehicle: Vehicle | None, work: Work | None, speeds: Sequence[float]
) -> StateBefore | None:
    """Return what undoing the work leads back to, for a rule on the speed shown."""
    from speedcal.vehicle import Vehicle as AnyVehicle
    from speedcal.vehicle.before_work import state_before

    if before is None or work is None or work.instrument_repaired or rule.quantity == "distance":
        return None
    return state_before(before, vehicle or AnyVehicle(), work, speeds=speeds, limits=rule.for_choices)


def _asked_by(
    after: Calibration, rule: Tolerance, vehicle: Vehicle, speeds: Sequence[float], undone: StateBefore | None
) -> tuple[Advice, ...]:
    """Return what the drive after asks for to be changed, and what undoing the work would do."""
    from speedcal.vehicle import diagnose
    from speedcal.vehicle.corrections import correct_diagnosed

    wrong = diagnose(after, vehicle)
    found = correct_diagnosed(
        after,
        vehicle,
        wrong,
        speeds=None if rule.quantity == "distance" else speeds,
        limits=rule.for_choices,
        may_keep=False,
        before=undone,
    )
    vague = found.advice[: next((i for i, e in enumerate(found.advice) if e.action not in WITHOUT_WORK), None)]
    return tuple(e for e in found.advice if e.action not in _NO_HELP or e in vague)
