"""Handing in a drive and seeing what was understood: the same pages for the shop and for the owner's link."""

from __future__ import annotations

import asyncio
import re
import secrets
import time
from typing import Any

from starlette.concurrency import run_in_threadpool
from starlette.responses import FileResponse, JSONResponse, Response

from speedcal.statements import stated
from speedcal.text.pages.page_labels import HINTS, PARTS, PHASES, QUESTIONS, UNNAMED
from speedcal.web.answers import RefusedError, busy, wants_json
from speedcal.web.entry.guard import PICTURE_POLICY
from speedcal.web.kept.queue import Run
from speedcal.web.kept.rows import CONTENT, DriveRow
from speedcal.web.pages.context import Context, View
from speedcal.web.pages.handin import UNITS, handed_in, texts_kept, texts_sent
from speedcal.web.pages.meanwhile import Change, changes, seen_text
from speedcal.web.work.look import NARROW_PICTURE, PICTURE
from speedcal.web.work.marks import choices, marks

TYPED_ROWS = 12
"""Rows of the typing form; it grows with what is filled in."""
_WAIT_S, _STEP_S = 6.0, 0.2
_KEY = re.compile(r"[A-Za-z0-9-]{8,64}")


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
    """Show the empty form; its key stands in its address, so that Back leads to the same form."""
    if not _KEY.fullmatch(context.request.query_params.get("key", "")):
        return context.go(f"{view.base}/drives/new/{phase}?key={secrets.token_hex(16)}")
    return _form_page(context, view, phase, None)


def _form_page(
    context: Context, view: View, phase: str, drive: DriveRow | None, *, refused: RefusedError | None = None
) -> Response:
    """Show the form of a drive: as it was just sent when it was refused, else as it is kept."""
    is_sent = bool(context.form)
    run = None if is_sent else _run_of(context, drive)  # a page that answers a form must not load itself again
    key = context.text("key") or context.request.query_params.get("key", "")
    told = [refused.to_dict()] if refused else list(drive.said["refused"]) if drive and drive.said else []
    typed = _with_rows(texts_sent(context) if is_sent else texts_kept(drive))
    found = drive.look["errors"] if drive and drive.look and not drive.look.get("swapped") else []
    return context.page(
        "drive.html",
        refused.status if refused else 200,
        title=PHASES[phase],
        phase=phase,
        drive=drive,
        look=drive.look if drive else None,
        run=run,
        ahead=context.web.queue.ahead(run) if run else 0,
        refused=told,
        wrong=marks([*told, *found], rows=sum(map(any, typed["rows"]))),
        choices=choices(found),
        typed=typed,
        labels={
            key: stated("drive").keys[key].label for key in ("unit", "column", "session", "zone", "clock_offset_s")
        },
        questions=[(name, PARTS[name].capitalize(), answers) for name, answers in QUESTIONS.items()],
        hints=HINTS,
        units=UNITS,
        action=f"{view.base}/drives/{drive.id}" if drive else f"{view.base}/drives/new/{phase}",
        key=key,
        sent=None if is_sent or drive else context.web.store.drive_sent(view.job.id, key),
        seen=seen_text(_parts(drive)) if drive else "",
        is_locked=is_locked(context, view),
        is_again=context.request.query_params.get("again") == "yes",
    )


def _run_of(context: Context, drive: DriveRow | None) -> Run | None:
    return context.web.queue.latest(drive.job_id, drive.id) if drive else None


def _with_rows(texts: dict[str, Any]) -> dict[str, Any]:
    filled = [row for row in texts["rows"] if any(cell.strip() for cell in row)]
    empty = max(TYPED_ROWS - len(filled), 6)
    return {**texts, "rows": [*filled, *[("", "")] * empty]}


def _parts(drive: DriveRow) -> dict[str, str]:
    """Return what a person would compare two states of a drive by."""
    options = {
        name: str(drive.options.get(name, ""))
        for name in ("unit", "column", "session", "zone", "clock_offset_s", *QUESTIONS, "checks")
    }
    typed = f"{UNNAMED['typed']} ({drive.typed.count(chr(10)) - 1})" if drive.typed else ""
    readings = drive.readings_name or drive.held or typed
    return {"version": str(drive.version), "track": drive.track_name, "readings": readings, **options}


def save_drive(context: Context, view: View, phase: str, drive: DriveRow | None) -> Response:
    """Keep what was handed in, whatever its state, and go to the page that tells what was understood.

    What is refused here (a file beyond the limit, too many rows) is said above the same form, with all that was
    typed still in it and all that could be kept kept.
    """
    if context.text("restore") == "yes":
        return _form_page(context, view, phase, drive)
    web = context.web
    if web.queue.waiting() >= context.limits.runs_waiting:
        raise busy("analyses_busy")
    key = _key_of(context)
    made = drive or (web.store.drive_sent(view.job.id, key) if key else None)
    if view.job.closed:
        raise RefusedError(409, "job_closed")
    values, refused = handed_in(context, view, made)
    if drive is None and made and made.track_digest not in ("", values.get("track_digest", made.track_digest)):
        made, key = None, None  # the form was used again, for another drive
    changed = {k: v for k, v in values.items() if v != (getattr(made, k) if made else _EMPTY.get(k, ""))}
    if drive and changed and (meanwhile := _meanwhile(context, drive)):
        refused.insert(0, RefusedError(409, "drive_changed_meanwhile", changes=meanwhile))
        return _refusal(context, view, phase, drive, refused)
    if made is None and not any(values.get(name) for name in CONTENT):
        return _refusal(context, view, phase, None, refused or [RefusedError(422, "nothing_sent", at="track")])
    if made is None:
        check_room(context, view)
    if made and changed:
        check_not_locked(context, view)
    drive_id, is_again = _keep_drive(context, view, phase, made, changed, key)
    return _kept(context, view, drive_id, refused, is_again=is_again)


_EMPTY: dict[str, Any] = {"options": {}}


def _key_of(context: Context) -> str | None:
    key = context.text("key")
    return key if _KEY.fullmatch(key) else None


def _meanwhile(context: Context, drive: DriveRow) -> list[Change]:
    """Return what somebody else changed since the form was opened."""
    return changes(context.text("seen", most=context.limits.field_bytes), _parts(drive), PARTS)


def _keep_drive(
    context: Context, view: View, phase: str, drive: DriveRow | None, changed: dict[str, Any], key: str | None
) -> tuple[str, bool]:
    """Keep a new drive or the changes of one and have it looked at; sent again unchanged it is only looked at again.

    Returns its id, and whether it was sent before as another one.
    """
    web = context.web
    if drive is None:
        drive_id = add_drive(context, view, phase, changed, key)
        if (same := web.store.drive(drive_id)) and same.look is not None:
            return drive_id, True
    else:
        drive_id = drive.id
        if changed:
            web.store.change_drive(drive_id, changed)
        elif drive.is_usable:
            return drive_id, False
    web.queue.put(view.job.id, drive_id)
    web.runner.look_again_at_doubles(view.job.id)
    web.runner.wake()
    return drive_id, False


def _kept(
    context: Context, view: View, drive_id: str, refused: list[RefusedError], *, is_again: bool = False
) -> Response:
    """Lead to the drive; what was refused of the form stands there, with what was typed."""
    told = [error.to_dict() for error in refused]
    context.web.store.say_of_drive(drive_id, {"refused": told, "texts": texts_sent(context)} if told else {})
    address = f"{view.base}/drives/{drive_id}"
    if not wants_json(context.request.scope):
        return context.go(f"{address}?again=yes" if is_again else address)
    return JSONResponse({**(told[0] if told else {}), "drive": address}, refused[0].status if refused else 201)


def _refusal(context: Context, view: View, phase: str, drive: DriveRow | None, refused: list[RefusedError]) -> Response:
    if wants_json(context.request.scope):
        raise refused[0]
    return _form_page(context, view, phase, drive, refused=refused[0])


def is_locked(context: Context, view: View) -> bool:
    """Tell whether the owner's drives stand: the road test that is judged by them is in."""
    return view.role == "owner" and any(drive.phase == "after" for drive in context.web.store.drives(view.job.id))


def check_not_locked(context: Context, view: View) -> None:
    """Refuse a change of a drive through the owner's link once the road test is in."""
    if is_locked(context, view):
        raise RefusedError(409, "road_test_is_in")


def check_room(context: Context, view: View) -> None:
    """Refuse a further drive of a job that has as many as it may."""
    if len(context.web.store.drives(view.job.id)) >= context.limits.drives_per_job:
        raise RefusedError(409, "too_many_drives", most=context.limits.drives_per_job)


def add_drive(context: Context, view: View, phase: str, values: dict[str, Any], key: str | None) -> str:
    """Keep a new drive, or find the one that was sent under the same key; return its id."""
    try:
        return context.web.store.add_drive(view.job.id, phase, values, client_key=key)
    except KeyError:
        raise RefusedError(404, "job_deleted") from None


def check_open(context: Context, view: View) -> None:
    """Refuse a change of a drive or a film where the job is closed or the owner's drives stand."""
    if view.job.closed:
        raise RefusedError(409, "job_closed")
    check_not_locked(context, view)


def drive_of(context: Context, view: View, *, removed: bool = False) -> DriveRow:
    """Return the drive that the address names, when this door leads to it and it is there, or was removed."""
    drive = context.web.store.drive(context.request.path_params["drive"])
    if drive is None or drive.job_id != view.job.id or drive.phase not in view.phases or bool(drive.removed) != removed:
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


def drive_picture(context: Context, view: View) -> Response:
    """Send the picture of the readings on the track."""
    drive = drive_of(context, view)
    name = NARROW_PICTURE if "narrow" in context.request.query_params else PICTURE
    path = context.web.originals.result_file(view.job.id, drive.look_run, name) if drive.look_run else None
    if path is None:
        raise RefusedError(404, "no_picture")
    return FileResponse(path, media_type="image/svg+xml", headers={"content-security-policy": PICTURE_POLICY})


def phase_of(context: Context, view: View) -> str:
    """Return the phase that the address names, when this door takes drives of it; refuse any other."""
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
        phase=phase,
        speeds=range(first, last + 1, step),
        action=f"{view.base}/drives/new/{phase}",
        store_key=f"{view.job.id}-{phase}",
    )
