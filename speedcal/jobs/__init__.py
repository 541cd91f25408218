"""The job: one vehicle, its drives before and after the work, its tolerance, and everything that follows from them."""

from speedcal.jobs.file import load_job
from speedcal.jobs.model import Drive, Job
from speedcal.jobs.result import JobResult

__all__ = ["Drive", "Job", "JobResult", "load_job"]
