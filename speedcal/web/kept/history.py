"""Who did what, written down in the one place that every form passes."""

from __future__ import annotations

import logging
import re
import time
from collections.abc import Mapping
from typing import Any

import sqlalchemy as sa
from sqlalchemy.exc import DBAPIError
from starlette.responses import JSONResponse, Response

from speedcal.text.pages.page_labels import HISTORY, WHO
from speedcal.web.kept import schema
from speedcal.web.kept.store import Store, new_id

log = logging.getLogger("speedcal.web")
_NEW_JOB = re.compile(r"/jobs/(\w+)")
KEPT_S = 400 * 86400.0


def write_down(store: Store, what: str, answer: Response, *, view: Any, person: str) -> None:
    """Write down what a form did, when it did something; the job may have been made by it or be gone.

    Parameters
    ----------
    what
        Name of the form's handler.
    view
        The job as it was seen when the form was sent, if one was.
    person
        Who sent it, where people sign in by name.
    """
    is_done = answer.status_code == 303 or (answer.status_code < 400 and isinstance(answer, JSONResponse))
    if what not in HISTORY or not is_done:
        return
    made = _NEW_JOB.match(answer.headers.get("location", ""))
    job_id = view.job.id if view is not None else made[1] if made else ""
    try:
        job = store.job(job_id)
        title = job.title if job else view.job.title if view is not None else ""
        who = person or (view.role if view is not None and view.role != "shop" else "")
        if who == "owner":  # whatever an owner does is about drives
            store.tell_news(job_id, "drive")
        _keep(store, what, {"at": time.time(), "job_id": job_id, "title": title, "who": who})
    except DBAPIError as error:  # it was carried out all the same
        log.warning("not written down: %s", type(error.orig).__name__)


def _keep(store: Store, what: str, values: dict[str, Any]) -> None:
    history = schema.history
    with store.writing() as connection:
        if what == "delete_job":  # of a deleted job nothing stays but that it was deleted
            connection.execute(history.delete().where(history.c.job_id == values["job_id"]))
        connection.execute(history.delete().where(history.c.at < values["at"] - KEPT_S))
        connection.execute(history.insert().values(id=new_id(), what=what, **values))


def entries(store: Store, job_id: str = "", *, limit: int) -> list[dict[str, Any]]:
    """Return what was done, with a job or with all of them, the latest first, in words."""
    history = schema.history
    query = sa.select(history).order_by(history.c.at.desc(), history.c.id).limit(limit)
    if job_id:
        query = query.where(history.c.job_id == job_id)
    with store.reading() as connection:
        rows = [dict(row) for row in connection.execute(query).mappings()]
    return [_told(row) for row in rows]


def _told(row: Mapping[str, Any]) -> dict[str, Any]:
    who, what = row["who"], row["what"]
    return {**row, "who": WHO.get(who, who), "what": HISTORY[what], "is_gone": what == "delete_job"}
