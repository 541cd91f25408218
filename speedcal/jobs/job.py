"""The job: what its file says, and running it."""

from __future__ import annotations

from dataclasses import dataclass

from speedcal.jobs.contents import JobContents
from speedcal.jobs.output import JobResult
from speedcal.jobs.pipeline import Progress, analyse_job, measure_job


@dataclass(frozen=True, slots=True)
class Job(JobContents):
    """One vehicle at one shop: who it is for, what is fitted, which drives were made, which rule applies.

    Examples
    --------
    >>> import speedcal
    >>> job = speedcal.load_job("data_demo/job.toml")
    >>> job.run().verification.verdict
    'pass'
    """

    def run(self, *, progress: Progress | None = None) -> JobResult:
        """Measure the drives and derive all that they carry.

        Parameters
        ----------
        progress
            Called before each step and once at the end.

        Raises
        ------
        SpeedcalError
            A file cannot be read, or a drive does not carry a calibration.
        """
        return analyse_job(measure_job(self, progress=progress), progress=progress)
