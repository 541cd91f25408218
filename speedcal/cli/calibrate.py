"""``speedcal calibrate``: how the instrument reads, from a recorded drive."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, cast

import click

from speedcal.cli._options import emit, result_options
from speedcal.errors import ReadingsFormatError
from speedcal.units import DisplayUnit, SpeedUnit

if TYPE_CHECKING:
    from speedcal.logs import Readings


@click.command()
@click.argument("track", type=click.Path(path_type=Path))
@click.argument("readings", type=click.Path(path_type=Path))
@click.option("--column", help="Header of the column with the indicated speed, where a file has several.")
@click.option("--zone", help="Zone of the times of the readings where they carry none, such as +02:00.")
@click.option(
    "--clock-offset",
    type=float,
    metavar="SECONDS",
    help="What must be added to the clock of the readings, if you know it to about ten seconds.",
)
@click.option("--budget", is_flag=True, help="Show where the uncertainty comes from.")
@result_options
def command(
    track: Path,
    readings: Path,
    column: str | None,
    zone: str | None,
    clock_offset: float | None,
    budget: bool,
    as_json: bool,
    unit: str | None,
) -> None:
    r"""Find out how an instrument reads from the TRACK of a drive and the READINGS noted or logged on it.

    TRACK is what a GPS receiver or a phone recorded. READINGS is a table with a time and a speed in each row; a table
    without times is a list of speeds that were held one after the other. The clocks need not agree. --unit is the
    unit of the answer, and that of the readings where their file names none.

    \b
    Examples:
      speedcal calibrate drive.gpx readings.csv
      speedcal calibrate drive.gpx notes.txt --unit mph --budget

    \b
    A passenger writes the readings down, the driver drives. Keep to the speed limit, on a suitable road.
    Local rules on speedometers and odometers come first.
    """
    from speedcal.calibration import calibrate
    from speedcal.logs import read_track
    from speedcal.text.calibration_summary import budget_text

    result = calibrate(
        read_track(track),
        _readings(readings, unit, column, zone),
        unit=cast(DisplayUnit | None, unit),
        clock_offset_s=clock_offset,
    )
    emit(result, as_json, f"{result}\n\n{budget_text(result)}" if budget else str(result))


def _readings(path: Path, unit: str | None, column: str | None, zone: str | None) -> Readings:
    """Read the readings; ``unit`` is what people want to see, and theirs only where the file names none."""
    from speedcal.logs import read_readings

    try:
        return read_readings(path, unit=cast(SpeedUnit | None, unit), column=column, zone=zone)
    except ReadingsFormatError as problem:
        if unit is None:
            raise
        try:
            return read_readings(path, column=column, zone=zone)
        except ReadingsFormatError:
            raise problem from None
