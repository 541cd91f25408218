"""What a job still says where one of its drives, or all of them, cannot be used."""

from __future__ import annotations

from dataclasses import replace

from speedcal.errors import SpeedcalError
from speedcal.jobs.job import Job
from speedcal.jobs.output import JobResult


def remaining(job: Job, error: SpeedcalError) -> tuple[JobResult | None, tuple[SpeedcalError, ...]]:
    """Return what a job comes to without the drives that are refused, and every refusal on the way.

    Parameters
    ----------
    job
        As it was run.
    error
        What running it was refused for.

    Returns
    -------
    tuple
        The result, by the facts of the vehicle alone where no drive is left; None where these say nothing either, or
        where the refusal is about no drive.
    """
    twice = error.values["second"] if error.code == "duplicate_drive" else ""
    left = _without(job, str(error.values.get("of_drive", twice)))
    if left is None:
        return None, (error,)
    try:
        return left.run(), (error,)
    except SpeedcalError as further:
        result, refusals = remaining(left, further)
        own = refusals if further.values.get("of_drive") else ()  # what else is wrong follows from the lack of drives
        return result, (error, *own)


def _without(job: Job, name: str) -> Job | None:
    """Return the job without a drive, by what messages call it; None where there is no such drive."""
    phase, _, number = name.partition(" ")
    if phase not in ("before", "after"):
        return None
    drives = list(job.before if phase == "before" else job.after)
    del drives[int(number or 1) - 1]
    return replace(job, before=tuple(drives)) if phase == "before" else replace(job, after=tuple(drives))
