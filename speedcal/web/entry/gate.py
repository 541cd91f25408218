"""Where connections come in: counted before anything is spent on them."""

from __future__ import annotations

import asyncio
import logging
import socket
import ssl
from collections import deque

import uvicorn

from speedcal.web.entry.protocol import Lines, PatientProtocol
from speedcal.web.entry.proxies import network_of

log = logging.getLogger("speedcal.web")
_WAITING = 4096
"""Connections that wait in the system until they are taken in; beyond it a client would have to knock again."""
_SEEN_AT_ONCE = 2000
"""Connections that are counted, and sent away if there are too many, before something else gets its turn."""
_PAUSE_S = 1.0
_HANDSHAKE = b"\x16"
"""First byte of https: the content type of a handshake record."""
_FEW, _PACE_S = 64, 0.02
"""An address with more connections than this gets them begun one by one at this distance."""


class GatedServer(uvicorn.Server):
    """A server that takes its connections in itself."""

    def __init__(self, config: uvicorn.Config, lines: Lines, tls: ssl.SSLContext | None) -> None:
        super().__init__(config)
        self.lines, self.tls = lines, tls
        self.loop: asyncio.AbstractEventLoop | None = None
        self._waiting: dict[str, deque[tuple[socket.socket, PatientProtocol]]] = {}
        """Connections that are taken in and not begun, by address; the addresses take turns."""
        self._is_beginning = False

    def run(self, sockets: list[socket.socket] | None = None) -> None:
        """Run on a loop that can watch sockets, which the usual one of Windows cannot."""
        with asyncio.Runner(loop_factory=asyncio.SelectorEventLoop) as runner:
            runner.run(self.serve(sockets))

    async def startup(self, sockets: list[socket.socket] | None = None) -> None:
        """Start the application, then open the gate."""
        await super().startup([])
        self.loop = asyncio.get_running_loop()
        for listener in sockets or ():
            listener.setblocking(False)
            listener.listen(_WAITING)
            self._open(listener)

    async def shutdown(self, sockets: list[socket.socket] | None = None) -> None:
        """Close the gate, let what is under way come to its end, stop the application."""
        for listener in sockets or ():
            self._running_loop.remove_reader(listener)
        for queue in self._waiting.values():
            for line, protocol in queue:
                protocol.leave()
                line.close()
        self._waiting.clear()
        await super().shutdown(sockets)

    @property
    def _running_loop(self) -> asyncio.AbstractEventLoop:
        assert self.loop is not None  # noqa: S101 - set when the server started
        return self.loop

    def _open(self, listener: socket.socket) -> None:
        if listener.fileno() != -1 and not self.should_exit:
            self._running_loop.add_reader(listener, self._take_in, listener)

    def _take_in(self, listener: socket.socket) -> None:
        loop = self._running_loop
        for _ in range(_SEEN_AT_ONCE):
            try:
                line, peer = listener.accept()
            except (BlockingIOError, InterruptedError, ConnectionAbortedError):
                return
            except OSError as error:  # no descriptors left, in spite of all
                log.warning("no connection taken in: %s", error.strerror)
                loop.remove_reader(listener)
                loop.call_later(_PAUSE_S, self._open, listener)
                return
            address = network_of(str(peer[0]))
            if self.lines.have_room_for(address, loop.time()):
                self._queue_up(line, address)
            else:
                line.close()

    def _queue_up(self, line: socket.socket, address: str) -> None:
        loop = self._running_loop
        protocol = PatientProtocol(
            lines=self.lines,
            address=address,
            config=self.config,
            server_state=self.server_state,
            app_state=self.lifespan.state,
            _loop=loop,
        )
        if not self._is_beginning:
            self._is_beginning = True
            loop.call_soon(self._begin_one)
        self._waiting.setdefault(address, deque()).append((line, protocol))

    def _begin_one(self) -> None:
        """Begin one connection and let everybody who is being served have a turn before the next.

        Addresses with few connections come first; those of an address with many are paced.
        """
        self._is_beginning = bool(self._waiting)
        if not self._waiting:
            return
        light = next((one for one in self._waiting if self.lines.held_by(one) <= _FEW), None)
        address = next(iter(self._waiting)) if light is None else light
        queue = self._waiting.pop(address)
        line, protocol = queue.popleft()
        if queue:
            self._waiting[address] = queue  # behind the others
        if protocol.has_left:
            line.close()
        else:
            self._begin(line, protocol)
        self._running_loop.call_later(_PACE_S if light is None else 0, self._begin_one)

    def _begin(self, line: socket.socket, protocol: PatientProtocol) -> None:
        protocol.begin()
        begun: list[socket.socket] = []
        protocol.beginning = self._running_loop.create_task(self._finish(line, protocol, begun))
        protocol.beginning.add_done_callback(lambda _task: None if begun else line.close())

    async def _finish(self, line: socket.socket, protocol: PatientProtocol, begun: list[socket.socket]) -> None:
        line.setblocking(False)
        limits = self.lines.limits
        try:
            tls = self.tls if self.tls and await self._begins_with_handshake(line) else None
            begun.append(line)  # from here on it is closed by its transport
            await self._running_loop.connect_accepted_socket(
                lambda: protocol,
                line,
                ssl=tls,
                ssl_handshake_timeout=limits.header_seconds if tls else None,
                ssl_shutdown_timeout=limits.taking_seconds if tls else None,
            )
        except OSError:  # the handshake failed
            protocol.leave()

    async def _begins_with_handshake(self, line: socket.socket) -> bool:
        """Tell whether a client speaks https; plain http comes in at the same port and is led there."""
        has_said = asyncio.Event()
        self._running_loop.add_reader(line, has_said.set)
        try:
            await has_said.wait()
        finally:
            self._running_loop.remove_reader(line)
        return line.recv(1, socket.MSG_PEEK) in (_HANDSHAKE, b"")
