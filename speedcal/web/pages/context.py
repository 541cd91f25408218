"""What a page gets to work with, and the one way a request comes in: limits, form, rights, errors."""

from __future__ import annotations

import asyncio
import contextlib
import errno
from collections.abc import Awaitable, Callable
from dataclasses import dataclass, field
from typing import Any, BinaryIO

from sqlalchemy.exc import DBAPIError
from sqlalchemy.exc import TimeoutError as PoolTimeoutError
from starlette.concurrency import run_in_threadpool
from starlette.datastructures import FormData, UploadFile
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import HTMLResponse, RedirectResponse, Response
from starlette.types import Message

from speedcal.errors import SpeedcalError
from speedcal.text.pages.page_labels import UNNAMED
from speedcal.web.answers import RefusedError, busy, environment, wants_json
from speedcal.web.entry.admission import Upload, Uploads
from speedcal.web.entry.certificate import Facts
from speedcal.web.kept.auth import Auth, TooManyAttemptsError
from speedcal.web.kept.history import write_down
from speedcal.web.kept.originals import NoRoomError, Originals
from speedcal.web.kept.queue import Queue
from speedcal.web.kept.rows import JobRow
from speedcal.web.kept.store import Store
from speedcal.web.settings import Settings
from speedcal.web.work.health import Health
from speedcal.web.work.runner import Runner


@dataclass
class Services:
    """Everything the pages work with; made when the service starts."""

    settings: Settings
    store: Store
    originals: Originals
    queue: Queue
    runner: Runner
    auth: Auth
    uploads: Uploads
    health: Health
    certificate: Facts | None
    """What is known of the certificate in use; None without https."""

    def delete_job(self, job_id: str) -> None:
        """Delete a job and its files; what a crash interrupts is finished at the next start."""
        self.store.delete_job(job_id)
        self.originals.remove_job(job_id)
        self.store.buried(job_id)


@dataclass(frozen=True)
class View:
    """Through which door a job is seen: the shop, or a link of its owner or its customer."""

    role: str
    job: JobRow
    base: str
    """Address of the job seen through this door."""
    phases: tuple[str, ...]
    """Drives that may be handed in."""


@dataclass
class Context:
    """One request."""

    request: Request
    web: Services
    form: FormData = field(default_factory=FormData)
    person: str = ""
    """Name of the tech who signed in; empty for the passcode of the shop and for everybody else."""
    view: Any = None
    """What the door let in; see :func:`endpoint`."""

    @property
    def limits(self) -> Any:
        """The limits of the service."""
        return self.web.settings.limits

    def text(self, name: str, *, most: int | None = None) -> str:
        """Return a field of the form without blanks around it; one beyond the limit is refused."""
        value = self.form.get(name, "")
        text = plain(value).strip() if isinstance(value, str) else ""
        most = most or self.limits.text_characters
        if len(text) > most:
            raise RefusedError(422, "field_too_long", at=name, most=most)
        return text

    def file(self, name: str) -> tuple[str, BinaryIO, int] | None:
        """Return the label, the content and the size of an uploaded file, or None when none was chosen."""
        value = self.form.get(name)
        if not isinstance(value, UploadFile) or not (value.filename or value.size):
            return None
        label = plain(value.filename or "").replace("\\", "/").rsplit("/", 1)[-1][:200] or UNNAMED["file"]
        return label, value.file, value.size or 0

    def page(self, template: str, status: int = 200, **values: Any) -> HTMLResponse:
        """Return a page."""
        common = {
            "role": "",
            "base": "",
            "title": "",
            "has_passcode": self.web.auth.has_passcode,
            "limits": self.limits,
        }
        if isinstance(self.view, View):
            common |= {"role": self.view.role, "base": self.view.base, "job": self.view.job}
        return HTMLResponse(environment().get_template(template).render({**common, **values}), status)

    def go(self, address: str) -> RedirectResponse:
        """Send the browser to another page after a form was carried out."""
        return RedirectResponse(address, 303)

    @property
    def address(self) -> str:
        """Address of the client."""
        return self.request.client.host if self.request.client else ""


def plain(text: str) -> str:
    """Return a text without control characters; line breaks and tabs stay."""
    return "".join(sign for sign in text if sign in "\n\r\t" or (sign >= " " and sign != "\x7f"))


Handler = Callable[[Context], Response]
Door = Callable[[Context], Any]
Waiter = Callable[[Context], Awaitable[None]]


def endpoint(
    handler: Handler,
    *,
    upload: bool = False,
    wait: Waiter | None = None,
    door: Door | None = None,
    away: Handler | None = None,
) -> Callable[[Request], Any]:
    """Return a handler as the router wants it: form read within the limits, work done off the event loop.

    Parameters
    ----------
    handler
        Gets the context; may raise :class:`RefusedError`, :class:`SpeedcalError` and errors of the store and the disk.
    upload
        Whether the form may carry files.
    wait
        Awaited before a page is made, so that an answer which is about to come is already in it.
    door
        Asked before the body of a request is taken in; returns what the page shows, or the answer that sends away.
    away
        Answers a form whose sender has to sign in first; nothing typed is lost.
    """

    async def serve(request: Request) -> Response:
        context = Context(request, request.app.state.services)
        try:
            return await _served(context, handler, upload=upload, wait=wait, door=door)
        except RefusedError as error:
            if away is None or not _waits_for_passcode(context, error):
                raise
            return await _with_form(context, away, upload=upload, most=context.limits.form_bytes)

    serve.page_name = handler.__name__  # type: ignore[attr-defined]
    return serve


async def _served(
    context: Context, handler: Handler, *, upload: bool, wait: Waiter | None, door: Door | None
) -> Response:
    try:
        if door is not None:
            context.view = await run_in_threadpool(door, context)
            if isinstance(context.view, Response):
                return context.view
            context.request.scope["seen"] = _seen_as(context.view)
        if context.request.method == "POST":
            answer = await _with_form(context, handler, upload=upload)
            store, view, person = context.web.store, context.view, context.person
            await run_in_threadpool(write_down, store, handler.__name__, answer, view=view, person=person)
            return answer
        if wait is not None:
            await wait(context)
        return await run_in_threadpool(handler, context)
    except SpeedcalError as error:
        raise RefusedError.of(error) from error
    except TooManyAttemptsError as error:
        headers = {"retry-after": str(int(error.wait_s) + 1)}
        raise RefusedError(
            429, "too_many_passcodes", headers=headers, minutes=max(1, round(error.wait_s / 60))
        ) from error
    except (DBAPIError, PoolTimeoutError, OSError) as error:
        raise _unavailable(error) from error


def _waits_for_passcode(context: Context, error: RefusedError) -> bool:
    """Tell whether a person sent a form and only has to sign in first."""
    request = context.request
    return error.status == 401 and request.method == "POST" and not wants_json(request.scope) and not context.form


def _seen_as(view: Any) -> dict[str, str]:
    """Return what the log says of who asked for what."""
    return {"job": view.job.id, "role": view.role} if isinstance(view, View) else {"role": "shop"}


async def _with_form(context: Context, handler: Handler, *, upload: bool, most: int = 0) -> Response:
    web, limits = context.web, context.limits
    body = _Body(context.request, most or (limits.body_bytes if upload else limits.form_bytes))
    link = str(context.request.path_params.get("token", ""))
    held = Upload(context.address, link)
    try:
        with web.uploads.place(held) if upload else contextlib.nullcontext():
            await _take_in(context, body, held, limits.files if upload else 0)
            return await run_in_threadpool(handler, context)
    except TimeoutError:
        raise busy("upload_gave_way") if held.gave_way else RefusedError(408, "too_slow") from None
    except RefusedError as error:
        if error.status == 503:
            await body.drain(limits.rest_seconds)
        raise
    except HTTPException as error:
        await body.drain(limits.rest_seconds)
        if error.status_code == 413:
            raise RefusedError(413, "body_too_large", most_kb=body.most // 1024) from error
        raise RefusedError(error.status_code, "form_not_read") from error
    finally:
        await context.form.close()


async def _take_in(context: Context, body: _Body, held: Upload, files: int) -> None:
    """Read the form; it has a minute, and an upload as long as it keeps coming."""
    limits = context.limits
    started = asyncio.get_running_loop().time()

    async def receive() -> Message:
        message = await body.receive()
        held.came = body.came
        more = limits.form_seconds + body.came / limits.least_bytes_per_s
        if held.clock is not None and not held.gave_way:
            held.clock.reschedule(started + min(limits.receive_seconds, more if files else limits.form_seconds))
        return message

    read = Request(context.request.scope, receive).form(
        max_files=files, max_fields=limits.fields, max_part_size=limits.field_bytes
    )
    async with asyncio.timeout(limits.form_seconds) as held.clock:
        context.form = await read
    held.clock = None


class _Body:
    """The body of a request, refused when it grows beyond the limit, whether its size was announced or not."""

    def __init__(self, request: Request, most: int) -> None:
        self.request, self.most = request, most
        self.came = 0
        self.has_ended = False

    async def receive(self) -> Message:
        """Return the next part of the body."""
        announced = self.request.headers.get("content-length", "")
        if announced.isdigit() and int(announced) > self.most:
            raise HTTPException(413)
        message = await self._next()
        if self.came > self.most:
            raise HTTPException(413)
        return message

    async def _next(self) -> Message:
        message = await self.request.receive()
        self.came += len(message.get("body", b""))
        self.has_ended = message["type"] != "http.request" or not message.get("more_body", False)
        return message

    async def drain(self, seconds: float) -> None:
        """Take in the rest, within reason, so that a browser shows the answer and not a broken connection."""
        with contextlib.suppress(TimeoutError):
            async with asyncio.timeout(seconds):
                while not self.has_ended and self.came < 2 * self.most:
                    await self._next()


def _unavailable(error: Exception) -> RefusedError:
    text = str(error).lower()
    full = isinstance(error, NoRoomError) or getattr(error, "errno", None) in (errno.ENOSPC, errno.EDQUOT, errno.EFBIG)
    if full or "disk is full" in text or "no space left" in text:
        return RefusedError(507, "disk_full")
    return RefusedError(503, "store_unreachable", headers={"retry-after": "10"})
