"""What a plan is as advice: what to fit or set, what it leaves, and what to mind."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

from speedcal.finding import Finding
from speedcal.interval import Interval
from speedcal.units import SPEED_UNIT_MPS
from speedcal.vehicle.advised.advice import NOTHING_FITTED, Action, Advice
from speedcal.vehicle.advised.first_steps import WORTH_A_LOOK
from speedcal.vehicle.advised.outlook import Outlook
from speedcal.vehicle.advised.plans import LIKELY, LISTED, WORTH_WORK_PERCENT, Plan
from speedcal.vehicle.choices.choice import Choice

Target = tuple[str | None, float | str | None, str | None]
"""Part, value and unit of an advice."""

_ACTIONS: dict[str, Action] = {
    "keep": "keep_as_is",
    "setting": "set_module",
    "pulse_scaler": "set_pulse_scaler",
    "driven_gear": "fit_driven_gear",
    "ratio_box": "fit_ratio_box",
    "drive_gear": "fit_drive_gear",
    "pair": "fit_gear_pair",
}
_UNDOING: dict[str, tuple[Action, str | None]] = {
    "driven_gear": ("fit_driven_gear", "teeth"),
    "drive_gear": ("fit_drive_gear", "teeth"),
    "ratio_box": ("fit_ratio_box", "ratio"),
    "pulse_scaler": ("set_pulse_scaler", "ratio"),
    "settings": ("set_module", None),
    "housing": ("turn_housing", None),
}
"""How each part is put back as it was, with the unit of its value."""

_WORTH_A_WORD = 0.02
"""Chance of another gear than stated from which on it is counted when it comes out. Our own judgment."""


def entries_of(outlook: Outlook, best: Plan, plans: Sequence[Plan]) -> list[Advice]:
    """Return the entries of one plan: what goes together stands together, the gear before the needle."""
    if not best.shift_mps:
        return _with_housing(outlook, entries_alone(outlook, best))
    if best.choice.kind == "keep":
        return entries_alone(outlook, best)
    gear, *others = entries_alone(outlook, best, (Finding("together_with", action="reseat_needle"),))
    together: tuple[Finding, ...] = (Finding("together_with", action=gear.action),)
    other = next((p for p in plans if p.choice.kind == "keep" and p.shift_mps), None)
    if other is not None and other.worst_percent > best.worst_percent:
        together += (Finding("needle_alone_leaves", percent=other.worst_percent),)
    alone = Finding("gear_alone_leaves", percent=best.choice.worst_error_percent)
    gear = replace(gear, because=(*gear.because, alone))
    return [*_with_housing(outlook, [gear, *others]), _needle(outlook, best, together)]


def _needle(outlook: Outlook, plan: Plan, because: tuple[Finding, ...] = ()) -> Advice:
    """Return the setting over of the needle in a plan."""
    return Advice(
        "reseat_needle",
        part="needle",
        value=round(plan.shift_mps / SPEED_UNIT_MPS[outlook.judge.unit], 2),
        unit=outlook.judge.unit,
        worst_error_percent=plan.worst_percent,
        probability=plan.probability,
        because=(
            _outcome(outlook, plan),
            *outlook.causes,
            *because,
            *_drive_stays_off(outlook, plan),
            Finding("instrument_work"),
        ),
    )


def _drive_stays_off(outlook: Outlook, plan: Plan) -> tuple[Finding, ...]:
    """Return that the drive is off where the needle alone is set over, with the gear that would put it right."""
    judge, slope = outlook.judge, outlook.judge.odometer
    off = 100 * (slope.value - 1)
    if plan.choice.kind != "keep" or abs(off) <= WORTH_WORK_PERCENT or slope.contains(1.0):
        return ()
    real = [c for choices in outlook.lists.values() for c in choices if c.can_be_fitted]
    nearest = min(real, key=lambda choice: abs(choice.gain * slope.value - 1), default=None)
    if nearest is None or 100 * abs(nearest.gain * slope.value - 1) > abs(off) - WORTH_WORK_PERCENT:
        return ()
    return (Finding("drive_stays_off", percent=off, what=nearest.what, is_read=judge.odometer_factor is not None),)


def entries_alone(outlook: Outlook, plan: Plan, because: tuple[Finding, ...] = ()) -> list[Advice]:
    """Return what one plan is as advice: the needle where that is all of it, else the part or the setting.

    Of what undoing takes, the first part says what it leaves.
    """
    choice = plan.choice
    if plan.shift_mps and choice.kind == "keep":
        return [_needle(outlook, plan, because)]
    if choice.kind != "undo":
        return [_entry(outlook, plan, _ACTIONS[choice.kind], _target(choice), because)]
    first, *others = [_put_back(name, value) for name, value in choice.parts]
    together = Finding("together_with", action=first[0])
    as_before = Finding("as_before")
    partner = tuple(Finding("together_with", action=action) for action, _ in others[:1])
    return [
        _entry(outlook, plan, *first, (*partner, *because, as_before)),
        *(Advice(action, *target, because=(together, as_before)) for action, target in others),
    ]


def _put_back(name: str, value: Any) -> tuple[Action, Target]:
    """Return how one part is put back as it was; no value where nobody has said what was there."""
    kind, _, setting = name.partition(".")
    action, unit = _UNDOING[kind]
    if unit == "ratio":
        value = NOTHING_FITTED if value is None else str(value)
    return action, (setting or kind, value, unit)


def _entry(outlook: Outlook, plan: Plan, action: Action, target: Target, because: tuple[Finding, ...]) -> Advice:
    """Return what is done to one part, and what the plan leaves."""
    choice = plan.choice
    low: tuple[Finding, ...] = ()
    nearest = min(
        outlook.lists.get(LISTED.get(choice.kind, choice.kind), ()), key=lambda c: c.worst_error_percent, default=choice
    )
    if (
        plan.passes
        and not plan.shift_mps
        and outlook.judge.limits is not None
        and nearest.worst_error_percent < choice.worst_error_percent - 0.5
    ):
        values = {"percent": nearest.worst_error_percent, "chance": nearest.probability_passes}
        low = (Finding("margin_to_the_rule", nearest=nearest.what, **values),)
    if choice.reads_low and not plan.shift_mps:
        low = (Finding("reads_low_by", percent=-choice.lowest_error_percent),)
    causes = () if choice.kind == "keep" and plan.passes else outlook.causes
    return Advice(
        action,
        *target,
        worst_error_percent=plan.worst_percent,
        probability=plan.probability,
        because=(
            _outcome(outlook, plan),
            *because,
            *causes,
            *low,
            *_odometer_left(outlook, choice),
            *_hides_needle(outlook, plan),
            *_figured_from(outlook, choice),
            *_cautions(outlook, choice),
        ),
    )


def _figured_from(outlook: Outlook, choice: Choice) -> tuple[Finding, ...]:
    """Return what is taken to be fitted or set now, which whoever does the work has in front of him.

    Said where the drive does not bear it out: a number once the parts as stated do not explain the error, teeth where
    another gear might.
    """
    vehicle, diagnosis = outlook.vehicle, outlook.diagnosis
    if diagnosis is None or not outlook.may_keep:
        return ()
    chance = {item.code: item.probability for item in diagnosis.hypotheses}
    parts, now = dict(choice.parts), {setting.kind: setting.now for setting in vehicle.settings}
    if choice.kind in ("driven_gear", "drive_gear", "pair"):
        gears = ("drive_gear", "driven_gear") if choice.kind == "pair" else (choice.kind,)
        doubt = chance.get("gears", 0.0)  # the driven gear is counted first where that much speaks for another
        asked = [gear for gear in gears if gear != "driven_gear" or doubt <= WORTH_A_LOOK]
        counts = {gear: teeth for gear in asked if (teeth := getattr(vehicle, gear)) is not None}
        return (Finding("gear_that_comes_out", counts=counts),) if counts and doubt > _WORTH_A_WORD else ()
    if chance.get("parts_as_stated", 0.0) > LIKELY:
        return ()
    if choice.kind == "pulse_scaler" and vehicle.pulse_scaler is not None:
        return (Finding("number_set_now", kind=None, now=str(vehicle.pulse_scaler)),)
    kind = str(parts.get("setting", ""))
    return () if now.get(kind) is None else (Finding("number_set_now", kind=kind, now=now[kind]),)


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
    share = judge.acceptable_percent / 100

    def is_right(odometer: Interval) -> bool:
        return 1 - share <= odometer.high and odometer.low <= 1 + share

    left = judge.odometer_factor.scaled(choice.gain)
    if is_right(left):
        return ()
    goes_along = is_right(judge.odometer_factor.scaled(judge.expected_ideal))
    values = {"changed": choice.kind != "keep", "goes_along": goes_along}
    return (Finding("odometer_left", percent=100 * (left.value - 1), **values),)


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


def _target(choice: Choice) -> Target:
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


def _with_housing(outlook: Outlook, entries: list[Advice]) -> list[Advice]:
    """Return the entries, and the housing to turn with them where the new gear belongs to another range of teeth."""
    family, now, entry = outlook.vehicle.family, outlook.teeth.driven, entries[0]
    is_new = entry.action in ("fit_driven_gear", "fit_gear_pair") and "as_before" not in entry.codes
    if family is None or now is None or not is_new:
        return entries
    teeth = int(str(entry.value).rpartition("/")[2])
    turned = family.orientation(teeth)
    if turned is None or turned == family.orientation(now):
        return entries
    because = (Finding("together_with", action=entry.action), Finding("housing_range", teeth=teeth, range=turned))
    return [*entries, replace(entry, action="turn_housing", part="housing", value=turned, because=because)]
