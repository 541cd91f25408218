"""Handing in a drive and seeing what was understood: the same pages for the shop and for the owner's link."""

from __future__ import annotations

import asyncio
import re
import time
from collections.abc import Callable
from typing import Any

from starlette.concurrency import run_in_threadpool
from starlette.responses import FileResponse, JSONResponse, Response

from speedcal.text.page_messages import PHASES
from speedcal.web.answers import RefusedError, busy, wants_json
from speedcal.web.context import Context, View
from speedcal.web.guard import PICTURE_POLICY
from speedcal.web.handin import UNITS, handed_in, several
from speedcal.web.queue import Run
from speedcal.web.store import DriveRow
from speedcal.web.typed import rows_of

TYPED_ROWS = 12
"""Rows of the typing form; it grows with what is filled in."""
_WAIT_S, _STEP_S = 6.0, 0.2
_KEY = re.compile(r"[A-Za-z0-9-]{8,64}")
Door = Callable[[Context], View]


async def settle(context: Context) -> None:
    """Wait a few seconds for a look that is about to be done, so that the page shows what was understood."""
    queue, drive_id = context.web.queue, context.request.path_params.get("drive", "")
    until = time.monotonic() + _WAIT_S
    job_id = None
    while time.monotonic() < until:
        if job_id is None:
            drive = await run_in_threadpool(context.web.store.drive, drive_id)
            job_id = drive.job_id if drive else ""
        run = await run_in_threadpool(queue.latest, job_id, drive_id)
        if run is None or not run.is_active:
            return
        await asyncio.sleep(_STEP_S)


def new_drive_page(context: Context, view: View, phase: str) -> Response:
    """Show the empty form."""
    return _form_page(context, view, phase, None)


def _form_page(
    context: Context, view: View, phase: str, drive: DriveRow | None, *, refused: RefusedError | None = None
) -> Response:
    return context.page(
        "drive.html",
        refused.status if refused else 200,
        title=PHASES[phase],
        role=view.role,
        base=view.base,
        job=view.job,
        phase=phase,
        drive=drive,
        look=drive.look if drive else None,
        run=_run_of(context, drive),
        refused=refused.to_dict() if refused else None,
        typed=_typed_of(context, drive),
        units=UNITS,
        limits=context.limits,
        action=f"{view.base}/drives/{drive.id}" if drive else f"{view.base}/drives/new/{phase}",
    )


def _run_of(context: Context, drive: DriveRow | None) -> Run | None:
    return context.web.queue.latest(drive.job_id, drive.id) if drive else None


def _typed_of(context: Context, drive: DriveRow | None) -> dict[str, Any]:
    """Return what fills the form: as it was just sent, else as the drive keeps it."""
    if context.form:
        rows = list(zip(several(context, "time"), several(context, "speed"), strict=False))
        texts = {
            name: str(context.form.get(name) or "") for name in ("pasted", "held", "unit", "column", "zone", "offset")
        }
    else:
        rows = (rows_of(drive.typed) or []) if drive and drive.typed else []
        options = drive.options if drive else {}
        texts = {
            "pasted": drive.typed if drive and drive.typed and not rows else "",
            "held": drive.held if drive else "",
            "offset": str(options.get("clock_offset_s", "")),
            **{name: str(options.get(name, "")) for name in ("unit", "column", "zone")},
        }
    filled = [row for row in rows if any(cell.strip() for cell in row)]
    empty = max(TYPED_ROWS - len(filled), 6)
    return {**texts, "rows": [*filled, *[("", "")] * empty]}


def save_drive(context: Context, view: View, phase: str, drive: DriveRow | None) -> Response:
    """Keep what was handed in, whatever its state, and go to the page that tells what was understood.

    What is refused here (a file beyond the limit, too many rows) is said above the same form, with all that was
    typed still in it and all that could be kept kept.
    """
    web = context.web
    if web.queue.waiting() >= context.limits.runs_waiting:
        raise busy("analyses_busy")
    _check_open(context, view, drive)
    values, refused = handed_in(context, view, drive)
    has_parts = any(values.get(name) for name in ("track_digest", "readings_digest", "typed", "held"))
    if drive is None and not has_parts:
        refused = refused or RefusedError(422, "nothing_sent")
    if refused and (not values if drive else not has_parts):
        return _refusal(context, view, phase, drive, refused)
    try:
        drive_id = _keep_drive(context, view, phase, drive, values)
    except KeyError:
        raise RefusedError(404, "job_deleted") from None
    web.runner.wake()
    if refused:
        return _refusal(context, view, phase, web.store.drive(drive_id), refused)
    address = f"{view.base}/drives/{drive_id}"
    return JSONResponse({"drive": address}, 201) if wants_json(context.request.scope) else context.go(address)


def _keep_drive(context: Context, view: View, phase: str, drive: DriveRow | None, values: dict[str, Any]) -> str:
    """Keep a new drive or the changes of one and have it looked at; sent again unchanged it is only looked at again."""
    web, key = context.web, context.text("key")
    if drive is None:
        client_key = key if _KEY.fullmatch(key) else None
        drive_id = web.store.add_drive(view.job.id, phase, values, client_key=client_key)
    else:
        drive_id = drive.id
        if values:
            web.store.change_drive(drive_id, values)
        elif drive.is_usable:
            return drive_id
    web.queue.put(view.job.id, drive_id)
    return drive_id


def _refusal(context: Context, view: View, phase: str, drive: DriveRow | None, refused: RefusedError) -> Response:
    if wants_json(context.request.scope):
        raise refused
    return _form_page(context, view, phase, drive, refused=refused)


def _check_open(context: Context, view: View, drive: DriveRow | None) -> None:
    if view.job.closed:
        raise RefusedError(409, "job_closed")
    if drive is None and len(context.web.store.drives(view.job.id)) >= context.limits.drives_per_job:
        raise RefusedError(409, "too_many_drives", most=context.limits.drives_per_job)


def drive_of(context: Context, view: View) -> DriveRow:
    """Return the drive that the address names, when this door leads to it.

    Raises
    ------
    RefusedError
        There is no such drive here.
    """
    drive = context.web.store.drive(context.request.path_params["drive"])
    if drive is None or drive.job_id != view.job.id or drive.phase not in view.phases:
        raise RefusedError(404, "no_such_drive")
    return drive


def show_drive(context: Context, view: View) -> Response:
    """Show what was understood of a drive, and the form to change it."""
    drive = drive_of(context, view)
    return _form_page(context, view, drive.phase, drive)


def post_drive(context: Context, view: View) -> Response:
    """Change a drive."""
    drive = drive_of(context, view)
    return save_drive(context, view, drive.phase, drive)


def remove_drive(context: Context, view: View) -> Response:
    """Remove a drive and its originals, and ask for the result without it."""
    drive, web = drive_of(context, view), context.web
    if view.job.closed:
        raise RefusedError(409, "job_closed")
    web.store.remove_drive(drive.id)
    still = web.store.known_originals().get(view.job.id, set())
    for digest in {drive.track_digest, drive.readings_digest} - still - {""}:
        web.originals.remove(view.job.id, digest)
    if drive.look_run:
        web.originals.remove_result(view.job.id, drive.look_run)
    web.runner.ask_for_result(view.job.id)
    return context.go(view.base)


def drive_picture(context: Context, view: View) -> Response:
    """Send the picture of the readings on the track."""
    drive = drive_of(context, view)
    path = context.web.originals.result_file(view.job.id, drive.look_run, "look.svg") if drive.look_run else None
    if path is None:
        raise RefusedError(404, "no_picture")
    return FileResponse(path, media_type="image/svg+xml", headers={"content-security-policy": PICTURE_POLICY})


def phase_of(context: Context, view: View) -> str:
    """Return the phase that the address names, when this door takes drives of it.

    Raises
    ------
    RefusedError
        It does not.
    """
    phase = str(context.request.path_params["phase"])
    if phase not in view.phases:
        raise RefusedError(404, "no_such_page")
    return phase


def recorder_page(context: Context, view: View) -> Response:
    """Show the page that records a drive on a phone."""
    phase = phase_of(context, view)
    step, first, last = (5, 10, 80) if view.job.unit == "mph" else (10, 10, 150)
    return context.page(
        "recorder.html",
        title="Record a drive",
        role=view.role,
        base=view.base,
        job=view.job,
        phase=phase,
        speeds=range(first, last + 1, step),
        action=f"{view.base}/drives/new/{phase}",
        store_key=f"{view.job.id}-{phase}",
    )
