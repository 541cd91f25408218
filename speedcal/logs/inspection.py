"""What a file is and what is in it, before anything is computed from it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import UTC, datetime, tzinfo
from pathlib import Path
from typing import Any, TypeVar

import numpy as np

from speedcal.errors import ReadingsFormatError, SpeedcalError, TrackFormatError
from speedcal.interval import FloatArray, tidy
from speedcal.logs.formats import LogFormat, Request, is_certain, recognise
from speedcal.logs.model import Readings, Track
from speedcal.logs.source import Source, load
from speedcal.units import KMH_MPS, LENGTH_UNIT_M, SPEED_UNIT_MPS, DisplayUnit

_T = TypeVar("_T")
_GAP_S, _GAP_INTERVALS = 3.0, 3.0
_CLOCKS = {
    "gps": "the clock of the track in the same file",
    "utc": "dates with a zone",
    "local": "dates without a zone",
    "time of day": "times of day without a date",
    "elapsed": "time since a start",
    "none": "no times: speeds held one after the other",
}


@dataclass(frozen=True, slots=True)
class Inspection:
    """What was found in one file: a track, readings, or both."""

    source: str
    kind: str
    track: Track | None
    readings: Readings | None
    refused: tuple[SpeedcalError, ...] = ()
    """Why the file cannot be used as the other of the two, where it looks as if it should."""

    def to_dict(self) -> dict[str, Any]:
        """Return the facts, ready for JSON; speeds in m/s; no coordinates."""
        return {
            "source": self.source,
            "kind": self.kind,
            "track": track_facts(self.track) if self.track is not None else None,
            "readings": readings_facts(self.readings) if self.readings is not None else None,
            "refused": [error.to_dict() for error in self.refused],
        }

    def render(self, unit: DisplayUnit | None = None) -> str:
        """Return the facts as lines for people, speeds in ``unit`` (readings in their own unit when it is None)."""
        lines = [f"{self.source}: {self.kind}"]
        if self.track is not None:
            lines += _track_lines(self.track, unit or "km/h")
        if self.readings is not None:
            lines += _readings_lines(self.readings, unit)
        lines += [f"  as readings not usable: {error}" for error in self.refused]
        return "\n".join(lines)

    def __str__(self) -> str:
        return self.render()


def inspect_file(
    path: str | Path, *, unit: str | None = None, column: str | None = None, zone: str | None = None
) -> Inspection:
    """Read a file as whatever it is.

    Parameters
    ----------
    path
        The file.
    unit, column, zone
        As for :func:`speedcal.logs.read_readings`.

    Raises
    ------
    TrackFormatError, ReadingsFormatError
        The file is neither a track nor readings; the message is that of the kind it resembles more.
    """
    from speedcal.logs import request_of

    request = request_of(unit, column, zone)
    source = load(path, ReadingsFormatError, is_certain)
    log = recognise(source)
    asked = (
        _attempt(lambda: _as_track(replace(source, error=TrackFormatError), log, request.zone)),
        _attempt(lambda: _as_readings(source, log, request)),
    )
    (track, no_track), (readings, no_readings) = asked
    either = log.readings is not None and log.name != "GPX"
    if track is None and readings is None:
        reasons = [no_readings, no_track] if either else [no_track, no_readings]
        raise next(error for error in reasons if error is not None)
    refused = (no_readings,) if either and no_readings is not None and track is not None else ()
    kinds = [found.kind for found in (track, readings) if found is not None]
    return Inspection(source.name, " and ".join(dict.fromkeys(kinds)), track, readings, refused)


def _attempt(read: Callable[[], _T | None]) -> tuple[_T | None, SpeedcalError | None]:
    try:
        return read(), None
    except SpeedcalError as error:
        return None, error


def _as_track(source: Source, log: LogFormat, zone: tzinfo | None) -> Track | None:
    return log.track(source, zone) if log.track is not None else None


def _as_readings(source: Source, log: LogFormat, request: Request) -> Readings | None:
    return log.readings(source, request) if log.readings is not None else None


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


def _track_lines(track: Track, unit: DisplayUnit) -> list[str]:
    facts = track_facts(track)
    factor = SPEED_UNIT_MPS[unit]
    speed = f"recorded with {facts['with_speed']} of {len(track)} fixes"
    if facts["speed_mps"] is not None:
        low, high = facts["speed_mps"]
        speed += f", {low / factor:.1f} to {high / factor:.1f} {unit}"
    if facts["speed_source"] == "positions":
        speed = "from positions" if facts["speed_mps"] is None else f"from positions ({speed})"
    every = f"one every {facts['interval_s']:g} s"
    lines = [
        f"  track       {len(track)} fixes over {facts['duration_s'] / 60:.1f} min, {every}",
        f"  start       {facts['start'] or 'times of day only, no date'}",
        f"  speed       {speed}",
        f"  elevation   with {facts['with_elevation']} fixes",
        f"  gaps        {facts['gaps']}" + (f", longest {facts['longest_gap_s']:g} s" if facts["gaps"] else ""),
    ]
    return lines + _remarks(track)


def _readings_lines(readings: Readings, unit: DisplayUnit | None) -> list[str]:
    facts = readings_facts(readings)
    shown = unit or readings.speed_unit
    factor = SPEED_UNIT_MPS[shown]
    low, high = (speed / factor for speed in facts["speed_mps"])
    step = readings.speed_resolution_mps / SPEED_UNIT_MPS[readings.speed_unit]
    if abs(step - round(step, 3)) > 1e-6:  # a logger that converted whole km/h
        step_text = f"{readings.speed_resolution_mps / KMH_MPS:.4g} km/h"
    else:
        step_text = f"{step:.4g} {readings.speed_unit}"
    lines = [
        f"  readings    {len(readings)}, {low:.1f} to {high:.1f} {shown}, in steps of {step_text}",
        f"  clock       {_CLOCKS[readings.clock]}",
    ]
    if readings.clock != "none":
        every = f", one every {facts['interval_s']:g} s" if facts["interval_s"] is not None else ""
        minutes, step_s = facts["duration_s"] / 60, readings.time_resolution_s
        lines.append(f"  times       over {minutes:.1f} min{every}, in steps of {step_s:g} s")
    if facts["with_odometer"]:
        word = "mi" if shown == "mph" else "km"
        length, fineness = (facts[f"odometer_{name}_m"] / LENGTH_UNIT_M[word] for name in ("distance", "resolution"))
        lines.append(
            f"  odometer    {facts['with_odometer']} values, {length:.4g} {word}, in steps of {fineness:.3g} {word}"
        )
    return lines + _remarks(readings)


def _remarks(found: Track | Readings) -> list[str]:
    left_out = ", ".join(f"{reason}: {count}" for reason, count in found.dropped.items())
    return [f"  left out    {left_out or 'nothing'}"] + [f"  note        {finding.text}" for finding in found.findings]
