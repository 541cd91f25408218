"""The job: one vehicle, its drives before and after the work, its tolerance, and everything that follows from them."""

from speedcal.jobs.job import Drive, Job
from speedcal.jobs.job_file import load_job
from speedcal.jobs.output import JobResult

__all__ = ["Drive", "Job", "JobResult", "load_job"]
