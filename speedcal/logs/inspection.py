"""What a file is and what is in it, before anything is computed from it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import asdict, dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, TypeVar

import numpy as np

from speedcal.errors import ReadingsFormatError, SpeedcalError, TrackFormatError
from speedcal.interval import FloatArray, tidy
from speedcal.logs.drive.readings import Readings
from speedcal.logs.drive.track import Track
from speedcal.logs.formats.registry import LogFormat, Request, certain_kind, recognise
from speedcal.logs.source import Source, load
from speedcal.logs.tables.delimited import split_rows
from speedcal.logs.tables.tabular import find_table
from speedcal.logs.writing.headers import read_heading
from speedcal.wording import Spoken

_T = TypeVar("_T")
_GAP_S, _GAP_INTERVALS = 3.0, 3.0
_MOST_COLUMNS = 40


@dataclass(frozen=True, slots=True)
class Column:
    """A column of a table and what it was taken for."""

    name: str
    role: str
    """Such as ``speed`` or ``latitude``; empty where the header says nothing that is used."""
    origin: str
    """Of a speed: instrument, vehicle, satellite, calculated or empty."""
    unit: str

    def to_dict(self) -> dict[str, str]:
        """Return the parts, ready for JSON."""
        return asdict(self)


@dataclass(frozen=True, slots=True)
class Inspection(Spoken):
    """What was found in one file: a track, readings, or both."""

    source: str
    kinds: tuple[str, ...]
    """Formats, such as ``gpx_1_1``: as a track, as readings."""
    track: Track | None
    readings: Readings | None
    refused: tuple[SpeedcalError, ...] = ()
    """Why the file cannot be used as the other of the two, where it looks as if it should."""
    columns: tuple[Column, ...] = ()
    """What the columns of a table were taken for."""
    header_line: int | None = None

    def to_dict(self) -> dict[str, Any]:
        """Return the facts, ready for JSON; speeds in m/s; no coordinates."""
        return {
            "source": self.source,
            "kinds": list(self.kinds),
            "track": track_facts(self.track) if self.track is not None else None,
            "readings": readings_facts(self.readings) if self.readings is not None else None,
            "refused": [error.to_dict() for error in self.refused],
            "header_line": self.header_line,
            "columns": [column.to_dict() for column in self.columns],
        }


def inspect_file(
    path: str | Path,
    *,
    unit: str | None = None,
    column: str | None = None,
    zone: str | None = None,
    session: str | None = None,
) -> Inspection:
    """Read a file as whatever it is.

    Parameters
    ----------
    unit, column, zone, session
        As for :func:`speedcal.logs.read_readings`.

    Raises
    ------
    TrackFormatError, ReadingsFormatError
        The file is neither a track nor readings; the message is that of the kind it resembles more.
    """
    from speedcal.logs import request_of

    request = request_of(unit, column, zone, session)
    source = load(path, ReadingsFormatError, certain_kind)
    log = recognise(source)
    columns, header_line = _columns(source, log)
    driven = load(path, TrackFormatError, certain_kind)  # of an archive, perhaps another file
    (track, no_track), (readings, no_readings) = (
        _attempt(recognise(driven).track, driven, request),
        _attempt(log.readings, source, request),
    )
    placed = {"latitude", "longitude"} <= {found.role for found in columns}
    either = not log.is_of_tracks and driven.data == source.data
    if track is None and readings is None:
        reasons = [no_readings, no_track] if either and not placed else [no_track, no_readings]
        error = next(error for error in reasons if error is not None)
        if columns:
            error.values |= {"table": [found.to_dict() for found in columns], "header_line": header_line}
        raise error
    refused: tuple[SpeedcalError, ...] = ()
    if either and track is not None and no_readings is not None:
        refused = (no_readings,)
    elif placed and no_track is not None:
        refused = (no_track,)
    kinds = tuple(dict.fromkeys(found.kind for found in (track, readings) if found is not None))
    return Inspection(source.name, kinds, track, readings, refused, columns, header_line)


def _columns(source: Source, log: LogFormat) -> tuple[tuple[Column, ...], int | None]:
    """Return what the columns of a text table are taken for, and where its header stands."""
    if log.id != "text":
        return (), None
    try:
        table = find_table(split_rows(source))
    except SpeedcalError:
        return (), None
    if table is None or len(table.header) < 2:
        return (), None
    found = map(read_heading, table.header[:_MOST_COLUMNS])
    return tuple(Column(item.name, item.role, item.origin, item.speed_unit or "") for item in found), table.header_line


def _attempt(
    read: Callable[[Source, Request], _T] | None, source: Source, request: Request
) -> tuple[_T | None, SpeedcalError | None]:
    try:
        return (read(source, request) if read is not None else None), None
    except SpeedcalError as error:
        return None, error


def track_facts(track: Track) -> dict[str, Any]:
    """Return what a track holds: counts, times [s, UTC], speeds [m/s]. No coordinates."""
    steps = np.diff(track.time_s)
    usual = float(np.median(steps))
    broken = (np.diff(track.segment) != 0) | (steps > max(_GAP_S, _GAP_INTERVALS * usual))
    recorded = np.isfinite(track.speed_mps)
    return {
        "kind": track.kind,
        "fixes": len(track),
        "start": _iso(track.time_s[0]) if track.has_date else None,
        "duration_s": tidy(track.time_s[-1] - track.time_s[0], 3),
        "interval_s": tidy(usual, 3),
        "speed_source": "recorded" if recorded.mean() > 0.5 else "positions",
        "with_speed": int(recorded.sum()),
        "speed_mps": _range(track.speed_mps),
        "with_elevation": int(np.isfinite(track.elevation_m).sum()),
        "pieces": int(track.segment[-1]) + 1,
        "gaps": int(broken.sum()),
        "longest_gap_s": tidy(steps[broken].max(), 3) if broken.any() else 0.0,
        "digest": track.digest,
        "dropped": dict(track.dropped),
        "findings": [finding.to_dict() for finding in track.findings],
    }


def readings_facts(readings: Readings) -> dict[str, Any]:
    """Return what readings hold: counts, clock, steps, speeds [m/s], distances [m]."""
    times = readings.time_s[np.isfinite(readings.time_s)]
    odometer = readings.odometer_m[np.isfinite(readings.odometer_m)]
    return {
        "kind": readings.kind,
        "readings": len(readings),
        "clock": readings.clock,
        "start": _iso(times.min()) if readings.clock in {"utc", "local", "gps"} else None,
        "duration_s": tidy(np.ptp(times), 3) if len(times) else None,
        "interval_s": tidy(np.median(np.diff(times)), 3) if len(times) > 1 else None,
        "time_resolution_s": tidy(readings.time_resolution_s, 6) if len(times) else None,
        "speed_unit": readings.speed_unit,
        "speed_mps": _range(readings.speed_mps),
        "speed_resolution_mps": tidy(readings.speed_resolution_mps, 6),
        "with_odometer": len(odometer),
        "odometer_distance_m": tidy(np.ptp(odometer), 2) if len(odometer) else None,
        "odometer_resolution_m": tidy(readings.odometer_resolution_m, 4) if len(odometer) else None,
        "digest": readings.digest,
        "dropped": dict(readings.dropped),
        "findings": [finding.to_dict() for finding in readings.findings],
    }


def _range(values: FloatArray) -> list[float] | None:
    known = values[np.isfinite(values)]
    return [tidy(known.min(), 4), tidy(known.max(), 4)] if len(known) else None


def _iso(time_s: float) -> str:
    return datetime.fromtimestamp(round(float(time_s), 3), UTC).isoformat().replace("+00:00", "Z")
