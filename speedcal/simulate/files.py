"""A simulated drive as the files a user would bring."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

import numpy as np

from speedcal.logs.drive.readings import Readings
from speedcal.logs.drive.track import Track
from speedcal.logs.formats import gpx
from speedcal.simulate.model import Drive
from speedcal.units import MILE_M, SPEED_UNIT_MPS


def write_drive(drive: Drive, folder: Path) -> tuple[Path, Path]:
    """Write a drive as the two files a user would bring, ``track.gpx`` and ``readings.csv``, and return their paths.

    The track is GPX 1.1 with the speed in the TrackPointExtension v2; the readings have a header of plain words.
    """
    track, readings = folder / "track.gpx", folder / "readings.csv"
    track.write_text(render_gpx(drive.track), encoding="utf-8")
    readings.write_text(render_csv(drive.readings), encoding="utf-8")
    return track, readings


def render_gpx(track: Track) -> str:
    """Return the track as GPX 1.1 that says it is simulated."""
    return gpx.render_gpx(track, creator="speedcal simulated drive", name="simulated drive, invented place")


def render_csv(readings: Readings) -> str:
    """Return the readings as a table: ``time``, ``speed`` and, when there is one, ``odometer``, with their units."""
    with_odometer = bool(np.isfinite(readings.odometer_m).any())
    timed = readings.clock != "none"
    header = [f"speed ({readings.speed_unit})"]
    if timed:
        header.insert(0, "elapsed" if readings.clock == "elapsed" else "time")
    if with_odometer:
        header.append("odometer (mi)")
    rows = [",".join(header)]
    for time_s, speed_mps, odometer_m in zip(readings.time_s, readings.speed_mps, readings.odometer_m, strict=True):
        cells = [_stamp(float(time_s), readings)] if timed else []
        cells.append(f"{speed_mps / SPEED_UNIT_MPS[readings.speed_unit]:.0f}")
        if with_odometer:
            cells.append(f"{odometer_m / MILE_M:.1f}" if np.isfinite(odometer_m) else "")
        rows.append(",".join(cells))
    return "\n".join(rows) + "\n"


def _utc(time_s: float) -> datetime:
    return datetime.fromtimestamp(round(time_s, 3), UTC)


def _stamp(time_s: float, readings: Readings) -> str:
    """Return the time of one reading as its clock shows it."""
    time = _utc(time_s)
    tail = "%H:%M" if readings.time_resolution_s >= 60 else "%H:%M:%S"
    if readings.time_resolution_s < 1:
        tail += f".{time.microsecond // 1000:03d}"
    if readings.clock in ("time of day", "elapsed"):
        return time.strftime(tail)
    return time.strftime(f"%Y-%m-%dT{tail}") + ("Z" if readings.clock == "utc" else "")
