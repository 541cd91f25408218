"""FIT activity files, decoded by fitdecode: the ``record`` messages with positions, speeds and developer fields.

Where a wheel sensor was paired, the device writes its speed into the speed of the records; then that is an
instrument, the track is its positions alone. Where the records have no fixes, those of a camera are read.
"""

from __future__ import annotations

import io
import math
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

import numpy as np

from speedcal.finding import Finding
from speedcal.logs import limits
from speedcal.logs.drive.readings import Readings
from speedcal.logs.drive.readings_built import Shown, Stamps, build_readings
from speedcal.logs.drive.track import Fixes, Track, build_track
from speedcal.logs.formats.fit_camera import CameraLog, number
from speedcal.logs.formats.registry import LogFormat, Request
from speedcal.logs.source import Source
from speedcal.logs.tables.angles import SEMICIRCLE_DEG
from speedcal.logs.writing.headers import normal, read_heading, speed_unit_in
from speedcal.units import SpeedUnit, parse_speed_unit

_FIELDS = ("timestamp", "position_lat", "position_long", "altitude", "enhanced_altitude", "speed", "enhanced_speed")
_WHEEL_SENSORS = frozenset({"bike_speed", "bike_speed_cadence", 123, 121})
"""Types of ANT+ device that measure the speed at a wheel."""


@dataclass(slots=True)
class _Log:
    """What the messages of a file say."""

    rows: list[dict[str, Any]] = field(default_factory=list)
    segments: list[int] = field(default_factory=list)
    findings: list[Finding] = field(default_factory=list)
    own: dict[str, tuple[str, list[tuple[int, float]]]] = field(default_factory=dict)
    """Developer fields with a speed: name to unit and values, each with the number of its record."""
    camera: CameraLog = field(default_factory=CameraLog)
    piece: int = 0
    wheel_sensor: bool = False


def _read_track(source: Source, request: Request) -> Track:
    log = _records(source)
    findings = [*log.findings]
    if log.camera.rows and not any(map(_has_fix, log.rows)):
        return build_track(source, "fit", log.camera.fixes(findings))
    speed = [_first(row, "enhanced_speed", "speed") for row in log.rows]
    if log.wheel_sensor and np.isfinite(speed).any():
        findings.append(Finding("speed_not_of_receiver", column="speed"))
        speed = [math.nan] * len(speed)
    fixes = Fixes(
        time_s=[_instant(row.get("timestamp")) for row in log.rows],
        latitude_deg=[number(row.get("position_lat")) * SEMICIRCLE_DEG for row in log.rows],
        longitude_deg=[number(row.get("position_long")) * SEMICIRCLE_DEG for row in log.rows],
        elevation_m=[_first(row, "enhanced_altitude", "altitude") for row in log.rows],
        speed_mps=speed,
        segment=log.segments,
        findings=findings,
    )
    return build_track(source, "fit", fixes)


def _has_fix(row: dict[str, Any]) -> bool:
    return isinstance(row.get("timestamp"), datetime) and row.get("position_lat") is not None


def _read_readings(source: Source, request: Request) -> Readings:
    """Return the speed of a wheel sensor, or of a developer field; the clock is that of the track."""
    log = _records(source)
    unit: SpeedUnit = "km/h"
    columns = {name: values for name, (_, values) in log.own.items()}
    if log.wheel_sensor:
        columns["speed"] = [(i, _first(row, "enhanced_speed", "speed") * 3.6) for i, row in enumerate(log.rows)]
    names = [name for name in columns if request.column is None or name.casefold() == request.column.casefold()]
    if request.column is None and len(names) > 1 and "speed" in names:
        names = [name for name in names if read_heading(name).origin in {"instrument", "vehicle"}] or ["speed"]
    if not names:
        source.fail("no_wheel_sensor", columns=sorted(columns))
    if len(names) > 1:
        source.fail("several_speed_columns", columns=sorted(names))
    name = names[0]
    if name in log.own:
        known = parse_speed_unit(log.own[name][0]) or speed_unit_in(normal(name)) or request.unit
        if known is None:
            source.fail("column_without_unit", column=name, proposed=None)
        unit = known
    at = [i for i, _ in columns[name]]
    times = np.array([_instant(log.rows[i].get("timestamp")) for i in at])
    stamps = Stamps(times, "gps", 1.0 if (times == np.floor(times)).all() else 0.001)
    shown = Shown(stamps, np.array([value for _, value in columns[name]]), unit, [i + 1 for i in at], column=name)
    shown.findings = log.findings
    return build_readings(source, "fit_wheel" if name == "speed" else "fit_field", shown)


def _records(source: Source) -> _Log:
    """Return the record messages, the piece each belongs to (a stopped timer ends a piece), and what was wrong."""
    import fitdecode

    log = _Log()
    reader = fitdecode.FitReader(
        io.BytesIO(source.data), check_crc=fitdecode.CrcCheck.READONLY, error_handling=fitdecode.ErrorHandling.IGNORE
    )
    try:
        for frame in reader:
            if frame.frame_type == fitdecode.FIT_FRAME_CRC and not frame.matched:
                log.findings.append(Finding("wrong_checksum"))
            elif frame.frame_type == fitdecode.FIT_FRAME_DATA:
                _take(log, frame)
                if max(len(log.rows), len(log.camera.rows)) > limits.MAX_POINTS:
                    source.fail("too_many", what="records", most=limits.MAX_POINTS)
    except source.error:
        raise
    except Exception as error:  # damaged bytes make the decoder raise almost anything
        if not log.rows and not log.camera.rows:
            source.fail("file_damaged", what="fit", reason=str(error)[:200])
        log.findings.append(Finding("cut_off", count=max(len(log.rows), len(log.camera.rows))))
    return log


def _take(log: _Log, frame: Any) -> None:
    if frame.name == "event" and frame.get_value("event_type", fallback="") in {"stop", "stop_all", "start"}:
        log.piece += 1
    elif frame.name == "device_info":
        log.wheel_sensor |= _is_wheel_sensor(frame)
    elif frame.name == "record":
        _add_record(log, frame)
    else:
        log.camera.take(frame, log.piece)


def _is_wheel_sensor(frame: Any) -> bool:
    names = ("antplus_device_type", "device_type", "local_device_type", "ble_device_type")
    return any(frame.get_value(name, fallback=None) in _WHEEL_SENSORS for name in names)


def _add_record(log: _Log, frame: Any) -> None:
    log.rows.append({name: frame.get_value(name, fallback=None) for name in _FIELDS})
    log.segments.append(log.piece)
    for item in frame.fields:
        if item.name in _FIELDS or not isinstance(item.value, int | float) or isinstance(item.value, bool):
            continue
        if type(item.field_def).__name__ != "DevFieldDefinition" and "speed" not in item.name:
            continue
        name = str(item.name)[:60]
        if read_heading(name.replace("_", " ")).role == "speed" and read_heading(name).origin != "satellite":
            log.own.setdefault(name, (str(item.units or ""), []))[1].append((len(log.rows) - 1, float(item.value)))


def _first(row: dict[str, Any], *names: str) -> float:
    """Return the first of the fields that holds a number, NaN when none does."""
    return next((value for value in map(number, map(row.get, names)) if math.isfinite(value)), math.nan)


def _instant(value: Any) -> float:
    return value.timestamp() if isinstance(value, datetime) else math.nan


FORMAT = LogFormat("fit", lambda source: source.data[8:12] == b".FIT", track=_read_track, readings=_read_readings)
