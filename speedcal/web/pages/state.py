"""The page that tells the shop how its service does: version, disk, queue, failures, the last month."""

from __future__ import annotations

import json
import shutil
import time
from collections.abc import Iterator
from importlib import metadata
from typing import Any

import sqlalchemy as sa
from starlette.responses import Response

from speedcal.text.pages.page_labels import HEALTH, STATE_TITLE
from speedcal.web.entry.listen import trust_address
from speedcal.web.kept import schema
from speedcal.web.kept.store import Store
from speedcal.web.pages.context import Context
from speedcal.web.pages.links import port_of

_MONTH_S = 30 * 86400.0
_SHOWN = 20


def state_page(context: Context) -> Response:
    """Show how the service does."""
    web = context.web
    disk = shutil.disk_usage(web.originals.root)
    return context.page(
        "state.html",
        title=STATE_TITLE,
        role="shop",
        version=metadata.version("speedcal"),
        database=web.store.engine.dialect.name,
        folder=str(web.settings.data.absolute()),
        free_gb=disk.free / 1e9,
        whole_gb=disk.total / 1e9,
        failing=[HEALTH[name] for name, works in web.health.look().items() if not works],
        certificate=web.certificate,
        trust=trust_address(web.settings, port_of(context)),
        uploads=len(web.uploads.under_way),
        workers=web.settings.workers,
        runs=_runs_by_state(web.store),
        failures=sorted(_failures(web.store), key=lambda one: -float(one["at"]))[:_SHOWN],
        month=_month(web.store, time.time() - _MONTH_S),
    )


def _runs_by_state(store: Store) -> dict[str, int]:
    runs = schema.runs
    query = sa.select(runs.c.state, sa.func.count()).group_by(runs.c.state)
    with store.reading() as connection:
        return {str(state): int(count) for state, count in connection.execute(query)}


def _failures(store: Store) -> Iterator[dict[str, Any]]:
    """Yield what could not be analysed lately: whole jobs, and drives that could not be read or matched."""
    runs, drives = schema.runs, schema.drives
    failed = sa.select(runs.c.job_id, runs.c.finished, runs.c.outcome).where(runs.c.state == "failed")
    refused = sa.select(drives.c.job_id, drives.c.created, drives.c.look).where(schema.IS_REFUSED)
    with store.reading() as connection:
        jobs = connection.execute(failed.order_by(runs.c.turn.desc()).limit(_SHOWN)).all()
        looks = connection.execute(refused.order_by(drives.c.created.desc()).limit(_SHOWN)).all()
    for job_id, at, outcome in jobs:
        yield {"job": job_id, "at": at, "reason": (json.loads(outcome or "{}") or {}).get("text", "")}
    for job_id, at, look in looks:
        for error in json.loads(look)["errors"]:
            yield {"job": job_id, "at": at, "reason": error["text"]}


def _month(store: Store, since: float) -> dict[str, int]:
    jobs, drives, runs = schema.jobs, schema.drives, schema.runs
    asked = {
        "jobs": (jobs, jobs.c.created > since),
        "before": (drives, sa.and_(drives.c.created > since, drives.c.phase == "before")),
        "after": (drives, sa.and_(drives.c.created > since, drives.c.phase == "after")),
        "closed": (jobs, sa.and_(jobs.c.updated > since, jobs.c.closed)),
        "failed": (runs, sa.and_(runs.c.finished > since, runs.c.state == "failed")),
    }
    with store.reading() as connection:
        return {
            name: int(connection.execute(sa.select(sa.func.count()).select_from(table).where(condition)).scalar() or 0)
            for name, (table, condition) in asked.items()
        }
