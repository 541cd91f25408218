"""What to do first: the fewest changes that put the instrument right, by their chance of passing and their work."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np

from speedcal.finding import Finding
from speedcal.vehicle.advised.advice import Advice
from speedcal.vehicle.advised.beyond_parts import WORTH_SAYING_PERCENT, beyond_parts, drive_again, find_out
from speedcal.vehicle.advised.first_steps import first_steps, meanwhile, spared_gears
from speedcal.vehicle.advised.outlook import Outlook
from speedcal.vehicle.advised.plan_entries import entries_alone, entries_of
from speedcal.vehicle.advised.plans import (
    LIKELY,
    MAY_PASS,
    SAME_CHANCE,
    WORTH_A_STEP_PERCENT,
    WORTH_WORK_PERCENT,
    Plan,
    plans_of,
)
from speedcal.vehicle.advised.righting import righting_gain
from speedcal.vehicle.advised.unlike_tires import unlike_tires
from speedcal.vehicle.choices.choice import Choice
from speedcal.vehicle.judged.judge import SURE_ENOUGH
from speedcal.vehicle.judged.limits import LEAST_ROAD_TEST_MPS, road_test_like

_GOOD_CHANCE = 0.9
"""Chance of passing that is enough to leave everything as it is. Our own judgment."""
_ALONE = ("repair_instrument", "check_files")
"""What orders no part besides."""
_DECIDE_ALL = ("range", "gears")
"""Parts to look at on which every gear is figured: a drive in the other range, counts written the wrong way around."""
_TYPED_IN = 1
"""Work of a change that is a number typed in, and nothing opened or fitted."""
_MOST_SHOWN = 5
"""Kinds of work in one list of advice: what a person reads. Our own judgment."""
_FAIR_READINGS = 60
"""Readings from which on nobody is asked for more of the same before a part is tried. Our own judgment."""
_BETTER = 0.7
"""A change that cannot put the instrument right is still advised when it leaves less than this share of the error."""


def advise(outlook: Outlook) -> tuple[Advice, ...]:
    """Return what to do, the first on top."""
    if outlook.vehicle.tachograph:
        return (Advice("repair_instrument", part="tachograph", because=(Finding("approved_workshop_only"),)),)
    first = first_steps(outlook)
    is_alone = bool(first) and (
        first[0].action in _ALONE or first[0].part in _DECIDE_ALL or first[0].rights_what_is_told
    )
    if is_alone or righting_gain(outlook.diagnosis, outlook.judge.dial.line.error_factor) is not None:
        return (*first, *meanwhile(first), *_undo_instead(outlook, first))
    first = [*unlike_tires(outlook.vehicle), *first]
    plans = _plans(outlook)
    if not plans and not any(outlook.lists.values()):
        return (*first, *find_out(outlook))
    none_passes = _none_passes(outlook, plans)
    worth = _worth_doing(outlook, plans) if none_passes else plans
    if not worth or (none_passes and worth[0].is_untouched):  # what surely fails is not kept
        percent = outlook.keep.worst_error_percent
        may_pass = _is_vague(outlook) and outlook.keep.probability_passes >= MAY_PASS
        again = [drive_again(outlook)] if may_pass else []  # a better drive may show that nothing has to help
        return (*first, *again, *beyond_parts(outlook, percent, Finding("no_part_helps", percent=percent)))
    return tuple(_unique(_with_plans(outlook, first, worth)))


def _with_plans(outlook: Outlook, first: Sequence[Advice], plans: Sequence[Plan]) -> list[Advice]:
    """Return what to do by the plans, the best first."""
    best = plans[0]
    if best.choice.kind == "keep":  # then no part is figured from what is thought to be fitted
        looks = ("needle_drive",) if best.shift_mps else () if outlook.keep.is_acceptable else ("gears",)
        first = [entry for entry in first if entry.action != "check_count" or entry.part in looks]
    instead = _alternatives(outlook, best, plans)
    work = _told_what_it_comes_to(outlook, entries_of(outlook, best, plans), plans)
    if best.is_untouched and not instead:
        work = [replace(work[0], because=(*work[0].because, *_would_cancel(outlook, best)))]
    is_margin = _is_margin(outlook, best) or _is_within_noise(outlook, best) or _is_to_be_proven(outlook, best)
    if is_margin or _is_guess(outlook, best):
        again = [drive_again(outlook)]  # which costs less than a part that may be the wrong one
        is_first = is_margin or best.work > _TYPED_IN
        first, work = ([*first, *again], work) if is_first else (first, [*work, *again])
    beyond = [] if any(plan.passes for plan in plans) else beyond_parts(outlook, best.worst_percent)
    if beyond and beyond[0].action == "repair_instrument" and best.probability < LIKELY and best.work != _TYPED_IN:
        entries = [*first, *beyond, *work]  # no part is fitted on a hope before the instrument is right
    else:
        entries = [*first, *work, *beyond]
    is_undriven = outlook.diagnosis is None
    if not beyond and best.probability < (SURE_ENOUGH if is_undriven else LIKELY):
        entries += [] if any(entry.action == "drive_again" for entry in entries) else [drive_again(outlook)]
    if not beyond and best.probability < LIKELY:
        entries += [] if any(outlook.lists.values()) else find_out(outlook)
    entries += instead
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


def _is_guess(outlook: Outlook, best: Plan) -> bool:
    """Tell whether the best plan rests on a WEAK drive, or under a rule likely fails for want of a better one."""
    if outlook.trust is not None and outlook.trust.word == "WEAK" and best.probability < SURE_ENOUGH:
        return True
    return _is_vague(outlook) and MAY_PASS <= best.probability < LIKELY


def _is_to_be_proven(outlook: Outlook, best: Plan) -> bool:
    """Tell whether what would be left as it is rests on a drive that a better one may well contradict, or on none.

    What the parts alone say to be far off is measured before it is left, however wide the rule.
    """
    if not best.is_untouched:
        return False
    if outlook.trust is None:
        return not outlook.keep.is_acceptable
    return outlook.trust.word == "WEAK" or (best.probability < _GOOD_CHANCE and _is_vague(outlook))


def _is_margin(outlook: Outlook, best: Plan) -> bool:
    """Tell whether what is fitted may keep a rule, and is made less true only for want of a better drive, or of any."""
    keep = outlook.keep
    is_less_true = not best.is_untouched and best.worst_percent > keep.worst_error_percent + WORTH_SAYING_PERCENT
    seems_right = outlook.diagnosis is not None and outlook.diagnosis.top is None
    may_stay = outlook.may_keep and keep.is_fitted and (keep.probability_passes >= MAY_PASS or seems_right)
    return (_is_vague(outlook) or outlook.diagnosis is None) and is_less_true and may_stay


def _is_within_noise(outlook: Outlook, best: Plan) -> bool:
    """Tell whether a change that a drive does not tell from none will hardly be proven: what is fitted stays for now.

    So a job would go from one number to the next, each as good as the last. Before any road test a better drive must
    still be to be had; after one that failed for sure something is done.
    """
    if best.is_untouched or best.shift_mps or best.proven >= LIKELY:
        return False
    if outlook.may_keep:
        is_open = _is_vague(outlook) and best.probability < LIKELY
    else:
        is_open = outlook.keep.probability_passes > 1 - SURE_ENOUGH
    return is_open and outlook.judge.ideal_gain.contains(1.0)


def _is_vague(outlook: Outlook) -> bool:
    """Tell whether a rule is to be kept by a dial that a film, a log or more readings would tell far better."""
    dial = outlook.judge.dial
    few = outlook.trust is not None and len(dial.used_mps) < _FAIR_READINGS
    return few and outlook.judge.limits is not None and road_test_like(dial) > LEAST_ROAD_TEST_MPS


def _none_passes(outlook: Outlook, plans: Sequence[Plan]) -> bool:
    """Tell whether nothing passes; after a road test no part is fitted on a hope, which leads from one to the next."""
    hope = MAY_PASS if outlook.may_keep else LIKELY
    return bool(plans) and not any(plan.passes for plan in plans) and max(plan.probability for plan in plans) < hope


def _worth_doing(outlook: Outlook, plans: Sequence[Plan]) -> list[Plan]:
    """Return the plans that leave far less than what is fitted, where none puts it right: nothing is made worse.

    Less will do of a number that is only typed in, and no instrument is opened on a hope.
    """
    keep = outlook.keep
    now = keep.worst_error_percent if keep.is_fitted else float("inf")

    def typed_in(plan: Plan) -> bool:
        return plan.work == _TYPED_IN and plan.worst_percent < now - WORTH_SAYING_PERCENT

    def is_less(plan: Plan) -> bool:
        return typed_in(plan) or (plan.worst_percent < _BETTER * now and not plan.shift_mps)

    worth = [plan for plan in plans if plan.is_untouched or is_less(plan)]
    return sorted(worth, key=lambda plan: not typed_in(plan)) if worth and worth[0].is_untouched else worth


def _plans(outlook: Outlook) -> list[Plan]:
    plans = plans_of(outlook.judge, outlook.keep, outlook.lists, may_keep=outlook.may_keep, before=outlook.before)
    if any(plan.is_untouched for plan in plans) and spared_gears(outlook):
        return [plan for plan in plans if plan.choice.kind in ("keep", "undo")]
    return plans


def _undo_instead(outlook: Outlook, first: Sequence[Advice]) -> list[Advice]:
    """Return undoing the latest work, where an instrument would be repaired that passed before it."""
    if not any(entry.action == "repair_instrument" for entry in first):
        return []
    instead = Finding("instead_of_the_first", kind="repair", needle=False)
    undoing = [plan for plan in _plans(outlook) if _kind_alone(plan) == "undo"]
    return [entry for plan in undoing for entry in entries_alone(outlook, plan, (instead,))]


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
            entries += entries_alone(outlook, plan, (instead,))
    return entries


def _told_what_it_comes_to(outlook: Outlook, entries: list[Advice], plans: Sequence[Plan]) -> list[Advice]:
    """Return the entries with the first saying that nothing has to be done, or that nothing puts it right."""
    if _none_passes(outlook, plans):
        return [replace(entries[0], because=(*entries[0].because, Finding("no_part_puts_right"))), *entries[1:]]
    keep = next((plan for plan in plans if plan.is_untouched), None)
    if keep is None or plans[0].is_untouched or keep.probability < SURE_ENOUGH:
        return entries
    passes = Finding("passes_as_it_is", percent=keep.worst_percent, chance=keep.probability)
    return [replace(entries[0], because=(*entries[0].because, passes)), *entries[1:]]


def _would_cancel(outlook: Outlook, keep: Plan) -> tuple[Finding, ...]:
    """Return what would put right an error that a wide rule lets pass; empty where nothing of the drive would."""
    judge = outlook.judge
    if judge.limits is None or judge.is_of_odometer:
        return ()
    if spared := spared_gears(outlook):
        return (spared,)
    errors = judge.relative_errors(keep.choice.gain)
    values: dict[str, Any] = {"reads_percent": 100 * float(errors[np.abs(errors).argmax()])}
    real = [c for choices in outlook.lists.values() for c in choices if c.can_be_fitted]
    if real:
        nearest = min(real, key=lambda choice: choice.worst_error_percent)
        values |= {"what": nearest.what, "left_percent": nearest.worst_error_percent}
    else:
        values |= {"what": None, "left_percent": 100 * judge.unavoidable_error()}
        values |= {"percent": 100 * (judge.ideal_gain.value - 1)}
    is_worth = values["left_percent"] + WORTH_WORK_PERCENT < keep.worst_percent
    return (Finding("would_cancel", **values),) if is_worth else ()


def _worth_showing(plan: Plan, best: Plan, keep: Choice) -> bool:
    """Tell whether a plan is an alternative to the best: it may pass and leaves little more, or it leaves far less."""
    if plan.shift_mps and plan.probability < best.probability - SAME_CHANCE:
        return False  # no instrument is opened on a hope
    if plan.probability < MAY_PASS and best.probability > LIKELY:
        return False  # nobody does what fails in place of what passes, however near to true it is
    if best.probability > LIKELY and plan.worst_percent > best.worst_percent + 2 * WORTH_WORK_PERCENT:
        return False  # nor what leaves far more
    far_less = plan.worst_percent < _BETTER * keep.worst_error_percent
    is_sound = best.choice.kind == "keep" and best.probability > _GOOD_CHANCE
    if is_sound or (best.choice.kind == "keep" and keep.is_acceptable):  # each step of work has to bring something then
        brings = keep.worst_error_percent - plan.worst_percent
        far_less = far_less and brings > WORTH_A_STEP_PERCENT * plan.work
    if is_sound:
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


def _kind_alone(plan: Plan) -> str | None:
    """Return what kind of work a plan is; None for none, and for two in one, which no alternative is."""
    if plan.choice.kind == "keep":
        return "needle" if plan.shift_mps else None
    return None if plan.shift_mps else plan.choice.kind
