"""Importing a zipped job folder."""

from __future__ import annotations

import shutil
from pathlib import Path
from typing import Any

from starlette.responses import Response

from speedcal.errors import JobError
from speedcal.units import parse_speed_unit
from speedcal.web.answers import RefusedError
from speedcal.web.kept.folder import PHASES
from speedcal.web.kept.originals import TooLargeError
from speedcal.web.pages.context import Context
from speedcal.web.pages.fields import TABLES
from speedcal.web.work.child import ToldError


def import_page(context: Context) -> Response:
    """Show the form."""
    return context.page("import.html", title="Import a job", role="shop")


def import_job(context: Context) -> Response:
    """Unpack a zip in a worker process, keep what it holds as a new job, and have its drives looked at."""
    web, limits = context.web, context.limits
    found = context.file("zip")
    if found is None:
        raise RefusedError(422, "no_zip")
    label, content, size = found
    if size > limits.zip_bytes:
        raise RefusedError(413, "zip_too_large", source=label, most_mb=limits.zip_bytes // 2**20)
    with web.originals.workplace() as scratch:
        packed = scratch / "packed"
        with packed.open("wb") as out:
            shutil.copyfileobj(content, out, 2**20)
        (scratch / "out").mkdir()
        task = {"zip": str(packed), "out": str(scratch / "out"), "most_entries": limits.zip_entries}
        try:
            document = web.runner.once("unpack", {**task, "most_bytes": limits.zip_unpacked_bytes})
        except ToldError as error:
            raise ToldError(
                {**error.told, "source": label if error.told["source"] == "zip" else error.told["source"]}
            ) from None
        try:
            job_id = _keep(context, document, scratch / "out")
        except TooLargeError:
            raise RefusedError(413, "zip_file_too_large", source=label) from None
    return context.go(f"/jobs/{job_id}")


def _keep(context: Context, document: dict[str, Any], folder: Path) -> str:
    web = context.web
    drives = [(phase, table) for phase in PHASES for table in document.get(phase, [])]
    if len(drives) > context.limits.drives_per_job:
        raise JobError("too_many_drives", source="job.toml", most=context.limits.drives_per_job)
    tables = {name: document[name] for name in TABLES if isinstance(document.get(name), dict)}
    job_id = web.store.add_job(tables)
    try:
        for phase, table in drives:
            drive_id = web.store.add_drive(job_id, phase, _drive(context, job_id, table, folder))
            web.queue.put(job_id, drive_id)
    except BaseException:
        web.delete_job(job_id)
        raise
    web.runner.ask_for_result(job_id)
    web.runner.wake()
    return job_id


def _drive(context: Context, job_id: str, table: dict[str, Any], folder: Path) -> dict[str, Any]:
    values: dict[str, Any] = {"options": {k: v for k, v in table.items() if k not in ("track", "readings", "held")}}
    if isinstance(unit := table.get("unit"), str):
        values["options"]["unit"] = parse_speed_unit(unit) or unit  # as the form of the drive offers it
    if "checks" in table:
        table = {**table, "readings": table["checks"]}
        values["options"]["checks"] = "yes"
    for key in ("track", "readings"):
        if key in table:
            with (folder / Path(table[key]["file"]).name).open("rb") as source:
                stored = context.web.originals.put(job_id, source, limit=context.limits.file_bytes)
            values |= {f"{key}_name": str(table[key]["label"])[:200], f"{key}_digest": stored.digest}
    if "held" in table:
        values["held"] = " ".join(f"{float(speed):g}" for speed in table["held"])
    return values
