"""Two hundred uploads from twenty clients at once, against ``speedcal serve`` on this machine.

Run as ``python tests/web/load/uploads.py [clients] [uploads]``; prints the figures. A client that gets the busy answer
waits as long as it was told and sends again, as the page asks a person to. Ends with status 1 when an upload was lost,
when anything but "taken" or "busy" was answered, or when a drive was not understood.
"""

from __future__ import annotations

import hashlib
import http.client
import json
import statistics
import sys
import tempfile
import threading
import time
from collections import Counter
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[2]))

from support.web_server import WebServer
from support.web_site import DEMO

PARTS = (("track", "before.gpx"), ("readings", "before_notes.csv"))


def ask(port: int, method: str, path: str, body: bytes = b"", kind: str = "") -> tuple[int, dict[str, str], bytes]:
    """Send one request and return status, headers and content."""
    line = http.client.HTTPConnection("127.0.0.1", port, timeout=120)
    line.request(
        method,
        path,
        body,
        {"Content-Type": kind, "Host": f"localhost:{port}"} if body else {"Host": f"localhost:{port}"},
    )
    answer = line.getresponse()
    content = answer.read()
    line.close()
    return answer.status, {k.lower(): v for k, v in answer.getheaders()}, content


def drive(mark: str) -> tuple[bytes, str]:
    """Return the body of an upload that is unlike every other, and the digest of its track."""
    body, digest = b"", ""
    for name, file in PARTS:
        content = (DEMO / file).read_bytes()
        if name == "track":
            content += f"<!-- {mark} -->".encode()
            digest = hashlib.sha256(content).hexdigest()
        body += (
            f'--b\r\nContent-Disposition: form-data; name="{name}"; filename="{file}"\r\n\r\n'.encode()
            + content
            + b"\r\n"
        )
    return body + b"--b--\r\n", digest


def main(clients: int = 20, uploads: int = 200) -> int:
    """Run the load and print what came of it."""
    with tempfile.TemporaryDirectory() as folder:
        server = WebServer(Path(folder) / "data", "--workers", "2").start()
        statuses: Counter[int] = Counter()
        seconds: list[float] = []
        kept: dict[str, str] = {}
        lock = threading.Lock()
        started = time.monotonic()

        def client(number: int) -> None:
            base = ""
            for i in range(uploads // clients):
                if i % 20 == 0:
                    base = ask(server.port, "POST", "/jobs/new", b"job.number=L", "application/x-www-form-urlencoded")[
                        1
                    ]["location"]
                body, digest = drive(f"{number}-{i}")
                while True:
                    begun = time.monotonic()
                    status, headers, _ = ask(
                        server.port, "POST", f"{base}/drives/new/before", body, "multipart/form-data; boundary=b"
                    )
                    with lock:
                        statuses[status] += 1
                        if status == 303:
                            seconds.append(time.monotonic() - begun)
                            kept[headers["location"]] = digest
                    if status != 503:
                        break
                    time.sleep(float(headers["retry-after"]))

        threads = [threading.Thread(target=client, args=(n,)) for n in range(clients)]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
        sent = time.monotonic() - started
        lost = _lost(Path(folder) / "data", kept)
        bases = sorted({where.rsplit("/drives/", 1)[0] for where in kept})
        understood = _wait(server.port, Path(folder) / "data", bases)
        done = time.monotonic() - started
        server.stop()
    cuts = statistics.quantiles(seconds, n=20)
    say(f"answers {dict(statuses)}; {len(kept)} acknowledged, {lost} lost, {understood} understood")
    say(f"sent in {sent:.1f} s; an upload took {statistics.median(seconds):.2f} s (median), {cuts[-1]:.2f} s (95 %)")
    say(f"everything analysed after {done:.0f} s")
    fine = lost == 0 and len(kept) == uploads == understood and set(statuses) <= {303, 503}
    return 0 if fine else 1


def _lost(data: Path, kept: dict[str, str]) -> int:
    originals = {p.name: p for p in (data / "originals").rglob("*") if p.is_file()}
    return sum(
        digest not in originals or hashlib.sha256(originals[digest].read_bytes()).hexdigest() != digest
        for digest in kept.values()
    )


def _wait(port: int, data: Path, bases: list[str]) -> int:
    """Wait until nothing is being worked on, and return how many drives can be measured."""
    until = time.monotonic() + 1500
    while time.monotonic() < until:
        if not any(json.loads(ask(port, "GET", f"{base}/status.json")[2])["active"] for base in bases):
            break
        time.sleep(1)
    from speedcal.web.kept.store import Store

    store = Store(f"sqlite:///{data / 'jobs.sqlite'}")
    usable = sum(drive.is_usable for base in bases for drive in store.drives(base.split("/")[-1]))
    store.close()
    return usable


def say(line: str) -> None:
    """Write a figure."""
    sys.stdout.write(line + "\n")
    sys.stdout.flush()


if __name__ == "__main__":
    sys.exit(main(*(int(word) for word in sys.argv[1:3])))
