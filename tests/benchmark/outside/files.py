"""A drive as the two files a user would bring."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

import numpy as np
from benchmark.outside.drive import Notes, OutsideDrive
from benchmark.outside.receiver import Fixes

_NAMESPACE = "http://www.garmin.com/xmlschemas/TrackPointExtension/v2"


def write_files(drive: OutsideDrive, folder: Path) -> tuple[Path, Path]:
    """Write ``track.gpx`` (GPX 1.1, speed in the open point extension) and ``readings.csv``; return their paths."""
    track, readings = folder / "track.gpx", folder / "readings.csv"
    track.write_text(_gpx(drive.fixes), encoding="utf-8")
    readings.write_text(_csv(drive.notes), encoding="utf-8")
    return track, readings


def _gpx(fixes: Fixes) -> str:
    lines = [
        '<?xml version="1.0" encoding="UTF-8"?>',
        f'<gpx version="1.1" creator="made" xmlns="http://www.topografix.com/GPX/1/1" xmlns:e="{_NAMESPACE}"><trk>',
    ]
    for number in np.unique(fixes.segment):
        lines.append("<trkseg>")
        lines += [_point(fixes, i) for i in np.flatnonzero(fixes.segment == number)]
        lines.append("</trkseg>")
    return "\n".join([*lines, "</trk></gpx>", ""])


def _point(fixes: Fixes, i: int) -> str:
    time = datetime.fromtimestamp(fixes.time_s[i], UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z")
    high, speed = fixes.elevation_m[i], fixes.speed_mps[i]
    return (
        f'<trkpt lat="{fixes.latitude_deg[i]:.7f}" lon="{fixes.longitude_deg[i]:.7f}">'
        + (f"<ele>{high:.1f}</ele>" if np.isfinite(high) else "")
        + f"<time>{time}</time>"
        + (
            f"<extensions><e:TrackPointExtension><e:speed>{speed:.3f}</e:speed></e:TrackPointExtension></extensions>"
            if np.isfinite(speed)
            else ""
        )
        + "</trkpt>"
    )


def _csv(notes: Notes) -> str:
    with_odometer = bool(np.isfinite(notes.odometer_mi).any())
    header = [f"speed ({notes.unit})"]
    if notes.clock != "none":
        header.insert(0, "elapsed" if notes.clock == "elapsed" else "time")
    rows = [",".join(header + ["odometer (mi)"] * with_odometer)]
    for stamp, value, odometer in zip(notes.stamp_s, notes.value, notes.odometer_mi, strict=True):
        cells = [] if notes.clock == "none" else [_stamp(stamp, notes)]
        cells.append(f"{value:.0f}")
        if with_odometer:
            cells.append(f"{odometer:.1f}" if np.isfinite(odometer) else "")
        rows.append(",".join(cells))
    return "\n".join(rows) + "\n"


def _stamp(stamp: float, notes: Notes) -> str:
    time = datetime.fromtimestamp(round(stamp, 3), UTC)
    text = time.strftime("%H:%M" if notes.step_s >= 60 else "%H:%M:%S")
    if notes.step_s < 1:
        text += f".{time.microsecond // 1000:03d}"
    if notes.clock in ("time of day", "elapsed"):
        return text
    return time.strftime("%Y-%m-%dT") + text + ("Z" if notes.clock == "utc" else "")
