"""The service: which page answers at which address, and how everything starts and stops."""

from __future__ import annotations

import asyncio
import contextlib
import logging
import math
import mimetypes
from collections.abc import AsyncIterator, Callable
from pathlib import Path

from sqlalchemy.exc import DBAPIError
from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.middleware import Middleware
from starlette.requests import Request
from starlette.responses import FileResponse, JSONResponse, PlainTextResponse, Response
from starlette.routing import BaseRoute, Mount, Route
from starlette.staticfiles import StaticFiles

from speedcal.text.pages.page_labels import HEALTH
from speedcal.web.answers import RefusedError, wants_json
from speedcal.web.entry.admission import Uploads
from speedcal.web.entry.certificate import facts_of
from speedcal.web.entry.guard import Guard
from speedcal.web.kept.auth import Auth, load_key
from speedcal.web.kept.film_files import forget_films
from speedcal.web.kept.film_store import Films
from speedcal.web.kept.originals import Originals
from speedcal.web.kept.queue import Queue
from speedcal.web.kept.store import Store
from speedcal.web.pages import drives, film_pages, film_upload, importing, job_form, job_list, removal, results, shop
from speedcal.web.pages.context import Context, Door, Services, View, endpoint
from speedcal.web.pages.doors import (
    customer_view,
    must_be_boss,
    must_be_shop,
    owner_view,
    shop_view,
    sign_in,
    sign_in_and_go_on,
    sign_in_page,
    sign_out,
)
from speedcal.web.pages.front import customer_page, help_page, home, owner_page
from speedcal.web.pages.people import people_page, remove_person, save_person
from speedcal.web.pages.state import state_page
from speedcal.web.pages.trust import authority_file, trust_page
from speedcal.web.settings import ServiceError, Settings
from speedcal.web.work.health import Health
from speedcal.web.work.runner import Runner

log = logging.getLogger("speedcal.web")
_STATIC = Path(__file__).parent / "static"
_KINDS = {".js": "text/javascript", ".css": "text/css", ".svg": "image/svg+xml"}
"""What static files are sent as: on Windows other programs change what the system says, and browsers refuse them."""
_DAY_S = 86400.0
Viewer = Callable[[Context, View], Response]


def make_services(settings: Settings) -> Services:
    """Open the store and everything that works on it.

    Raises
    ------
    ServiceError
        The data folder or the database cannot be used, or others could reach the service and there is no passcode.
    """
    try:
        settings.data.mkdir(parents=True, exist_ok=True, mode=0o700)
        originals = Originals(settings.data, free_disk_bytes=settings.limits.free_disk_bytes)
        key = load_key(settings.data)
    except OSError as error:
        raise ServiceError("data_folder_unusable", source=str(settings.data), reason=error.strerror) from None
    try:
        store = Store(settings.database_url)
    except DBAPIError as error:
        raise ServiceError("store_unusable", reason=type(error.orig).__name__) from None
    queue = Queue(store)
    runner = Runner(store, queue, originals, settings.limits, workers=settings.workers)
    auth = Auth(store, key, settings.limits)
    facts = facts_of(settings)
    health = Health(store, originals, runner, certified_until=facts.renew_from if facts else math.inf)
    return Services(settings, store, originals, queue, runner, auth, Uploads(settings.limits), health, facts)


def check_passcode(services: Services) -> None:
    """Refuse to go on when others can reach the service and no passcode keeps them out."""
    if not services.settings.is_local and not services.auth.has_passcode:
        raise ServiceError("passcode_needed")


def create_app(settings: Settings) -> Starlette:
    """Return the service as an ASGI application; the store is opened when it starts and closed when it stops."""
    for suffix, kind in _KINDS.items():
        mimetypes.add_type(kind, suffix)

    @contextlib.asynccontextmanager
    async def lifespan(app: Starlette) -> AsyncIterator[None]:
        services = await run_in_threadpool(make_services, settings)
        with contextlib.closing(services.store):
            check_passcode(services)
            app.state.services = services
            await run_in_threadpool(_clean_up, services)
            services.runner.start()
            cleaning = asyncio.create_task(_clean_daily(services))
            try:
                yield
            finally:
                cleaning.cancel()
                await run_in_threadpool(services.runner.stop)

    return Starlette(
        routes=_routes(),
        middleware=[
            Middleware(
                Guard, allowed_hosts=settings.allowed_hosts, trusted=settings.trusted_networks, is_tls=settings.is_tls
            )
        ],
        exception_handlers={HTTPException: _told},
        lifespan=lifespan,
    )


def _clean_up(services: Services) -> None:
    """Finish deletions that a crash interrupted, and remove what interrupted uploads left."""
    for job_id in services.store.doomed():
        services.delete_job(job_id)
    _forget(services)
    removed = services.originals.sweep(known=services.store.known_originals())
    if removed:
        log.info("removed %d left-over files", removed)


def _forget(services: Services) -> None:
    """Let go of what was kept for a time that is over."""
    removal.forget_removed(services)
    removal.forget_old(services)
    forget_films(Films(services.store), services.originals, days=services.settings.limits.film_days)


async def _clean_daily(services: Services) -> None:
    while True:
        await asyncio.sleep(_DAY_S)
        try:
            await run_in_threadpool(_forget, services)
        except (OSError, DBAPIError) as error:
            log.warning("could not clean up: %s", type(error).__name__)


async def _told(request: Request, error: Exception) -> Response:
    status = error.status_code if isinstance(error, HTTPException) else 500
    codes = {404: "no_such_page", 405: "wrong_method"}
    raise RefusedError(status, codes.get(status, "not_possible"))


def _routes() -> list[BaseRoute]:
    return [
        Route("/", endpoint(home)),
        Route("/health", endpoint(health)),
        Route("/help", endpoint(help_page)),
        Route("/help/{topic}", endpoint(help_page)),
        Route("/trust", endpoint(trust_page)),
        Route("/trust/shop-authority.crt", endpoint(authority_file)),
        Route("/sign-in", endpoint(sign_in_page)),
        Route("/sign-in", endpoint(sign_in), methods=["POST"]),
        Route("/sign-out", endpoint(sign_out), methods=["POST"]),
        Route("/jobs", _shop(job_list.jobs_page)),
        Route("/jobs/all.zip", _shop(job_list.export_all)),
        Route("/jobs/new", _shop(job_form.new_job_page)),
        Route("/jobs/new", _shop(job_form.save_job), methods=["POST"]),
        Route("/state", _shop(state_page)),
        Route("/people", _boss(people_page)),
        Route("/people", _boss(save_person), methods=["POST"]),
        Route("/people/remove", _boss(remove_person), methods=["POST"]),
        Route("/import", _shop(importing.import_page)),
        Route("/import", _shop(importing.import_job, upload=True), methods=["POST"]),
        *_shop_job_routes(),
        *_drive_routes("/jobs/{job}", shop_view, "shop"),
        *_film_routes("/jobs/{job}", shop_view),
        Route("/o/{token}", _seen(owner_page, owner_view)),
        *_drive_routes("/o/{token}", owner_view, "owner"),
        *_film_routes("/o/{token}", owner_view),
        Route("/c/{token}", _seen(customer_page, customer_view)),
        Route("/c/{token}/files/{name}", _seen(customer_file, customer_view)),
        Route("/recorder-worker.js", recorder_worker),
        Mount("/static", StaticFiles(directory=_STATIC), name="static"),
    ]


def _shop_job_routes() -> list[BaseRoute]:
    base = "/jobs/{job}"
    pages: list[tuple[str, Viewer]] = [
        ("", shop.job_page),
        ("/edit", job_form.edit_job_page),
        ("/delete", shop.delete_page),
        ("/export.zip", shop.export_job),
        ("/road-test.pdf", shop.sheet),
    ]
    forms: list[tuple[str, Viewer]] = [
        ("/edit", job_form.save_job),
        ("/close", shop.close_job),
        ("/again", shop.analyse_again),
        ("/delete", shop.delete_job),
        ("/links", shop.add_link),
        ("/links/{link}/revoke", shop.revoke_link),
    ]
    return [
        *(Route(base + path, _seen(page, shop_view)) for path, page in pages),
        *(Route(base + path, _seen(form, shop_view), methods=["POST"]) for path, form in forms),
    ]


def _drive_routes(base: str, door: Door, role: str) -> list[BaseRoute]:
    """Return the routes that the shop and the owner share."""
    file = results.result_file if role == "shop" else customer_file
    return [
        Route(base + "/drives/new/{phase}", _seen(new_drive, door)),
        Route(base + "/drives/new/{phase}", _seen(post_new_drive, door, upload=True), methods=["POST"]),
        Route(base + "/drives/{drive}", _seen(drives.show_drive, door, wait=True)),
        Route(base + "/drives/{drive}", _seen(drives.post_drive, door, upload=True), methods=["POST"]),
        Route(base + "/drives/{drive}/remove", _seen(removal.remove_page, door)),
        Route(base + "/drives/{drive}/remove", _seen(removal.remove_drive, door), methods=["POST"]),
        Route(base + "/drives/{drive}/restore", _seen(removal.restore_drive, door), methods=["POST"]),
        Route(base + "/drives/{drive}/swap", _seen(removal.swap_files, door), methods=["POST"]),
        Route(base + "/drives/{drive}/picture.svg", _seen(drives.drive_picture, door)),
        Route(base + "/record/{phase}", _seen(drives.recorder_page, door)),
        Route(base + "/status.json", _seen(results.status, door)),
        Route(base + "/files/{name}", _seen(file, door)),
    ]


def _film_routes(base: str, door: Door) -> list[BaseRoute]:
    """Return the routes of films of the dial, which the shop and the owner share."""
    film = base + "/films/{film}"
    return [
        Route(base + "/films/new/{phase}", _seen(film_upload.new_film_page, door)),
        Route(base + "/films/new/{phase}", _seen(film_upload.begin_film, door), methods=["POST"]),
        Route(film, _seen(film_pages.film_page, door)),
        Route(film + "/pieces", _seen(film_upload.take_piece, door, upload=True), methods=["POST"]),
        Route(film + "/marks", _seen(film_pages.mark_film, door), methods=["POST"]),
        Route(film + "/accept", _seen(film_pages.accept_film, door), methods=["POST"]),
        Route(film + "/delete", _seen(film_pages.delete_film, door), methods=["POST"]),
        Route(film + "/{name}", _seen(film_pages.film_picture, door)),
    ]


def _shop(handler: Callable[[Context], Response], *, upload: bool = False) -> Callable[[Request], object]:
    return endpoint(handler, upload=upload, door=must_be_shop, away=sign_in_and_go_on)


def _boss(handler: Callable[[Context], Response]) -> Callable[[Request], object]:
    return endpoint(handler, door=must_be_boss, away=sign_in_and_go_on)


def _seen(handler: Viewer, door: Door, *, upload: bool = False, wait: bool = False) -> Callable[[Request], object]:
    """Return a page that is reached through a door: who may not come in never gets to the handler."""

    def through(context: Context) -> Response:
        return handler(context, context.view)

    through.__name__ = handler.__name__
    return endpoint(through, upload=upload, wait=drives.settle if wait else None, door=door, away=sign_in_and_go_on)


def new_drive(context: Context, view: View) -> Response:
    """Show the form for a drive."""
    return drives.new_drive_page(context, view, drives.phase_of(context, view))


def post_new_drive(context: Context, view: View) -> Response:
    """Take a drive in."""
    return drives.save_drive(context, view, drives.phase_of(context, view), None)


def customer_file(context: Context, view: View) -> Response:
    """Send a file of the report to who may only read it."""
    return results.result_file(context, view, allowed=results.CUSTOMER_FILES)


def health(context: Context) -> Response:
    """Tell a supervisor whether the service can do its work, and what it cannot."""
    found = context.web.health.look()
    is_well = all(found.values())
    if wants_json(context.request.scope):
        return JSONResponse({"ok": is_well, **found}, 200 if is_well else 503)
    failing = "".join(f"{HEALTH[name]}\n" for name, works in found.items() if not works)
    return PlainTextResponse(failing or "ok\n", 200 if is_well else 503)


def recorder_worker(request: Request) -> Response:
    """Send the script that keeps the recorder page available without a network."""
    return FileResponse(_STATIC / "recorder-worker.js", media_type="text/javascript")
