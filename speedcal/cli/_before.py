"""The drives of a job measured, and the one before the work for commands that need nothing else."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from speedcal.cli._waiting import waiting
from speedcal.errors import JobError
from speedcal.text.codes.command_messages import working_on
from speedcal.units import DisplayUnit

if TYPE_CHECKING:
    from speedcal.calibration import Calibration
    from speedcal.jobs import Job, MeasuredJob
    from speedcal.jobs.pipeline import Phase
    from speedcal.vehicle import Vehicle


def measured(job: Job, *, phases: tuple[Phase, ...] = ("before", "after")) -> MeasuredJob:
    """Return the job with its drives measured; a person at the terminal sees that work goes on."""
    with waiting(working_on("measuring", job.source.name)):
        from speedcal.jobs import measure_job

        return measure_job(job, phases=phases)


def measured_before(path: Path, unit: DisplayUnit | None) -> tuple[Calibration, Vehicle, tuple[float, ...] | None]:
    """Return the calibration of the [before] drives of a job, its vehicle, and the speeds it says matter.

    Raises
    ------
    SpeedcalError
        The job or a file of it cannot be used, or the job has no drive before the work.
    """
    from speedcal.jobs import load_job
    from speedcal.vehicle import Vehicle

    job = load_job(path)
    if not job.before:
        raise JobError("no_drive_before", source=job.source.name)
    before = measured(job.shown_in(unit), phases=("before",)).before
    assert before is not None  # noqa: S101 - the job has such a drive
    return before, job.vehicle or Vehicle(), job.speeds_in(before.unit)
