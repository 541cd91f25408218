"""What was understood of the files of one drive: facts, a picture, and every problem with what to do about it."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

from speedcal.errors import SpeedcalError
from speedcal.text.job_messages import step_name
from speedcal.text.messages import label
from speedcal.units import SPEED_UNIT_MPS, DisplayUnit

if TYPE_CHECKING:
    from speedcal.calibration import Calibration
    from speedcal.logs import Readings, Track

PICTURE = "look.svg"


def look(task: Mapping[str, Any], tell: Callable[[str, float], None]) -> dict[str, Any]:
    """Read the files of a drive, lay the readings on the track, and tell what came of each.

    Parameters
    ----------
    task
        ``track`` and ``readings`` (paths or empty), ``held`` (speeds in order), ``options`` (``unit``, ``column``,
        ``zone``, ``clock_offset_s``), ``unit`` (for people), ``phase``, ``labels`` (what the user calls the files),
        ``most_points`` and ``most_rows``, ``out`` (folder for the picture).

    Returns
    -------
    dict
        ``track``, ``readings`` and ``fit`` (facts, or None), ``weak`` (why the result is weak, if it is), ``errors``
        (each with ``part`` and the parts of a :class:`SpeedcalError`), ``picture`` (name of the file, or empty).
    """
    seen: dict[str, Any] = {"track": None, "readings": None, "fit": None, "weak": [], "errors": [], "picture": ""}
    track = readings = None
    if task["track"]:
        tell(step_name("track"), 0.1)
        track = _try(seen, "track", task, lambda: _read_track(task))
    if task["readings"] or task["held"]:
        tell(step_name("readings"), 0.3)
        readings = _try(seen, "readings", task, lambda: _read_readings(task))
    unit: DisplayUnit = task["unit"]
    if track is not None:
        seen["track"] = _track_facts(track)
    if readings is not None:
        seen["readings"] = _readings_facts(readings)
    if track is not None and readings is not None:
        tell(step_name("matching"), 0.5)
        calibration = _try(seen, "match", task, lambda: _calibrate(task, track, readings))
        if calibration is not None:
            seen["fit"] = calibration.to_dict()
            seen["weak"] = [reason.text for reason in calibration.trust.reasons]
            tell(step_name("drawing"), 0.8)
            seen["picture"] = _draw(calibration, task, unit)
    return seen


def _try(seen: dict[str, Any], part: str, task: Mapping[str, Any], read: Callable[[], Any]) -> Any:
    try:
        return read()
    except SpeedcalError as error:
        name = Path(error.source).name
        error.source = task["labels"].get(name, name)
        error.values = {**error.values, "place": "form"}
        seen["errors"].append({**error.to_dict(), "part": part})
        return None


def _read_track(task: Mapping[str, Any]) -> Track:
    from speedcal.logs import read_track

    track = read_track(task["track"])
    _check_size(len(track), task["most_points"], "fixes", track.source)
    return track


def _read_readings(task: Mapping[str, Any]) -> Readings:
    from speedcal.jobs.pipeline import held_readings
    from speedcal.logs import read_readings

    options = {key: value for key, value in task["options"].items() if key != "clock_offset_s"}
    if task["held"]:
        return held_readings(tuple(task["held"]), options.get("unit") or task["unit"])
    readings = read_readings(task["readings"], **options)
    _check_size(len(readings), task["most_rows"], "readings", readings.source)
    return readings


def _check_size(found: int, most: int, what: str, source: str) -> None:
    if found > most:
        raise SpeedcalError("file_too_long", source=source, found=found, what=what, most=most)


def _calibrate(task: Mapping[str, Any], track: Track, readings: Readings) -> Calibration:
    from speedcal.calibration import calibrate

    return calibrate(track, readings, unit=task["unit"], clock_offset_s=task["options"].get("clock_offset_s"))


def _track_facts(track: Track) -> dict[str, Any]:
    return {
        "kind": label(track.kind),
        "fixes": len(track),
        "minutes": float(track.time_s[-1] - track.time_s[0]) / 60 if len(track) else 0.0,
        "start_s": float(track.time_s[0]) if len(track) and track.has_date else None,
        "dropped": {label(reason): count for reason, count in track.dropped.items()},
        "findings": [finding.to_dict() for finding in track.findings],
    }


def _readings_facts(readings: Readings) -> dict[str, Any]:
    step = SPEED_UNIT_MPS[readings.speed_unit]
    speeds = readings.speed_mps / step
    return {
        "kind": label(readings.kind),
        "count": len(readings),
        "unit": readings.speed_unit,
        "clock": readings.clock,
        "lowest": float(speeds.min()) if len(readings) else 0.0,
        "highest": float(speeds.max()) if len(readings) else 0.0,
        "resolution": round(float(readings.speed_resolution_mps / step), 3),
        "odometer": bool((readings.odometer_m == readings.odometer_m).any()),
        "dropped": {label(reason): count for reason, count in readings.dropped.items()},
        "findings": [finding.to_dict() for finding in readings.findings],
    }


def _draw(calibration: Calibration, task: Mapping[str, Any], unit: DisplayUnit) -> str:
    from speedcal.report import style
    from speedcal.report.charts import clock_match_svg

    drawn_as = style.AFTER if task["phase"] == "after" else style.BEFORE
    picture = clock_match_svg(calibration, unit=unit, drawn_as=drawn_as)
    (Path(task["out"]) / PICTURE).write_bytes(picture)
    return PICTURE
