"""What to do after a road test that is no pass: from both drives, the first thing on top."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import TYPE_CHECKING, Any

from speedcal.conformity.after_repair import after_repair
from speedcal.conformity.change import ChangeCheck
from speedcal.conformity.odd_change import fitting_causes, gears_counted, looks_at, looks_at_files
from speedcal.conformity.same_state import kept_by_both
from speedcal.conformity.tolerance import Tolerance
from speedcal.conformity.where_it_judges import drive_there
from speedcal.finding import Finding
from speedcal.units import SPEED_UNIT_MPS
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
_MOVED_MPS = 1.0
"""A needle that moved so far between two drives was moved; it is set back before more is driven. Our own judgment."""
_OUTSIDE = ("fit_driven_gear", "set_module", "set_pulse_scaler")
"""Work that is done from outside, or typed in."""
_NO_HELP = ("keep_as_is", "drive_again")
"""Advice that a drive may ask for, but not one that has failed, or that sits on a limit."""


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
    test = _RoadTest(
        before=before,
        after=after,
        rule=rule,
        vehicle=vehicle,
        work=work,
        changes=tuple(changes),
        findings=tuple(findings),
        speeds=tuple(v / SPEED_UNIT_MPS[after.unit] for v in judged_mps if v > 0),
        as_it_is=as_it_is,
    )
    if elsewhere := looks_at_files(changes) or drive_there(before, after, rule, findings, judged_mps):
        return tuple(elsewhere)
    looks = looks_at(changes)
    asked = () if test.is_of_distance else _how_rounded(after)
    first = [*looks, *asked, *drives_apart(after, "after")]
    if any(found.code == "odometer_not_read" for found in findings):
        return (*first, read_odometer())
    if test.is_likely and test.driving:
        sticking = _sticking(test)
        moved = [] if sticking else _set_over(test)
        return (*sticking, *first, *(moved or map(_drive, test.driving)))
    if as_it_is and not changes and test.is_kept_by_both:
        return (*first, Advice("drive_again", part="readings", because=(Finding("too_uncertain"),)))
    return (*first, *_work_on(test, looks))


@dataclass(frozen=True)
class _RoadTest:
    """A road test that is no pass, and what its two drives say together."""

    before: Calibration | None
    after: Calibration
    rule: Tolerance
    vehicle: Vehicle | None
    work: Work | None
    changes: tuple[ChangeCheck, ...]
    findings: tuple[Finding, ...]
    speeds: tuple[float, ...]
    as_it_is: float

    @property
    def is_of_distance(self) -> bool:
        return self.rule.quantity == "distance"

    @property
    def is_likely(self) -> bool:
        return self.as_it_is > LIKELY

    @property
    def is_as_planned(self) -> bool:
        return all(change.agrees for change in self.changes)

    @property
    def is_kept_by_both(self) -> bool:
        drives = (self.before, self.after)
        return kept_by_both(*drives, self.rule, vehicle=self.vehicle, work=self.work, speeds=self.speeds)

    @property
    def driving(self) -> list[Finding]:
        """What says that driving settles it."""
        return [found for found in self.findings if found.code in _MORE_DRIVING]

    @cached_property
    def counted(self) -> list[Finding]:
        return gears_counted(self.changes)

    @cached_property
    def fitted(self) -> Vehicle:
        """The vehicle as it was during the drive after: as planned, or with the gear that the drive stands for."""
        from speedcal.vehicle import Vehicle as AnyVehicle
        from speedcal.vehicle.forward import vehicle_after

        now = self.vehicle or AnyVehicle()
        if self.work is not None:
            now = vehicle_after(now, self.work)
        for found in self.counted:
            now = replace(now, **{found.values["gear"]: found.values["teeth"]})
        return now


def _work_on(test: _RoadTest, looks: Sequence[Advice]) -> list[Advice]:
    """Return what the drive after asks to be changed, beside what is looked at already."""
    undone = _undone(test) if test.counted or test.is_as_planned else None  # else undoing leads elsewhere
    asked = after_repair(_asked_by(test, undone), test.after, test.rule, test.fitted, test.work, test.speeds)
    fits_gear = test.work is not None and test.work.driven_gear is not None
    looked_at = {look.part for look in looks}  # and not once more
    if "work" in looked_at or (fits_gear and test.is_as_planned):
        looked_at.add("driven_gear")  # the one just fitted is looked at, or did what its teeth do
    asked = tuple(entry for entry in asked if entry.action != "check_count" or entry.part not in looked_at)
    if test.counted:
        so = Finding("if_so_counted", teeth=test.counted[0].values["teeth"])
        asked = tuple(replace(e, because=(*e.because, so)) if _is_new_part(e) else e for e in asked)
    if test.is_likely:
        taken_out = test.vehicle.driven_gear if test.vehicle and fits_gear else None
        return _with_left_open(asked, test.findings, test.as_it_is, taken_out=taken_out)
    if not asked:
        return [_drive(found) for found in test.driving]
    is_driven = any(entry.action == "drive_again" for entry in asked)
    return [*asked, *([] if looks or is_driven else _if_it_must_stay(test.driving, test.as_it_is))]


def _how_rounded(after: Calibration) -> list[Advice]:
    """Return the question how coarse readings were rounded: an answer costs nothing and may settle it.

    Of several drives with the same step it is asked once, without the number of a drive.
    """
    each: dict[float, dict[str, Any]] = {}
    for values in (dict(found.values) for found in after.findings if found.code == "nearest_mark_taken"):
        if values["step_mps"] in each:
            values.pop("of_drive", None)
        each[values["step_mps"]] = values
    asked = (Finding("rounded_or_held", **values) for values in each.values())
    return [Advice("measure_fact", part="rounding", because=(why,)) for why in asked]


def _is_new_part(entry: Advice) -> bool:
    return entry.action.startswith("fit_") and "as_before" not in entry.codes


def _sticking(test: _RoadTest) -> list[Advice]:
    """Return the repair of a needle that sticks by one of the drives: what it shows hangs on how a speed is reached."""
    from speedcal.vehicle import Vehicle as AnyVehicle
    from speedcal.vehicle import diagnose

    if test.is_of_distance:
        return []
    work = test.work
    is_repaired = work is not None and bool(work.note or work.instrument_repaired)  # a note may tell of it as well
    drives = [test.after] if test.before is None or is_repaired else [test.before, test.after]
    found = [item for drive in drives for item in diagnose(drive, test.vehicle or AnyVehicle()).hypotheses]
    chance = max((item.probability for item in found if item.code == "needle_sticks"), default=0.0)
    if chance < STICKS:
        return []
    return [Advice("repair_instrument", part="instrument", because=(Finding("needle_sticks_yet", chance=chance),))]


def _set_over(test: _RoadTest) -> list[Advice]:
    """Return setting the needle back where the work moved it: a drive would prove what nobody wants to keep."""
    shifts = [what.values["shift_mps"] for what in fitting_causes(test.changes) if what.code == "cause_needle"]
    if test.counted or not shifts or abs(shifts[0]) < _MOVED_MPS:
        return []
    return [entry for entry in _asked_by(test, None) if entry.action == "reseat_needle"]


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


def _undone(test: _RoadTest) -> StateBefore | None:
    """Return what undoing the work leads back to, for a rule on the speed shown."""
    from speedcal.vehicle import Vehicle as AnyVehicle
    from speedcal.vehicle.before_work import state_before

    before, work = test.before, test.work
    if before is None or work is None or work.instrument_repaired or test.is_of_distance:
        return None
    vehicle = test.vehicle or AnyVehicle()
    return state_before(before, vehicle, work, speeds=test.speeds, limits=test.rule.for_choices)


def _asked_by(test: _RoadTest, undone: StateBefore | None) -> tuple[Advice, ...]:
    """Return what the drive after asks for to be changed, and what undoing the work would do."""
    from speedcal.vehicle import diagnose
    from speedcal.vehicle.corrections import correct_diagnosed

    found = correct_diagnosed(
        test.after,
        test.fitted,
        diagnose(test.after, test.fitted),
        speeds=None if test.is_of_distance else test.speeds,
        limits=test.rule.for_choices,
        may_keep=False,
        before=undone,
    )
    vague = found.advice[: next((i for i, e in enumerate(found.advice) if e.action not in WITHOUT_WORK), None)]
    return tuple(e for e in found.advice if e.action not in _NO_HELP or e in vague)
