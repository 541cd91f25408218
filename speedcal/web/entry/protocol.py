"""How long a client may take to say what it wants, and whose connection ends when there are too many."""

from __future__ import annotations

import asyncio
from typing import Any

import h11
from uvicorn.protocols.http.h11_impl import H11Protocol

from speedcal.web.settings import Limits

_SPARE_DESCRIPTORS = 200
"""Kept for files, the database and worker processes."""
_ON_WINDOWS = 480
"""Python waits there for 512 sockets at the most."""
_LEAST_AGE_S, _END_EVERY_S = 5.0, 0.05
"""A line this young does not end for another of its own address, nor do many at once: who opens hundreds a second is
sent away cheaply."""


def room_for_connections(most: int) -> int:
    """Return how many connections there can be: the limit of open files is raised for them as far as that goes."""
    try:
        import resource
    except ImportError:  # Windows
        return min(most, _ON_WINDOWS)
    soft, hard = resource.getrlimit(resource.RLIMIT_NOFILE)
    wanted = _SPARE_DESCRIPTORS + most
    if soft != resource.RLIM_INFINITY and soft < wanted:
        wanted = wanted if hard == resource.RLIM_INFINITY else min(wanted, hard)
        try:
            resource.setrlimit(resource.RLIMIT_NOFILE, (wanted, hard))
            soft = wanted
        except (OSError, ValueError):
            pass
    return most if soft == resource.RLIM_INFINITY else max(20, min(most, soft - _SPARE_DESCRIPTORS))


class Lines:
    """All connections of one server; who has most of them loses first."""

    def __init__(self, most: int, limits: Limits) -> None:
        self.most, self.limits = most, limits
        self._by_address: dict[str, dict[PatientProtocol, None]] = {}
        self._count = 0
        self._next_end = 0.0

    def have_room_for(self, address: str, now: float) -> bool:
        """Tell whether one more connection of an address is taken in; another one may end for it."""
        own = self._by_address.get(address, {})
        if len(own) < self.most // 4 and self._count < self.most:
            return True
        most_held = own if len(own) >= self.most // 4 else max(self._by_address.values(), key=len)
        victim = next((one for one in most_held if one.is_waiting), next(iter(most_held)))
        if most_held is own:
            if now < self._next_end or now - victim.since < _LEAST_AGE_S:
                return False
            self._next_end = now + _END_EVERY_S
        victim.end()
        return True

    def held_by(self, address: str) -> int:
        """Return how many connections an address has."""
        return len(self._by_address.get(address, ()))

    def add(self, line: PatientProtocol) -> None:
        """Take a new connection in."""
        self._by_address.setdefault(line.address, {})[line] = None
        self._count += 1

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

    def __init__(self, *, lines: Lines, address: str, **more: Any) -> None:
        super().__init__(**more)
        self.lines, self.address = lines, address
        self.since = self.loop.time()
        self.beginning: asyncio.Task[object] | None = None
        """Runs until the connection is made; with https that takes a handshake."""
        self.has_left = False
        self._deadline: asyncio.TimerHandle | None = None
        self._untaken: asyncio.TimerHandle | None = None
        self._phase = "headers"
        lines.add(self)

    @property
    def is_waiting(self) -> bool:
        """Tell whether it is the client who has to do something next."""
        return self._phase != "answer"

    def begin(self) -> None:
        """Start the deadline of the first request."""
        self._enter("headers")

    def end(self) -> None:
        """Break the connection off."""
        self.leave()
        if self.transport is not None:
            self.transport.abort()
        elif self.beginning is not None:
            self.beginning.cancel()

    def connection_lost(self, exc: Exception | None) -> None:
        """Forget the connection."""
        self.leave()
        super().connection_lost(exc)

    def data_received(self, data: bytes) -> None:
        """Take data in."""
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
        self._untaken = self.loop.call_later(self.lines.limits.taking_seconds, self.end)

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
        self._deadline = self.loop.call_later(seconds, self.end) if seconds else None

    def leave(self) -> None:
        """Forget the connection and its deadlines."""
        self.has_left = True
        self.lines.remove(self)
        if self._deadline is not None:
            self._deadline.cancel()
        self._cancel_untaken()

    def _cancel_untaken(self) -> None:
        if self._untaken is not None:
            self._untaken.cancel()
            self._untaken = None
