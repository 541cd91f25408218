"""``speedcal history``: one vehicle over months."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import click

from speedcal.cli._drives import Refused, measured, refuse
from speedcal.cli._options import FILE, SPEED, emit, result_options
from speedcal.errors import JobError
from speedcal.units import SPEED_UNIT_MPS, DisplayUnit

if TYPE_CHECKING:
    from speedcal.conformity import History


@click.command()
@click.argument("jobs", type=FILE, nargs=-1, required=True)
@click.option("--speed", type=SPEED, help="True speed to compare at; otherwise the middle of what all drives have.")
@result_options
def command(jobs: tuple[Path, ...], speed: float | None, as_json: bool, unit: DisplayUnit | None) -> None:
    r"""Lay the drives of one vehicle, from one or several JOBS, in order of time.

    Says whether the reading creeps as tires wear or jumped because something was changed.

    \b
    Examples:
      speedcal history job.toml
      speedcal history spring/job.toml autumn/job.toml --speed 50
    """
    from speedcal.conformity import history
    from speedcal.jobs import load_job

    drives, days = [], list[str]()
    refused: Refused = ()
    for path in jobs:
        job = replace(load_job(path).shown_in(unit), tolerance=None)
        known, further = measured(job)
        refused += further
        for drive in known.drives if known else ():
            if not drive.is_dated:
                raise JobError("drive_without_date", source=job.source.name, drive=drive.name)
            drives.append(drive.calibration)
            days.append(drive.date)
    reference = None if speed is None or not drives else speed * SPEED_UNIT_MPS[drives[0].unit]

    def found() -> History:
        return history(drives, days=days, reference_mps=reference)

    if refused:
        refuse(refused, lambda: ({"history": found().to_dict()}, str(found())), as_json)
    emit(found(), as_json)
