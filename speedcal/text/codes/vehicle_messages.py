"""Words for the vehicle: tires, gears, choices, causes, advice."""

from __future__ import annotations

from speedcal.text.codes.job_messages import unknown
from speedcal.text.messages import Template, Values
from speedcal.text.words.numbers import counted, fill, joined, keys_named, likely, rolled, short, signed
from speedcal.text.words.parts import MEASURED_BY, choice_name, part_name, setting_name
from speedcal.text.words.sources import status_in_short
from speedcal.units import SPEED_UNIT_MPS

_TIRE_EXAMPLES = (
    "Write it as on the sidewall, such as 205/55R16, LT235/85R16, 31x10.50R15LT, 7.50R16LT, G78-15, MT90B16, "
    "16.9-38 or 480/80R42; for a tire of another kind give a roll-out or its maker's turns instead of its size"
)
_TURNS = "Write it as 37.25, 3 3/4 or 'just short of 4'"
_FAMILY_REMEDY = "Name one of the shipped families, or a TOML file of your own beside the job file"

REFUSALS: dict[str, tuple[Template, Template]] = {
    "unknown_tire_size": ("tire size {size:quoted} is not in a form we know", _TIRE_EXAMPLES),
    "impossible_tire_size": ("tire size {size:quoted} has numbers that no road tire we know has", _TIRE_EXAMPLES),
    "roll_out_unreadable": (
        "roll-out {given:quoted} is not TURNS:DISTANCE with a unit",
        "Write it as 3:8.12m, 3:319.5in or 5:44ft",
    ),
    "unknown_gear_family": (unknown("gear family", "given"), _FAMILY_REMEDY),
    "gear_family_elsewhere": ("gear family file {file:quoted} must lie beside the job file", "Copy it there"),
    "gear_family_missing": ("there is no gear family file {file:quoted}", "Put it beside the job file"),
    "gear_family_unreadable": ("gear family file {file:quoted} cannot be read: {why}", "Correct the file"),
    "fact_before_missing": (
        lambda values: (
            f"{keys_named('vehicle', [values['key']], values.get('place'))} is not stated, so the effect of changing "
            "it is unknown"
        ),
        "Add it as it was during the drive before the work",
    ),
    "facts_missing": (
        lambda values: (
            "without a drive the reading follows from the parts, and these are not stated: "
            f"{joined(part_name(link) for link in values['links'])}"
        ),
        "Give them ({key vehicle axle tire drive_gear turns_per_mile}), or {key vehicle tire_before axle_before}, or "
        "record a drive",
    ),
    "nothing_to_explain_from": (
        "nothing is stated about the tires or the axle, so anything would explain the error",
        "Give {key vehicle tire tire_before axle}",
    ),
    "turns_unreadable": ("{given:quoted} is not a number of turns", _TURNS),
    "turns_impossible": ("{given:quoted} turns cannot be counted", _TURNS),
    "count_unreadable": ("count {given:quoted} is not WHEEL:SHAFT", "Write wheel turns and shaft turns as 10:37.25"),
    "gear_ratio_unreadable": ("gear ratio {given:quoted} is not a ratio", "Give --gear as 1, 0.73 or 30/41"),
    "tread_impossible": (
        "tread of {tread_mm:g} mm is not between 0 and the {new_mm:g} mm of a new tire",
        "Give --tread as what is left and --new-tread as what it had",
    ),
    "few_runs_in_gear": (
        "only {count:n steady stretch/steady stretches} of the drive were in the gear named",
        "Hold at least {fewest} speeds for a minute each in that gear",
    ),
    "engine_ratio_impossible": (
        "engine speed over road speed would mean an axle ratio of {ratio:.1f}",
        "Check that --column holds engine speed in turns per minute, and the ratio of the gear",
    ),
}
"""Code to what is wrong and what to do, both without full stop."""


_MOST_MEASURES = 3
"""From more parts than this it is not said how each is measured: the advice says which comes first."""


def _inseparable(values: Values) -> str:
    links = values["links"]
    names = ["what the instrument expects" if link == "instrument" else part_name(link) for link in links]
    measures = "; ".join(MEASURED_BY[link] for link in links)
    if len(links) > _MOST_MEASURES:
        return f"Driving alone cannot tell these apart: {joined(names)}. Each one that is measured narrows it."
    if len(links) == 1:
        return f"Not stated, and a drive alone does not tell it: {names[0]}. To know it: {measures}."
    return f"Driving alone cannot tell these apart: {joined(names)}. To tell them apart: {measures}."


def _contradicts(values: Values) -> str:
    unit = values["unit"]
    less = values["driven_m"] < values["stated_m"]
    percent = abs(100 * (values["driven_m"] / values["stated_m"] - 1))
    return (
        f"The tire should roll {rolled(values['stated_m'], unit)} ({values['basis']}); by the drive it rolls "
        f"{rolled(values['driven_m'], unit)}, {percent:.1f} % {'less' if less else 'more'} per turn. Tire, axle "
        "ratio, a tooth count or the instrument is not what is stated."
    )


def _from_memory(values: Values) -> str:
    names = ", ".join(f"{part_name(item['part'], many=True)} {item['teeth']}" for item in values["ranges"])
    return (
        f"In the gear family {values['family']!r} these are not verified: {names}. Make sure before ordering that the "
        "gear exists, and look at the housing for the range it is marked with."
    )


def _teeth(values: Values) -> str:
    return (
        f"The {part_name(values['gear'])} was not given; the rest of the chain and the drive give "
        f"{values['teeth']:.2f} teeth ({values['low']:.2f} to {values['high']:.2f})"
    )


def _not_driven(values: Values) -> str:
    unit = values["unit"]
    driven = " to ".join(short(v / SPEED_UNIT_MPS[unit], 0) for v in values["driven_mps"])
    at = joined(
        f"{v / SPEED_UNIT_MPS[unit]:.4g} (±{half / SPEED_UNIT_MPS[unit]:.1f})"
        for v, half in zip(values["speeds_mps"], values["half_mps"], strict=True)
    )
    if values.get("once_right"):  # then the same turns of the shaft stand for other speeds, those of the road test
        return (
            f"Once that is right, the drive covers a true {driven} {unit}; at {at} {unit} the dial is only "
            "extended from that, and the road test will show."
        )
    return (
        f"The drive covers {driven} {unit}; at {at} {unit} the dial is only extended from that. Drive those speeds "
        "too where that is legal, or name others."
    )


def _not_decided(values: Values) -> str:
    rivals = [choice_name(rival) for rival in values["rivals"]]
    against = f" against {joined(rivals, 'or')}" if rivals else ""
    return (
        f"The chance that {choice_name(values['best'])} is the best of its kind is "
        f"{likely(values['chance'])}{against}; "
        f"{'more readings at steady speeds' if values['is_driven'] else 'a recorded drive'} would decide it."
    )


def _margin_kept(values: Values) -> str:
    return (
        f"The chance that {choice_name(values['better'])} is the better one is {likely(values['chance'])}, but the "
        f"chance that it reads low is {likely(values['chance_low'])}, and this criterion allows "
        f"{100 * values['allowed']:.0f} %; hence {choice_name(values['chosen'])}."
    )


def _start(values: Values) -> str:
    return (
        f"No choice keeps the worst error within {values['limit_percent']:g} %; the best is "
        f"{choice_name(values['best'])}, which leaves {values['best_percent']:.1f} %. "
    )


_MEANS = {
    "pulse_scaler": "a pulse scaler",
    "ratio_box": "a ratio box in the cable (say which teeth it can have)",
    "drive_gear": "another drive gear (count the fitted one)",
    "gear_family": "a gear family that allows pairs",
}


def _no_choice(values: Values) -> str:
    teeth = "" if values["teeth"] is None else f" (a driven gear of {values['teeth']:.1f} teeth)"
    means = joined((_MEANS[name] for name in values["means"]), "or")
    return f"{_start(values)}It takes a change of {signed(values['wanted_percent'])} %{teeth}, by {means}."


def _wanted_change(values: Values) -> str:
    percent = values["percent"]
    way = "fewer" if percent < 0 else "more"
    but = (
        "what the job names is at its end already"
        if values["at_its_end"]
        else "the job names neither teeth, a scaler nor a module setting that could be changed"
    )
    return f"The instrument must get {abs(percent):.1f} % {way} turns or pulses, but {but}."


def _sizes(values: Values) -> str:
    return f"a healthy instrument reads {signed(values['percent'])} %, give or take " + fill(
        "{u_percent:.2f} % (standard; {source})", values
    )


def _possible(values: Values) -> str:
    return f"possible {part_name(values['part'])}s: {values['source']} ({status_in_short(values['status'])})"


def _not_stated(values: Values) -> str:
    possible = counted(values["count"], "possibility/possibilities")
    return f"{part_name(values['part'])}: not stated, {possible}{' equally likely' if values['count'] > 1 else ''}"


def _as_stated(values: Values) -> str:
    return (
        f"{part_name(values['part'])}: {likely(values['chance'])} as stated, otherwise one of {values['others']} "
        f"others ({values['source']}, {status_in_short(values['status'])})"
    )


def _built_with(values: Values) -> str:
    return (
        f"{part_name('tire_before')}: not stated, {likely(values['chance'])} the size that is fitted, otherwise one of "
        f"{values['others']} others ({values['source']}, {status_in_short(values['status'])})"
    )


def _ambiguous(values: Values) -> str:
    measures = "; ".join(f"{part_name(part)}: {MEASURED_BY[part]}" for part in values["parts"])
    return f"More than one combination fits. {f'What would settle it: {measures}.' if measures else ''}".strip()


FINDINGS: dict[str, Template] = {
    "no_drive": "no drive: the instrument is taken to be right now.",
    # what a tire rolls
    "tire_by_convention": "{size} by convention: {factor:g} x diameter",
    "tire_rolled_out": "rolled out: {distance_m:g} m in {turns:g} turns",
    "tire_by_turns": "maker's figure: {turns_per_mile:g} turns per mile",
    "tire_both_sides": "mean of both sides: {left}, {right}",
    # the chain
    "whole_train": "from the whole gear train",
    "module_setting": lambda values: f"against what is set now, {setting_name(values['kind'], values['now'] or 0.0)}",
    "right_with_tire": lambda values: (
        f"if the instrument was right with {values['tire']} and an axle of {values['axle']}, and nothing else changed"
        if values.get("axle")
        else f"if the instrument was right with {values['tire']} and nothing but the tires has changed"
    ),
    "right_with_axle": "if the instrument was right with an axle of {axle} and the tires fitted now",
    "inseparable": _inseparable,
    "chain_implausible": lambda values: (
        f"The chain as stated needs a tire that rolls {rolled(values['circumference_m'], values['unit'])}: one of its "
        "numbers is wrong (pulses per turn, what the instrument expects, teeth or the place of the sensor)."
    ),
    "chain_contradicts_drive": _contradicts,
    "gears_may_be_swapped": "The drive gear has {drive_gear} teeth and the driven gear {driven_gear}; usually "
    "the drive gear is the smaller. See which is which before ordering.",
    "axle_ratio_rounded": "The axle ratio {axle} is a rounded figure; ring and pinion teeth such as 41/11 are exact.",
    "teeth_open": lambda values: (
        f"{_teeth(values)}, which does not settle on one count that exists. Count its teeth before ordering."
    ),
    "teeth_from_drive": lambda values: f"{_teeth(values)}: taken as {values['taken']}. Count its teeth to be sure.",
    "gear_family_from_memory": _from_memory,
    # choices
    "nothing_to_change": _wanted_change,
    "speeds_not_driven": _not_driven,
    "instrument_limits": lambda values: (
        f"{_start(values)}The dial's own error leaves {values['left_percent']:.1f} %, and no gear can cancel it: "
        "the instrument itself must be set right, or the speeds that matter chosen higher."
    ),
    "margin_too_wide": lambda values: (
        f"{_start(values)}To be sure that it never reads low, a choice must carry a margin of "
        f"{values['sure_percent']:.1f} % after this drive; more readings would narrow that."
    ),
    "no_acceptable_choice": _no_choice,
    "not_decided": _not_decided,
    "margin_kept": _margin_kept,
    "acceptable_as_is": "As it is the worst error is {worst_percent:.1f} %, already acceptable.",
    "from_facts_alone": "No drive: everything is worked out from the parts as stated.",
    "instrument_true": lambda values: (
        f"The instrument is taken to show what its drive tells it, give or take {196 * values['u_relative']:.1f} %."
    ),
    "gear_not_counted": "The driven gear is not stated; as it is, the figures are for {teeth} teeth, the nearest "
    "whole count.",
    # what explains a factor
    "whole_chain_compared": "the instrument expects what the job says, so the whole chain is compared",
    "right_before": lambda values: (
        f"the instrument was right with {values['tire'] or 'the tires it was made for'}"
        + (f", an axle of {values['axle']} and the gears" if values.get("axle") else " and the axle and gears")
        + " that the job states"
    ),
    "right_by_module": lambda values: (
        f"the instrument is right for its {setting_name(values['kind'], values['now'])} and the axle and gears that "
        "the job states"
    ),
    "healthy_instrument": _sizes,
    "possible_parts": _possible,
    "part_not_stated": _not_stated,
    "part_as_stated": _as_stated,
    "built_with_fitted": _built_with,
    "nothing_explains": "No combination that we know of comes near this factor; check units and readings.",
    "ambiguous": _ambiguous,
    # axle ratio
    "counts_disagree": "The counts differ by more than reading a mark can explain; count again.",
    "ratio_unusual": "A ratio of {ratio:.2f} is unusual for a road axle: was one wheel held while the count was "
    "taken for both wheels, or the other way around?",
    "converter_slip": "A torque converter that is not locked slips a few per cent and makes the ratio look larger.",
    "tachometer_from_memory": "The tachometer is taken to be read to {u_rpm:g} rpm (standard uncertainty, not "
    "verified).",
    "marks_from_memory": "Marks are taken to be read to {wheel_turns:g} of a wheel turn and {shaft_turns:g} of a "
    "shaft turn at best (standard uncertainty, not verified).",
    "words_for_turns": "Words such as 'just short of' are taken as a quarter of a turn, give or take a tenth "
    "(standard); the words are common practice, the sizes our own reading of them.",
    "readings_in_gear": "{used} of {total} logged engine speeds fit the gear named.",
    "drive_carries_little": lambda values: f"The drive is weak: {values['reason'].text}",
}
"""Code to the sentence, with its full stop where it is one."""

LABELS: dict[str, str] = {
    "convention": "convention",
    "load": "load",
    "pressure": "pressure",
    "aspect_assumed": "aspect not on the sidewall",
    "tabulated": "tabulated size",
    "equivalent": "charts of equal sizes",
    "flotation_name": "printed diameter",
    "wear": "wear, downward only",
    "chalk_marks": "two chalk marks and a tape",
    "load_and_pressure": "load and pressure of this vehicle",
    "counted_turns": "counted turns",
    "engine_speed": "engine speed",
    "engine_speed_over_a_drive": "engine speed over a drive",
}
"""Short names of what is counted or listed."""
