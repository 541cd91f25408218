"""Words for fleets: what cannot be used, what is to be known of a vehicle, what to do about it."""

from __future__ import annotations

from typing import TYPE_CHECKING

from speedcal.text.codes.advice_messages import ACTION_NAMES, SETTLES
from speedcal.text.messages import Template, Values
from speedcal.text.words.numbers import joined, signed

if TYPE_CHECKING:
    from speedcal.vehicle.advised.advice import Advice

_INSTALL = "Install it with: pip install 'speedcal[fleet]'"

REFUSALS: dict[str, tuple[Template, Template]] = {
    "result_in_the_way": (
        "{name:quoted} lies there already, and no fleet has written it",
        "Name another folder with {--out}: the result would be written over it",
    ),
    "source_missing": ("there is no such file or folder", "Check the name"),
    "no_vehicles": (
        "no vehicle found",
        "Name a folder with one subfolder a vehicle, and in each the drives as pairs of files of one name, such as "
        "day0.gpx and day0.csv; or a table with a column that names the vehicle",
    ),
    "data_of_the_page": ("this is the data folder of the upload page", "Run the command speedcal fleet on it"),
    "no_drives": ("no drive in the folder of this vehicle", "Put the track and the readings of each drive there"),
    "several_files_for_drive": (
        "{names:and} would all be one drive by their names",
        "Give each drive a name of its own: one track and one table of readings",
    ),
    "checks_in_a_fleet": ("checks without a track cannot be part of a fleet yet", "Give a track and readings"),
    "no_positions_in_table": (
        "the table names vehicles and holds no positions",
        "Export latitude and longitude with each row: the distance really driven comes from them",
    ),
    "rows_without_time": (
        "{count:n row} left out, whose time cannot be read as the others are, such as {found:quoted}",
        "Write all times of the table in one way, with their offset from UTC or all without",
    ),
    "rows_no_drive": (
        "no drive in {count:n row}: too few without a pause of ten minutes",
        "A drive needs ten rows; more of the month, or a row every few seconds, would give some",
    ),
    "no_vehicle_column": (
        "this is a file without a column that names the vehicle",
        "Name the column with {--vehicle}, or give the folder the file lies in; save a workbook as CSV",
    ),
    "no_such_vehicle_column": (
        "there is no column {found:quoted}; its columns are {columns:and}",
        "Name the column with {--vehicle} as the header has it",
    ),
    "several_vehicle_columns": ("{columns:and} may each name the vehicle", "Name the column with {--vehicle}"),
    "no_dates_in_table": (
        "the times in the table carry no date",
        "A long table needs a column with date and time, so that it can be cut into drives",
    ),
    "dates_unclear": (
        "the date {found} can mean two days",
        "Export dates as 2030-05-31, or a longer time: a day after the twelfth tells the order",
    ),
    "table_not_read": ("the table cannot be read: {reason}", "Export it again as CSV or Parquet"),
    "drive_not_measured": (
        "measuring this drive broke off: {fault}: {reason}",
        "Please report it with the files; the other drives are not touched by it",
    ),
    "drive_kills_workers": (
        "each process that measured this drive was ended, as when memory runs out",
        "Look at the size of its files and at the memory of the workers",
    ),
    "vehicle_not_judged": (
        "putting the drives of this vehicle together broke off: {fault}: {reason}",
        "Please report it with the files; the other vehicles are not touched by it",
    ),
    "library_missing": ("this needs {library}, which is not installed", _INSTALL),
    "address_needs_library": (
        "this kind of address needs a library: {reason}",
        "Install it, or copy the files to a folder",
    ),
    "address_not_read": (
        "this address cannot be read: {reason}",
        "Check the address, and that this machine and all workers may read there",
    ),
    "job_at_address": (
        "what a job file says is not read at an address",
        "Copy the folder of the job to this machine, or give the address of drives alone",
    ),
    "scheduler_not_reached": (
        "no cluster answers at this address, or it has no worker: {reason}",
        "Check the address, and that scheduler and workers run",
    ),
    "scheduler_silent": (
        "the cluster has been reached and has not answered for {waited_s:.0f} s",
        "Start scheduler and workers anew and then the same command again: it goes on where it was",
    ),
    "scheduler_lost": (
        "the cluster no longer answers",
        "Start the same command again when it runs: it goes on where it was",
    ),
    "workers_not_started": (
        "no worker processes can be started: {reason}",
        "In a script, call speedcal.fleet under if __name__ == '__main__', since each worker reads the script too; or "
        "give processes=1",
    ),
    "no_worker_left": (
        "the cluster has no worker left",
        "Start workers and then the same command again: it goes on where it was",
    ),
    "worker_of_another_version": (
        "a worker has another version of speedcal ({found}) than this machine ({expected})",
        "Install the same version on all workers and start them again",
    ),
    "worker_differs": (
        "a worker cannot do what it is asked for: {fault}: {reason}",
        "Install the same version of speedcal and of its libraries on all workers and start them again",
    ),
    "results_not_kept": (
        "what was measured cannot be kept or read in the folder of the results: {reason}",
        "Make room on the disk, or let another run end that uses the folder, and start again: it goes on where it was; "
        "if drives.sqlite there is damaged, or not of this program, move it away or name another folder",
    ),
    "archive_not_read": ("the archive cannot be unpacked: {reason}", "Unpack it, and give the folder"),
    "folder_not_usable": ("the folder of the results cannot be used: {reason}", "Name a folder that can be written"),
}


def when_changed(values: Values) -> str:
    """Return the day of a change, or the days between which it was."""
    first, last = values["earliest"], values["latest"]
    return f"on {first}" if first == last else f"between {first} and {last}"


def _changed(values: Values) -> str:
    return f"Changed by {signed(values['percent'])} % {when_changed(values)}: tires, gears or a setting."


FINDINGS: dict[str, Template] = {
    "vehicle_changed": _changed,
    "vehicle_creeps": lambda values: (
        f"Creeps by {signed(values['percent'], 2)} % a year, as tires do when they wear."
        if values["percent"] > 0
        else f"Creeps by {signed(values['percent'], 2)} % a year; wear of the tires would go the other way."
    ),
    "dial_off_odometer_right": "The odometer is right, but the dial shows {shown_mps:speed} at a true "
    "{true_mps:speed}: the instrument is off, not the drive.",
    "odometer_leaps": lambda values: (
        f"The odometer did not go on from one drive to the next {when_changed(values)}: it was replaced, set or rolled "
        "over, or drives of another vehicle are among these."
    ),
    "odometer_unit_by_speed": "The odometer has no unit in the files; taken as {length_unit}, since only so it agrees "
    "with the speed.",
    "named_alike": "{names:and} are written nearly the same; if they are one vehicle, give it one name.",
    "drives_stand_apart": lambda values: (
        f"{joined(values['names'])} stands apart from the drives before and after it and is left out."
    ),
    "drives_of_two_vehicles": lambda values: (
        f"{joined(values['names'])}: the same files are also among those of {joined(values['vehicles'])}; leave them "
        "with the vehicle that drove them."
    ),
    "odometer_only": "The fixes are too far apart to tell what the dial is worth: only the odometer is judged, and "
    "what is said of the speed means nothing.",
    "drives_refused": "{count:n drive} without a number.",
    "weak_drives_left_out": "{count:n weak drive} left out, since there are trusted ones.",
    "drives_given_twice": "{count:n drive} given twice and counted once.",
}


_TO_DO: dict[str, str] = {
    "keep_as_is": "nothing to do",
    "drive_again": "log it again, half an hour at four speeds or more: these drives do not tell enough",
    "check_files": "look at its files; the reason stands in its row",
}
"""What to do in the words of one who runs a fleet, where it is no work on the vehicle."""
_ON_THE_ROAD = frozenset({"odometer_distance", "up_and_down", "hold_longer", "check_unit", "check_files"})
"""Measurements that need no workshop."""
_FIRST: dict[str, str] = {"roll_out": "compare the size of the tires with the one that is set; "}


def action_text(advice: Advice) -> str:
    """Return what to do about a vehicle: by its driver or the office, or in the workshop, which is said."""
    if advice.action in _TO_DO:
        return _TO_DO[advice.action]
    if advice.action != "measure_fact" or advice.part not in SETTLES:
        return f"workshop: {ACTION_NAMES[advice.action]}"
    doing = _FIRST.get(advice.part, "") + SETTLES[advice.part]
    return doing if advice.part in _ON_THE_ROAD else f"workshop: {doing}"
