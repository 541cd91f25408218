"""What helps where no part or setting does: a fact to find out, a repair, a card, another drive."""

from __future__ import annotations

from dataclasses import replace

from speedcal.finding import Finding
from speedcal.vehicle.advised.advice import Advice
from speedcal.vehicle.advised.outlook import Outlook

WORTH_SAYING_PERCENT = 1.0
"""An instrument that is right already is offered nothing that leaves less by a smaller part. Our own judgment."""


def find_out(outlook: Outlook) -> list[Advice]:
    """Return which facts to find out when the job names nothing that could be changed."""
    percent = 100 * (outlook.judge.ideal_gain.value - 1)
    nothing = Finding("nothing_to_change", percent=percent, at_its_end=False)
    parts = ("settings", "pulse_scaler") if outlook.vehicle.expects_pulses else ("driven_gear", "settings")
    reasons = ((nothing, *outlook.causes), ())
    return [
        Advice("measure_fact", part=part, value=round(percent, 2), unit="percent", because=because)
        for part, because in zip(parts, reasons, strict=True)
    ]


def beyond_parts(outlook: Outlook, percent: float, *why: Finding) -> list[Advice]:
    """Return what helps where no part, setting or needle can put the instrument right."""
    judge = outlook.judge
    left = 100 * judge.unavoidable_error()
    card = Advice("use_correction_card", part="card", because=(Finding("leaves", percent=percent, chance=0.0),))
    if not judge.expected_within(judge.proven_gain()):
        reason = Finding("instrument_leaves", percent=left, bent=judge.dial.shape == "bent")
        return [Advice("repair_instrument", part="instrument", because=(*why, reason, *outlook.causes)), card]
    if outlook.vehicle.has_gear_drive and not outlook.vehicle.ratio_box_teeth:
        return [
            Advice("measure_fact", part="ratio_box_teeth", because=(*why, _why_no_gear_does(outlook, percent))),
            card,
        ]
    if outlook.vehicle.settings and outlook.vehicle.scaler_limits is None and percent - left > WORTH_SAYING_PERCENT:
        steps = _why_no_setting_does(outlook, percent)
        return [Advice("measure_fact", part="pulse_scaler", because=(*why, steps)), card]
    return [replace(card, because=(*why, *card.because))]


def _why_no_gear_does(outlook: Outlook, percent: float) -> Finding:
    """Return that the gears that can be had end before the one wanted, or that whole teeth are too coarse."""
    fitted, wanted = outlook.teeth.driven, outlook.judge.ideal_gain.value
    had = [choice for choice in outlook.lists["driven_gear"] if choice.available is not False]
    if fitted is None or not had or min(c.gain for c in had) < wanted < max(c.gain for c in had):
        return Finding("between_two_teeth", percent=percent)
    last = min(had, key=lambda choice: abs(choice.gain - wanted))
    values = {"teeth": dict(last.parts)["teeth"], "wanted": fitted / wanted, "percent": last.worst_error_percent}
    return Finding("gears_at_their_end", **values)


def _why_no_setting_does(outlook: Outlook, percent: float) -> Finding:
    """Return that a module is at its end, or that its steps are too coarse."""
    wanted, gains = outlook.judge.ideal_gain.value, [choice.gain for choice in outlook.lists["settings"]]
    if gains and min(gains) < wanted < max(gains):
        return Finding("between_two_steps", percent=percent)
    return Finding("nothing_to_change", percent=100 * (wanted - 1), at_its_end=True)


def drive_again(outlook: Outlook) -> Advice:
    """Return driving again, and what this drive lacks; without one, the first drive."""
    if outlook.diagnosis is None:
        return Advice("drive_again", part="first_drive", because=(Finding("parts_tell_little"),))
    reasons = outlook.trust.reasons if outlook.trust else ()
    return Advice("drive_again", part="readings", because=(Finding("too_uncertain"), *reasons))
