"""Words for reading checks: the dial beside a truth that is known without a track."""

from __future__ import annotations

from speedcal.text.messages import Template, Values, labelled
from speedcal.text.words.numbers import joined, quoted

_HEADERS = "Write a header such as 'dial mph,true mph', 'dial mph,distance mi,time mm:ss' or 'mile post,time,dial mph'"
_PARTS = {
    "dial": "what the dial showed",
    "true": "the true speed",
    "distance": "the distance",
    "time": "the time",
    "start": "the start",
    "end": "the end",
    "post": "the mile posts",
    "rpm": "the engine speed",
    "gear": "the gear",
    "odometer": "the odometer",
    "odometer_start": "the odometer at the start",
    "odometer_end": "the odometer at the end",
}


def _columns(values: Values) -> str:
    return joined(quoted(name) for name in values["columns"]) or "none"


def _several(values: Values) -> str:
    return f"several columns may hold {_PARTS[values['what']]}: {_columns(values)}"


def _implausible(values: Values) -> str:
    ways = [
        f"as {choice}, {ratio:.2f} times the truth"
        for choice, ratio in zip(values["choices"], values["ratios"], strict=True)
    ]
    return f"column {quoted(values['column'])} fits no unit: the dial would show {joined(ways, 'or')}"


REFUSALS: dict[str, tuple[Template, Template]] = {
    "no_table_of_checks": ("the text holds no table of checks with a header row", _HEADERS),
    "no_checks": (lambda values: f"no row holds a check; the columns are {_columns(values)}", _HEADERS),
    "no_truth_columns": (
        lambda values: f"nothing beside the dial tells the true speed; the columns are {_columns(values)}",
        _HEADERS,
    ),
    "several_true_columns": (
        lambda values: (
            f"it is not clear which column is the true speed: {joined(map(quoted, values['columns']), 'or')}"
        ),
        "Call the dial's 'dial mph', and the one true speed 'true mph'",
    ),
    "several_check_columns": (_several, "Keep one of them"),
    "check_unit_open": (
        "column {column:quoted} may be in {choices:or}",
        "Write the unit into the header, such as 'distance mi' or 'time mm:ss'",
    ),
    "check_implausible": (_implausible, "Check the figures, and write the units into the header"),
    "unknown_check_unit": (
        "{found:quoted} is not a unit for that column",
        "Give mph, km/h, m/s or kn for a speed, mi, km, m or ft for a distance",
    ),
    "not_a_run_time": ("{found:quoted} is not the time of a run", "Write it as 63.2, 1:03.2 or 1 min 3 s"),
    "posts_without_times": (
        "there are mile posts ({column:quoted}) and no times",
        "Add a column with the time of day at each post",
    ),
    "check_note_unclear": (
        "{found:quoted} can be read in more than one way",
        "Say what each number is: 'dial 60, gps 57', '60 mph, 1 mile, 63.2 s' or 'trip 10.4 over 10 miles'",
    ),
    "check_note_incomplete": (
        "{found:quoted} lacks the dial, or what tells the true speed",
        "Write both on the line, such as 'dial 60, gps 57' or '60 mph, 1 mile, 63.2 s'",
    ),
    "check_not_exact": (
        "{found:quoted} is about a speed, and a check wants a mark that was held",
        "Write the mark of the dial that was held, or take the line out",
    ),
    "rpm_without_vehicle": (
        "engine speed tells the true speed only where axle and tire are known",
        "State axle and tire of the vehicle in a job, and give the checks there",
    ),
    "rpm_without_gear": ("there is no column for the gear", "Add a column 'gear ratio', such as 1.00 or 0.71"),
    "gear_not_a_ratio": (
        "{found:quoted} is not a ratio, or may be the number of a gear",
        "Write the ratio of the gear, such as 1.00 or 0.71, or 'direct'",
    ),
    "odometer_without_start": (
        "the readings of {column:quoted} are not the distances beside them",
        "Give two columns, 'odometer start' and 'odometer end', or what the trip meter counted",
    ),
}
"""Code to what is wrong and what to do, both without full stop."""

FINDINGS: dict[str, Template] = {
    "check_unit_taken": "Column {column:quoted} was taken as {taken}: by anything else the dial would be far out.",
    "checks_left_out": lambda values: f"Not used as checks: {labelled(values['counts'])}.",
    "truth_by_receiver": "{count:n true speed is/true speeds are} read off a receiver: known to 0.1 m/s and the "
    "rounding of its display.",
    "truth_by_run": "{count:n true speed is/true speeds are} from distance and time: the watch 0.2 s at each end "
    "(common practice, not verified), the distance 0.2 % (not verified).",
    "truth_by_posts": "{count:n true speed is/true speeds are} from one mile post to the next: the watch 0.2 s at each "
    "(common practice, not verified), each post where it should be to 5 m (not verified).",
    "truth_by_rpm": "{count:n true speed is/true speeds are} from engine speed, axle and tire: all rest on what the "
    "tire rolls, and on a tachometer right to 1 % (not verified).",
}
"""Code to the sentence, with its full stop."""

LABELS: dict[str, str] = {
    "mile_not_steady": "miles in which the dial, the direction or the time was not steady",
    "check_incomplete": "rows without a true speed",
    "vehicle_stands": "rows in which the vehicle stands",
}
"""Short names of what is counted."""
