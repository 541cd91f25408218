"""The jobs of the upload page as vehicles of a fleet."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

from speedcal.fleet.sources import Found, find_vehicles
from speedcal.web.kept.folder import job_files, lay_out
from speedcal.web.kept.originals import Originals
from speedcal.web.kept.rows import JobRow
from speedcal.web.kept.store import Store
from speedcal.web.settings import ServiceError, Settings

_ALL = 1_000_000


def page_vehicles(data: Path, aside: Path, *, database: str = "") -> list[Found]:
    """Return every job of the upload page that has a drive, laid out as job folders.

    Parameters
    ----------
    data
        Data folder of the page.
    aside
        Empty folder for copies of the files; it may go once the fleet is measured.
    database
        Address of the page's PostgreSQL database, where it has one.

    Raises
    ------
    ServiceError
        The store cannot be read, or it is a database that is not named.
    """
    settings = Settings(data=data, database=database)
    if not database and not (data / "jobs.sqlite").is_file():
        raise ServiceError("jobs_in_a_database", source=str(data))
    store, originals = Store(settings.database_url), Originals(data)
    jobs: list[JobRow] = []
    try:
        for job in store.find_jobs(limit=_ALL):
            drives = [drive for drive in store.drives(job.id) if drive.is_complete]
            if drives:
                jobs.append(job)
                lay_out(aside / job.id, job_files(job, drives, originals))
    finally:
        store.close()
    called = vehicle_names(jobs)
    return [_called(found, called[found.vehicle]) for found in find_vehicles(aside, passing=True)] if jobs else []


def vehicle_names(jobs: Sequence[JobRow]) -> dict[str, str]:
    """Return what the vehicle of each job is called, by the id of the job: as the shop has typed it.

    Where several jobs say the same, which may be one vehicle or several, the number of the job stands with it.
    """
    labels = {job.id: str(job.get("vehicle", "label")) or job.title for job in jobs}
    numbered = {job.id: f"{labels[job.id]} ({job.title})" for job in jobs}
    marked = {job.id: f"{labels[job.id]} ({job.title}, {job.id[:6]})" for job in jobs}
    found: dict[str, str] = {}
    for names in (marked, numbered, labels):
        count = Counter(names.values())
        found |= {job_id: name for job_id, name in names.items() if count[name] == 1}
    return found


def _called(found: Found, name: str) -> Found:
    drives = tuple(replace(files, vehicle=name) for files in found.drives)
    return replace(found, vehicle=name, drives=drives)
