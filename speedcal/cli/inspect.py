"""``speedcal inspect``: what a file is and what is in it, before anything is computed from it."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING

import click

from speedcal.cli import EXIT_UNUSABLE
from speedcal.cli._options import FILE, emit, result_options
from speedcal.cli._screen import tell
from speedcal.cli._waiting import waiting
from speedcal.errors import SpeedcalError
from speedcal.text.codes.command_messages import working_on
from speedcal.units import SPEED_UNIT_MPS, DisplayUnit

if TYPE_CHECKING:
    from speedcal.logs.inspection import Inspection

_NO_UNIT = frozenset({"column_without_unit", "no_speed_unit"})


@click.command()
@click.argument("files", metavar="FILE...", nargs=-1, required=True, type=FILE)
@click.option("--reading-unit", help="Unit of the readings where the file names none: mph, km/h, m/s or kn.")
@click.option("--column", help="Header of the column with the indicated speed.")
@click.option("--session", help="Which vehicle or session, where a file holds several.")
@click.option("--zone", help="Zone of stamps that carry none, such as +02:00, or its name in the IANA database.")
@click.option("--plot", is_flag=True, help="Draw speed over time, with characters.")
@result_options
def command(
    files: tuple[Path, ...],
    reading_unit: str | None,
    column: str | None,
    session: str | None,
    zone: str | None,
    plot: bool,
    as_json: bool,
    unit: DisplayUnit | None,
) -> None:
    r"""Say what each FILE is and what is in it: fixes or readings, times, speeds, gaps, what was left out and why.

    Nothing is computed and nothing is changed; no coordinates are shown. The kind of a file is told by its content:
    GPX, NMEA 0183, FIT, TCX, KML, tables, spreadsheets, plain notes, each also as gzip or zip.

    \b
    Examples:
      speedcal inspect drive.gpx readings.csv
      speedcal inspect log.csv --column "Vehicle speed (km/h)" --plot
    """
    from speedcal.text.results.inspection import column_lines, render

    results, refusals = [], []
    for file in files:
        try:
            with waiting(working_on("reading", file.name)):
                results.append(_inspected(file, unit, unit=reading_unit, column=column, zone=zone, session=session))
        except SpeedcalError as error:
            refusals.append(error)
    if as_json:
        emit(
            {"files": [found.to_dict() for found in results], "refused": [error.to_dict() for error in refusals]}, True
        )
    else:
        for found in results:
            tell(render(found, unit))
            if plot:
                click.echo(_printable(_plot(found, unit)))
        for refusal in refusals:
            tell(f"speedcal: {refusal}", err=True)
            if "table" in refusal.values:
                lines = column_lines(refusal.values["table"], refusal.values["header_line"])
                tell("\n".join(lines), err=True)
    if refusals:
        raise click.exceptions.Exit(EXIT_UNUSABLE)


def _inspected(file: Path, answer: str | None, **options: str | None) -> Inspection:
    """Inspect a file; the unit of the answer is that of the readings where the file names none, as for calibrate."""
    from speedcal.logs.inspection import inspect_file

    try:
        found = inspect_file(file, **options)
    except SpeedcalError as error:
        if answer is None or error.code not in _NO_UNIT:
            raise
        return inspect_file(file, **{**options, "unit": answer})
    lacks = any(error.code in _NO_UNIT for error in found.refused)
    return inspect_file(file, **{**options, "unit": answer}) if lacks and answer is not None else found


def _printable(plot: str) -> str:
    """Return the plot in plain letters where the output knows no blocks (a pipe on Windows)."""
    try:
        plot.encode(sys.stdout.encoding or "utf-8")
    except UnicodeEncodeError:
        return plot.translate(str.maketrans("▁▂▃▄▅▆▇█", "..:::###"))
    return plot


def _plot(found: Inspection, unit: DisplayUnit | None) -> str:
    """Return the plot of the track, from positions where it carries no speed, else of the readings."""
    import numpy as np

    from speedcal.calibration.speed.speed_of_track import ground_speed
    from speedcal.text.results.sketch import sketch

    if found.track is not None:
        word = unit or "km/h"
        time_s, speed_mps = found.track.time_s, found.track.speed_mps
        if np.isfinite(speed_mps).mean() <= 0.5:
            ground = ground_speed(found.track)
            time_s, speed_mps = ground.time_s, ground.speed_mps
    else:
        assert found.readings is not None  # noqa: S101 - one of the two is there
        word = unit or found.readings.speed_unit  # type: ignore[assignment]
        time_s, speed_mps = found.readings.time_s, found.readings.speed_mps
        if found.readings.clock == "none":
            time_s = np.linspace(0.0, 60.0 * len(speed_mps), len(speed_mps))
    return sketch(time_s, speed_mps / SPEED_UNIT_MPS[word], unit=word)
