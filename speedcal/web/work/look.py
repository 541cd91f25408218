"""What was understood of the files of one drive: facts, a picture, and every problem with what to do about it."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from speedcal.errors import JobError, Problem, SpeedcalError
from speedcal.finding import Finding
from speedcal.jobs.contents import Drive
from speedcal.jobs.measured_drive import as_driven, calibrated, calibrated_checks, checks_of, readings_of, track_of
from speedcal.schema import TableReader
from speedcal.text.codes.job_messages import step_name
from speedcal.text.messages import label
from speedcal.text.results.inspection import CLOCKS
from speedcal.units import SPEED_UNIT_MPS, DisplayUnit
from speedcal.web.answers import day
from speedcal.web.work.marks import field_of

if TYPE_CHECKING:
    from speedcal.calibration import Calibration
    from speedcal.interval import FloatArray
    from speedcal.logs import Checks, Readings, Track
    from speedcal.vehicle import Vehicle

PICTURE, NARROW_PICTURE = "look.svg", "look-narrow.svg"
"""For a desk, and for a phone, on which the letters of the other are too small to read."""
_SAME_MOMENT_S = 2.0
"""Drives that begin and end within so much of each other are one, given twice; clocks are fitted to a second. [s]"""


def look(task: Mapping[str, Any], tell: Callable[[str, float], None]) -> dict[str, Any]:
    """Read the files of a drive, lay the readings on the track, and tell what came of each.

    Parameters
    ----------
    task
        ``track`` and ``readings`` (paths or empty), ``held`` (speeds in order), ``options`` (``unit``, ``column``,
        ``session``, ``zone``, ``clock_offset_s``), ``unit`` (for people), ``phase``, ``vehicle`` and ``work`` (tables
        of the job file), ``labels`` (what the user calls the files), ``most_points`` and ``most_rows``,
        ``typed_from`` (line of the table that is the first typed row; 0 for a file),
        ``others`` (drives of the same phase that count: ``name`` and ``span``), ``called`` (the name of this one,
        without its day), ``out`` (folder for the picture).

    Returns
    -------
    dict
        ``track``, ``readings`` and ``fit`` (facts, or None), ``weak`` (why the result is weak, if it is), ``errors``
        (each with ``part``, the ``field`` that mends it and the parts of a :class:`SpeedcalError`), ``picture`` (name
        of the file, or empty), ``span`` (first and last moment of the drive, or None), ``swapped`` (the files were
        given for each other), ``as_checks`` (the readings have their true speed beside them, and there is no track),
        ``zone_s`` (the zone in which the drive has its day, or None).
    """
    seen: dict[str, Any] = {"track": None, "readings": None, "fit": None, "weak": [], "errors": [], "picture": ""}
    seen |= {"span": None, "swapped": False, "as_checks": False, "zone_s": None}
    if task["options"].get("checks"):
        if as_driven(_drive(task)).checks is not None or not task["readings"]:
            return {**seen, **_look_at_checks(seen, task, tell)}
        task = {**task, "track": task["readings"], "options": _without_checks(task["options"])}
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
            seen |= {"fit": calibration.to_dict(), "zone_s": calibration.zone_s}
            seen["weak"] = [reason.text for reason in calibration.trust.reasons]
            tell(step_name("drawing"), 0.8)
            seen["picture"] = _draw(calibration, task, unit)
            from speedcal.conformity.mixups import moments

            seen["span"] = [float(t) for t in moments(calibration)] if track.has_date else None
            _try(seen, "twice", task, lambda: _check_once(task, seen["span"]))
    seen["swapped"] = bool(seen["errors"]) and _are_swapped(task)
    as_checks = {**task, "options": {**task["options"], "checks": "yes"}}
    if task["readings"] and not task["track"] and _tells_both(as_checks):
        seen |= {"as_checks": True, "errors": []}  # which tell of readings that they are not
    return seen


def _without_checks(options: Mapping[str, Any]) -> dict[str, Any]:
    return {name: value for name, value in options.items() if name != "checks"}


def _tells_both(task: Mapping[str, Any]) -> bool:
    """Tell whether readings given as checks have their true speed beside them, in a list or in a log."""
    return as_driven(_drive(task)).checks is None or _reads(lambda: _read_checks(task))


def _look_at_checks(
    seen: dict[str, Any], task: Mapping[str, Any], tell: Callable[[str, float], None]
) -> dict[str, Any]:
    """Return what came of readings that have their true speed beside them."""
    if not task["readings"]:
        return seen
    tell(step_name("readings"), 0.3)
    checks = _try(seen, "readings", task, lambda: _read_checks(task))
    calibration = None if checks is None else _try(seen, "match", task, lambda: _calibrate_checks(task, checks))
    if calibration is None:
        return seen
    return {
        **seen,
        "readings": _checks_facts(checks),
        "fit": calibration.to_dict(),
        "weak": [reason.text for reason in calibration.trust.reasons],
    }


def _drive(task: Mapping[str, Any]) -> Drive:
    """Return the drive as a job file would state it."""
    options = _without_checks(task["options"])
    track, readings = (Path(task[name]) if task[name] else None for name in ("track", "readings"))
    is_checks = bool(task["options"].get("checks"))
    return Drive(
        **TableReader(options, "drive").values,
        track=track,
        readings=None if is_checks or task["held"] else readings,
        held=tuple(task["held"]),
        checks=readings if is_checks else None,
    )


def _read_checks(task: Mapping[str, Any]) -> Checks:
    checks = checks_of(_drive(task), _vehicle(task))
    _check_size(len(checks), task["most_rows"], "readings", checks.source)
    return checks


def _vehicle(task: Mapping[str, Any]) -> Vehicle:
    """Return the vehicle as it was on the drive; an unknown one where its table or the work cannot be used."""
    from speedcal.vehicle import Vehicle, Work
    from speedcal.vehicle.forward import vehicle_after

    try:
        vehicle = Vehicle.from_dict(task["vehicle"])
        if task["phase"] == "after" and task["work"]:
            vehicle = vehicle_after(vehicle, Work.from_dict(task["work"]))
    except SpeedcalError:  # the page of the job says so
        return Vehicle()
    return vehicle


def _calibrate_checks(task: Mapping[str, Any], checks: Checks) -> Calibration:
    return calibrated_checks(checks, unit=task["unit"], vehicle=_vehicle(task))


def _checks_facts(checks: Checks) -> dict[str, Any]:
    shown = checks.dial_mps[checks.has_speed]
    return {"kind": label("checks"), "clock": "none", "dropped": {}, **_facts(checks, shown, checks.dial_step_mps)}


def _facts(shown: Checks | Readings, speed_mps: FloatArray, step_mps: float) -> dict[str, Any]:
    """Return what a page tells of checks and of readings alike, in the unit they were written in."""
    unit_mps = SPEED_UNIT_MPS[shown.speed_unit]
    speeds = speed_mps / unit_mps
    return {
        "count": len(speeds),
        "unit": shown.speed_unit,
        "lowest": float(speeds.min()) if len(speeds) else 0.0,
        "highest": float(speeds.max()) if len(speeds) else 0.0,
        "resolution": round(float(step_mps / unit_mps), 3),
        "odometer": bool((shown.odometer_m == shown.odometer_m).any()),
        "findings": [finding.to_dict() for finding in shown.findings],
    }


def _check_once(task: Mapping[str, Any], span: Sequence[float] | None) -> None:
    """Refuse a drive of which another covers a part: a vehicle makes one drive at a time."""
    for other in task["others"]:
        if span and min(span[1], other["span"][1]) > max(span[0], other["span"][0]):
            is_one = max(abs(ours - its) for ours, its in zip(span, other["span"], strict=True)) < _SAME_MOMENT_S
            code = "duplicate_drive" if is_one else "drives_at_once"
            raise JobError(code, first=other["name"], second=f"{task['called']} ({day(span[0])})")


def _are_swapped(task: Mapping[str, Any]) -> bool:
    """Tell whether each file can be read as what the other was given for, and not as what it was given for."""
    track, readings = task["track"], "" if task["typed_from"] else task["readings"]
    if task["held"] or task["typed_from"] or track == readings:
        return False
    as_given = (track, lambda: _read_track(task)), (readings, lambda: _read_readings(task))
    other = {**task, "track": readings, "readings": track}
    as_other = (readings, lambda: _read_track(other)), (track, lambda: _read_readings(other))
    return not any(path and _reads(read) for path, read in as_given) and all(
        _reads(read) for path, read in as_other if path
    )


def _reads(read: Callable[[], Any]) -> bool:
    try:
        read()
    except SpeedcalError:
        return False
    return True


def _try(seen: dict[str, Any], part: str, task: Mapping[str, Any], read: Callable[[], Any]) -> Any:
    try:
        return read()
    except SpeedcalError as error:
        name = Path(error.source).name
        error.source = task["labels"].get(name, name)
        error.for_form()
        _count_typed_rows(error, task["typed_from"] if part == "readings" else 0)
        counted = "row" if part == "readings" and task["typed_from"] else "line"
        field = field_of(error, part, task)
        seen["errors"].append({**error.to_dict(), "part": part, "counted": counted, "field": field})
        return None


def _count_typed_rows(error: SpeedcalError, first: int) -> None:
    """Count rows as the form does, where the lines of the table are not what the user sees."""
    if not first:
        return
    error.line = error.line and error.line - first + 1
    error.problems = _as_rows(error.problems, first)


def _as_rows(problems: Iterable[Problem], first: int) -> tuple[Problem, ...]:
    return tuple(Problem(one.code, line=one.line and one.line - first + 1, **one.values) for one in problems)


def _read_track(task: Mapping[str, Any]) -> Track:
    track = track_of(_drive(task))
    _check_size(len(track), task["most_points"], "fixes", track.source)
    return track


def _read_readings(task: Mapping[str, Any]) -> Readings:
    readings = readings_of(_drive(task), task["unit"])
    _check_size(len(readings), task["most_rows"], "readings", readings.source)
    return _as_typed(readings, task["typed_from"]) if task["typed_from"] else readings


def _as_typed(readings: Readings, first: int) -> Readings:
    """Return the readings with their rows counted as in the form; ``first`` is the line of the first typed row."""
    findings = tuple(
        Finding(found.code, **{**found.values, "problems": _as_rows(found.values["problems"], first), "counted": "row"})
        if found.code == "rows_unreadable"
        else found
        for found in readings.findings
    )
    return replace(readings, line=readings.line - first + 1, findings=findings)


def _check_size(found: int, most: int, what: str, source: str) -> None:
    if found > most:
        raise SpeedcalError("file_too_long", source=source, found=found, what=what, most=most)


def _calibrate(task: Mapping[str, Any], track: Track, readings: Readings) -> Calibration:
    return calibrated(track, readings, _drive(task), unit=task["unit"], vehicle=_vehicle(task))


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
    return {
        "kind": label(readings.kind),
        "clock": CLOCKS[readings.clock],
        "dropped": {label(reason): count for reason, count in readings.dropped.items()},
        **_facts(readings, readings.speed_mps, readings.speed_resolution_mps),
    }


def _draw(calibration: Calibration, task: Mapping[str, Any], unit: DisplayUnit) -> str:
    from speedcal.report import style
    from speedcal.report.charts import CLOCKS, NARROW_CLOCKS, clock_match_svg

    drawn_as = style.AFTER if task["phase"] == "after" else style.BEFORE
    for name, shape in ((PICTURE, CLOCKS), (NARROW_PICTURE, NARROW_CLOCKS)):
        picture = clock_match_svg(calibration, unit=unit, drawn_as=drawn_as, shape=shape)
        (Path(task["out"]) / name).write_bytes(picture)
    return PICTURE
