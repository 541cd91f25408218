"""A film of the dial comes in: announced, then piece by piece, so that a broken connection costs one piece."""

from __future__ import annotations

import re

from starlette.responses import JSONResponse, Response

from speedcal.text.pages.page_labels import FILM_TITLES
from speedcal.web.answers import RefusedError, busy, can_read_films
from speedcal.web.kept.film_files import forget_films, write_piece
from speedcal.web.kept.film_store import FilmRow, Films
from speedcal.web.pages.context import Context, View
from speedcal.web.pages.drives import check_open, is_locked, phase_of

_PRINT = re.compile(r"[0-9a-f-]{8,64}")


def new_film_page(context: Context, view: View) -> Response:
    """Show where a film is chosen, what it needs and what to take care of."""
    return send_page(context, view, phase_of(context, view), None)


def send_page(context: Context, view: View, phase: str, film: FilmRow | None) -> Response:
    """Show where a film is chosen; one that has come in part goes on when it is chosen again."""
    return context.page(
        "film_send.html",
        title=FILM_TITLES["send"],
        phase=phase,
        film=film,
        drive=context.request.query_params.get("drive", "")[:32],
        is_locked=is_locked(context, view),
    )


def begin_film(context: Context, view: View) -> Response:
    """Take note of a film that is to come, or say how much of it is here already."""
    phase, web, limits = phase_of(context, view), context.web, context.limits
    check_open(context, view)
    if not can_read_films():
        raise RefusedError(422, "film_extra_missing")
    name, key, size = context.text("name") or "film", context.text("print"), context.text("size")
    if not _PRINT.fullmatch(key) or not size.isdecimal() or len(size) > 15:
        raise RefusedError(422, "film_not_announced")
    films = Films(web.store)
    if films.sent(view.job.id, phase, key) is None:
        forget_films(films, web.originals, days=limits.film_days)
        if not 0 < int(size) <= limits.film_bytes:
            raise RefusedError(413, "film_size", source=name, most_mb=limits.film_bytes // 2**20)
        if len(films.of_job(view.job.id, view.phases)) >= limits.films_per_job:
            raise RefusedError(409, "too_many_films", most=limits.films_per_job)
        web.originals.check_room(films.to_come() + int(size))
    try:
        film = films.add(
            view.job.id, phase, client_key=key, name=name, size=int(size), drive_id=_drive_of(context, view, phase)
        )
    except KeyError:
        raise RefusedError(404, "job_deleted") from None
    return _told(context, view, film, 201)


def take_piece(context: Context, view: View) -> Response:
    """Take the next piece of a film in; one that is here already is not written again."""
    film, web, limits = film_of(context, view), context.web, context.limits
    check_open(context, view)
    found, at = context.file("piece"), context.text("at")
    if found is None or not at.isdecimal() or len(at) > 15:
        raise RefusedError(422, "film_piece_lost")
    _, content, size = found
    if size > limits.film_piece_bytes or int(at) + size > film.size:
        raise RefusedError(413, "film_piece_too_large")
    if int(at) == film.arrived:
        if web.queue.waiting() >= limits.runs_waiting:
            raise busy("analyses_busy")
        web.originals.check_room(size)
        write_piece(web.originals, film, int(at), content)
        film = Films(web.store).take(film, at=int(at), upto=int(at) + size) or film
        if film.has_arrived:
            ask_for(context, film)
    return _told(context, view, film, 200)


def _told(context: Context, view: View, film: FilmRow, status: int) -> Response:
    told = {"film": f"{view.base}/films/{film.id}", "arrived": film.arrived, "size": film.size}
    return JSONResponse({**told, "piece": context.limits.film_piece_bytes}, status)


def ask_for(context: Context, film: FilmRow) -> None:
    """Have the next step with a film done."""
    context.web.queue.put(film.job_id, film.run_key)
    context.web.runner.wake()


def film_of(context: Context, view: View) -> FilmRow:
    """Return the film that the address names, when this door leads to it; refuse any other."""
    film = Films(context.web.store).film(str(context.request.path_params["film"]))
    if film is None or film.job_id != view.job.id or film.phase not in view.phases:
        raise RefusedError(404, "no_such_film")
    return film


def _drive_of(context: Context, view: View, phase: str) -> str:
    """Return the id of the drive whose readings the film brings, where one was named that lacks them."""
    named = context.text("drive")
    waiting = [d.id for d in context.web.store.drives(view.job.id) if d.phase == phase and not d.has_readings]
    return named if named in waiting else ""
