"""The list of jobs: searched, by month and state, page by page; and all of them in one file."""

from __future__ import annotations

import csv
import io
import re
import time
from collections.abc import Iterator
from datetime import datetime
from pathlib import Path
from typing import Any
from urllib.parse import urlencode

import sqlalchemy as sa
from starlette.responses import Response

from speedcal.jobs.spreadsheet import as_text
from speedcal.text.pages.page_labels import NEWS, NEWS_STATE, STAGES
from speedcal.web.answers import day
from speedcal.web.kept import schema
from speedcal.web.kept.folder import Files, job_files
from speedcal.web.kept.rows import JobRow
from speedcal.web.kept.store import Store
from speedcal.web.pages.context import Context, Services
from speedcal.web.pages.results import zip_of

_A_PAGE = 50
_ALL = 1_000_000
_MONTH = re.compile(r"(2\d{3})-(0[1-9]|1[0-2])")
_NAME = re.compile(r"[^\w-]+")


def jobs_page(context: Context) -> Response:
    """List jobs, those that carry the searched words, are in the chosen state and were made in the chosen month."""
    asked = context.request.query_params
    states = {"news": NEWS_STATE, **STAGES}
    words, stage, month = (asked.get(name, "")[:200] for name in ("q", "state", "month"))
    number = int(asked["page"]) if re.fullmatch(r"[1-9]\d{0,5}", asked.get("page", "")) else 1
    chosen: dict[str, Any] = {"made": _bounds(month), "limit": _A_PAGE + 1, "offset": (number - 1) * _A_PAGE}
    found = context.web.store.find_jobs(words, stage, **chosen)
    kept = {"q": words, "state": stage if stage in states else "", "month": month if chosen["made"] else ""}

    def page_link(at: int) -> str:
        return "/jobs?" + urlencode({**{name: text for name, text in kept.items() if text}, "page": at})

    return context.page(
        "jobs.html",
        title="Jobs",
        role="shop",
        jobs=found[:_A_PAGE],
        before=page_link(number - 1) if number > 1 else "",
        after=page_link(number + 1) if len(found) > _A_PAGE else "",
        number=number,
        asked=kept,
        stages=STAGES,
        states=states,
        news=NEWS,
        verdicts=context.web.queue.verdicts(found[:_A_PAGE]),
        failed=context.web.queue.failed(found[:_A_PAGE]),
        refused=_with_a_refused_drive(context.web.store, found[:_A_PAGE]),
        lacking=_with_half_a_drive(context.web.store, found[:_A_PAGE]),
    )


def _with_a_refused_drive(store: Store, jobs: list[JobRow]) -> set[str]:
    """Return the ids of the jobs in which a drive needs a change before it counts."""
    drives = schema.drives
    among = sa.and_(drives.c.job_id.in_([job.id for job in jobs]), drives.c.removed == 0, schema.IS_REFUSED)
    with store.reading() as connection:
        return set(connection.execute(sa.select(drives.c.job_id).where(among)).scalars())


def _with_half_a_drive(store: Store, jobs: list[JobRow]) -> dict[str, str]:
    """Return the ids of the open jobs in which a drive waits for its other part, and which part that is."""
    drives = schema.drives
    among = sa.and_(drives.c.job_id.in_([job.id for job in jobs if not job.closed]), drives.c.removed == 0)
    half = sa.and_(among, sa.not_(sa.and_(schema.HAS_TRUTH, schema.HAS_READINGS)))
    with store.reading() as connection:
        rows = connection.execute(sa.select(drives.c.job_id, schema.HAS_READINGS).where(half))
        return {job_id: "track" if has_readings else "readings" for job_id, has_readings in rows}


def _bounds(month: str) -> tuple[float, float] | None:
    """Return when a month begins and ends in the zone of the shop, None for what is no month."""
    read = _MONTH.fullmatch(month)
    if not read:
        return None
    year, number = int(read[1]), int(read[2])
    following = (year + 1, 1) if number == 12 else (year, number + 1)
    return datetime(year, number, 1).timestamp(), datetime(*following, 1).timestamp()


def export_all(context: Context) -> Response:
    """Send every job as a folder that ``speedcal report`` runs, with its report, and a table of them."""
    return zip_of(context.web, f"jobs {day(time.time())}", _everything(context.web))


def _everything(web: Services) -> Iterator[tuple[str, Files]]:
    jobs = web.store.find_jobs(limit=_ALL)
    names = {job.id: f"{_NAME.sub('-', job.title).strip('-')[:60]} {job.id[:6]}".strip() for job in jobs}
    yield "", iter([("jobs.csv", _table(jobs, names, web.queue.verdicts(jobs)))])
    for job in jobs:
        drives = [drive for drive in web.store.drives(job.id) if drive.is_complete]
        yield f"{names[job.id]}/", job_files(job, drives, web.originals)
        if (report := _report(web, job)) is not None:
            yield f"{names[job.id]}/", iter([("report.pdf", report)])


def _report(web: Services, job: JobRow) -> Path | None:
    done = web.queue.latest_done(job.id, 1)
    return web.originals.result_file(job.id, done[0].id, "report.pdf") if done else None


def _table(jobs: list[JobRow], names: dict[str, str], verdicts: dict[str, str]) -> bytes:
    text = io.StringIO()
    out = csv.writer(text)
    out.writerow(["folder", "number", "vehicle", "customer", "state", "verdict", "made", "changed"])
    for job in jobs:
        told = [job.get("job", "number"), job.get("vehicle", "label"), job.get("job", "customer"), STAGES[job.stage]]
        dates = day(job.created), day(job.updated)
        out.writerow([names[job.id], *map(as_text, told), verdicts.get(job.id, ""), *dates])
    return text.getvalue().encode("utf-8-sig")
