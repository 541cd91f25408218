"""Words for job files, tables of keys and commands."""

from __future__ import annotations

from collections.abc import Iterable

from speedcal.statements import nearest
from speedcal.text.messages import Template, Values
from speedcal.text.words.numbers import fill, joined

_SEE_GUIDE = "The guide's page job-file lists every table and key"


UNITS = {"dial": "unit of the dial", "odometer": "mi or km, as the dial is marked"}
"""Units of keys that depend on the instrument, in words."""


def hint(found: object, known: Iterable[str], near: str | None = None) -> str:
    """Name the nearest known word, or all of them when none is close."""
    near = near or nearest(str(found), known)
    return f"did you mean {near!r}?" if near is not None else f"use one of {', '.join(sorted(known))}"


def unknown(noun: str, key: str = "found") -> Template:
    """Say that nothing goes by a name, with the nearest one that exists; ``key`` holds the name."""
    return lambda values: f"there is no {noun} {values[key]!r}: {hint(values[key], values['known'])}"


def _with_hint(template: str) -> Template:
    return lambda values: f"{fill(template, values)}: {hint(values['found'], values['known'], values['near'])}"


def _with_table(template: str) -> Template:
    """Name the tables that have the key; else the nearest word."""
    return lambda values: (
        f"{fill(template, values)}; it belongs in {joined((f'[{name}]' for name in values['belongs']), 'or')}"
        if values.get("belongs")
        else f"{fill(template, values)}: {hint(values['found'], values['known'], values['near'])}"
    )


def _out_of_range(values: Values) -> str:
    low = f"above {values['above']:g}" if values["above"] is not None else ""
    low = f"at least {values['least']:g}" if values["least"] is not None else low
    high = f"at most {values['most']:g}" if values["most"] is not None else ""
    return f"{values['found']!r} should be {joined(text for text in (low, high) if text)}"


_SETTING_UNIT = {
    "circumference_mm": "mm",
    "diameter_in": "in",
    "turns_per_mile": "turns per mile",
    "turns_per_km": "turns per km",
}


def _outside(values: Values) -> str:
    low, high = values["low"], values["high"]
    end = f"the lowest that it takes, {low:g}" if values["found"] < low else f"the highest that it takes, {high:g}"
    return f"{values['found']:g} lies beyond {end}"


REFUSALS: dict[str, tuple[Template, Template]] = {
    "job_file_problems": (lambda values: f"{len(values['problems'])} problems", _SEE_GUIDE),
    "unknown_table": (_with_table("a job file has no table {found:quoted}"), ""),
    "unknown_key": (_with_table("[{table}] has no key {found:quoted}"), ""),
    "key_missing": ("is missing", ""),
    "said_twice": ("{keys:and} say the same thing twice; keep one of them", ""),
    "unknown_word": (_with_hint("{found:quoted} is not known"), ""),
    "not_a_text": ("{found:quoted} should be a text in quotation marks", ""),
    "not_a_number": ("{found:quoted} should be a number", ""),
    "out_of_range": (_out_of_range, ""),
    "not_whole": ("{found:quoted} should be a whole number", ""),
    "not_a_ratio": ("{found:quoted} should be a ratio such as '41/11' or 3.73", ""),
    "not_true_or_false": ("{found:quoted} should be true or false", ""),
    "not_speeds": ("{found:quoted} should be a list of speeds such as [30, 40, 50]", ""),
    "not_numbers": ("{found:quoted} should be a list of numbers such as [27, 28.9, 30.5]", ""),
    "not_a_range": ("{found:quoted} should be two speeds, the lower first, such as [20, 80]", ""),
    "not_teeth": ("{found:quoted} should be teeth such as '21-45' or [8, 9, 13]", ""),
    "not_a_date": ("{found:quoted} should be a date such as 2026-05-04", ""),
    "not_a_dial_unit": ('{found:quoted} should be "mph" or "km/h"', ""),
    "not_a_speed_unit": ('{found:quoted} should be "mph", "km/h", "m/s" or "kn"', ""),
    "not_a_table": ("{found:quoted} should be a table: write it on lines of its own below [{key}]", ""),
    "not_tables": ("should be written as [[{key}]] tables", ""),
    "not_a_family": ("{found:quoted} should be the name of a gear family or a table", ""),
    "table_expected": ("{found} must be a table: write [{found}] on a line of its own", ""),
    "unit_missing": ('has no unit; write unit = "mph" or unit = "km/h" as well', ""),
    "max_speed_not_needed": ("the test speeds of {rule} do not depend on it; leave it out", ""),
    "roll_out_incomplete": ("a roll-out needs both the turns and the distance", ""),
    "impossible_tire": ("{reason}", ""),
    "ends_crossed": ("low is {low:g} and high is {high:g}; the lower number goes with low", ""),
    "outside_its_ends": (_outside, ""),
    "no_wheel_rolls_so": (
        lambda values: (
            f"{values['found']:g} {_SETTING_UNIT[values['kind']]} would be {values['circumference_m']:.3g} m a turn, "
            "which no road wheel rolls; see in which unit the module counts"
        ),
        "",
    ),
    "no_track": (
        '[{table}] names no track; add a line such as track = "drive.gpx" (the same file as the readings when it holds '
        "both)",
        "",
    ),
    "no_readings": (
        '[{table}] names no readings; add readings = "readings.csv" (the same file as the track when it holds both) or '
        "the speeds held in order, held = [30, 40, 50]",
        "",
    ),
    "two_kinds_of_readings": ("[{table}] has {keys:and}; keep one", ""),
    "held_without_unit": ('held in [{table}] has no unit; add unit = "mph" or unit = "km/h"', ""),
    "no_such_file": (
        lambda values: (
            f"there is no file {values['found']!r}"
            + (f"; did you mean {values['near']!r}?" if values["near"] else "")
            + (" (its folder is missing too)" if values["folder_missing"] else "")
        ),
        "",
    ),
    "job_without_drive": ("the job has no drive", "Add a [before] or an [after] table"),
    "job_file_too_large": ("the file is larger than a job file can be", "Give the job.toml file"),
    "job_file_cannot_be_opened": ("the job file cannot be opened ({reason})", "Check the name and the folder"),
    "job_file_not_text": ("the file is not UTF-8 text", "Save it as UTF-8, or give the job.toml file"),
    "not_a_job_file": ("this is not a job file: it has no table such as [vehicle]", "Give the job.toml file"),
    "job_file_not_toml": (
        "this is not valid TOML, the language of job files: {what}",
        'Put texts in quotes, straight ones (shop = "Name"), write decimals with a point, name each key and table '
        "once, and write file names with / or in single quotes instead of \\",
    ),
    "original_overwritten": (
        "{name:quoted} belongs to the job and would be overwritten",
        "Name another folder for the result",
    ),
    "result_not_written": ("the result cannot be written ({reason})", "Name a folder that can be written"),
}
"""Code to what is wrong and what to do, both without full stop."""

FINDINGS: dict[str, Template] = {}
"""Code to the sentence, with its full stop."""


_STEPS = {
    "measuring": "measuring the drive {drive}",
    "choosing": "choosing gears and settings",
    "judging": "judging the drive after the work",
    "done": "done",
    "waiting": "waiting for its turn",
    "track": "reading the track",
    "readings": "reading the readings",
    "matching": "matching the readings to the track",
    "drawing": "drawing",
    "report": "writing the report",
    "film_stills": "taking stills of the film",
    "film": "reading the film",
}


def step_name(step: str, drive: str = "") -> str:
    """Return what is being done, for a progress bar."""
    return _STEPS[step].format(drive=drive)
