"""The jobs of the upload page as vehicles of a fleet."""

from __future__ import annotations

import re
from pathlib import Path

from speedcal.fleet.sources import Found, find_vehicles
from speedcal.web.folder import job_files, lay_out
from speedcal.web.originals import Originals
from speedcal.web.settings import Settings
from speedcal.web.store import Store

_ALL = 1_000_000
_NAME = re.compile(r"[^\w .()-]+")


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
        The store cannot be read.
    """
    settings = Settings(data=data, database=database)
    store, originals = Store(settings.database_url), Originals(data)
    try:
        for job in store.find_jobs(limit=_ALL):
            drives = [drive for drive in store.drives(job.id) if drive.is_complete]
            if drives:
                name = _NAME.sub(" ", str(job.get("vehicle", "label") or job.title)).strip(" .")
                folder = aside / f"{name} {job.id[:6]}".strip()
                lay_out(folder, job_files(job, drives, originals))
    finally:
        store.close()
    return list(find_vehicles(aside, passing=True)) if aside.is_dir() else []
