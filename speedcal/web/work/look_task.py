"""What a worker process is told to look at a drive: its files, what is said of them, and what to call them."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from speedcal.text.pages import page_labels
from speedcal.web.answers import day
from speedcal.web.kept.folder import job_files, lay_out
from speedcal.web.kept.originals import Originals
from speedcal.web.kept.rows import DriveRow, JobRow
from speedcal.web.settings import Limits
from speedcal.web.typed import first_typed_row


def drive_name(drive: DriveRow) -> str:
    """Return what messages call a drive: its file and the day it was driven."""
    return f"{drive.name} ({day(drive.day_s, drive.zone_s)})"


def look_task(job: JobRow, drive: DriveRow, originals: Originals, scratch: Path, limits: Limits) -> dict[str, Any]:
    """Return the task of looking at a drive, its files laid out in ``scratch``."""
    names: dict[str, str] = {}
    files = dict(job_files(job, [drive], originals))
    lay_out(scratch / "drive", iter(files.items()))
    (scratch / "out").mkdir()
    for name in files:
        if "-track" in name:
            names["track"] = name
        elif "-readings" in name:
            names["readings"] = name
    if drive.readings_digest and drive.readings_digest == drive.track_digest:
        names["readings"] = names["track"]
    labels = {
        "track": drive.track_name,
        "readings": page_labels.UNNAMED["typed"] if drive.typed else drive.readings_name,
    }
    return {
        "track": str(scratch / "drive" / names["track"]) if "track" in names else "",
        "readings": str(scratch / "drive" / names["readings"]) if "readings" in names else "",
        "held": [float(word) for word in drive.held.split()],
        "options": drive.options,
        "unit": job.unit,
        "phase": drive.phase,
        "vehicle": job.document.get("vehicle", {}),
        "work": job.document.get("work", {}),
        "labels": {name: labels[key] for key, name in names.items()},
        "most_points": limits.track_points,
        "most_rows": limits.readings_rows,
        "typed_from": first_typed_row(drive.typed),
        "others": [],
        "called": drive.name,
        "out": str(scratch / "out"),
    }
