"""A film of the dial, step by step: marks on a still, the needle on a dozen frames, its readings for a drive."""

from __future__ import annotations

import io
import json
from typing import Any

from starlette.responses import FileResponse, JSONResponse, Response

from speedcal.text.codes.film_messages import left_out_text
from speedcal.text.pages.page_labels import FILM_TITLES, UNNAMED
from speedcal.web.answers import RefusedError, wants_json
from speedcal.web.entry.guard import PICTURE_POLICY
from speedcal.web.kept.film_files import READINGS_FILE, remove_film
from speedcal.web.kept.film_store import FilmRow, Films
from speedcal.web.kept.rows import DriveRow
from speedcal.web.pages.context import Context, View
from speedcal.web.pages.drives import add_drive, check_open, check_room
from speedcal.web.pages.film_upload import ask_for, film_of, send_page
from speedcal.web.pages.handin import UNITS


def film_page(context: Context, view: View) -> Response:
    """Show a film at the step where it is; its marks can be changed as long as it is here."""
    film = film_of(context, view)
    if film.step == "send":
        return send_page(context, view, film.phase, film)
    step = "mark" if film.stills and "mark" in context.request.query_params else film.step
    run = context.web.queue.latest(film.job_id, film.run_key)
    if step in ("prepare", "read") and not (run and run.is_active):
        ask_for(context, film)
        run = context.web.queue.latest(film.job_id, film.run_key)
    return context.page(
        "film.html",
        title=FILM_TITLES[step],
        film=film,
        step=step,
        run=run,
        ahead=context.web.queue.ahead(run) if run else 0,
        units=UNITS,
        left_out=left_out_text(film.reading["left_out"]) if film.reading else "",
        drives=_waiting_drives(context, view, film),
    )


def film_picture(context: Context, view: View) -> Response:
    """Send a still of a film, or a frame with its needle."""
    film, name = film_of(context, view), str(context.request.path_params["name"])
    shown = [one["file"] for one in (*film.stills.get("stills", ()), *film.reading.get("frames", ()))]
    path = context.web.originals.film(film.job_id, film.id) / name
    if name not in shown or not path.is_file():
        raise RefusedError(404, "no_picture")
    return FileResponse(path, media_type="image/jpeg", headers={"content-security-policy": PICTURE_POLICY})


def mark_film(context: Context, view: View) -> Response:
    """Keep the marks of the dial, when they can be a dial, and have the film read."""
    film, web = film_of(context, view), context.web
    check_open(context, view)
    dial = _dial_sent(context, film)
    web.runner.once("film_dial", {"dial": dial["table"]})
    changes = {"dial": dial, "reading": {}, "problem": {}, "accepted": 0.0, "version": film.version + 1}
    if not Films(web.store).change(film, **changes):
        raise RefusedError(409, "film_changed_meanwhile")
    ask_for(context, film)
    address = f"{view.base}/films/{film.id}"
    return JSONResponse({"film": address}) if wants_json(context.request.scope) else context.go(address)


def _dial_sent(context: Context, film: FilmRow) -> dict[str, Any]:
    """Return the marks as they were sent: in pixels of the still, and as the table of a dial file."""
    stills = film.stills.get("stills", [])
    number, marks = -1, []
    try:
        number, rows = int(context.text("still")), json.loads(context.text("marks", most=context.limits.field_bytes))
        marks = [[float(value), float(x), float(y)] for value, x, y in rows]
        still = stills[number] if number >= 0 else None
    except (ValueError, TypeError, IndexError, RecursionError, OverflowError):
        still = None
    if still is None or len(marks) > context.limits.typed_rows:
        raise RefusedError(422, "film_marks_not_read")
    grown = [[value, x * still["scale"], y * still["scale"]] for value, x, y in marks]
    unit = context.text("unit")
    return {
        "still": number,
        "unit": unit,
        "marks": marks,
        "table": {"unit": unit, "frame_s": still["time_s"], "marks": grown},
    }


def accept_film(context: Context, view: View) -> Response:
    """Hand the readings to a drive, and delete the film unless it is to be kept."""
    film, web = film_of(context, view), context.web
    check_open(context, view)
    if film.step != "accept" or context.text("version") != str(film.version):
        raise RefusedError(409, "film_changed_meanwhile")
    text = _accepted_rows(context, film)
    stored = web.originals.put(film.job_id, io.BytesIO(text.encode()), limit=context.limits.file_bytes)
    drive_id = _hand_over(context, view, film, stored.digest)
    web.queue.put(film.job_id, drive_id)
    web.runner.wake()
    if context.text("keep") == "yes":
        Films(web.store).change(film, accepted=film.reading["read_at"])
    else:
        remove_film(Films(web.store), web.originals, film)
    return context.go(f"{view.base}/drives/{drive_id}")


def _accepted_rows(context: Context, film: FilmRow) -> str:
    """Return the readings file without the parts that were taken out."""
    folder = context.web.originals.film(film.job_id, film.id)
    head, *rows = (folder / READINGS_FILE).read_text("utf-8").splitlines()
    taken_out = {str(value) for value in context.form.getlist("out")}
    parts = [f["rows"] for n, f in enumerate(film.reading["frames"]) if str(n) not in taken_out]
    kept = [row for first, last in parts for row in rows[first:last]]
    if not kept:
        raise RefusedError(422, "film_all_taken_out", at="out")
    return "\n".join([head, *kept]) + "\n"


def _hand_over(context: Context, view: View, film: FilmRow, digest: str) -> str:
    """Put the readings beside a track, or into a drive of their own that waits for one; return its id."""
    web, name = context.web, f"{film.name} {UNNAMED['filmed']}"
    readings = {"readings_name": name, "readings_digest": digest, "typed": "", "held": ""}
    chosen = next((d for d in _waiting_drives(context, view, film) if d.id == context.text("drive")), None)
    options = {**(chosen.options if chosen else {}), "read_from": "film"}
    if chosen is not None:
        web.store.change_drive(chosen.id, {**readings, "options": options})
        return chosen.id
    check_room(context, view)
    key = f"{film.id}-{film.version}"
    return add_drive(context, view, film.phase, {**readings, "options": options}, key)


def _waiting_drives(context: Context, view: View, film: FilmRow) -> list[DriveRow]:
    """Return the drives that have a track and wait for readings."""
    drives = context.web.store.drives(view.job.id)
    return [d for d in drives if d.phase == film.phase and d.track_digest and not d.has_readings]


def delete_film(context: Context, view: View) -> Response:
    """Delete a film; readings that were accepted stay."""
    film = film_of(context, view)
    if view.job.closed and not film.accepted:
        raise RefusedError(409, "job_closed")
    remove_film(Films(context.web.store), context.web.originals, film)
    return context.go(view.base)
