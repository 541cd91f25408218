"""The service as users start it: a process of its own behind a socket."""

from __future__ import annotations

import os
import signal
import socket
import ssl
import subprocess
import sys
import time
import urllib.error
import urllib.request
from pathlib import Path


def free_port() -> int:
    """Return a port nobody listens on."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


class WebServer:
    """``speedcal serve`` on this machine."""

    def __init__(
        self, data: Path, *options: str, port: int | None = None, scheme: str = "http", most_files: int = 0
    ) -> None:
        workers = () if "--workers" in options else ("--workers", "1")  # each loads the heavy libraries
        self.data, self.options, self.scheme, self.most_files = data, (*options, *workers), scheme, most_files
        self.port = port or free_port()
        self.address = f"{scheme}://localhost:{self.port}"
        self.log = data.parent / f"{data.name}.log"
        self.process: subprocess.Popen[bytes] | None = None

    def start(self) -> WebServer:
        """Start it and wait until it answers."""
        command = [sys.executable, "-m", "speedcal", "serve", "--data", str(self.data), "--port", str(self.port)]
        if self.most_files:
            command = ["prlimit", f"--nofile={self.most_files}:{self.most_files}", *command]
        with self.log.open("ab") as log:
            self.process = subprocess.Popen([*command, *self.options], stdout=log, stderr=log, env={**os.environ})
        self.wait()
        return self

    def wait(self, seconds: float = 60) -> None:
        """Wait until it answers."""
        context = ssl._create_unverified_context()  # noqa: S323 - our own certificate on this machine
        until = time.monotonic() + seconds
        while time.monotonic() < until:
            assert self.process is not None
            assert self.process.poll() is None, self.log.read_text()
            try:
                with urllib.request.urlopen(f"{self.address}/health", context=context, timeout=5):  # noqa: S310
                    return
            except (OSError, urllib.error.URLError):
                time.sleep(0.1)
        raise AssertionError(self.log.read_text())

    def kill(self) -> None:
        """End it as a power cut would."""
        assert self.process is not None
        self.process.send_signal(signal.SIGKILL)
        self.process.wait()

    def stop(self) -> None:
        """End it as Ctrl+C does."""
        if self.process and self.process.poll() is None:
            self.process.send_signal(signal.SIGINT)
            self.process.wait(timeout=30)
