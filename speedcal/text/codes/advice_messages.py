"""Words for what is wrong and what to do about it: causes, advice and its reasons."""

from __future__ import annotations

from fractions import Fraction

from speedcal.text.messages import Template, Values
from speedcal.text.words.numbers import likely, signed
from speedcal.text.words.parts import MEASURED_BY, WATCH_THE_NEEDLE, choice_name, part_name, part_value, setting_name

CAUSES: dict[str, str] = {
    "parts_as_stated": "mismatched parts, as the job lists them",
    "tires": "tires other than the instrument was made for",
    "axle": "other axle gears",
    "gears": "a wrong drive or driven gear",
    "transfer_ratio": "a transfer ratio other than stated, or a ratio box fitted the wrong way around",
    "other_range": "driven in the other range of axle or transfer case",
    "sensor_ring": "a sensor ring with a tooth count other than stated",
    "pulse_count": "the wrong number of pulses per turn",
    "module_number": "a number in the module that is not that of its sensor",
    "wrong_unit": "miles taken for kilometers, or the reverse",
    "other_scale": "the other scale of the dial: km/h read as mph, or the reverse",
    "needle_offset": "the needle sits wrong on its shaft",
    "dial_gain": "the instrument itself: its spring, magnet or electronics",
    "dial_bent": "a bent dial, whose error changes with speed",
    "needle_sticks": "a needle that sticks",
    "needle_damped": "a needle that lags behind",
    "foreign_readings": "readings of another instrument or another drive",
}
"""Cause to what a mechanic would call it."""

TIMES = {
    2.0: "twice as many pulses as",
    4.0: "four times as many pulses as",
    0.5: "half as many pulses as",
    0.25: "a quarter as many pulses as",
    3.0: "three times as many pulses as",
    1 / 3: "a third as many pulses as",
}
"""Wrong counts of pulses, in words."""

SETTLES: dict[str, str] = {
    "roll_out": MEASURED_BY["tire"],
    "count_axle": MEASURED_BY["axle"],
    "count_gears": MEASURED_BY["driven_gear"],
    "check_range": "check which range the axle or transfer case was in and which way around the ratio box sits",
    "count_ring": "count the teeth of the sensor ring",
    "count_pulses": "count the pulses of the sensor for one turn",
    "check_unit": "check which unit the dial is marked in and the readings were noted in",
    "look_at_rest": "look at the needle with the vehicle standing: it should rest on zero or its peg",
    "odometer_distance": "drive a measured distance of ten miles or more and note the odometer at both ends: if "
    "it is right while the speed is wrong, the instrument is at fault",
    "bench_test": "have the instrument tested on a bench at several speeds",
    "up_and_down": "note the same speeds once speeding up to them and once slowing down to them",
    "hold_longer": "hold each speed for a minute before reading",
    "check_files": "check that the readings were taken from this dial on this drive",
}
"""Measurement to how it is done."""

ACTION_NAMES: dict[str, str] = {
    "keep_as_is": "keep it as it is",
    "fit_driven_gear": "fit the driven gear",
    "fit_drive_gear": "fit the drive gear",
    "fit_gear_pair": "fit both gears",
    "fit_ratio_box": "fit the ratio box",
    "set_pulse_scaler": "set the pulse scaler",
    "set_module": "set the module",
    "reseat_needle": "reseat the needle",
    "repair_instrument": "have the instrument repaired",
    "check_count": "count the teeth",
    "turn_housing": "turn the housing",
    "set_unit": "correct the unit: miles and kilometers are mixed up, in the instrument or in the notes",
    "use_correction_card": "put a correction card on the dash",
    "measure_fact": "find out what is missing",
    "drive_again": "drive again",
    "check_files": "check the files",
}
"""Action of an advice in a few words."""


_INSTEAD_OF = {
    "keep": "leaving it as it is",
    "setting": "the setting above",
    "pulse_scaler": "the scaler above",
    "driven_gear": "the driven gear above",
    "ratio_box": "the ratio box above",
    "drive_gear": "the drive gear above",
    "pair": "the gears above",
    "undo": "undoing the work",
    "repair": "the repair",
}
_AND_NEEDLE = " and the needle"


def _instead_of(values: Values) -> str:
    if values["kind"] == "keep" and values["needle"]:
        return "Instead of reseating the needle."
    return f"Instead of {_INSTEAD_OF[values['kind']]}{_AND_NEEDLE * values['needle']}."


def _odometer_left(values: Values) -> str:
    too = f"{abs(values['percent']):.0f} % too {'much' if values['percent'] > 0 else 'little'}"
    counts = "then counts" if values["changed"] else "counts"
    why = "" if values["goes_along"] else ": one shaft drives both, so no part puts both right"
    return f"The odometer {counts} {too}{why}."


def _odometer_is_right(values: Values) -> str:
    return (
        f"The odometer is right (off by {signed(values['percent'])} %), so the gearing is right too. A gear or "
        f"setting that puts the needle right would put the odometer {abs(values['then_percent']):.0f} % wrong."
    )


def _odometer_is_nearly_right(values: Values) -> str:
    return (
        f"The odometer is off by only {signed(values['percent'])} %, so most of the error is the instrument's own. A "
        f"gear or setting that puts the needle right would put the odometer {abs(values['then_percent']):.0f} % wrong. "
        "Drive again after the repair, and choose the gear by that drive."
    )


def _dial_is_right(values: Values) -> str:
    off, then = values["odometer_percent"], values["then_percent"]
    return (
        f"The dial's scale is right and the odometer counts {abs(off):.0f} % too {'much' if off > 0 else 'little'}, so "
        "the fault lies past the shaft or signal that drives both: the odometer's own gears, or an instrument made for "
        "a different count of turns. A gear or setting that puts the odometer right would make the dial read "
        f"{abs(then):.0f} % {'high' if then > 0 else 'low'}."
    )


_STAYS = {
    "pulse_count": "the count is as stated, or the sensor must stay as it is",
    "wrong_unit": "no unit is mixed up",
    "other_scale": "no scale is mixed up",
    "transfer_ratio": "it sits the right way around",
}


def _low_by(values: Values) -> str:
    percent = values["percent"]
    if percent < 0.5:
        return f"It reads low by {max(percent, 0.1):.1f} % at most, hardly visible."
    return f"It reads low by up to {percent:.1f} %."


def gained_by_measuring(values: Values) -> str:
    """Say what a measurement does for the choice of a gear."""
    return (
        f"It raises the chance of choosing the right tooth count from {likely(values['chance_now'])} to about "
        f"{likely(values['chance_then'])}."
    )


def _would_cancel(values: Values) -> str:
    said = f"The rule lets it pass, which does not make it right: it reads {_high_or_low(values['reads_percent'])}. "
    if values["what"] is not None:
        return f"{said}To cancel that: {choice_name(values['what'])}, which leaves {values['left_percent']:.1f} %."
    return (
        f"{said}To cancel that the instrument must show {abs(values['percent']):.0f} % "
        f"{'less' if values['percent'] < 0 else 'more'}: say which gear, scaler or setting it has, and what to fit or "
        "set is listed."
    )


def _high_or_low(percent: float) -> str:
    return f"up to {abs(percent):.0f} % {'high' if percent > 0 else 'low'}"


def _scaler_at(ratio: str) -> str:
    return f"pulse scaler {part_value(Fraction(ratio))}"


def _that_come_out(counts: dict[str, int]) -> str:
    gears = [f"{part_name(gear)} that comes out, figured here with {teeth}" for gear, teeth in counts.items()]
    return "the teeth of " + " and of ".join(f"the {gear}" for gear in gears)


def _cause(values: Values) -> str:
    return f"Likely cause: {CAUSES[values['cause']]} ({likely(values['chance'])})."


FINDINGS: dict[str, Template] = {
    # advice
    "puts_right": "It leaves at most {percent:.1f} %; chance of passing {chance:percent}.",
    "leaves": "It leaves at most {percent:.1f} %.",
    "already_good": "The worst error is {percent:.1f} %.",
    "likely_cause": _cause,
    "together_with": lambda values: f"Do it together with the other step: {ACTION_NAMES[values['action']]}.",
    "passes_as_it_is": "Left as it is it would pass too, {percent:.1f} % off.",
    "would_cancel": _would_cancel,
    "work_to_test": "Its sheet says which speeds to hold, and how long.",
    "work_to_test_by_distance": "Drive fifteen miles (25 km) or more; note the odometer, to the tenth, at both ends.",
    "work_leaves": lambda values: (
        f"By the {'drive before' if values['is_driven'] else 'parts as stated'} this leaves at most "
        f"{values['percent']:.1f} % error, {likely(values['chance'])} sure to be enough."
    ),
    "hides_needle": lambda values: (
        f"It only hides that the needle sits wrong: the odometer would then count about {abs(values['percent']):.0f} % "
        f"too {'much' if values['percent'] > 0 else 'little'}."
    ),
    "drive_stays_off": lambda values: (
        f"The {'odometer counts' if values['is_read'] else 'drive, and with it the odometer, turns'} "
        f"{abs(values['percent']):.0f} % too {'much' if values['percent'] > 0 else 'little'}, and stays so: "
        f"{choice_name(values['what'])} beside the needle would put that right as well."
    ),
    "gear_alone_leaves": "By itself this would leave {percent:.1f} %.",
    "needle_alone_leaves": "The needle alone would leave {percent:.1f} % at best.",
    "instead_of_the_first": _instead_of,
    "rounded_or_held": "All are multiples of {step_mps:speed} and were taken for the nearest mark. If the needle was "
    "held on its marks, the dial is known far better; if the mark below was noted, it shows {half_mps:speed1} more.",
    "as_before": "That is how it was on the drive before the work, which shows what it leaves.",
    "odometer_left": _odometer_left,
    "odometer_is_right": _odometer_is_right,
    "odometer_is_nearly_right": _odometer_is_nearly_right,
    "odometer_gets_worse": lambda values: (
        f"The odometer is off by {signed(values['percent'])} %, and a gear or setting that puts the needle right would "
        f"put it {abs(values['then_percent']):.0f} % wrong: one shaft drives both, so the instrument is at fault first."
    ),
    "dial_is_right": _dial_is_right,
    "tires_differ": lambda values: (
        f"The differential takes the mean of both: with {values['tire'] or 'the other tire'} on both sides the dial "
        f"shows {abs(values['percent']):.1f} % {'less' if values['percent'] < 0 else 'more'}, and a gear chosen now "
        "would be wrong by that. Two sizes also wear the differential."
    ),
    "one_range_throughout": "Stay in the range that the job states for the whole drive.",
    "number_of_other_unit": lambda values: (
        f"If the number in the module is the cause: {values['now']:g} is for the other unit. Set the "
        f"{setting_name(values['kind'], values['then'], 'to ')}, and drive again."
    ),
    "once_that_is_right": "Only after the first step: the figures assume that it is done.",
    "if_it_stays": lambda values: (
        f"If {_STAYS[values['cause']]}, {choice_name(values['what'])} makes up for the whole error; it would leave "
        f"{values['percent']:.1f} %."
        + (" Then add to the job that they were counted." if values["cause"] == "pulse_count" else "")
    ),
    "reads_low_by": _low_by,
    "gear_that_comes_out": lambda values: (
        f"Count {_that_come_out(values['counts'])}. Another count changes the new gear: then correct the job before it "
        "goes in."
    ),
    "number_set_now": lambda values: (
        "Read what is set now before changing it: this is figured from "
        f"{setting_name(values['kind'], values['now']) if values['kind'] else _scaler_at(values['now'])}. "
        "If it is another, correct the job first; the new number changes with it."
    ),
    "setting_moves_shifts": "A module's speed setting also moves shift points, cruise control and limiter; "
    "check them on the road too.",
    "scaler_moves_all": "A scaler ahead of a module shifts everything else that takes that signal: shift points, "
    "cruise control.",
    "no_part_puts_right": "Nothing the job names puts it right.",
    "no_part_helps": "Nothing the job names puts it right or leaves much less than what is fitted ({percent:.1f} %).",
    "opens_transmission": "The transmission must be opened for this gear.",
    "opens_hub": "The wheel must come off and its hub be opened for this gear.",
    "no_part_cures": lambda values: f"No gear and no setting cures {CAUSES[values['cause']]}.",
    "needle_sticks_yet": lambda values: (
        f"The needle seems to stick ({likely(values['chance'])}): it shows less on the way up than on the way down, "
        "and more driving does not change that. If it was repaired since, drive as below."
    ),
    "parts_off_as_well": lambda values: (
        f"More is off ({likely(values['chance'])}): {CAUSES[values['cause']]}. Drive again after the repair, and "
        "choose the part by that drive."
    ),
    "margin_to_the_rule": lambda values: (
        f"{choice_name(values['nearest'])} is nearer to true ({values['percent']:.1f} %), but "
        + ("likely too near a limit to prove." if values["chance"] > 0.5 else "likely fails the rule.")
    ),
    "until_repaired": "It helps until the instrument is repaired.",
    "pulses_times": "Another sensor, another tooth count of its wheel, or a wrong number in the module does that.",
    "sixes_for_fours": "A sensor that gives six pulses where four are stated, or four for six, makes nearly the same "
    "error: if it was changed, count its pulses for one turn first.",
    "box_may_be_turned": "Fitted the wrong way around, it would explain the error. Turn it then, say so with what was "
    "done, and leave the rest as it is for the road test.",
    "teeth_as_stated": lambda values: (
        f"The job says {values['teeth']}. If that is wrong ({likely(values['chance'])} likely), the new gear would be "
        "figured wrong too."
    ),
    "housing_at_the_count": "Look at the housing too: for {teeth} teeth the range {range} must face down; in another "
    "the gear meshes badly, and the needle jumps and reads low.",
    "housing_range": "That is the range for {teeth} teeth.",
    "may_stick": "If what turns the needle is fine, it may stick: note each speed once speeding up to it and "
    "once slowing down to it. A needle that sticks shows less on the way up than on the way down.",
    "needle_stays_down": "It fell on this drive and did not come up again.",
    "if_shown_again": "Only if the files are right and another drive, read by one person, shows the same: then the "
    "fault is in the instrument.",
    "may_jump": f"If the files are right, {WATCH_THE_NEEDLE}.",
    "set_by_the_repairer": "The drive is right, so no gear is changed for it: whoever repaired the instrument sets its "
    "needle over, and the odometer stays right.",
    "instrument_work": "The instrument must be opened; set the needle at a known speed or on a bench, and check "
    "that it still drops back to its rest.",
    "instrument_leaves": lambda values: (
        f"The {'bend of the dial' if values['bent'] else 'dial itself'} leaves {values['percent']:.1f} % "
        "whatever the gear."
    ),
    "between_two_teeth": "Whole teeth leave {percent:.1f} %; a ratio box in the cable gets closer.",
    "gears_at_their_end": "It takes a driven gear of {wanted:.1f} teeth, and those that can be had end at {teeth}, "
    "which leaves {percent:.1f} %; a ratio box in the cable or another drive gear makes up for the rest.",
    "between_two_steps": "The steps of the module leave {percent:.1f} %; a pulse scaler before it gets closer.",
    "too_uncertain": "This drive is not precise enough to decide; a film or a log of the dial would settle it, or more "
    "readings at steady speeds.",
    "parts_tell_little": "The parts alone do not tell surely; a drive, the dial noted or logged, measures the error.",
    "approved_workshop_only": "A tachograph or a sealed limiter runs off this drive: this is a report only.",
    "measure_first": lambda values: (
        f"One measurement would make the choice surer: {MEASURED_BY[values['part']]}. {gained_by_measuring(values)}"
    ),
    # causes
    "offset_unexplained": "It does not explain the constant error of {offset_mps:speed1}.",
    "factor_unexplained": "It would give a factor of {expected_factor:factor}, the drive shows {factor:factor}.",
    "odometer_goes_its_own_way": "Needle and odometer are off by different factors ({factor:factor} and "
    "{odometer_factor:factor}).",
    "odometer_goes_along": "The odometer is off by the same factor.",
    "bend_unexplained": "It does not explain that the error changes with speed.",
    "scatter_unexplained": "It does not explain how the readings scatter.",
}
"""Code to the sentence, with its full stop where it is one."""
