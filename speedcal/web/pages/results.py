"""What came of a job: the numbers for the pages, the files of the report, how far the analysis is."""

from __future__ import annotations

import base64
import hashlib
import json
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from starlette.background import BackgroundTask
from starlette.responses import FileResponse, JSONResponse, Response

from speedcal.text.codes.job_messages import step_name
from speedcal.web.answers import RefusedError, attachment
from speedcal.web.entry.guard import PICTURE_POLICY, REPORT_POLICY
from speedcal.web.kept.basis import has_basis
from speedcal.web.kept.folder import Files, write_zip
from speedcal.web.kept.queue import Run
from speedcal.web.kept.store import new_id
from speedcal.web.pages.context import Context, Services, View

FILES = {
    "report.html": "text/html; charset=utf-8",
    "report.pdf": "application/pdf",
    "before_after.png": "image/png",
    "before_after.svg": "image/svg+xml",
    "narrow.svg": "image/svg+xml",
    "wide.svg": "image/svg+xml",
    "result.json": "application/json",
    "readings_aligned.csv": "text/csv; charset=utf-8",
    "correction_card.pdf": "application/pdf",
}
"""Files of a result that are served, and as what."""
CUSTOMER_FILES = ("report.html", "report.pdf", "before_after.png", "narrow.svg", "wide.svg", "correction_card.pdf")
_SAVED = ("report.pdf", "result.json", "readings_aligned.csv", "correction_card.pdf")
_UNSAID: dict[str, Any] = {
    "cause": "",
    "next_heading": "",
    "next_steps": [],
    "notes": [],
    "has_card": False,
    "compliance": "",
    "done": [],
    "low": [],
    "odometer": [],
    "otherwise": [],
    "verdict": "",
}
"""Words that a result of an earlier version does not have."""


def result_of(context: Context, view: View) -> dict[str, Any] | None:
    """Return what the pages show of the latest result, or None before there is one.

    ``said`` holds the words of the report, ``now`` the numbers of ``result.json``, ``then`` those of the result before
    it from the same drives and ``said_then`` its words (None and nothing when there is none), ``is_current`` tells
    whether nothing was changed since.
    """
    web, job = context.web, view.job
    done = web.queue.latest_done(job.id)
    if not done or not has_basis(job, web.store.drives(job.id)):
        return None
    now = _numbers(context, done[0])
    if now is None:
        return None
    then = _numbers(context, done[1]) if len(done) > 1 else None
    if then is not None and _drives_of(then) != _drives_of(now):
        then = None  # another drive is no change of the job, to be held against what was said without it
    return {
        "run": done[0],
        "said": {**_UNSAID, **(done[0].outcome or {})},
        "now": now,
        "then": then,
        "said_then": {**_UNSAID, **(done[1].outcome or {} if then else {})},
        "is_current": done[0].revision == job.revision,
    }


def _numbers(context: Context, run: Run) -> dict[str, Any] | None:
    path = context.web.originals.result_file(run.job_id, run.id, "result.json")
    if path is None:
        return None
    numbers: dict[str, Any] = json.loads(path.read_text("utf-8"))
    return numbers


def _drives_of(numbers: dict[str, Any]) -> list[str]:
    """Return the digests of the drives that a result rests on."""
    return sorted(file["sha256"] for file in numbers.get("files", ()) if file["name"] != "job.toml")


def failure_of(context: Context, view: View) -> dict[str, Any] | None:
    """Return what the latest analysis had to say when it failed."""
    run = context.web.queue.latest(view.job.id)
    return run.outcome if run and run.state == "failed" and run.outcome else None


def result_file(context: Context, view: View, *, allowed: tuple[str, ...] = tuple(FILES)) -> Response:
    """Send a file of the latest result."""
    name = str(context.request.path_params["name"])
    done = context.web.queue.latest_done(view.job.id, 1)
    path = context.web.originals.result_file(view.job.id, done[0].id, name) if done and name in allowed else None
    if path is None or name not in FILES:
        raise RefusedError(404, "no_such_result")
    headers = {"content-security-policy": _policy_of(path)}
    if name in _SAVED:
        suffix = f"-{name}" if name != "report.pdf" else ".pdf"
        headers["content-disposition"] = attachment(view.job.title, suffix)
    return FileResponse(path, media_type=FILES[name], headers=headers)


def _policy_of(path: Path) -> str:
    """Return the policy of a file: the report may use the styles that stand in it, known by their digests."""
    if path.suffix != ".html":
        return PICTURE_POLICY
    styles = re.findall(rb"<style>(.*?)</style>", path.read_bytes(), re.DOTALL)
    digests = [base64.b64encode(hashlib.sha256(style).digest()).decode() for style in styles]
    return REPORT_POLICY.format(" ".join(f"'sha256-{digest}'" for digest in digests) or "'none'")


def status(context: Context, view: View) -> Response:
    """Tell a page that waits how far the analysis is: of one drive where it asks for it, else of the job."""
    drive_id = context.request.query_params.get("drive", "")
    queue, job_id = context.web.queue, view.job.id
    run = queue.latest(job_id, drive_id) if drive_id else queue.active(job_id)
    run = run if run and run.is_active else None
    return JSONResponse(
        {
            "active": run is not None,
            "step": (run.step or step_name("waiting")) if run else step_name("done"),
            "part": run.part if run else 1.0,
            "ahead": context.web.queue.ahead(run) if run else 0,
        }
    )


def zip_of(web: Services, title: str, folders: Iterator[tuple[str, Files]]) -> Response:
    """Send folders as a zip, which is gone when it is sent."""
    run_id = new_id()
    packed = web.originals.scratch(run_id) / "packed.zip"
    try:
        with web.runner.place():
            write_zip(folders, packed)
    except BaseException:
        web.originals.remove_scratch(run_id)
        raise
    return FileResponse(
        packed,
        media_type="application/zip",
        headers={"content-disposition": attachment(title, ".zip")},
        background=BackgroundTask(web.originals.remove_scratch, run_id),
    )
