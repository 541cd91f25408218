"""What every fit of readings asks of their rows: clock offsets to start from, what they state, and their order."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np

from speedcal.calibration.dial.measured import NO_SPEED, UNUSED, MeasuredLine
from speedcal.calibration.readings.clock_search import Shift, search_shifts
from speedcal.calibration.readings.moments import Moments
from speedcal.calibration.speed.ground_speed import GroundSpeed
from speedcal.interval import FloatArray, IntArray
from speedcal.logs.drive.readings import Readings

DAY_S = 86400.0
_ENOUGH_FOR_SEARCH = 160


def shifts_of(
    ground: GroundSpeed,
    time_s: FloatArray,
    speed_mps: FloatArray,
    readings: Readings,
    known_s: float | None,
    at: Moments,
) -> list[Shift]:
    """Return the clock offsets worth refining, best first."""
    some = slice(None, None, max(1, len(time_s) // _ENOUGH_FOR_SEARCH))
    return search_shifts(
        ground,
        time_s[some],
        speed_mps[some],
        clock=readings.clock,
        middle_s=at.middle_s,
        half_width_s=max(at.half_width_s, 1.0),
        known_s=known_s,
        source=readings.source,
    )


def on_its_day(known_s: float | None, ground: GroundSpeed, readings: Readings, time_s: FloatArray) -> float | None:
    """Return a known clock offset with the whole days that times of day leave open."""
    if known_s is None or readings.clock != "time of day":
        return known_s
    return known_s + DAY_S * round((float(ground.time_s[0]) - float(time_s[0]) - known_s) / DAY_S)


def stated_by(readings: Readings) -> FloatArray:
    """Return the standard uncertainty that each reading states of itself, 0 where it states none. [m/s]."""
    if readings.u_speed_mps is None:
        return np.zeros(len(readings))
    return np.nan_to_num(readings.u_speed_mps)


def in_their_order(
    line: MeasuredLine, where: IntArray, readings: Readings, left: Mapping[str, IntArray] | None = None
) -> MeasuredLine:
    """Bring what was found for some readings into the order of all of them; those ``left`` get their reason."""
    time, ground = np.full(len(readings), np.nan), np.full(len(readings), np.nan)
    reason = np.where(np.isfinite(readings.speed_mps), UNUSED, NO_SPEED).astype(object)
    if line.clock_offset_s is not None:
        time = readings.time_s + line.clock_offset_s
        reason[~np.isfinite(time)] = NO_SPEED
    time[where], ground[where] = line.time_s, line.ground_mps
    hangs = np.zeros(len(readings))
    hangs[where] = line.hangs_mps if len(line.hangs_mps) else 0.0
    reason[where] = line.reason
    for why, rows in (left or {}).items():
        reason[rows] = why
    return replace(line, time_s=time, ground_mps=ground, hangs_mps=hangs, reason=tuple(reason))
