"""Slow headers, slow forms and slow uploads over 1,500 connections from a second address, while others work.

Run as ``python tests/web/load/attacks.py [connections] [seconds]``; with ``SPEEDCAL_DATABASE`` set it does so on that
database. The server may open 1,024 files. Every attack goes on for the seconds; meanwhile pages are asked for and
drives are handed in from the first address. Ends with status 1 when one of them failed or took more than two seconds
(an upload: five), or when the log grew by more than a megabyte.
"""

from __future__ import annotations

import asyncio
import contextlib
import multiprocessing
import os
import re
import statistics
import sys
import tempfile
import time
from pathlib import Path

sys.path[:0] = [str(Path(__file__).parents[2]), str(Path(__file__).parent)]

from support.web_server import WebServer  # noqa: E402 - the tests' own helpers
from uploads import ask, drive, say  # noqa: E402

FORM = "application/x-www-form-urlencoded"
_QUIET_S = 8.0
FIRST = {
    "headers": b"GET /sign-in HTTP/1.1\r\nHost: localhost\r\n",
    "forms": b"POST /sign-in HTTP/1.1\r\nHost: localhost\r\nContent-Type: %s\r\nContent-Length: 9999\r\n\r\n"
    % FORM.encode(),
    "uploads": b"POST %s/drives/new/before HTTP/1.1\r\nHost: localhost\r\n"
    b"Content-Type: multipart/form-data; boundary=b\r\nContent-Length: 9999999\r\n\r\n--b\r\n",
}


def attack(port: int, connections: int, seconds: float, first: bytes) -> None:
    """Hold so many lines open as long as the server lets them, and open each again at once."""

    async def one(until: float) -> None:
        while time.monotonic() < until:
            with contextlib.suppress(OSError):
                reader, writer = await asyncio.open_connection("127.0.0.1", port, local_addr=("127.0.0.2", 0))
                writer.write(first)
                while time.monotonic() < until:
                    with contextlib.suppress(TimeoutError):
                        if not await asyncio.wait_for(reader.read(4096), 4):
                            break
                    writer.write(b"X-1: 1\r\n")
                    await writer.drain()
                writer.close()
            await asyncio.sleep(0.5)

    async def every() -> None:
        until = time.monotonic() + seconds
        await asyncio.gather(*(one(until) for _ in range(connections)))

    asyncio.run(every())


def owners_link(port: int) -> str:
    """Make a job and return the address of its owner's page."""
    base = ask(port, "POST", "/jobs/new", b"job.number=L", FORM)[1]["location"]
    ask(port, "POST", f"{base}/links", b"role=owner", FORM)
    found = re.search(r"/o/[\w.-]+", ask(port, "GET", base)[2].decode())
    assert found is not None
    return found[0]


def measure(server: WebServer, kind: str, connections: int, seconds: float) -> bool:
    """Run one attack and tell whether the others were served; what they wait without it is told beside it."""
    victim, other = owners_link(server.port), owners_link(server.port)
    first = FIRST[kind] % victim.encode() if kind == "uploads" else FIRST[kind]
    quiet, _, _ = work(server.port, other, f"{kind}-quiet", _QUIET_S)
    logged = server.log.stat().st_size + _size(server.data / "log")
    attacker = multiprocessing.Process(target=attack, args=(server.port, connections, seconds, first))
    attacker.start()
    pages, sent, bad = work(server.port, other, kind, seconds)
    attacker.join()
    grown = server.log.stat().st_size + _size(server.data / "log") - logged
    say(
        f"slow {kind}: {len(pages)} pages, {_told(pages)} (without the attack {_told(quiet)}); {len(sent)} uploads, "
        f"worst {1000 * max(sent):.0f} ms; failed {bad or 'none'}; log grew by {grown / 1000:.0f} kB"
    )
    return not bad and max(pages) < 2 and max(sent) < 5 and grown < 1_000_000


def work(port: int, owner: str, mark: str, seconds: float) -> tuple[list[float], list[float], list[int]]:
    """Ask for pages and hand drives in; return how long each page and each upload took [s], and what went wrong."""
    pages: list[float] = []
    sent: list[float] = []
    bad: list[int] = []
    until = time.monotonic() + seconds
    number = 0
    while time.monotonic() < until:
        for path in ("/sign-in", "/jobs", owner):
            begun = time.monotonic()
            status = ask(port, "GET", path)[0]
            pages.append(time.monotonic() - begun)
            bad += [status] if status not in (200, 303) else []
        if number % 6 == 0 and number < 100:
            begun = time.monotonic()
            body, _ = drive(f"{mark}-{number}")
            status = ask(port, "POST", f"{owner}/drives/new/before", body, "multipart/form-data; boundary=b")[0]
            sent.append(time.monotonic() - begun)
            bad += [status] if status != 303 else []
        number += 1
        time.sleep(0.3)
    return pages, sent, bad


def _told(seconds: list[float]) -> str:
    return f"median {1000 * statistics.median(seconds):.0f} ms, worst {1000 * max(seconds):.0f} ms"


def _size(folder: Path) -> int:
    return sum(file.stat().st_size for file in folder.iterdir())


def main(connections: int = 1500, seconds: int = 40) -> int:
    """Run the three attacks."""
    database = os.environ.get("SPEEDCAL_DATABASE", "")
    options = ("--database", database) if database else ()
    with tempfile.TemporaryDirectory() as folder:
        server = WebServer(Path(folder) / "data", "--workers", "0", *options, most_files=1024).start()
        fine = [measure(server, kind, connections, seconds) for kind in FIRST]
        server.stop()
    return 0 if all(fine) else 1


if __name__ == "__main__":
    sys.exit(main(*(int(word) for word in sys.argv[1:3])))
