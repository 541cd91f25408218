"""Sending drives to a running service over plain sockets, and counting what became of them."""

from __future__ import annotations

import hashlib
import http.client
from pathlib import Path


def send_track(port: int, path: str, content: bytes, source: str = "127.0.0.1") -> tuple[int, str]:
    """Send a track from a local address; return the status (0 when the line broke) and where the answer leads."""
    body = b'--b\r\nContent-Disposition: form-data; name="track"; filename="a.gpx"\r\n\r\n' + content + b"\r\n--b--\r\n"
    line = http.client.HTTPConnection("127.0.0.1", port, timeout=120, source_address=(source, 0))
    kind = {"Content-Type": "multipart/form-data; boundary=b", "Host": f"localhost:{port}"}
    try:
        line.request("POST", path, body, kind)
        answer = line.getresponse()
        answer.read()
        return answer.status, (answer.getheader("location") or "") if answer.status == 303 else ""
    except (OSError, http.client.HTTPException):
        return 0, ""
    finally:
        line.close()


def new_job(port: int) -> str:
    """Make a job and return its address."""
    line = http.client.HTTPConnection("127.0.0.1", port, timeout=30)
    form = {"Content-Type": "application/x-www-form-urlencoded", "Host": f"localhost:{port}"}
    line.request("POST", "/jobs/new", "job.number=K-1", form)
    where = line.getresponse().getheader("location")
    line.close()
    assert where
    return where


def count_lost(data: Path, acknowledged: dict[str, str], options: tuple[str, ...]) -> int:
    """Return how many acknowledged drives are not in the store with their original byte for byte."""
    from speedcal.web.app import make_services
    from speedcal.web.settings import Settings

    database = options[options.index("--database") + 1] if "--database" in options else ""
    services = make_services(Settings(data=data, database=database))
    lost = 0
    for where, digest in acknowledged.items():
        drive = services.store.drive(where.split("/")[-1])
        path = services.originals.path(drive.job_id, digest) if drive else None
        whole = path is not None and path.exists() and hashlib.sha256(path.read_bytes()).hexdigest() == digest
        lost += not (drive and drive.track_digest == digest and whole)
    services.store.close()
    return lost
