"""FIT activity files, decoded by fitdecode: the ``record`` messages with their positions and speeds."""

from __future__ import annotations

import io
import math
from datetime import datetime, tzinfo
from typing import Any

from speedcal.finding import Finding
from speedcal.logs import limits
from speedcal.logs.fixes import Fixes, build_track
from speedcal.logs.formats import LogFormat
from speedcal.logs.model import Track
from speedcal.logs.source import Source

_SEMICIRCLE_DEG = 180 / 2**31
"""Degrees in the unit in which FIT writes angles."""
_FIELDS = ("timestamp", "position_lat", "position_long", "altitude", "enhanced_altitude", "speed", "enhanced_speed")


def _read_track(source: Source, zone: tzinfo | None) -> Track:
    rows, segments, findings = _records(source)
    latitude = [_number(row.get("position_lat")) * _SEMICIRCLE_DEG for row in rows]
    longitude = [_number(row.get("position_long")) * _SEMICIRCLE_DEG for row in rows]
    fixes = Fixes(
        time_s=[_instant(row.get("timestamp")) for row in rows],
        latitude_deg=latitude,
        longitude_deg=longitude,
        elevation_m=[_first(row, "enhanced_altitude", "altitude") for row in rows],
        speed_mps=[_first(row, "enhanced_speed", "speed") for row in rows],
        segment=segments,
        findings=findings,
    )
    return build_track(source, "FIT", fixes)


def _records(source: Source) -> tuple[list[dict[str, Any]], list[int], list[Finding]]:
    """Return the record messages, the piece each belongs to (a stopped timer ends a piece), and what was wrong."""
    import fitdecode

    rows: list[dict[str, Any]] = []
    segments: list[int] = []
    findings: list[Finding] = []
    piece = 0
    reader = fitdecode.FitReader(
        io.BytesIO(source.data),
        check_crc=fitdecode.CrcCheck.READONLY,
        error_handling=fitdecode.ErrorHandling.IGNORE,
    )
    try:
        for frame in reader:
            if frame.frame_type == fitdecode.FIT_FRAME_CRC and not frame.matched:
                findings.append(Finding("checksum", "the checksum of the file is wrong: part of it may be damaged"))
            if frame.frame_type != fitdecode.FIT_FRAME_DATA:
                continue
            if frame.name == "event" and frame.get_value("event_type", fallback="") in {"stop", "stop_all", "start"}:
                piece += 1
            elif frame.name == "record":
                rows.append({name: frame.get_value(name, fallback=None) for name in _FIELDS})
                segments.append(piece)
                if len(rows) > limits.MAX_POINTS:
                    source.fail(f"the file holds more than {limits.MAX_POINTS} records", remedy="Cut it to the drive")
    except source.error:
        raise
    except Exception as error:  # damaged bytes make the decoder raise almost anything
        if not rows:
            source.fail(f"the FIT file cannot be decoded: {str(error)[:200]}", remedy="Copy it from the device again")
        text = f"the file is cut off or damaged after {len(rows)} records; those before were used"
        findings.append(Finding("cut_off", text))
    return rows, segments, findings


def _first(row: dict[str, Any], *names: str) -> float:
    """Return the first of the fields that holds a number, NaN when none does."""
    return next((value for value in map(_number, map(row.get, names)) if math.isfinite(value)), math.nan)


def _number(value: Any) -> float:
    return float(value) if isinstance(value, int | float) else math.nan


def _instant(value: Any) -> float:
    return value.timestamp() if isinstance(value, datetime) else math.nan


FORMAT = LogFormat("FIT", lambda source: source.data[8:12] == b".FIT", track=_read_track)
