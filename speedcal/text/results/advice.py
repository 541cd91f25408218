"""What the command prints of one thing to do: what, what it leaves, and why."""

from __future__ import annotations

from fractions import Fraction
from typing import Any

from speedcal.finding import Finding
from speedcal.text.codes.advice_messages import ACTION_NAMES, TIMES, gained_by_measuring
from speedcal.text.results.vehicle_summary import work_words
from speedcal.text.words.names import capital
from speedcal.text.words.numbers import likely
from speedcal.text.words.parts import MEASURED_BY, part_name, part_value, setting_name
from speedcal.vehicle.advised.advice import NOTHING_FITTED, Advice
from speedcal.vehicle.train.parts import SETTING_POWER

_MORE_LIKELY_THAN_NOT = 0.5
_OUTCOMES = ("puts_right", "leaves", "already_good")
_IN_HEAD = (*_OUTCOMES, "likely_cause", "together_with", "instead_of_the_first")
"""Reasons that the head of an advice says already."""
_UNEXPLAINED = {"check_files": "Were the readings taken from this dial on this drive?"}
"""What is said of an action whose reason stands elsewhere on the page."""


def summary(entry: Advice) -> str:
    """Return one thing to do: what, what it leaves, and why."""
    reasons = " ".join(_because(reason) for reason in entry.because if reason.code not in _IN_HEAD)
    reasons = reasons or _UNEXPLAINED.get(entry.action, "")
    head = headline(entry) + _left(entry)
    instead = [reason.text.rstrip(".") for reason in entry.because if reason.code == "instead_of_the_first"]
    return f"{capital(', '.join([*instead, head]))}." + (f" {reasons}" if reasons else "")


def _left(entry: Advice) -> str:
    """Return what it leaves; of two things done together the first says it for both."""
    found = {reason.code: reason.values for reason in entry.because}
    partner = found.get("together_with", {}).get("action")
    if entry.worst_error_percent is None or entry.action == "drive_again":
        return ""
    if partner and entry.action in ("reseat_needle", "turn_housing"):
        return ""
    is_put_back = "as_before" in found and partner != "reseat_needle"
    left = f", and {'put the rest back' if is_put_back else ACTION_NAMES[partner]} as below" if partner else ""
    outcome = next((values for code, values in found.items() if code in _OUTCOMES), {})
    what = "leaves the odometer off by" if outcome.get("of_odometer") else "leaves at most"
    what = "off by at most" if entry.action == "keep_as_is" and what == "leaves at most" else what
    left += f": {what} {entry.worst_error_percent:.1f} %{' error' * (what == 'leaves at most')}"
    if entry.probability is None:
        return left
    within = outcome.get("within_percent")
    goal = "to pass" if within is None else f"to stay within {within:g} %"
    goal += " and never low" if outcome.get("never_low") else ""
    sure = likely(entry.probability)
    hardly = "only " if entry.probability < _MORE_LIKELY_THAN_NOT and sure[0].isdigit() else ""
    return f"{left}, {hardly}{sure} sure {goal}"


def _because(reason: Finding) -> str:
    """Return a reason; what is to be measured stands in the head of the advice already."""
    return gained_by_measuring(reason.values) if reason.code == "measure_first" else sentence(reason)


def sentence(found: Finding) -> str:
    """Return a finding as a sentence of its own."""
    return capital(found.text) + ("" if found.text.endswith((".", "!", "?")) else ".")


_AT_PART: dict[tuple[str, str | None], str] = {
    ("repair_instrument", "tachograph"): "leave this drive to an approved workshop",
    ("repair_instrument", "odometer"): "have the odometer in the instrument repaired",
    ("drive_again", "first_drive"): "record a drive",
    ("drive_again", "same_tires"): "fit the same tire on both sides of the driven axle and drive again",
    ("drive_again", "odometer"): "drive again and note what the odometer shows at both ends",
    ("set_unit", "instrument"): "correct the unit behind the dial: miles and kilometers are mixed up in the instrument "
    "or its module",
}
"""What an action is called at a part where it is not what it is elsewhere."""


def headline(entry: Advice) -> str:
    """Return what is to be done, in a few words and without a full stop."""
    return _again(entry) if "as_before" in entry.codes else _anew(entry)


def _anew(entry: Advice) -> str:
    value: Any = entry.value
    match entry.action:
        case "fit_driven_gear" | "fit_drive_gear":
            return f"fit a {part_name(entry.part or '')} with {value} teeth"
        case "fit_gear_pair":
            drive, _, driven = str(value).partition("/")
            return f"fit a drive gear with {drive} teeth and a driven gear with {driven}"
        case "fit_ratio_box":
            return f"fit a ratio box {value} in the cable"
        case "set_pulse_scaler":
            return f"set the pulse scaler to {value}"
        case "set_module" if entry.part in SETTING_POWER:
            return f"set the {setting_name(entry.part, float(value), 'to ')}"
        case "reseat_needle":
            return f"reseat the needle {abs(float(value)):g} {entry.unit} {'lower' if float(value) < 0 else 'higher'}"
        case "turn_housing":
            return f"turn the housing so that the range {value} faces down"
        case "check_count":
            return _look_text(entry)
        case "measure_fact" if entry.part in MEASURED_BY:
            return MEASURED_BY[entry.part]
    usual = _AT_PART.get((entry.action, entry.part), ACTION_NAMES[entry.action])
    return _road_test(entry) if entry.part == "road_test" else usual


def _road_test(entry: Advice) -> str:
    done = next(why.values for why in entry.because if why.code.startswith("work_to_test"))
    return f"drive the road test of the work ({work_words(done['work'], done['unit'])})"


def _again(entry: Advice) -> str:
    """Return what is fitted or set again as it was."""
    name, value = entry.part or "", entry.value
    part = part_name(name)
    match entry.action:
        case "turn_housing":
            return f"turn the housing back so that the range {value} faces down"
        case "set_module":
            return f"set the {setting_name(name, float(value), 'back to ')}" if value else f"set the {part} back"
        case "set_pulse_scaler" | "fit_ratio_box" if value == NOTHING_FITTED:
            return f"take the {part} out again"
        case "set_pulse_scaler":
            return f"set the {part} back to {part_value(Fraction(value or 1))}"
        case "fit_ratio_box":
            return f"fit the {part} {value} again"
    return f"fit the {part} with {value} teeth again" if value else f"fit the {part} again that was in it before"


_LOOKS = {
    "range": "check which range the axle or transfer case was in on the drive",
    "work": "look at what was really fitted and set",
    "needle_drive": "look at what turns the needle",
    "gears": "count the teeth of both gears",
    "ratio_box": "check which way around the ratio box sits",
}


def _look_text(entry: Advice) -> str:
    """Return what is to be looked at."""
    if entry.part == "pulses":
        much = TIMES[float(entry.value or 0)]
        return f"count the pulses for one turn of the sensor: the instrument gets {much} it should"
    if entry.part in _LOOKS:
        return _LOOKS[entry.part]
    likely_count = f": {entry.value} are likely" if entry.value else ""
    return f"count the teeth of the {part_name(entry.part or '')}{likely_count}"
