"""Three hundred uploads at the same moment; each is kept or told busy.

Run as ``python tests/web/load/crowd.py [uploads]``; with ``SPEEDCAL_DATABASE`` set it does so on that database. Every
client sends from an address of its own (127.1.x.y) to one of thirty jobs. Ends with status 1 when an acknowledged
upload was lost, when something else was answered, or when nothing was kept.
"""

from __future__ import annotations

import hashlib
import os
import sys
import tempfile
import threading
import time
from collections import Counter
from pathlib import Path

sys.path[:0] = [str(Path(__file__).parents[2])]

from support.uploading import count_lost, new_job, send_track  # noqa: E402 - the tests' own helpers
from support.web_server import WebServer  # noqa: E402
from support.web_site import DEMO  # noqa: E402

MESSAGES = {303: "kept", 503: "told busy"}


def main(uploads: int = 300) -> int:
    """Send all at once and print what came of them."""
    database = os.environ.get("SPEEDCAL_DATABASE", "")
    options = ("--database", database) if database else ()
    with tempfile.TemporaryDirectory() as folder:
        server = WebServer(Path(folder) / "data", "--workers", "0", *options).start()
        bases = [new_job(server.port) for _ in range(30)]
        answers: Counter[str] = Counter()
        kept: dict[str, str] = {}
        waits: list[float] = []
        ready, lock = threading.Barrier(uploads), threading.Lock()

        def client(number: int) -> None:
            content = (DEMO / "before.gpx").read_bytes() + f"<!-- {number} -->".encode()
            source = f"127.1.{number // 250}.{number % 250 + 1}"
            ready.wait()
            begun = time.monotonic()
            status, where = send_track(server.port, f"{bases[number % 30]}/drives/new/before", content, source)
            with lock:
                waits.append(time.monotonic() - begun)
                answers[MESSAGES.get(status, str(status))] += 1
                if status == 303:
                    kept[where] = hashlib.sha256(content).hexdigest()

        threads = [threading.Thread(target=client, args=(n,)) for n in range(uploads)]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
        server.stop()
        lost = count_lost(Path(folder) / "data", kept, options)
    sys.stdout.write(
        f"{uploads} at once: {dict(answers)}, {lost} lost; the last was answered after {max(waits):.1f} s\n"
    )
    return 1 if lost or not kept or set(answers) - set(MESSAGES.values()) else 0


if __name__ == "__main__":
    sys.exit(main(*(int(word) for word in sys.argv[1:2])))
