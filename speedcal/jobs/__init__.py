"""The job: one vehicle, its drives before and after the work, its tolerance, and everything that follows from them."""

from speedcal.jobs.contents import Drive
from speedcal.jobs.job import Job
from speedcal.jobs.job_file import load_job
from speedcal.jobs.output import JobResult
from speedcal.jobs.pipeline import MeasuredJob, analyse_job, measure_job, measure_usable

__all__ = ["Drive", "Job", "JobResult", "MeasuredJob", "analyse_job", "load_job", "measure_job", "measure_usable"]
