"""What to do first: the fewest changes that put the instrument right, by their chance of passing and their work."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

from speedcal.finding import Finding
from speedcal.units import SPEED_UNIT_MPS
from speedcal.vehicle.advice import Action, Advice
from speedcal.vehicle.choice import Choice
from speedcal.vehicle.first_steps import first_steps, meanwhile, righting_gain
from speedcal.vehicle.judge import SURE_ENOUGH
from speedcal.vehicle.outlook import Outlook
from speedcal.vehicle.plans import LIKELY, LISTED, MAY_PASS, SAME_CHANCE, WORTH_WORK_PERCENT, Plan, plans_of

_ACTIONS: dict[str, Action] = {
    "keep": "keep_as_is",
    "setting": "set_module",
    "pulse_scaler": "set_pulse_scaler",
    "driven_gear": "fit_driven_gear",
    "ratio_box": "fit_ratio_box",
    "drive_gear": "fit_drive_gear",
    "pair": "fit_gear_pair",
    "undo": "undo_work",
}
_GOOD_CHANCE = 0.9
"""Chance of passing that is enough to leave everything as it is. Our own judgment."""
_WORTH_SAYING_PERCENT = 1.0
"""An instrument that is right already is offered nothing that leaves less by a smaller part. Our own judgment."""
_ALONE = ("repair_instrument", "check_files")
"""What orders no part besides."""
_TYPED_IN = 1
"""Work of a change that is a number typed in, and nothing opened or fitted."""
_MOST_SHOWN = 5
"""Kinds of work in one list of advice: what a person reads. Our own judgment."""
_BETTER = 0.7
"""A change that cannot put the instrument right is still advised when it leaves less than this share of the error."""


def advise(outlook: Outlook) -> tuple[Advice, ...]:
    """Return what to do, the first on top."""
    if outlook.vehicle.tachograph:
        return (Advice("repair_instrument", part="tachograph", because=(Finding("approved_workshop_only"),)),)
    first = first_steps(outlook)
    if righting_gain(outlook.diagnosis, outlook.judge.dial.line.error_factor) is not None or (
        first and (first[0].action in _ALONE or first[0].part == "range")
    ):
        return (*first, *meanwhile(first), *_undo_instead(outlook, first))
    plans = _plans(outlook)
    if not plans:
        return (*first, *_find_out(outlook))
    if _none_passes(plans) and not _worth_doing(outlook, plans):
        percent = outlook.keep.worst_error_percent
        return (*first, *_beyond_parts(outlook, percent, Finding("no_part_helps", percent=percent)))
    return tuple(_unique(_with_plans(outlook, first, _worth_doing(outlook, plans) if _none_passes(plans) else plans)))


def _with_plans(outlook: Outlook, first: Sequence[Advice], plans: Sequence[Plan]) -> list[Advice]:
    """Return what to do by the plans, the best first."""
    best = plans[0]
    if best.choice.kind == "keep":  # then no part is figured from what is thought to be fitted
        looks = ("needle_drive",) if best.shift_mps else ()
        first = [entry for entry in first if entry.action != "check_count" or entry.part in looks]
    work = _told_what_it_comes_to(_entries(outlook, best, plans), best, plans)
    if "one_speed" in (outlook.trust.codes if outlook.trust else ()) and best.probability < SURE_ENOUGH:
        again = [_drive_again(outlook)]  # which costs less than a part that may be the wrong one
        first, work = ([*first, *again], work) if best.work > _TYPED_IN else (first, [*work, *again])
    beyond = [] if any(plan.passes for plan in plans) else _beyond_parts(outlook, best.worst_percent)
    if beyond and beyond[0].action == "repair_instrument" and best.probability < LIKELY and best.work != _TYPED_IN:
        entries = [*first, *beyond, *work]  # no part is fitted on a hope before the instrument is right
    else:
        entries = [*first, *work, *beyond]
    if not beyond and best.probability < LIKELY:
        entries.append(_drive_again(outlook))
        entries += [] if any(outlook.lists.values()) else _find_out(outlook)
    entries += _alternatives(outlook, best, plans)
    if outlook.measure is not None:
        entries.append(
            Advice(
                "measure_fact",
                part=outlook.measure.values["part"],
                probability=outlook.measure.values["chance_then"],
                because=(outlook.measure,),
            )
        )
    return entries


def _none_passes(plans: Sequence[Plan]) -> bool:
    return not any(plan.passes for plan in plans) and max(plan.probability for plan in plans) < MAY_PASS


def _worth_doing(outlook: Outlook, plans: Sequence[Plan]) -> list[Plan]:
    """Return the plans that leave far less than what is fitted, where none puts it right: nothing is made worse.

    Less will do of a number that is only typed in, and no instrument is opened on a hope.
    """
    keep = outlook.keep
    now = keep.worst_error_percent if keep.is_fitted else float("inf")

    def typed_in(plan: Plan) -> bool:
        return plan.work == _TYPED_IN and plan.worst_percent < now - _WORTH_SAYING_PERCENT

    def is_less(plan: Plan) -> bool:
        return typed_in(plan) or (plan.worst_percent < _BETTER * now and not plan.shift_mps)

    worth = [plan for plan in plans if plan.is_untouched or is_less(plan)]
    return sorted(worth, key=lambda plan: not typed_in(plan)) if worth and worth[0].is_untouched else worth


def _plans(outlook: Outlook) -> list[Plan]:
    return plans_of(outlook.judge, outlook.keep, outlook.lists, may_keep=outlook.may_keep, before=outlook.before)


def _undo_instead(outlook: Outlook, first: Sequence[Advice]) -> list[Advice]:
    """Return undoing the latest work, where an instrument would be repaired that passed before it."""
    if not any(entry.action == "repair_instrument" for entry in first):
        return []
    instead = Finding("instead_of_the_first", kind="repair", needle=False)
    return [_entry(outlook, plan, (instead,)) for plan in _plans(outlook) if _kind_alone(plan) == "undo"]


def _alternatives(outlook: Outlook, best: Plan, plans: Sequence[Plan]) -> list[Advice]:
    """Return what could be done instead of the best, one of a kind."""
    entries: list[Advice] = []
    shown = [best.choice.kind, *(["needle"] if best.shift_mps else [])]
    for plan in plans:
        kind = _kind_alone(plan)
        if kind is None or kind in shown or len(shown) >= _MOST_SHOWN:
            continue
        if _worth_showing(plan, best, outlook.keep) and not any(_no_worse(other, plan) for other in plans):
            shown.append(kind)
            instead = Finding("instead_of_the_first", kind=best.choice.kind, needle=bool(best.shift_mps))
            entries += [_needle(outlook, plan, (instead,))] if plan.shift_mps else [_entry(outlook, plan, (instead,))]
    return entries


def _told_what_it_comes_to(entries: list[Advice], best: Plan, plans: Sequence[Plan]) -> list[Advice]:
    """Return the entries with the first saying that nothing has to be done, or that nothing puts it right."""
    if _none_passes(plans):
        return [replace(entries[0], because=(*entries[0].because, Finding("no_part_puts_right"))), *entries[1:]]
    keep = next((plan for plan in plans if plan.is_untouched), None)
    if keep is None or best.is_untouched or keep.probability < SURE_ENOUGH:
        return entries
    passes = Finding("passes_as_it_is", percent=keep.worst_percent, chance=keep.probability)
    return [replace(entries[0], because=(*entries[0].because, passes)), *entries[1:]]


def _worth_showing(plan: Plan, best: Plan, keep: Choice) -> bool:
    """Tell whether a plan is an alternative to the best: it may pass and leaves little more, or it leaves far less."""
    if plan.shift_mps and plan.probability < best.probability - SAME_CHANCE:
        return False  # no instrument is opened on a hope
    if plan.probability < MAY_PASS and best.probability > LIKELY:
        return False  # nobody does what fails in place of what passes, however near to true it is
    far_less = plan.worst_percent < _BETTER * keep.worst_error_percent
    if best.choice.kind == "keep" and keep.is_acceptable:
        far_less = far_less and keep.worst_error_percent - plan.worst_percent > _WORTH_SAYING_PERCENT
    if best.choice.kind == "keep" and best.probability > _GOOD_CHANCE:
        return far_less
    return far_less or (plan.probability > 0.05 and plan.worst_percent < best.worst_percent + WORTH_WORK_PERCENT)


def _no_worse(plan: Plan, other: Plan) -> bool:
    """Tell whether a plan is less work than another, passes no less likely, and leaves hardly more."""
    return (
        0 < plan.work < other.work
        and not plan.hides_needle_percent
        and plan.worst_percent <= other.worst_percent + WORTH_WORK_PERCENT
        and plan.probability >= other.probability - SAME_CHANCE
    )


def _unique(entries: Sequence[Advice]) -> list[Advice]:
    return list({(entry.action, entry.part, str(entry.value)): entry for entry in reversed(entries)}.values())[::-1]


def _entries(outlook: Outlook, best: Plan, plans: Sequence[Plan]) -> list[Advice]:
    """Return the entries of one plan: what goes together stands together, the gear before the needle."""
    if not best.shift_mps:
        return _with_housing(outlook, _entry(outlook, best))
    if best.choice.kind == "keep":
        return [_needle(outlook, best)]
    together: tuple[Finding, ...] = (Finding("together_with", action=_ACTIONS[best.choice.kind]),)
    other = next((p for p in plans if p.choice.kind == "keep" and p.shift_mps), None)
    if other is not None:
        together += (Finding("needle_alone_leaves", percent=other.worst_percent),)
    gear = _entry(outlook, best, (Finding("together_with", action="reseat_needle"),))
    alone = Finding("gear_alone_leaves", percent=best.choice.worst_error_percent)
    gear = replace(gear, because=(*gear.because, alone))
    return [*_with_housing(outlook, gear), _needle(outlook, best, together)]


def _needle(outlook: Outlook, plan: Plan, because: tuple[Finding, ...] = ()) -> Advice:
    """Return the setting over of the needle in a plan."""
    return Advice(
        "reseat_needle",
        part="needle",
        value=round(plan.shift_mps / SPEED_UNIT_MPS[outlook.judge.unit], 2),
        unit=outlook.judge.unit,
        worst_error_percent=plan.worst_percent,
        probability=plan.probability,
        because=(_outcome(outlook, plan), *outlook.causes, *because, Finding("instrument_work")),
    )


def _kind_alone(plan: Plan) -> str | None:
    """Return what kind of work a plan is; None for none, and for two in one, which no alternative is."""
    if plan.choice.kind == "keep":
        return "needle" if plan.shift_mps else None
    return None if plan.shift_mps else plan.choice.kind


def _entry(outlook: Outlook, plan: Plan, because: tuple[Finding, ...] = ()) -> Advice:
    choice = plan.choice
    part, value, unit = _target(choice)
    low: tuple[Finding, ...] = ()
    nearest = min(
        outlook.lists.get(LISTED.get(choice.kind, choice.kind), ()),
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
    causes = () if choice.kind == "keep" and plan.passes else outlook.causes
    told = (Finding("as_before", parts=[list(part) for part in choice.parts]),) if choice.kind == "undo" else ()
    return Advice(
        _ACTIONS[choice.kind],
        part=part,
        value=value,
        unit=unit,
        worst_error_percent=plan.worst_percent,
        probability=plan.probability,
        because=(
            _outcome(outlook, plan),
            *because,
            *told,
            *causes,
            *low,
            *_odometer_left(outlook, choice),
            *_hides_needle(outlook, plan),
            *_cautions(outlook, choice),
        ),
    )


def _cautions(outlook: Outlook, choice: Choice) -> list[Finding]:
    """Return what to mind with a choice."""
    opens = "opens_hub" if outlook.vehicle.sensor == "wheel" else "opens_transmission"
    cautions = {
        "setting": ("setting_moves_shifts",),
        "settings": ("setting_moves_shifts",),
        "pulse_scaler": ("scaler_moves_all",) if outlook.vehicle.settings else (),
        "drive_gear": (opens,),
        "pair": (opens,),
    }
    kinds = [name.partition(".")[0] for name, _ in choice.parts] if choice.kind == "undo" else [choice.kind]
    return [Finding(code) for kind in kinds for code in cautions.get(kind, ())]


def _odometer_left(outlook: Outlook, choice: Choice) -> tuple[Finding, ...]:
    """Return what the odometer, where it was read, is off by for sure when the dial is right."""
    judge = outlook.judge_of(choice)
    if judge.odometer_factor is None or judge.is_of_odometer:
        return ()
    left = judge.odometer_factor.scaled(choice.gain)
    share = judge.acceptable_percent / 100
    if 1 - share <= left.high and left.low <= 1 + share:
        return ()
    return (Finding("odometer_left", percent=100 * (left.value - 1), changed=choice.kind != "keep"),)


def _hides_needle(outlook: Outlook, plan: Plan) -> tuple[Finding, ...]:
    """Return that a gear only makes up for a needle that sits wrong, where no odometer was read that tells it."""
    if not plan.hides_needle_percent or outlook.judge.odometer_factor is not None:
        return ()
    return (Finding("hides_needle", percent=plan.hides_needle_percent),)


def _outcome(outlook: Outlook, plan: Plan) -> Finding:
    """Return what a plan leaves, and what the chance is a chance of: a named rule, or the job's own limits."""
    untouched = plan.choice.kind == "keep" and not plan.shift_mps
    code = "already_good" if untouched and plan.passes else "puts_right" if plan.passes else "leaves"
    judge = outlook.judge
    own: dict[str, Any] = {"of_odometer": True} if judge.is_of_odometer else {}
    if judge.limits is None:
        own = {"within_percent": judge.acceptable_percent, "never_low": judge.criterion == "never reads low"}
    return Finding(code, percent=plan.worst_percent, chance=plan.probability, **own)


def _target(choice: Choice) -> tuple[str | None, float | str | None, str | None]:
    """Return the part, the value and the unit of a choice."""
    parts: dict[str, Any] = dict(choice.parts)
    match choice.kind:
        case "keep":
            return None, None, None
        case "undo":
            return "work", None, None
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


def _find_out(outlook: Outlook) -> list[Advice]:
    """Return which facts to find out when the job names nothing that could be changed, or not far enough."""
    if any(outlook.lists.values()):
        return _beyond_parts(outlook, outlook.keep.worst_error_percent)
    percent = 100 * (outlook.judge.ideal_gain().value - 1)
    nothing = Finding("nothing_to_change", percent=percent, at_its_end=False)
    parts = ("settings", "pulse_scaler") if outlook.vehicle.expects_pulses else ("driven_gear", "settings")
    reasons = ((nothing, *outlook.causes), ())
    return [
        Advice("measure_fact", part=part, value=round(percent, 2), unit="percent", because=because)
        for part, because in zip(parts, reasons, strict=True)
    ]


def _beyond_parts(outlook: Outlook, percent: float, *why: Finding) -> list[Advice]:
    """Return what helps where no part, setting or needle can put the instrument right."""
    judge = outlook.judge
    left = 100 * judge.unavoidable_error()
    card = Advice("use_correction_card", part="card", because=(Finding("leaves", percent=percent, chance=0.0),))
    if left > judge.acceptable_percent:
        reason = Finding("instrument_leaves", percent=left, bent=judge.dial.shape == "bent")
        return [Advice("repair_instrument", part="instrument", because=(*why, reason, *outlook.causes)), card]
    if outlook.vehicle.has_gear_drive and not outlook.vehicle.ratio_box_teeth:
        steps = Finding("between_two_teeth", percent=percent)
        return [Advice("measure_fact", part="ratio_box_teeth", because=(*why, steps)), card]
    if outlook.vehicle.settings and outlook.vehicle.scaler_limits is None and percent - left > _WORTH_SAYING_PERCENT:
        steps = _why_no_setting_does(outlook, percent)
        return [Advice("measure_fact", part="pulse_scaler", because=(*why, steps)), card]
    return [replace(card, because=(*why, *card.because))]


def _why_no_setting_does(outlook: Outlook, percent: float) -> Finding:
    """Return that a module is at its end, or that its steps are too coarse."""
    wanted, gains = outlook.judge.ideal_gain().value, [choice.gain for choice in outlook.lists["settings"]]
    if gains and min(gains) < wanted < max(gains):
        return Finding("between_two_steps", percent=percent)
    return Finding("nothing_to_change", percent=100 * (wanted - 1), at_its_end=True)


def _drive_again(outlook: Outlook) -> Advice:
    reasons = outlook.trust.reasons if outlook.trust else ()
    return Advice("drive_again", part="readings", because=(Finding("too_uncertain"), *reasons))
