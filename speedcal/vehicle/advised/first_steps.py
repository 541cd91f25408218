"""What comes before any part is ordered: files, a unit or a count to be put right, an instrument to be repaired."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from speedcal.calibration.result import Calibration
from speedcal.finding import Finding
from speedcal.vehicle.advised.advice import Advice
from speedcal.vehicle.advised.outlook import Outlook
from speedcal.vehicle.advised.plans import LIKELY
from speedcal.vehicle.advised.righting import GROW_WITH_THE_COUNT, righting_gain, turning_gain
from speedcal.vehicle.diagnosed.diagnosis import Diagnosis
from speedcal.vehicle.drivetrain import gears_swapped
from speedcal.vehicle.judged.judge import SURE_ENOUGH
from speedcal.vehicle.train.parts import PER_DISTANCE

_RANGE = 0.25
"""Chance of the other range from which on somebody is asked which it was. Our own judgment."""
STICKS = 0.8
"""Chance of a needle that sticks from which on an instrument is opened for it that likely complies, or whose error
parts explain. Our own judgment; at one half sound ones are, by notes."""
WORTH_A_LOOK = 0.1
"""Chance of another gear or box than stated from which on it is counted before a part is ordered by it."""
_STRANGE = frozenset(
    {
        "large_scatter",
        "loosely_followed",
        "two_readers",
        "two_scales",
        "gps_among_readings",
        "many_wrong",
        "wrong_together",
        "dial_changed",
        "dial_changes",
        "log_strays",
    }
)
"""Doubts about the readings that come before any part."""
_FALLEN = ("needle_down", "needle_falls")
_NEARLY_RIGHT = 0.5
"""An odometer off by less than this share of the dial's error, and of what a gear for the dial would leave it off by,
is turned nearly right: the instrument is repaired first. Our own judgment."""
_UP_AND_DOWN = Advice("drive_again", part="readings", because=(Finding("may_stick"),))
_IF_SHOWN_AGAIN = Advice("measure_fact", part="bench", because=(Finding("if_shown_again"),))
_SIX_FOR_FOUR, _NEAR_SIX_FOR_FOUR = 1.5, 0.08
"""What a sensor with six pulses in place of four does, or the reverse, and the logarithm by which a dial with its own
error may be away from it. Common practice, no source."""


def first_steps(outlook: Outlook) -> list[Advice]:
    """Return what comes before any part: files, a unit, a count of pulses or teeth that must be right first."""
    diagnosis = outlook.diagnosis
    top = diagnosis.top if diagnosis else None
    if doubts := _doubts(outlook):
        return doubts
    if (dial_right := _only_odometer_is_off(outlook)) is not None:
        return [Advice("repair_instrument", part="odometer", because=(dial_right,))]
    if diagnosis is None:
        return []
    if top is None:
        return _read_odometer(outlook)
    gain = righting_gain(diagnosis, outlook.judge.dial.line.error_factor)
    if top.code in ("wrong_unit", "other_scale") and gain is not None:
        because = _number_in_module(outlook, top.code, gain) or _if_it_stays(outlook, top.code)
        because = (*outlook.causes, *_sixes_for_fours(outlook), *because)
        part = "instrument" if diagnosis.is_scale_known else "unit"
        return [Advice("set_unit", part=part, value=outlook.judge.unit, because=because)]
    if top.code == "pulse_count" and gain is not None:
        because = (*outlook.causes, Finding("pulses_times"), *_if_it_stays(outlook, top.code))
        return [Advice("check_count", part="pulses", value=1 / gain, unit="times", because=because)]
    if top.code == "other_range" and (look := _look_at_range(outlook)):
        return [*look, Advice("drive_again", part="readings", because=(Finding("one_range_throughout"),))]
    first = [] if outlook.judge.is_of_odometer else _instrument_first(outlook, diagnosis, top.code)
    return [*_read_odometer(outlook), *(first or _count_first(outlook, diagnosis))]


def _read_odometer(outlook: Outlook) -> list[Advice]:
    """Return reading the odometer, where a rule is about it and the drive tells of it by the needle alone."""
    judge = outlook.judge
    return [read_odometer()] if judge.is_of_odometer and judge.odometer_factor is None else []


def read_odometer() -> Advice:
    """Return driving again with the odometer noted at both ends."""
    return Advice("drive_again", part="odometer", because=(Finding("odometer_not_read"),))


def _instrument_first(outlook: Outlook, diagnosis: Diagnosis, fault: str) -> list[Advice]:
    """Return the repair of an instrument that no part puts right; empty where parts come first."""
    if not _likely_stays(outlook) and (right := _odometer_is_right(outlook)):
        return [Advice("repair_instrument", part="instrument", because=(*outlook.causes, right))]
    has_parts = diagnosis.top is not None and diagnosis.top.group == "drivetrain"
    if _is_likely(diagnosis, "needle_sticks", STICKS if has_parts else LIKELY) and not _likely_stays(outlook):
        fault = "needle_sticks"  # parts figured from its readings would be figured wrong, and would not cure it
    if _is_likely(diagnosis, "dial_bent") and not _bend_may_stay(outlook):
        fault = "dial_bent"
    if fault in ("needle_sticks", "dial_bent") and not _keeps(outlook, fault):
        reasons = (*outlook.causes, Finding("no_part_cures", cause=fault), *_parts_off_as_well(diagnosis))
        return [Advice("repair_instrument", part="instrument", because=reasons)]
    return []


def _parts_off_as_well(diagnosis: Diagnosis) -> tuple[Finding, ...]:
    """Return that the parts are likely off beside the instrument: the repair alone will not put it right."""
    parts = [item for item in diagnosis.hypotheses if item.group == "drivetrain" and item.probability > LIKELY]
    return tuple(Finding("parts_off_as_well", cause=item.code, chance=item.probability) for item in parts[:1])


def _doubts(outlook: Outlook) -> list[Advice]:
    """Return what to do about readings that may not be of this dial on this drive."""
    top = outlook.diagnosis.top if outlook.diagnosis else None
    reasons = outlook.trust.reasons if outlook.trust else ()
    if rounded := tuple(reason for reason in reasons if reason.code == "rounded_down"):
        return [Advice("check_files", part="readings", because=rounded)]  # one answer may spare a good needle
    if top is not None and top.group == "readings":
        doubts = [reason for reason in reasons if reason.code in _STRANGE]
        files = Advice("check_files", part="readings", because=(*outlook.causes, *doubts))
        return [*_look_at_range(outlook), files, *_may_jump(outlook), _UP_AND_DOWN, _IF_SHOWN_AGAIN]
    gain = righting_gain(outlook.diagnosis, outlook.judge.dial.line.error_factor)
    strange = _STRANGE - (frozenset() if gain is None else GROW_WITH_THE_COUNT)
    if outlook.trust and not strange.isdisjoint(outlook.trust.codes) and (top is None or top.group != "dial"):
        files = Advice("check_files", part="readings", because=outlook.trust.reasons)
        return [*_look_at_range(outlook), files, *_may_jump(outlook), _UP_AND_DOWN, _IF_SHOWN_AGAIN]
    return []


def _sixes_for_fours(outlook: Outlook) -> tuple[Finding, ...]:
    """Return that a sensor of another count makes nearly the error of a mixed-up unit, where it may be that."""
    away = abs(abs(np.log(outlook.judge.dial.line.error_factor)) - np.log(_SIX_FOR_FOUR))
    return (Finding("sixes_for_fours"),) if outlook.vehicle.expects_pulses and away < _NEAR_SIX_FOR_FOUR else ()


def _number_in_module(outlook: Outlook, cause: str, gain: float) -> tuple[Finding, ...]:
    """Return what the number in a module would be in the other unit, where it may be that which is mixed up."""
    if cause != "wrong_unit":
        return ()
    per_distance = [s for s in outlook.vehicle.settings if s.kind in PER_DISTANCE and s.now is not None]
    return tuple(
        Finding("number_of_other_unit", kind=s.kind, now=s.now, then=s.nearest(s.now * gain**s.power))
        for s in per_distance
        if s.now is not None
    )


def _if_it_stays(outlook: Outlook, cause: str) -> tuple[Finding, ...]:
    """Return what would put all of it right, where a look shows that nothing is mixed up or nothing can be changed."""
    for choices in outlook.lists.values():
        fit = [c for c in choices if c.available is not False and outlook.judge.expected_within(c.gain)]
        if fit:
            best = min(fit, key=lambda choice: choice.worst_error_percent)
            return (Finding("if_it_stays", cause=cause, what=best.what, percent=best.worst_error_percent),)
    return ()


def _may_jump(outlook: Outlook) -> tuple[Advice, ...]:
    """Return the look at what else makes readings seem foreign: there may be a cable where no pulses are counted."""
    vehicle = outlook.vehicle
    counts = vehicle.settings or vehicle.pulse_scaler is not None or vehicle.pulses_per_turn is not None
    return () if counts else (_look_at_needle_drive(Finding("may_jump")),)


def _look_at_needle_drive(why: Finding) -> Advice:
    """Return the look at gear, cable and sensor: what loses turns, or pulses, on the way to the needle."""
    return Advice("check_count", part="needle_drive", because=(why,))


def after_falls(calibration: Calibration) -> tuple[Advice, ...]:
    """Return the look that comes before all else where the needle fell on the drive."""
    findings = (*calibration.trust.reasons, *calibration.findings)
    why = (
        Finding("needle_stays_down") if found.code == "needle_down" else found
        for found in findings
        if found.code in _FALLEN
    )
    return tuple(map(_look_at_needle_drive, why))[:1]


def _look_at_range(outlook: Outlook) -> list[Advice]:
    """Return the look at the range of axle or transfer case, where there are two and the drive may be of the other."""
    found = outlook.diagnosis.hypotheses if outlook.diagnosis else ()
    chance = next((item.probability for item in found if item.code == "other_range"), 0.0)
    if chance < _RANGE:
        return []
    cause = Finding("likely_cause", cause="other_range", chance=chance)
    return [Advice("check_count", part="range", because=(cause,))]


def _is_likely(diagnosis: Diagnosis, cause: str, chance: float = LIKELY) -> bool:
    """Tell whether a cause is likely, though parts that hardly matter beside it may be likelier still."""
    return any(item.code == cause and item.probability > chance for item in diagnosis.hypotheses)


def spared_gears(outlook: Outlook) -> Finding | None:
    """Return that the odometer, and with it the drive, is right, where the dial may stay: no gear is for its error."""
    return _odometer_is_right(outlook) if _likely_stays(outlook) else None


def _likely_stays(outlook: Outlook) -> bool:
    return outlook.judge.probability_within(outlook.keep.gain) > LIKELY


def _odometer_is_right(outlook: Outlook) -> Finding | None:
    """Return that the odometer, and with it the drive, is right while the dial, by its own fault, is not."""
    judge, odometer = outlook.judge, outlook.judge.odometer_factor
    if odometer is None or outlook.diagnosis is None or not _is_likely(outlook.diagnosis, "dial_gain"):
        return None
    off, gain = 100 * (odometer.value - 1), judge.expected_ideal
    then = 100 * (gain * odometer.value - 1)
    if abs(off) <= judge.acceptable_percent:
        return Finding("odometer_is_right", percent=off, then_percent=then)
    if abs(off) < _NEARLY_RIGHT * min(abs(then), outlook.keep.worst_error_percent):
        return Finding("odometer_is_nearly_right", percent=off, then_percent=then)
    if abs(then) > abs(off) + judge.acceptable_percent:
        return Finding("odometer_gets_worse", percent=off, then_percent=then)
    return None


def _only_odometer_is_off(outlook: Outlook) -> Finding | None:
    """Return that the dial's scale is right and the odometer, which the job is about, is not.

    Then its own gears are at fault, and where the needle sits is another matter.
    """
    judge, odometer = outlook.judge, outlook.judge.odometer_factor
    if odometer is None or judge.criterion != "odometer first":
        return None
    share, scale = judge.acceptable_percent / 100, judge.dial.line.error_factor
    if abs(scale - 1) > share or (odometer.low <= 1 + share and odometer.high >= 1 - share):
        return None
    then = scale / odometer.value
    return Finding("dial_is_right", odometer_percent=100 * (odometer.value - 1), then_percent=100 * (then - 1))


def _keeps(outlook: Outlook, cause: str) -> bool:
    """Tell whether an instrument with this fault may stay: hardly bent, or within the limits all the same."""
    judge, gain = outlook.judge, outlook.keep.gain
    return cause == "dial_bent" and (judge.dial.shape != "bent" or judge.probability_proven(gain) > LIKELY)


def _bend_may_stay(outlook: Outlook) -> bool:
    """Tell whether some part surely leaves little enough of a bend: one that hides most of it wrongs the odometer."""
    judge = outlook.judge
    if 100 * judge.unavoidable_error() <= judge.acceptable_percent:
        return True
    real = [choice for choices in outlook.lists.values() for choice in choices if choice.can_be_fitted]
    return any(choice.probability_passes >= SURE_ENOUGH for choice in real)


def _count_first(outlook: Outlook, diagnosis: Diagnosis) -> list[Advice]:
    """Return the look that must come before a part is ordered by what is thought to be fitted."""
    chance = {item.code: item.probability for item in diagnosis.hypotheses}
    vehicle = outlook.vehicle
    if swapped := gears_swapped(vehicle, outlook.judge.dial.line.error_factor):
        return [Advice("check_count", part="gears", because=tuple(swapped))]
    found = _look_at_range(outlook)
    found += [Advice("check_count", part=told.values["gear"], because=(told,)) for told in outlook.teeth.findings]
    if vehicle.ratio_box is not None and chance.get("transfer_ratio", 0.0) > WORTH_A_LOOK:
        gain = turning_gain(diagnosis, vehicle, outlook.judge.dial.line.error_factor)
        stays = () if gain is None else _if_it_stays(outlook, "transfer_ratio")
        why = (Finding("box_may_be_turned"), *stays)
        found.append(Advice("check_count", part="ratio_box", value=gain, unit="times" if gain else None, because=why))
    if vehicle.driven_gear is not None and chance.get("gears", 0.0) > WORTH_A_LOOK:
        reasons = [Finding("teeth_as_stated", teeth=vehicle.driven_gear, chance=chance["gears"])]
        if vehicle.family is not None and (range_down := vehicle.family.orientation(vehicle.driven_gear)):
            reasons.append(Finding("housing_at_the_count", teeth=vehicle.driven_gear, range=range_down))
        found.append(Advice("check_count", part="driven_gear", because=tuple(reasons)))
    return found


def meanwhile(first: Sequence[Advice]) -> tuple[Advice, ...]:
    """Return what helps the driver of a dial that waits for its repair; a needle that sticks has no card."""
    bent = any(why.values.get("cause") == "dial_bent" for entry in first for why in entry.because)
    return (Advice("use_correction_card", part="card", because=(Finding("until_repaired"),)),) if bent else ()
