"""A running service to talk to, in this process, and the invented job it is tried with."""

from __future__ import annotations

import io
import json
import time
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any
from unittest import mock

from starlette.testclient import TestClient
from support.blank_pictures import BLANK, leave_blank

from speedcal.jobs import output, pipeline
from speedcal.report import charts
from speedcal.web.app import create_app, make_services
from speedcal.web.pages.context import Services
from speedcal.web.settings import Limits, Settings
from speedcal.web.work import look, runner, worker

DEMO = Path(__file__).parents[2] / "data_demo"
FORM = {
    "job.number": "A-17",
    "job.customer": "An invented customer",
    "job.unit": "mph",
    "vehicle.label": "Invented pickup",
    "vehicle.axle": "41/11",
    "vehicle.drive_gear": "13",
    "vehicle.driven_gear": "27",
}
TINY_GPX = b'<?xml version="1.0"?><gpx version="1.1"></gpx>'


@dataclass
class Site:
    """A client and what stands behind it."""

    client: TestClient
    services: Services

    def new_job(self, **more: str) -> str:
        """Make a job and return its address."""
        answer = self.client.post("/jobs/new", data={**FORM, **more}, follow_redirects=False)
        assert answer.status_code == 303, answer.text
        return answer.headers["location"]

    def send(self, base: str, phase: str = "before", **more: Any) -> Any:
        """Hand in the demo drive of a phase."""
        files = {
            "track": (f"{phase}.gpx", (DEMO / f"{phase}.gpx").read_bytes()),
            "readings": (f"{phase}_notes.csv", (DEMO / f"{phase}_notes.csv").read_bytes()),
        }
        return self.client.post(f"{base}/drives/new/{phase}", files=files, follow_redirects=False, **more)

    def understand(self, drive: str, seconds: float = 120) -> Any:
        """Wait until a drive was looked at, and return it."""
        until = time.monotonic() + seconds
        while time.monotonic() < until:
            row = self.services.store.drive(drive.split("/")[-1])
            if row is not None and row.look is not None:
                return row
            time.sleep(0.05)
        raise AssertionError("the drive is not looked at")

    def settle(self, base: str, seconds: float = 120) -> None:
        """Wait until nothing of a job is being worked on."""
        until = time.monotonic() + seconds
        while time.monotonic() < until:
            if self.services.queue.active(base.split("/")[-1]) is None:
                return
            time.sleep(0.1)
        raise AssertionError("the analysis does not come to an end")


class ChildAtHand:
    """A worker without a process of its own and its limits, for tests of what it answers."""

    is_alive = True

    def __init__(self, *, is_warm: bool = True) -> None:
        self.is_warm = is_warm

    def do(self, name: str, task: Mapping[str, Any], *, limits: Limits, **_: Any) -> dict[str, Any]:
        """Do the task at once."""
        bounds = {"cpu_s": 0, "memory_bytes": limits.worker_bytes, "written_bytes": limits.written_bytes}
        said = io.StringIO()
        worker.answer(json.dumps({"name": name, "limits": bounds, **task}), said)
        answer: dict[str, Any] = json.loads(said.getvalue().splitlines()[-1])
        return answer

    def stop(self) -> None:
        """Nothing is left running."""


@contextmanager
def analysed_at_hand() -> Iterator[None]:
    """Let the services started meanwhile analyse in this process, which spares a start of Python for each task.

    Pictures stay blank, which spares half of each analysis; the tests of the runner look at drawn ones. What a look
    at a drive has calibrated its job does not calibrate again.
    """
    with (
        mock.patch.object(runner, "Child", ChildAtHand),
        mock.patch.object(worker, "set_limits"),
        mock.patch.object(output, "draw_pictures", leave_blank),
        mock.patch.object(charts, "clock_match_svg", return_value=BLANK),
        mock.patch.object(look, "calibrated", pipeline.calibrated),
    ):
        yield


@contextmanager
def open_site(
    folder: Path, *, limits: Limits | None = None, workers: int = 0, passcode: str = "", **more: Any
) -> Iterator[Site]:
    """Start a service in this process; without workers nothing is analysed."""
    settings = Settings(data=folder / "data", limits=limits or Limits(free_disk_bytes=0), workers=workers, **more)
    if passcode:
        services = make_services(settings)
        services.auth.set_passcode(passcode)
        services.store.close()
    app = create_app(settings)
    with TestClient(app, base_url="http://localhost", raise_server_exceptions=True) as client:
        yield Site(client, app.state.services)
