"""Words for the command line: options that cannot be used, and what is said beside a result."""

from __future__ import annotations

from speedcal.text.codes.job_messages import unknown
from speedcal.text.messages import Template, Values

DRIVING_CAUTION = "A passenger reads and writes, the driver drives. Keep to the speed limit, on a suitable road."
PASSCODE_ASKED = "Passcode of the shop"
WITHOUT_IT, WITHOUT_THESE = "Without this drive:", "Without these drives:"
NOTHING_WRITTEN = "Nothing was written."
READING_FILM, READING, DRAWING = "reading the film", "reading", "drawing the report"


REFUSALS: dict[str, tuple[Template, Template]] = {
    "call_unusable": ("{reason}", "`{command} --help` says what it takes"),
    "unknown_command": (unknown("command"), "`speedcal --help` lists the commands"),
    "unknown_page": (unknown("page of the guide"), "`speedcal guide --find {found}` searches all of them"),
    "words_not_found": ("no line of the guide has {found:quoted}", "Try one word of it"),
    "system_refused": ("the system refused: {reason}", "Check the disk, and where the output goes"),
    "number_unreadable": ("{found:quoted} is not a number", "Write it like 12.5"),
    "speeds_unreadable": ("{found:quoted} is not a list of speeds", "Write it like 30,50,70"),
    "length_unreadable": ("{found:quoted} is not a length", "Write it like 500m, 0.5km or 0.3mi"),
    "track_alone": (
        "this is a track, and nothing says what the dial showed on it",
        "Name the readings after it (the same file again where it holds both): speedcal calibrate {file} notes.csv",
    ),
    "job_for_drive": ("this is a job file", "Give it to speedcal correct, verify or report"),
    "checks_without_clock": (
        "checks carry no clock, so --zone and --clock-offset mean nothing to them",
        "Leave these out, or give TRACK and READINGS",
    ),
    "counts_missing": ("there are no counts to work from", "Give counts such as 10:37.25, or add {options:and}"),
    "size_before_missing": (
        "gears and axle are given, but not the tire with which the instrument is right now",
        "Add --instead-of SIZE",
    ),
    "figures_of_one_size": (
        "a roll-out or a maker's turns belong to one tire, and several sizes are named",
        "Name one SIZE, or leave the figures out",
    ),
    "tls_half_given": ("--tls-cert and --tls-key go together", "Give both, or neither"),
    "file_exists": ("{file} exists already", "Name another file"),
}
"""Code to what is wrong and what to do, both without full stop."""


EXPLAINED_BY = "--explain says in full what this rests on"


WORKED_OUT_BY = {"count_axle": "speedcal axle works out the ratio from the turns"}
"""Measurement to the command that makes a figure of it."""


def written(name: str) -> str:
    """Say that a file was written."""
    return f"wrote {name}"


def working_on(what: str, name: str) -> str:
    """Say what is being done with a file, for a bar of progress."""
    return f"{what} {name}"


def trimmed(values: Values) -> str:
    """Say what was written of a drive and what was left out."""
    return f"{values['written']}: {values['fixes']} fixes written, {values['left_out']} near the ends left out"


UNDATED = "The file holds times of day only; the GPX file gives them the date 2000-01-01."
