"""How long a client may take to say what it wants, and whose connection ends when there are too many."""

from __future__ import annotations

import asyncio
import ssl
from collections import Counter
from typing import Any

import h11
from uvicorn.protocols.http.h11_impl import H11Protocol

from speedcal.web.proxies import network_of
from speedcal.web.settings import Limits

_SPARE_DESCRIPTORS = 200
"""Kept for files, the database and worker processes."""


def room_for_connections(most: int) -> int:
    """Return how many connections there can be, and as many again that knock at the same moment.

    The limit of open files of this process is raised to what that needs, as far as the system lets it.
    """
    try:
        import resource
    except ImportError:  # not on Windows, which has no such limit
        return most
    soft, hard = resource.getrlimit(resource.RLIMIT_NOFILE)
    wanted = _SPARE_DESCRIPTORS + 2 * most
    if soft != resource.RLIM_INFINITY and soft < wanted:
        wanted = wanted if hard == resource.RLIM_INFINITY else min(wanted, hard)
        try:
            resource.setrlimit(resource.RLIMIT_NOFILE, (wanted, hard))
            soft = wanted
        except (OSError, ValueError):
            pass
    return most if soft == resource.RLIM_INFINITY else max(20, min(most, (soft - _SPARE_DESCRIPTORS) // 2))


class Lines:
    """All connections of one server; the fairest to end is the oldest idle one of whoever has most of them."""

    def __init__(self, most: int, limits: Limits, tls: ssl.SSLContext | None = None) -> None:
        self.most, self.limits, self.tls = most, limits, tls
        self.ended: Counter[str] = Counter()
        """How many were ended, by what they were waiting for."""
        self._by_address: dict[str, dict[PatientProtocol, None]] = {}
        self._count = 0

    def __len__(self) -> int:
        return self._count

    def add(self, line: PatientProtocol) -> None:
        """Take a new connection in; another one ends when there are too many."""
        self._by_address.setdefault(line.address, {})[line] = None
        self._count += 1
        if self._count > self.most:
            most_held = max(self._by_address.values(), key=len)
            victim = next((one for one in most_held if one.is_waiting), next(iter(most_held)))
            victim.end("room")

    def remove(self, line: PatientProtocol) -> None:
        """Forget a connection; safe to call twice."""
        held = self._by_address.get(line.address, {})
        if line in held:
            del held[line]
            self._count -= 1
            if not held:
                del self._by_address[line.address]


class PatientProtocol(H11Protocol):
    """The server's side of one connection, with a deadline for everything the client has to do."""

    def __init__(self, *, lines: Lines, **more: Any) -> None:
        super().__init__(**more)
        self.lines = lines
        self.address = ""
        self._phase = ""
        self._deadline: asyncio.TimerHandle | None = None
        self._untaken: asyncio.TimerHandle | None = None
        self._raw: asyncio.Transport | None = None
        self._early = b""
        self._handshake: asyncio.Task[None] | None = None

    @property
    def is_waiting(self) -> bool:
        """Tell whether it is the client who has to do something next."""
        return self._phase != "answer"

    def end(self, why: str) -> None:
        """Break the connection off."""
        self.lines.ended[why] += 1
        self._leave()
        if self._raw is not None:
            self._raw.abort()

    def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override]
        """Start the deadline of the first request, then the handshake of https if there is one."""
        self._raw = transport
        peer = transport.get_extra_info("peername")
        self.address = network_of(str(peer[0])) if peer else ""
        self._enter("headers")
        self.lines.add(self)
        if self.lines.tls is None:
            super().connection_made(transport)
        elif not transport.is_closing():
            self._handshake = self.loop.create_task(self._secure(transport, self.lines.tls))

    async def _secure(self, transport: asyncio.Transport, tls: ssl.SSLContext) -> None:
        seconds = self.lines.limits.header_seconds
        try:
            secured = await self.loop.start_tls(
                transport, self, tls, server_side=True, ssl_handshake_timeout=seconds, ssl_shutdown_timeout=seconds
            )
        except OSError:
            secured = None
        if secured is None:
            self._leave()
            return
        super().connection_made(secured)
        early, self._early = self._early, b""
        if early:
            self.data_received(early)

    def connection_lost(self, exc: Exception | None) -> None:
        """Forget the connection."""
        self._leave()
        if self.transport is not None:
            super().connection_lost(exc)

    def data_received(self, data: bytes) -> None:
        """Take data in; the request may have come with the last part of the handshake."""
        if self.transport is None:
            self._early += data
            return
        super().data_received(data)
        self._watch()

    def on_response_complete(self) -> None:
        """Wait for the next request."""
        super().on_response_complete()
        self._watch()

    def timeout_keep_alive_handler(self) -> None:
        """Close what stays silent."""
        super().timeout_keep_alive_handler()
        self._watch()

    def pause_writing(self) -> None:
        """Wait for the client to take what was sent, but not for ever."""
        super().pause_writing()
        self._untaken = self.loop.call_later(self.lines.limits.taking_seconds, self.end, "taking")

    def resume_writing(self) -> None:
        """Go on; the client took what was sent."""
        super().resume_writing()
        self._cancel_untaken()

    def _watch(self) -> None:
        """Start the next deadline when the connection has come a step further."""
        phase = self._phase_now()
        if phase != self._phase:
            self._enter(phase)

    def _phase_now(self) -> str:
        if self.transport.is_closing():
            return "taking"
        if self.conn.their_state is h11.SEND_BODY:
            return "body" if self.conn.our_state is h11.SEND_RESPONSE else "rest"
        return "headers" if self.conn.their_state is h11.IDLE else "answer"

    def _enter(self, phase: str) -> None:
        limits, self._phase = self.lines.limits, phase
        seconds = {
            "headers": limits.header_seconds,
            "body": limits.receive_seconds + limits.rest_seconds,  # the application answers before
            "rest": limits.rest_seconds,
            "taking": limits.taking_seconds,
        }.get(phase)
        if self._deadline is not None:
            self._deadline.cancel()
        self._deadline = self.loop.call_later(seconds, self.end, phase) if seconds else None

    def _leave(self) -> None:
        self.lines.remove(self)
        if self._deadline is not None:
            self._deadline.cancel()
        self._cancel_untaken()

    def _cancel_untaken(self) -> None:
        if self._untaken is not None:
            self._untaken.cancel()
            self._untaken = None
