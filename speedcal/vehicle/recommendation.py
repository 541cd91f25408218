"""What to do first: the fewest changes that put the instrument right, by their chance of passing and their work."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from speedcal.finding import Finding, Trust
from speedcal.units import KMH_MPS, MILE_M, MPH_MPS, SPEED_UNIT_MPS
from speedcal.vehicle.advice import Action, Advice
from speedcal.vehicle.diagnosis import Diagnosis
from speedcal.vehicle.options import FittedTeeth
from speedcal.vehicle.parts import WRONG_PULSES
from speedcal.vehicle.ranking import SURE_ENOUGH, Choice, Judge
from speedcal.vehicle.vehicle import Vehicle

_WORK = {
    "keep": 0,
    "setting": 1,
    "pulse_scaler": 1,
    "driven_gear": 2,
    "ratio_box": 3,
    "needle": 4,
    "drive_gear": 6,
    "pair": 7,
}
"""How much work each kind of change is, in order only: a number typed in, a gear on the cable's end, a box in the
cable, the instrument opened, the transmission opened. Common practice, no source."""
_ACTIONS: dict[str, Action] = {
    "keep": "keep_as_is",
    "setting": "set_module",
    "pulse_scaler": "set_pulse_scaler",
    "driven_gear": "fit_driven_gear",
    "ratio_box": "fit_ratio_box",
    "drive_gear": "fit_drive_gear",
    "pair": "fit_gear_pair",
}
_LISTED = {"setting": "settings", "pair": "pairs"}
"""Kind of choice to its list, where the two are called otherwise."""
_SAME_CHANCE = 0.04
"""Chances of passing that differ by less are alike; then the lesser work decides."""
_WORTH_A_STEP = 0.01
"""Chance of passing that each step of work must bring beside."""
_MAY_PASS = 0.1
"""Chances from this to one half are alike too: nobody opens a transmission on a hope."""
_WORTH_WORK_PERCENT = 4.0
"""An error that is smaller by so much is worth the work, where a rule would let the larger one pass too."""
_DRIVE_PERCENT = 12.0
"""An error of the reading that weighs as much as one more road test. Our own judgment; halved, a gear that leaves 4 %
gives way to one that leaves 9 % when a road test of one sheet proves the first in half of all cases."""
_LIKELY, _GOOD_CHANCE = 0.5, 0.9
"""More likely than not; and enough to leave everything as it is. Our own judgment."""
_WORTH_A_LOOK = 0.1
"""Chance of another gear or box than stated from which on it is counted before a part is ordered by it."""
_STRANGE = frozenset({"large_scatter", "two_readers", "many_wrong", "dial_changes", "log_strays"})
"""Doubts about the readings that come before any part."""
_ALONE = ("repair_instrument", "check_files")
"""What orders no part besides."""
_UNITS = (MILE_M / 1000, 1000 / MILE_M)
_MOST_SHOWN = 5
"""Kinds of work in one list of advice: what a person reads. Our own judgment."""
_NEEDLE_STEP_MPS = {"mph": 0.5 * MPH_MPS, "km/h": KMH_MPS}
"""As finely as a needle can be set on its shaft. Our own judgment."""
_LEAST_NEEDLE_STEPS = 2
"""For less no instrument is opened."""
_NEEDLE_U = 2.0
"""A needle is called off when its offset is so many standard uncertainties, and at least a step, from zero."""
_BETTER = 0.7
"""A change that cannot put the instrument right is still advised when it leaves less than this share of the error."""


@dataclass(frozen=True)
class Outlook:
    """Everything the advice rests on."""

    judge: Judge
    vehicle: Vehicle
    keep: Choice
    lists: Mapping[str, Sequence[Choice]]
    teeth: FittedTeeth
    diagnosis: Diagnosis | None
    measure: Finding | None
    trust: Trust | None
    may_keep: bool
    """False where a road test has told that it cannot stay as it is."""


@dataclass(frozen=True, slots=True)
class _Plan:
    """One change of the drive, the needle set over, or both."""

    choice: Choice
    shift_mps: float
    probability: float
    """Chance of passing the rule."""
    proven: float
    """Chance that a road test will show it."""
    worst_percent: float
    passes: bool

    @property
    def work(self) -> int:
        return _WORK[self.choice.kind] + (_WORK["needle"] if self.shift_mps else 0)

    @property
    def chances(self) -> tuple[int, ...]:
        """Both chances less the price of the work, in steps that matter, the likelier first."""
        return tuple(self._step(chance) for chance in (self.proven, self.probability))

    def _step(self, chance: float) -> int:
        if chance < _LIKELY:
            return -int(chance >= _MAY_PASS)
        return -max(round((min(chance, SURE_ENOUGH) - _WORTH_A_STEP * self.work) / _SAME_CHANCE), 2)


def advise(outlook: Outlook) -> tuple[Advice, ...]:
    """Return what to do, the first on top."""
    if outlook.vehicle.tachograph:
        return (Advice("repair_instrument", part="tachograph", because=(Finding("approved_workshop_only"),)),)
    first = _from_diagnosis(outlook)
    if righting_gain(outlook.diagnosis, outlook.judge.dial.line.error_factor) is not None or (
        first and first[0].action in _ALONE
    ):
        return (*first, *_meanwhile(first))
    plans = _plans(outlook)
    if not plans:
        return (*first, *_find_out(outlook))
    plans = [_nearer_to_true(outlook, plan) for plan in _in_order(plans)]
    best = plans[0]
    entries = [*first, *_entries(outlook, best, plans)]
    if not any(plan.passes for plan in plans):
        entries += _beyond_parts(outlook, best)
    elif best.probability < _LIKELY:
        entries.append(_drive_again(outlook))
    shown = [best.choice.kind]
    for plan in plans:
        if plan.choice.kind in shown or plan.shift_mps or plan.choice.kind == "keep" or len(shown) >= _MOST_SHOWN:
            continue
        if _worth_showing(plan, best, outlook.keep) and not any(_no_worse(other, plan) for other in plans):
            shown.append(plan.choice.kind)
            instead = Finding("instead_of_the_first", kind=best.choice.kind, needle=bool(best.shift_mps))
            entries.append(_entry(outlook, plan, (instead,)))
    if outlook.measure is not None:
        entries.append(
            Advice(
                "measure_fact",
                part=outlook.measure.values["part"],
                probability=outlook.measure.values["chance_then"],
                because=(outlook.measure,),
            )
        )
    return tuple(_unique(entries))


def _worth_showing(plan: _Plan, best: _Plan, keep: Choice) -> bool:
    """Tell whether a plan is an alternative to the best: it may pass and leaves little more, or it leaves far less."""
    far_less = plan.worst_percent < _BETTER * keep.worst_error_percent
    if best.choice.kind == "keep" and best.probability > _GOOD_CHANCE:
        return far_less
    return far_less or (plan.probability > 0.05 and plan.worst_percent < best.worst_percent + _WORTH_WORK_PERCENT)


def _no_worse(plan: _Plan, other: _Plan) -> bool:
    """Tell whether a plan is less work than another, passes no less likely, and leaves hardly more."""
    return (
        0 < plan.work < other.work
        and plan.worst_percent <= other.worst_percent + _WORTH_WORK_PERCENT
        and plan.probability >= other.probability - _SAME_CHANCE
    )


def _meanwhile(first: Sequence[Advice]) -> tuple[Advice, ...]:
    """Return what helps the driver of a dial that waits for its repair; a needle that sticks has no card."""
    bent = any(why.values.get("cause") == "dial_bent" for entry in first for why in entry.because)
    return (Advice("use_correction_card", part="card", because=(Finding("until_repaired"),)),) if bent else ()


def righting_gain(diagnosis: Diagnosis | None, error_factor: float) -> float | None:
    """Return the inverse of a wrong unit or pulse count; None where there is none or it would not help."""
    top = diagnosis.top if diagnosis else None
    if top is None or top.group != "pulses_or_unit" or top.probability < _LIKELY:
        return None
    ratios = WRONG_PULSES if top.code == "pulse_count" else _UNITS
    gain = 1 / min(ratios, key=lambda ratio: abs(np.log(top.factor / ratio)))
    return gain if abs(np.log(error_factor * gain)) < abs(np.log(error_factor)) else None


def _unique(entries: Sequence[Advice]) -> list[Advice]:
    return list({(entry.action, entry.part, str(entry.value)): entry for entry in reversed(entries)}.values())[::-1]


def _plans(outlook: Outlook) -> list[_Plan]:
    """Return every change worth thinking of: the likeliest of each kind to pass, alone and with the needle set over."""
    judge = outlook.judge
    candidates = [outlook.keep] if outlook.keep.is_fitted else []
    by_slope = list(candidates)  # with the needle set over, the slope is what a gear has to put right
    for choices in outlook.lists.values():
        real = [c for c in choices if c.available is not False and not c.is_fitted]
        if real:
            candidates.append(_likeliest(judge, real))
            by_slope.append(min(real, key=lambda c: abs(c.gain * judge.dial.line.error_factor - 1)))
    plans = [_plan(judge, choice) for choice in candidates if outlook.may_keep or choice.kind != "keep"]
    has_parts = any(plan.choice.kind != "keep" for plan in plans)
    plans += [plan for c in by_slope for plan in _with_needle(judge, c)] if _needle_is_off(judge) else []
    return plans if has_parts or any(plan.passes for plan in plans) else []


def _in_order(plans: Sequence[_Plan]) -> list[_Plan]:
    """Return the plans by their chances; of those alike the lesser work, unless it leaves far more of the error."""
    likeliest = min(plan.chances for plan in plans)
    least = min(plan.worst_percent for plan in plans if plan.chances == likeliest)
    return sorted(
        plans, key=lambda p: (p.chances, p.worst_percent > least + _WORTH_WORK_PERCENT, p.work, p.worst_percent)
    )


def _likeliest(judge: Judge, choices: Sequence[Choice]) -> Choice:
    """Return the choice that a road test will likeliest show to keep the rule; of those alike the smallest error."""
    most = max(choice.probability_passes for choice in choices)
    worth = [choice for choice in choices if choice.probability_passes > most - 0.5]
    proven = {id(c): min(judge.probability_proven(c.gain), SURE_ENOUGH) for c in worth}
    return min(worth, key=lambda c: (-round(proven[id(c)], 2), -round(c.probability_passes, 2), judge.loss(c.gain)))


def _nearer_to_true(outlook: Outlook, plan: _Plan) -> _Plan:
    """Return the plan with the gear of its kind that leaves least, among those that pass nearly surely.

    A gear far from the limits of a rule is proven by a short road test; what it leaves stays for good.
    """
    judge, kind = outlook.judge, plan.choice.kind
    if judge.limits is None or plan.shift_mps or kind == "keep":
        return plan
    sure = [
        _plan(judge, choice)
        for choice in outlook.lists[_LISTED.get(kind, kind)]
        if choice.available is not False and not choice.is_fitted and choice.probability_passes >= SURE_ENOUGH
    ]
    return min([plan, *sure], key=lambda p: p.worst_percent + _DRIVE_PERCENT * (1 - min(p.proven, SURE_ENOUGH)))


def _plan(judge: Judge, choice: Choice, shift_mps: float = 0.0) -> _Plan:
    within = judge.probability_within(choice.gain, shift_mps)
    untouched = choice.kind == "keep" and not shift_mps  # the drive that was made is its road test
    return _Plan(
        choice,
        shift_mps,
        within,
        within if untouched else judge.probability_proven(choice.gain, shift_mps),
        100 * judge.worst_error(choice.gain, shift_mps),
        judge.expected_within(choice.gain, shift_mps),
    )


def _needle_is_off(judge: Judge) -> bool:
    line = judge.dial.line
    u = float(np.sqrt(line.covariance[0, 0]))
    return abs(line.offset_mps) > max(_NEEDLE_U * u, _NEEDLE_STEP_MPS[judge.unit])


def _with_needle(judge: Judge, choice: Choice) -> list[_Plan]:
    """Return the choice together with the needle set over by the offset, in steps a person can set."""
    step = _NEEDLE_STEP_MPS[judge.unit]
    middle = -judge.dial.line.offset_mps
    shifts = step * np.unique(np.round(np.linspace(middle - 4 * step, middle + 4 * step, 17) / step))
    least = (_LEAST_NEEDLE_STEPS - 0.5) * step
    shifts = shifts[shifts * np.sign(middle) > least]  # never away from the peg it has left
    if not len(shifts):
        return []
    return [_plan(judge, choice, judge.best_shift(choice.gain, shifts))]


def _entries(outlook: Outlook, best: _Plan, plans: Sequence[_Plan]) -> list[Advice]:
    """Return the entries of one plan: what goes together stands together, the gear before the needle."""
    if not best.shift_mps:
        return _with_housing(outlook, _entry(outlook, best))
    needle_only = best.choice.kind == "keep"
    reasons: list[Finding] = [_outcome(outlook, best)]
    if not needle_only:
        other = next((p for p in plans if p.choice.kind == "keep" and p.shift_mps), None)
        reasons.append(Finding("together_with", action=_ACTIONS[best.choice.kind]))
        if other is not None:
            reasons.append(Finding("needle_alone_leaves", percent=other.worst_percent))
    needle = Advice(
        "reseat_needle",
        part="needle",
        value=round(best.shift_mps / SPEED_UNIT_MPS[outlook.judge.unit], 2),
        unit=outlook.judge.unit,
        worst_error_percent=best.worst_percent,
        probability=best.probability,
        because=(reasons[0], *_causes(outlook), *reasons[1:], Finding("instrument_work")),
    )
    if needle_only:
        return [needle]
    gear = _entry(outlook, best, (Finding("together_with", action="reseat_needle"),))
    alone = Finding("gear_alone_leaves", percent=best.choice.worst_error_percent)
    gear = replace(gear, because=(*gear.because, alone))
    return [*_with_housing(outlook, gear), needle]


def _entry(outlook: Outlook, plan: _Plan, because: tuple[Finding, ...] = ()) -> Advice:
    choice = plan.choice
    part, value, unit = _target(choice)
    opens = "opens_hub" if outlook.vehicle.sensor == "wheel" else "opens_transmission"
    cautions = {
        "setting": ("setting_moves_shifts",),
        "pulse_scaler": ("scaler_moves_all",) if outlook.vehicle.settings else (),
        "drive_gear": (opens,),
        "pair": (opens,),
    }.get(choice.kind, ())
    low: tuple[Finding, ...] = ()
    nearest = min(
        outlook.lists.get(_LISTED.get(choice.kind, choice.kind), ()),
        key=lambda c: c.worst_error_percent,
        default=choice,
    )
    if (
        plan.passes
        and not plan.shift_mps
        and outlook.judge.limits is not None
        and nearest.worst_error_percent < choice.worst_error_percent - 0.5
    ):
        low = (Finding("margin_to_the_rule", nearest=nearest.what, percent=nearest.worst_error_percent),)
    if choice.reads_low and not plan.shift_mps:
        low = (Finding("reads_low_by", percent=-choice.lowest_error_percent),)
    causes = () if choice.kind == "keep" and plan.passes else _causes(outlook)
    return Advice(
        _ACTIONS[choice.kind],
        part=part,
        value=value,
        unit=unit,
        worst_error_percent=plan.worst_percent,
        probability=plan.probability,
        because=(_outcome(outlook, plan), *because, *causes, *low, *(Finding(code) for code in cautions)),
    )


def _outcome(outlook: Outlook, plan: _Plan) -> Finding:
    """Return what a plan leaves, and what the chance is a chance of: a named rule, or the job's own limits."""
    untouched = plan.choice.kind == "keep" and not plan.shift_mps
    code = "already_good" if untouched and plan.passes else "puts_right" if plan.passes else "leaves"
    judge = outlook.judge
    own: dict[str, Any] = {}
    if judge.limits is None:
        own = {"within_percent": judge.acceptable_percent, "never_low": judge.criterion == "never reads low"}
    return Finding(code, percent=plan.worst_percent, chance=plan.probability, **own)


def _target(choice: Choice) -> tuple[str | None, float | str | None, str | None]:
    """Return the part, the value and the unit of a choice."""
    parts: dict[str, Any] = dict(choice.parts)
    match choice.kind:
        case "keep":
            return None, None, None
        case "pair":
            return "gears", f"{parts['drive_gear']}/{parts['driven_gear']}", "teeth"
        case "ratio_box":
            return "ratio_box", parts["ratio"], "ratio"
        case "pulse_scaler":
            return "pulse_scaler", parts["fraction"] or parts["scaler"], "ratio"
        case "setting":
            return parts["setting"], parts["value"], None
    return choice.kind, parts["teeth"], "teeth"


def _with_housing(outlook: Outlook, entry: Advice) -> list[Advice]:
    """Return the entry, and the housing to turn with it where the new gear belongs to another range of teeth."""
    family, now = outlook.vehicle.family, outlook.teeth.driven
    if family is None or now is None or entry.action not in ("fit_driven_gear", "fit_gear_pair"):
        return [entry]
    teeth = int(str(entry.value).rpartition("/")[2])
    turned = family.orientation(teeth)
    if turned is None or turned == family.orientation(now):
        return [entry]
    because = (Finding("together_with", action=entry.action), Finding("housing_range", teeth=teeth, range=turned))
    return [entry, replace(entry, action="turn_housing", part="housing", value=turned, because=because)]


def _causes(outlook: Outlook) -> tuple[Finding, ...]:
    top = outlook.diagnosis.top if outlook.diagnosis else None
    return (Finding("likely_cause", cause=top.code, chance=top.probability),) if top else ()


def _from_diagnosis(outlook: Outlook) -> list[Advice]:
    """Return what comes before any part: files, a unit, a count of pulses or teeth that must be right first."""
    diagnosis = outlook.diagnosis
    top = diagnosis.top if diagnosis else None
    if top is not None and top.group == "readings":
        return [Advice("check_files", part="readings", because=_causes(outlook))]
    if outlook.trust and not _STRANGE.isdisjoint(outlook.trust.codes) and (top is None or top.group != "dial"):
        up_and_down = Advice("drive_again", part="readings", because=(Finding("may_stick"),))
        return [Advice("check_files", part="readings", because=outlook.trust.reasons), up_and_down]
    if diagnosis is None or top is None:
        return []
    gain = righting_gain(diagnosis, outlook.judge.dial.line.error_factor)
    if top.code == "wrong_unit" and gain is not None:
        return [Advice("set_unit", part="unit", value=outlook.judge.unit, because=_causes(outlook))]
    if top.code == "pulse_count" and gain is not None:
        because = (*_causes(outlook), Finding("pulses_times", times=1 / gain))
        return [Advice("check_count", part="pulses", value=1 / gain, unit="times", because=because)]
    if top.code in ("needle_sticks", "dial_bent") and not _keeps(outlook, top.code):
        reason = Finding("no_part_cures", cause=top.code)
        return [Advice("repair_instrument", part="instrument", because=(*_causes(outlook), reason))]
    return _count_first(outlook, diagnosis)


def _keeps(outlook: Outlook, cause: str) -> bool:
    """Tell whether an instrument with this fault may stay: hardly bent, or within the limits all the same."""
    judge, gain = outlook.judge, outlook.keep.gain
    return cause == "dial_bent" and (judge.dial.shape != "bent" or judge.probability_proven(gain) > _LIKELY)


def _count_first(outlook: Outlook, diagnosis: Diagnosis) -> list[Advice]:
    """Return the look that must come before a part is ordered by what is thought to be fitted."""
    chance = {item.code: item.probability for item in diagnosis.hypotheses}
    vehicle = outlook.vehicle
    found = []
    if vehicle.ratio_box is not None and chance.get("transfer_ratio", 0.0) > _WORTH_A_LOOK:
        found.append(Advice("check_count", part="ratio_box", because=(Finding("box_may_be_turned"),)))
    if vehicle.driven_gear is not None and chance.get("gears", 0.0) > _WORTH_A_LOOK:
        reasons = [Finding("teeth_as_stated", teeth=vehicle.driven_gear, chance=chance["gears"])]
        if vehicle.family is not None and (range_down := vehicle.family.orientation(vehicle.driven_gear)):
            reasons.append(Finding("housing_at_the_count", teeth=vehicle.driven_gear, range=range_down))
        found.append(Advice("check_count", part="driven_gear", because=tuple(reasons)))
    return found


def _find_out(outlook: Outlook) -> list[Advice]:
    """Return which facts to find out when the job names nothing that could be changed."""
    percent = 100 * (outlook.judge.ideal_gain().value - 1)
    because = (Finding("nothing_to_change", percent=percent), *_causes(outlook))
    first, other = ("settings", "pulse_scaler") if outlook.vehicle.expects_pulses else ("driven_gear", "settings")
    return [
        Advice("measure_fact", part=first, value=round(percent, 2), unit="percent", because=because),
        Advice("measure_fact", part=other, value=round(percent, 2), unit="percent"),
    ]


def _beyond_parts(outlook: Outlook, best: _Plan) -> list[Advice]:
    """Return what helps where no part, setting or needle can put the instrument right."""
    judge = outlook.judge
    left = 100 * judge.unavoidable_error()
    card = Advice(
        "use_correction_card", part="card", because=(Finding("leaves", percent=best.worst_percent, chance=0.0),)
    )
    if left > judge.acceptable_percent:
        reason = Finding("instrument_leaves", percent=left, bent=judge.dial.shape == "bent")
        return [Advice("repair_instrument", part="instrument", because=(reason, *_causes(outlook))), card]
    if outlook.vehicle.has_gear_drive and not outlook.vehicle.ratio_box_teeth:
        steps = Finding("between_two_teeth", percent=best.worst_percent)
        return [Advice("measure_fact", part="ratio_box_teeth", because=(steps,)), card]
    return [card]


def _drive_again(outlook: Outlook) -> Advice:
    reasons = outlook.trust.reasons if outlook.trust else ()
    return Advice("drive_again", part="readings", because=(Finding("too_uncertain"), *reasons))
