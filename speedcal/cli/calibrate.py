"""``speedcal calibrate``: how the instrument reads, from a recorded drive or from checks."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from speedcal.cli._options import FILE, AnyNumber, emit, result_options
from speedcal.cli._waiting import waiting
from speedcal.errors import ReadingsFormatError, SpeedcalError
from speedcal.text.codes.command_messages import working_on
from speedcal.units import DisplayUnit

if TYPE_CHECKING:
    from speedcal.calibration import Calibration
    from speedcal.logs import Readings


@click.command()
@click.argument("track", metavar="TRACK|CHECKS", type=FILE)
@click.argument("readings", type=FILE, required=False)
@click.option("--column", help="Header of the column with the indicated speed, where a file has several.")
@click.option("--session", help="Which vehicle or session, where a file holds several.")
@click.option("--zone", help="Zone of the times of the readings where they carry none, such as +02:00.")
@click.option(
    "--clock-offset",
    type=AnyNumber(),
    metavar="SECONDS",
    help="What must be added to the clock of the readings, if you know it to about ten seconds.",
)
@click.option("--budget", is_flag=True, help="Show where the uncertainty comes from.")
@result_options
def command(
    track: Path,
    readings: Path | None,
    column: str | None,
    session: str | None,
    zone: str | None,
    clock_offset: float | None,
    budget: bool,
    as_json: bool,
    unit: DisplayUnit | None,
) -> None:
    r"""Find out how an instrument reads from the TRACK of a drive and the READINGS noted or logged on it.

    TRACK is what a GPS receiver or a phone recorded. READINGS is a table with a time and a speed in each row; a table
    without times is a list of speeds that were held one after the other. The clocks need not agree. --unit is the
    unit of the answer, and that of the readings where their file names none.

    Without a track, CHECKS is one table whose rows have both what the dial showed and what tells the true speed: a
    phone's speed, a measured mile and its time, mile posts and their times. The guide has a page, checks.

    \b
    Examples:
      speedcal calibrate drive.gpx readings.csv
      speedcal calibrate drive.gpx notes.txt --unit mph --budget
      speedcal calibrate measured_mile.csv

    A passenger writes the readings down and works the watch, the driver drives. Keep to the speed limit, on a
    suitable road. Local rules on speedometers and odometers come first.
    """
    from speedcal.calibration import calibrate
    from speedcal.logs import is_log_of_both, read_track_beside
    from speedcal.text.results.calibration_summary import budget_text

    with waiting(working_on("measuring", track.name)):
        if readings is None and is_log_of_both(track, column=column, session=session):
            readings = track
        if readings is None or _are_checks_twice(track, readings, session):
            if zone is not None or clock_offset is not None:
                raise SpeedcalError("checks_without_clock")
            result = _from_checks(track, unit, column, session)
        else:
            drive = read_track_beside(track, readings, unit=unit, session=session, column=column)
            shown = _readings(readings, unit, column=column, zone=zone, session=session)
            result = calibrate(drive, shown, unit=unit, clock_offset_s=clock_offset)
    emit(result, as_json, f"{result}\n\n{budget_text(result)}" if budget else None)


def _are_checks_twice(track: Path, readings: Path, session: str | None) -> bool:
    """Tell whether a list of checks was given twice, as a log of both is; one is no track."""
    from speedcal.logs import is_list_of_checks

    is_one = track.exists() and readings.exists() and track.samefile(readings)
    return is_one and is_list_of_checks(track, session=session)


def _from_checks(path: Path, unit: DisplayUnit | None, column: str | None, session: str | None) -> Calibration:
    from speedcal.calibration import calibrate_checks
    from speedcal.logs import read_checks

    try:
        checks = read_checks(path, column=column, session=session)
    except ReadingsFormatError as problem:
        if unit is None or problem.code != "column_without_unit":
            _refuse_others(path)
            raise
        checks = read_checks(path, unit=unit, column=column, session=session)
    return calibrate_checks(checks, unit=unit)


def _refuse_others(path: Path) -> None:
    """Refuse a track without its readings, and a job file, by what they are."""
    from speedcal.jobs import load_job
    from speedcal.logs import read_track

    for read, code in ((read_track, "track_alone"), (load_job, "job_for_drive")):
        try:
            read(path)
        except SpeedcalError:
            continue
        raise ReadingsFormatError(code, source=path.name, file=path.name) from None


def _readings(path: Path, unit: DisplayUnit | None, **options: str | None) -> Readings:
    """Read the readings; ``unit`` is what people want to see, and theirs only where the file names none."""
    from speedcal.logs import read_readings

    try:
        return read_readings(path, unit=unit, **options)
    except ReadingsFormatError as problem:
        if unit is None:
            raise
        try:
            return read_readings(path, **options)
        except ReadingsFormatError:
            raise problem from None
