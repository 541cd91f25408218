"""The service behind a real socket, in a thread of this process, so that its limits and its clocks can be set."""

from __future__ import annotations

import socket
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path

import uvicorn

from speedcal.web.entry.listen import open_sockets
from speedcal.web.server import make_server
from speedcal.web.settings import Limits, Settings


@dataclass
class Served:
    """A running service and the lines to it."""

    server: uvicorn.Server
    port: int
    open: list[socket.socket] = field(default_factory=list)

    @property
    def address(self) -> str:
        """Where a browser on this machine finds it."""
        return f"http://localhost:{self.port}"

    def line(self, first: bytes = b"", *, source: str = "127.0.0.1") -> socket.socket:
        """Open a connection from a local address and say the first words."""
        line = socket.create_connection(("127.0.0.1", self.port), timeout=30, source_address=(source, 0))
        self.open.append(line)
        line.sendall(first)
        return line

    def ask(self, path: str = "/sign-in", *, source: str = "127.0.0.1") -> bytes:
        """Return the first line of the answer to a whole request."""
        line = self.line(f"GET {path} HTTP/1.1\r\nHost: localhost\r\n\r\n".encode(), source=source)
        return line.recv(4096).partition(b"\r\n")[0]


@contextmanager
def serve_in_thread(folder: Path, limits: Limits, *, workers: int = 0, **more: object) -> Iterator[Served]:
    """Serve until the block ends; without workers nothing is analysed."""
    settings = Settings(data=folder / "data", port=0, limits=limits, workers=workers, **more)  # type: ignore[arg-type]
    sockets = open_sockets(settings)
    server = make_server(settings)
    thread = threading.Thread(target=server.run, kwargs={"sockets": sockets})
    thread.start()
    served = Served(server, sockets[0].getsockname()[1])
    try:
        yield served
    finally:
        for line in served.open:
            line.close()
        server.should_exit = True
        thread.join(timeout=60)


def until_closed(line: socket.socket) -> bytes:
    """Return what still comes until the other side ends the line."""
    got = b""
    try:
        while part := line.recv(65536):
            got += part
    except ConnectionResetError:
        pass
    return got
