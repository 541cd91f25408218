"""Words for rules, verdicts, road tests, pooled drives and drives over time."""

from __future__ import annotations

from datetime import UTC, datetime

from speedcal.text.codes.job_messages import unknown
from speedcal.text.messages import Template, Values
from speedcal.text.words import rules
from speedcal.text.words.numbers import counted, joined, keys_named, likely, signed, span, speed
from speedcal.text.words.parts import MEASURED_BY, TURNS_THE_NEEDLE, part_name
from speedcal.text.words.sources import status_words
from speedcal.units import SPEED_UNIT_MPS


def _bare(speed_mps: float, unit: str) -> str:
    return f"{speed_mps / SPEED_UNIT_MPS[unit]:.4g}"  # type: ignore[index]


def _day(time_s: float) -> str:
    return datetime.fromtimestamp(time_s, UTC).strftime("%b %-d, %Y, %H:%M UTC")


def _on_the_limit(values: Values) -> str:
    said = "Not proven, and more driving will hardly settle it: the instrument reads too close to a limit"
    if "speed_mps" not in values:  # of an odometer, which has one limit on one number
        return f"{said}."
    at = round(values["speed_mps"] / SPEED_UNIT_MPS[values["unit"]])
    return f"{said}, most of all at a true {at} {values['unit']}."


def _does_not_hold(values: Values) -> str:
    return f"the rule {values['rule']} does not apply at {_bare(values['speed_mps'], values['unit'])} {values['unit']}"


def _no_road_test(values: Values) -> str:
    return (
        f"even {values['holds']} holds of {values['readings']} readings each do not give "
        f"{values['target'].text.rstrip('.')}; they reach ±{values['reached_percent']:.2f} %"
    )


def _one_sheet_is_short(values: Values) -> str:
    why = "" if values["target"].code == "half_a_tooth" else ": the dial is expected to read near a limit"
    return (
        f"This sheet may not be enough{why}. Film or log the dial while the marks are held, or drive the sheet on two "
        "days and give both drives."
    )


def _what_instead_of_a_road_test(values: Values) -> str:
    more = f". {values['more'].text.rstrip('.')}" if values.get("more") else ""
    return _what_else(values) + more


def _what_else(values: Values) -> str:
    if values.get("beyond_mps"):
        keys = keys_named("tolerance", ["max_speed", "speeds"], values.get("place"))
        return (
            f"The rule is judged at {speed(values['beyond_mps'], None)} too, far beyond the speeds of this road test. "
            f"Give {keys}, as fits the vehicle, or a higher speed limit where vehicle and road allow it"
        )
    if values["known"] and values["changed"]:
        return "The instrument is expected to read right at a limit; choose a gear or setting that moves it away"
    if values["known"]:
        return "As it is now the dial reads right at a limit. Say in the job what will be fitted or set, and plan again"
    return "Add the drive before the work to the job, or judge at speeds inside the range of the road"


REFUSALS: dict[str, tuple[Template, Template]] = {
    "unknown_rule": (unknown("tolerance rule", "name"), ""),
    "full_scale_missing": (
        "the rule {rule} is a share of the top of the dial, which is not stated",
        "Give {key tolerance full_scale}, in the unit of the dial",
    ),
    "rule_limits_nothing": (
        "the tolerance sets no limit",
        "Give {key tolerance rule percent absolute never_low}; the guide's page rules lists the named rules",
    ),
    "rule_does_not_hold": (
        _does_not_hold,
        lambda values: f"It applies {rules.domain(values)}. Leave out speeds, or write your own rule",
    ),
    "unknown_assumption": (unknown("assumption", "name"), "Correct the name"),
    "assumption_unusable": ("{name} is {value}", "Give a number in {wanted_unit}"),
    "assumption_unreadable": ("{found:quoted} is not an assumption", "Write it like pointer_scatter=0.5"),
    "speed_limit_unusable": ("the speed limit is {found}", "Give the legal speed in {wanted_unit}, such as 65"),
    "rule_about_distance": (
        "{rule} is about distance, which no held speed settles",
        "Note the odometer at both ends of a long drive, or plan with a rule about speed",
    ),
    "too_few_marks": (
        "under a limit of {limit_mps:speed} there are {count} marks to hold from {lowest_mps:speed} on, and a road "
        "test needs {least}",
        "Use a road with a higher limit, or a lower mark to start with (lowest)",
    ),
    "no_road_test_answers": (_no_road_test, _what_instead_of_a_road_test),
    "rule_holds_at_no_mark": (
        "{rule} does not apply at any mark that this road allows",
        "Use a road with another limit",
    ),
    "rule_limits_one_side": (
        "{rule} limits one side only, so how many readings are needed depends on how the instrument reads",
        "Add the drive before the work to the job, so that the plan knows what to expect",
    ),
    "no_drive_after": ("the job has no drive after the work", "Add [after] with its track and readings"),
    "no_drive_before": ("the job has no drive before the work", "Add [before] with its track and readings"),
    "no_tolerance": ("the job names no tolerance", 'Add [tolerance] with rule = "un_r39_type", for example'),
    "drive_without_date": (
        "nothing tells the day of drive {drive}",
        lambda values: f"Write it into [{values['drive'].partition(' ')[0]}] of the job: date = 2026-05-04",
    ),
    "file_not_written": ("{file} cannot be written ({reason})", "Check the folder, or close the file"),
    "duplicate_drive": (
        "{first} and {second} are the same drive, given twice",
        "Give each drive once; another copy or format of its files tells nothing new",
    ),
    "drives_at_once": (
        "{first} and {second} were recorded at the same time, and a vehicle makes one drive at a time",
        "Give each drive once, and only drives of this vehicle. If a recorder's clock was never set, correct the dates "
        "of its track",
    ),
    "readings_used_twice": (
        "the readings of {first} are given for {second} too",
        "Give {second} the readings that were noted during it",
    ),
    "order_reversed": (
        lambda values: (
            f"the drive '{values['after']}' was made on {_day(values['after_s'])}, earlier than the drive "
            f"'{values['before']}' on {_day(values['before_s'])}"
        ),
        "Swap the two drives, or name the right files",
    ),
    "clocks_apart": (
        lambda values: (
            f"between {values['first']} and {values['second']} the watch differs by {span(abs(values['apart_s']))}: "
            f"were the readings of {values['second']} really noted on that drive?"
        ),
        "If they were, by another watch, give {key drive clock_offset_s} (reading clock + this = GPS "
        "clock) for {second}; "
        "otherwise name the right readings",
    ),
    "odometer_shows_less": (
        "the odometer shows {now:,.0f} now, less than the {then:,.0f} when the work was done",
        "Correct {key work odometer odometer_now}; an instrument that was changed starts a new count",
    ),
    "no_drive_to_pool": ("there is no drive to pool", "Give at least one drive"),
    "no_drives_for_history": (
        "a history needs drives with their days",
        "Give at least one job with a recorded drive, or with checks and their date",
    ),
}
"""Code to what is wrong and what to do, both without full stop."""


def _half_a_tooth(values: Values) -> str:
    which = f"an assumed {values['teeth']:g}-tooth" if values["assumed"] else f"the {values['teeth']:g}-tooth"
    return f"the error factor to within half a tooth of {which} driven gear, ±{50 / values['teeth']:.2f} %."


def _weak_drive(values: Values) -> str:
    reasons = [reason.text.rstrip(".") for reason in values["reasons"]]
    return f"The drive after the work is WEAK ({reasons[0]})." if reasons else "The drive after the work is WEAK."


_FROM_THE_SIDE_MPS = 0.22
"""What a look at the dial leaves open at least, if it is from the side: half a mph."""
_MANY = 60
"""Readings that nobody likes to note by hand: an hour's drive."""


def _more_readings(values: Values) -> str:
    speeds, unit = values["speeds_mps"], values["unit"]
    where = joined(f"{v / SPEED_UNIT_MPS[unit]:.0f}" for v in speeds)
    at = f"at a true {where} {unit}{' (half of them at each)' * (len(speeds) == 2)}"
    at = f"shared among a true {where} {unit}" if len(speeds) > 2 else at
    alone = " Note a few at other speeds too: notes at one speed cannot be matched to the track."
    noted = " So many come from one film of the dial, or one log." if values["count"] > _MANY else ""
    faster = " (faster than driven, only where that is legal)" if values["beyond_driven"] else ""
    return (
        f"About {counted(values['count'], 'more reading')} {at}{faster}, slowing "
        "down between them, settle it together with this drive nine times in ten, if the dial reads as estimated."
        + noted
        + alone * (len(speeds) == 1)
    )


def _holds_nowhere_driven(values: Values) -> str:
    where = rules.domain({**values, "unit": values["rule_unit"], "quantity": "speed", "points_mps": ()})
    low, high = (_bare(v, values["unit"]) for v in values["driven_mps"])
    return (
        f"{values['rule']} applies {where}; driven was {low} to {high} {values['unit']}. Drive there where that is "
        "legal; for a vehicle that does not go so fast, judge by another rule."
    )


def _named_not_driven(values: Values) -> str:
    unit = values["unit"]
    at = joined(_bare(v, unit) for v in values["speeds_mps"])
    return (
        f"The job names {at} {unit} too; this road test went no faster than {speed(values['driven_mps'], unit)}. Drive "
        "there where that is legal, or name the speeds that this vehicle is driven at."
    )


def _not_reached(values: Values) -> str:
    unit = values["unit"]
    at = joined(_bare(v, unit) for v in values["speeds_mps"])
    top = speed(values["driven_mps"], unit)
    return (
        f"The rule is judged at {at} {unit} too; the fastest speed driven was {top}. If the vehicle does not go "
        "that fast, test it at lower speeds; if it does, drive again on a faster road."
    )


def _too_slowly(values: Values) -> str:
    unit = values["unit"]
    at = joined(_bare(v, unit) for v in values["speeds_mps"])
    here, before = speed(values["driven_mps"], unit), speed(values["before_mps"], unit)
    return (
        f"The rule is judged at {at} {unit} too; this road test went no faster than {here}, the drive before up to "
        f"{before}. Hold the speeds of the road test plan, on a faster road or a drier day."
    )


def _outside(values: Values) -> str:
    unit = values["unit"]
    low, high = (_bare(v, unit) for v in values["driven_mps"])
    at = joined(_bare(v, unit) for v in values["speeds_mps"])
    return (
        f"{rules.title(values)} is judged at {at} {unit}, but only {float(low):.0f} to {float(high):.0f} was driven; "
        "beyond that the dial is extended from what was measured."
    )


def _beyond_road_test(values: Values) -> str:
    at = joined(_bare(v, values["unit"]) for v in values["speeds_mps"])
    return (
        f"{rules.title(values)} is judged at {at} {values['unit']}, which this road test does not reach; there the "
        "dial is extended from what is measured."
    )


def _far_beyond_road_test(values: Values) -> str:
    at = joined(_bare(v, values["unit"]) for v in values["speeds_mps"])
    return (
        f"{rules.title(values)} is judged at {at} {values['unit']} too, about which this road test says nothing. "
        f"Drive there as well where road and law allow it; if the vehicle is not that fast, {MEASURED_BY['max_speed']}."
    )


def _reference(values: Values) -> str:
    unit, wanted = values["unit"], values["wanted"]
    known = joined(f"±{row['percent']:.1f} % at {_bare(row['speed_mps'], unit)} {unit}" for row in values["known"])
    return (
        f"The true speed is known to {known} (95 %); the rule wants ±{wanted.percent:g} % ({wanted.source}; "
        f"{status_words(wanted.status)}). The verdict allows for this, but the drive is not a test as the rule "
        "describes it; more steady readings there would narrow it."
    )


CHANGED = {"speed": "reading", "odometer": "odometer"}
"""What a change of the work shows on."""


def _changed_otherwise(values: Values) -> str:
    planned, measured = (100 * (values[name].value - 1) for name in ("planned", "measured"))
    return f"The {CHANGED[values['quantity']]} changed by {signed(measured)} % where {signed(planned)} % was planned."


def _not_as_predicted(values: Values) -> str:
    fitting = [cause.text.rstrip(".") for cause in values["fitting"]]
    causes = f"What would fit: {'; '.join(fitting)}." if fitting else "No usual cause fits by its size."
    return f"{_changed_otherwise(values).rstrip('.')}, further apart than the uncertainty of the two drives. {causes}"


def _gear(values: Values) -> str:
    gear = values["gear"].replace("_", " ")
    if values["teeth"] == values["planned"]:
        return (
            f"A miscount: the drive points to {values['implied']:.1f} teeth on the {gear}, nearest to the "
            f"{values['planned']} as planned; count the teeth of the gear that came out and of the one that went in."
        )
    return (
        f"Another {gear} than planned: the drive points to {values['implied']:.1f} teeth, not "
        f"{values['planned']}; {values['teeth']} teeth would change it by {signed(values['percent'])} %."
    )


def _housing(values: Values) -> str:
    return (
        "The housing turned to the wrong range: the gears then mesh too deep or hardly at all; the reading drops or "
        f"jumps by no fixed amount{'' if values['reads_low'] else ', never high'}; check the mark on the housing."
    )


def _tires(values: Values) -> str:
    needed = values["roll_percent"]
    how = (
        "pressure or wear could do that"
        if values["pressure_could"]
        else "too much for pressure alone, but another size could do it"
    )
    return (
        f"Tire pressure or size: the tires would have to roll {abs(needed):.1f} % {'more' if needed > 0 else 'less'} "
        f"per turn; {how}."
    )


def _count_decides(values: Values) -> str:
    out = values["came_out"]
    old = f"count the one that came out: {out} teeth would explain it. If both are right, " if out else ""
    counted_too = "add to the job that the teeth were counted, and what else changed (tires?)."
    return f"If it has {values['planned']}, {old}{counted_too}"


def _other_range(values: Values) -> str:
    drive = {"after": "road test", "before": "drive before the work"}[values["phase"]]
    return (
        f"The {drive} looks like one in the other range of the {part_name(values['part'])}: there the dial shows "
        f"{values['times']:.2f} times as much or as little."
    )


_WRONG_FILE = {
    "unchanged": "The wrong readings file: nothing has changed since the drive before, so it is the same drive, or the "
    "part is not fitted.",
    "kmh_taken_for_mph": "The wrong unit: km/h were taken for mph.",
    "mph_taken_for_kmh": "The wrong unit: mph were taken for km/h.",
    "unknown": "The wrong readings file or the wrong track: no fixed amount; look at dates and names.",
}


def _disagree(values: Values) -> str:
    shown = joined(f"drive {i} {signed(percent)} %" for i, percent in enumerate(values["errors_percent"], start=1))
    if values["groups"]:
        first, second = (joined(map(str, group)) for group in values["groups"])
        why = (
            f". Drives {first} agree with each other, and so do drives {second}: something changed between the two "
            "(tires, a gear, a setting), or the drives are of two vehicles."
        )
    else:
        farthest = f"; drive {values['farthest']} is farthest out" if len(values["errors_percent"]) > 2 else ""
        why = f"{farthest}. Something changed between them, or one of them is not of this vehicle in this state."
    return f"The drives do not agree ({shown}){why} The range is widened accordingly."


def _more_checks(values: Values) -> str:
    now, then, wanted = (f"±{values[name]:.1f} %" for name in ("now_percent", "then_percent", "wanted_percent"))
    half = f"half a tooth of {values['teeth']:g}, {wanted}"
    if not values["count"]:
        if values["now_percent"] <= values["wanted_percent"]:
            return f"The checks made are enough: they tell the reading to {now}, better than {half}."
        return (
            f"More runs like those made are hardly worth it: they tell the reading to {now}, not to {half}. A longer "
            "stretch, or a phone that records the drive, tells more."
        )
    marks = joined(f"{mark} ({count})" if count > 1 else mark for mark, count in values["marks"].items())
    runs = f"{counted(values['count'], 'more run')} with the dial on {marks}"
    if values["then_percent"] <= values["wanted_percent"]:
        return f"By checks alone: {runs} would tell the reading to {then} instead of {now}; {half}, is what it takes."
    return f"By checks alone: {runs} would tell the reading to {then} instead of {now}; still more is hardly worth it."


FINDINGS: dict[str, Template] = {
    "pooled_disagree": "the drives do not agree.",
    "half_a_tooth": _half_a_tooth,
    "clear_verdict": lambda values: f"a clear verdict on {rules.title(values)}, {100 * values['confidence']:g} % sure.",
    "passenger_writes": "The driver only drives. A passenger reads the dial and writes, never the driver.",
    "one_sheet_is_short": _one_sheet_is_short,
    "marks_of_the_dial": "The dial is marked in {unit}, and so are the marks to hold.",
    "expected_at_limit": "After this work the dial should read right at a limit, where no road test settles "
    "much; choose a gear or setting that moves it away.",
    "may_not_settle": "How the dial reads now is not known, so this test may not settle the verdict; the verdict "
    "then says what is left to drive.",
    "legal_speed_by_gps": "Keep to the speed limit by the GPS, not by the dial under test; skip a mark that the road "
    "does not allow.",
    "suitable_road": "Use a dry, level, straight road with little traffic and hold nobody up. Stop the test when "
    "traffic asks for it.",
    "cold_pressures_first": "Set the tire pressures cold, then drive ten minutes to warm up. Start the GPS log before "
    "the first mark.",
    "local_rules_first": "Local rules on speedometers, odometers and road tests come first.",
    "rule_beyond_road_test": _beyond_road_test,
    "rule_far_beyond_road_test": _far_beyond_road_test,
    "more_checks": _more_checks,
    "rule_from_memory": lambda values: f"The limits of {values['title']} are {status_words(values['status'])}.",
    "rule_note": "{note}",
    "speeds_chosen": "This job is judged at speeds chosen for it; the rule names others.",
    "weak_drive": _weak_drive,
    "change_not_predicted": lambda values: f"The change by the work is not predicted: {values['error'].problem}.",
    "not_as_predicted": _not_as_predicted,
    "changed_otherwise": _changed_otherwise,
    "before_in_other_unit": "The drive before the work seems to have been noted in the other unit, or the instrument "
    "was set to another since: then the change is as planned.",
    "count_decides": _count_decides,
    "if_so_counted": "Figured for {teeth} teeth fitted now.",
    "needle_moved": "The needle offset is not the same before and after: the needle, the face or the instrument was "
    "moved, or one of the drives was read in another unit than it says.",
    "cause_gear": _gear,
    "cause_old_gear": lambda values: (
        f"The {values['gear'].replace('_', ' ')} that came out: with {values['teeth']} teeth in place of the "
        f"{values['stated']} stated it would explain the change; count it."
    ),
    "cause_needle": lambda values: (
        f"The needle: it sits {speed(abs(values['shift_mps']), values['unit'], digits=1)} "
        f"{'higher' if values['shift_mps'] > 0 else 'lower'} than the drive before and the work would have it; "
        "the gearing is as planned."
    ),
    "cause_range": _other_range,
    "cause_setting": "A gear or setting other than planned: it would have to change the reading by {percent:signed} %; "
    "look at what is fitted.",
    "cause_housing": _housing,
    "cause_tires": _tires,
    "cause_file": lambda values: _WRONG_FILE[values["why"]],
    "more_readings": _more_readings,
    "more_drives": "About {count:n more drive} like this one, pooled with it, settle it nine times in ten if the dial "
    "reads as estimated.",
    "on_the_limit": _on_the_limit,
    "within_way_of_reading": lambda values: (
        "More readings taken in the same way will hardly settle it: the way of reading alone leaves "
        f"±{speed(values['half_width_mps'], values['unit'], digits=1)} open. "
        + ("Read the dial square on, film it, " if values["half_width_mps"] > _FROM_THE_SIDE_MPS else "Film the dial, ")
        + "or log what it shows."
    ),
    "likely_complies": lambda values: (
        f"The chance that it complies is {likely(values['chance'])}."
        + ("" if values["is_all"] else " Where a pass has to be proven, do the next step instead.")
    ),
    "hardly_complies": lambda values: (
        f"Only if it has to stay as it is: the chance that it complies is {likely(values['chance'])}."
    ),
    "longer_distance": "Not proven: a distance about {times:.0f} times as long between two odometer readings would "
    "settle it.",
    "odometer_not_read": "The odometer was not read. The needle tells it only to ±3 %, and only where both are driven "
    "by the same gears and the needle itself is sound. Fifteen miles (25 km) between two readings, to the tenth, tell "
    "it to ±0.3 %.",
    "outside_driven_range": _outside,
    "vehicle_does_not_reach": _not_reached,
    "driven_too_slowly": _too_slowly,
    "fell_on_road_test": "While the needle stayed up the dial was within the rule; where it fell it was not. It passes "
    "once a road test shows that it stays up.",
    "named_not_driven": _named_not_driven,
    "rule_holds_nowhere_driven": _holds_nowhere_driven,
    "reference_speed": _reference,
    "pooled": "{count:n drive is/drives are} pooled.",
    "drives_disagree": _disagree,
    "worked_between": "If something was fitted or set between them, take the earlier one out of the job.",
    "third_drive_decides": "Drive a third time in the same state, on tires at the same cold pressure, and give all "
    "three: two that agree show which one is off.",
    "odd_drive": "The others agree. Check the files of drive {drive}, and whether something was different on it "
    "(tires, pressure, load, range, who read); leave it out of the job if something was.",
    "one_group_holds": "Keep the drives made last; leave those of the other state, or the other vehicle, out.",
    "no_two_agree": f"No two of them agree, so more driving will not settle it: {TURNS_THE_NEEDLE}.",
    "jump": "Between {first} and {second} the reading jumped by {percent:signed} %: a gear, a setting, the tires or "
    "the instrument was changed.",
    "compared_beyond_driven": "The drives are compared at {speed_mps:speed}, which not all of them reached; there a "
    "dial is extended from what was measured.",
    "wear": "The reading creeps up as it does when tires wear: a worn tire turns more often over the same distance.",
    "creeps_down": "The reading creeps down, which wear does not do: look at tire pressure, tire size and slip.",
}
"""Code to the sentence, with its full stop."""

LABELS: dict[str, str] = {"drives": "the drives", "disagreement": "disagreement of the drives"}
"""Short names of what is counted or listed."""
