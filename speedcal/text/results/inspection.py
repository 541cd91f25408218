"""What the command says of a track, of readings and of a file that was looked at."""

from __future__ import annotations

import textwrap
from collections.abc import Mapping
from typing import Any

import numpy as np

from speedcal.errors import TrackFormatError
from speedcal.logs.drive.readings import Readings
from speedcal.logs.drive.track import Track
from speedcal.logs.inspection import Inspection, readings_facts, track_facts
from speedcal.text.codes.format_messages import left_out
from speedcal.text.messages import label
from speedcal.text.words.numbers import short, span
from speedcal.units import KMH_MPS, LENGTH_UNIT_M, SPEED_UNIT_MPS, DisplayUnit

CLOCKS = {
    "gps": "the clock of the track in the same file",
    "utc": "dates with a zone",
    "local": "dates without a zone",
    "time of day": "times of day without a date",
    "elapsed": "time since a start",
    "none": "no times: speeds held one after the other",
}
_ORIGINS = {"instrument": "of the instrument", "vehicle": "of the vehicle", "satellite": "of the receiver"}
_ROLES = {
    "north_south": "north or south",
    "east_west": "east or west",
    "validity": "state of the fix",
    "engine": "engine speed",
    "u": "uncertainty of each reading",
    "u_common": "uncertainty that all readings share",
    "session": "vehicle or session",
}


def summary(found: Track | Readings | Inspection) -> str:
    """Return a track or readings in a line, an inspection in a few."""
    if isinstance(found, Inspection):
        return render(found)
    kind = label(found.kind)
    if isinstance(found, Readings):
        return f"{found.source or 'readings'}: {kind}, {len(found)} readings in {found.speed_unit}"
    minutes = (found.time_s[-1] - found.time_s[0]) / 60 if len(found) else 0.0
    speed = "with recorded speed" if np.isfinite(found.speed_mps).mean() > 0.5 else "positions only"
    return f"{found.source or 'track'}: {kind}, {len(found)} fixes over {minutes:.1f} min, {speed}"


def render(found: Inspection, unit: DisplayUnit | None = None) -> str:
    """Return the facts as lines, speeds in ``unit`` (readings in their own unit when it is None)."""
    lines = [f"{found.source}: {' and '.join(map(label, found.kinds))}"]
    if found.track is not None:
        lines += _track_lines(found.track, unit or "km/h")
    if found.readings is not None:
        lines += _readings_lines(found.readings, unit)
    lines += [
        f"  not usable as {'a track' if isinstance(error, TrackFormatError) else 'readings'}: {error}"
        for error in found.refused
    ]
    if found.refused and found.columns:
        lines += column_lines([column.to_dict() for column in found.columns], found.header_line)
    return "\n".join(lines)


def column_lines(columns: list[Mapping[str, Any]], header_line: int | None) -> list[str]:
    """Return what each column of a table was taken for, in a few lines; those that say nothing stand together."""
    taken = []
    for column in columns:
        if column["role"]:
            origin = _ORIGINS.get(column["origin"], column["origin"])
            what = " ".join(filter(None, [_ROLES.get(column["role"], column["role"]), origin]))
            taken.append(f"{column['name']!r} for {what}" + (f" in {column['unit']}" if column["unit"] else ""))
    silent = [repr(column["name"]) for column in columns if not column["role"]]
    text = f"the header is line {header_line}; " + (
        f"taken: {', '.join(taken)}" if taken else "no column was understood"
    )
    text += f"; not used: {', '.join(silent)}" if silent else ""
    return textwrap.wrap(text, 110, initial_indent="  ", subsequent_indent="    ")


def _track_lines(track: Track, unit: DisplayUnit) -> list[str]:
    facts = track_facts(track)
    factor = SPEED_UNIT_MPS[unit]
    speed = f"recorded with {facts['with_speed']} of {len(track)} fixes"
    if facts["speed_mps"] is not None:
        low, high = facts["speed_mps"]
        speed += f", {short(low / factor, 1)} to {short(high / factor, 1)} {unit}"
    if facts["speed_source"] == "positions":
        speed = "from positions" if facts["speed_mps"] is None else f"from positions ({speed})"
    every = f"one every {facts['interval_s']:.3g} s"
    lines = [
        f"  track       {len(track)} fixes over {facts['duration_s'] / 60:.1f} min, {every}",
        f"  start       {_to_the_second(facts['start']) or 'times of day only, no date'}",
        f"  speed       {speed}",
        f"  elevation   with {facts['with_elevation']} fixes",
        f"  gaps        {facts['gaps']}" + (f", longest {span(facts['longest_gap_s'])}" if facts["gaps"] else ""),
    ]
    return lines + _remarks(track)


def _to_the_second(stamp: str | None) -> str:
    return f"{stamp[:10]} {stamp[11:19]} UTC" if stamp else ""


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
        f"  clock       {CLOCKS[readings.clock]}",
    ]
    if readings.clock != "none":
        every = f", one every {facts['interval_s']:.3g} s" if facts["interval_s"] is not None else ""
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
    return [f"  left out    {left_out(found.dropped) or 'nothing'}"] + [
        f"  note        {finding.text}" for finding in found.findings
    ]
