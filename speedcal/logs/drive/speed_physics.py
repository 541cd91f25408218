"""What positions and neighbours say about a column of speeds: its unit, and digits that lost their decimal mark."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from speedcal.interval import BoolArray, FloatArray, robust_scale
from speedcal.logs import limits
from speedcal.units import SPEED_UNIT_MPS, SpeedUnit

_RADIUS_M = 6_371_000.0
_WINDOW_S = 4.0
"""Time over which a speed is taken from positions."""
_LONGEST_S = 15.0
_SLOWEST_MPS, _FEWEST = 4.0, 15
_NOTHING = 1e-6
"""Numbers up to this are no speeds of a vehicle under way, in any unit."""
_WORST_SCATTER = 0.12
_NEAREST = 0.07
"""How far a ratio may be from a unit: half of what lies between knots and mph, in logarithms."""
_WORST_RATIO = 0.03
"""How far the speed of a receiver may be from that of its positions; slopes and bends make up to 2 %."""
_MOST_LOST = 0.5
_POLE_DEG = 90.0
_LOOKED_AT = 5_000
_OFF_SCATTER, _NEARER = 0.03, 0.3
"""Scatter of recorded speeds about positions that is worse than any receiver's, and how much less must be left."""
_MOST_DIGITS = 7


def positions_mps(time_s: FloatArray, latitude_deg: FloatArray, longitude_deg: FloatArray) -> FloatArray:
    """Return the speed over the positions around each fix, NaN where they are too far apart in time. Within 0.6 %."""
    n = len(time_s)
    speed = np.full(n, np.nan)
    known = np.flatnonzero(np.isfinite(time_s) & (np.abs(latitude_deg) <= 90) & (np.abs(longitude_deg) <= 180))
    known = known[np.concatenate(([True], np.diff(time_s[known]) > 0))] if len(known) else known
    if len(known) < 3:
        return speed
    t, north = np.maximum.accumulate(time_s[known]), np.radians(latitude_deg[known]) * _RADIUS_M
    east, parallel = np.radians(longitude_deg[known]) * _RADIUS_M, np.cos(np.radians(latitude_deg[known]))
    before = np.clip(np.searchsorted(t, t - _WINDOW_S / 2, "right") - 1, 0, None)
    after = np.clip(np.searchsorted(t, t + _WINDOW_S / 2, "left"), None, len(t) - 1)
    span = t[after] - t[before]
    with np.errstate(invalid="ignore", divide="ignore"):
        found = np.hypot(north[after] - north[before], (east[after] - east[before]) * parallel) / span
    speed[known] = np.where((span > 0) & (span < _LONGEST_S), found, np.nan)
    return speed


def are_swapped(
    time_s: FloatArray, latitude_deg: FloatArray, longitude_deg: FloatArray, speeds: FloatArray | None
) -> bool:
    """Tell whether latitudes stand where longitudes should and the other way round.

    So where only that puts a drive on the globe, or where recorded speeds, in whichever unit, follow positions that are
    read the other way round and do not follow them as they are.
    """
    with np.errstate(invalid="ignore"):
        on_globe = np.minimum(np.abs(latitude_deg), np.abs(longitude_deg)) <= _POLE_DEG
    at = np.flatnonzero(on_globe & np.isfinite(latitude_deg + longitude_deg + time_s))[:_LOOKED_AT]
    if not len(at):
        return False
    time_s, north, east = time_s[at], latitude_deg[at], longitude_deg[at]
    if (np.abs(north) > _POLE_DEG).mean() > _MOST_LOST:
        ground = positions_mps(time_s, east, north)
        moving = ground[np.isfinite(ground) & (ground > _SLOWEST_MPS)]
        return len(moving) >= _FEWEST and float(np.median(moving)) < limits.FASTEST_MPS
    if speeds is None or (np.abs(east) > _POLE_DEG).any():
        return False
    as_written = _scatter(speeds[at], positions_mps(time_s, north, east))
    return as_written > _OFF_SCATTER and _scatter(speeds[at], positions_mps(time_s, east, north)) < _NEARER * as_written


def _scatter(speeds: FloatArray, ground_mps: FloatArray) -> float:
    logs = _log_ratios(speeds, ground_mps)
    return float(robust_scale(logs - np.median(logs))) if len(logs) else 0.0


def _log_ratios(speeds: FloatArray, ground_mps: FloatArray) -> FloatArray:
    """Return the logarithms of how many of the numbers make a m/s, under way; none where they are too few."""
    moving = np.isfinite(speeds) & np.isfinite(ground_mps) & (ground_mps > _SLOWEST_MPS) & (speeds > _NOTHING)
    logs = np.log(speeds[moving] / ground_mps[moving])
    return logs if len(logs) >= _FEWEST else logs[:0]


def ratio_to_positions(speeds: FloatArray, ground_mps: FloatArray) -> float:
    """Return how many of the numbers make a m/s over the ground, NaN where the drive or the scatter do not tell."""
    logs = _log_ratios(speeds, ground_mps)
    if not len(logs):
        return math.nan
    middle = float(np.median(logs))
    scatter = robust_scale(logs - middle)
    return math.exp(middle) if scatter < _WORST_SCATTER else math.nan


def unit_by_positions(speeds: FloatArray, ground_mps: FloatArray) -> tuple[SpeedUnit | None, float]:
    """Return the unit in which the numbers agree with the positions, and the ratio that is left; None without one."""
    ratio = ratio_to_positions(speeds, ground_mps)
    if not math.isfinite(ratio):
        return None, math.nan
    unit: SpeedUnit = min(SPEED_UNIT_MPS, key=lambda name: abs(math.log(ratio * SPEED_UNIT_MPS[name])))
    left = ratio * SPEED_UNIT_MPS[unit]
    return (unit, left) if abs(math.log(left)) < _NEAREST else (None, left)


def is_receivers(left: float) -> bool:
    """Tell whether a ratio to the positions is near enough to one for the speed of the receiver itself."""
    return abs(left - 1.0) <= _WORST_RATIO


def with_decimals(values: FloatArray, cells: Sequence[str], fastest: float) -> tuple[FloatArray, int, int]:
    """Put back decimal marks that an export lost: 138093 between 137.9 and 138.2 is 138.093.

    Only where some values cannot be speeds, most can, and others in the column have decimals. A repaired value must
    fit the last and the next possible one; what does not is left out.

    Returns
    -------
    values, repaired, left_out
        The numbers, and how many were repaired and left out.
    """
    beyond: BoolArray = np.isfinite(values) & (np.abs(values) > fastest)
    if not beyond.any():
        return values, 0, 0
    plain = np.array([cell.lstrip("+-").isdecimal() for cell in cells])
    impossible: BoolArray = plain & beyond
    count = int(impossible.sum())
    if not count or count > _MOST_LOST * np.isfinite(values).sum():
        return values, 0, 0
    if not (~plain & np.isfinite(values) & (np.abs(values) <= fastest)).any():
        return values, 0, 0
    result = values.copy()
    good = np.flatnonzero(np.isfinite(values) & ~impossible)
    for i in np.flatnonzero(impossible):
        at = int(np.searchsorted(good, i))
        near = [values[good[k]] for k in (at - 1, at) if 0 <= k < len(good)]
        low, high = min(near), max(near)
        slack = max(0.05 * high, 0.01 * fastest)
        choices = [
            value for k in range(1, _MOST_DIGITS) if low - slack <= (value := values[i] / 10.0**k) <= high + slack
        ]
        result[i] = choices[0] if len(choices) == 1 else np.nan
    left_out = int(np.isnan(result[impossible]).sum())
    return result, count - left_out, left_out


def zeros_under_way(
    time_s: FloatArray, latitude_deg: FloatArray, longitude_deg: FloatArray, speed_mps: FloatArray
) -> BoolArray:
    """Return which recorded speeds of exactly 0 stand for none: those of a run in which the positions go on."""
    zero = speed_mps == 0
    moving = zero & (positions_mps(time_s, latitude_deg, longitude_deg) > _SLOWEST_MPS)
    run = np.cumsum(np.diff(zero, prepend=False))
    return np.asarray(zero & (np.bincount(run, moving) >= _FEWEST)[run] if len(run) else zero)


def fastest_in(unit: SpeedUnit) -> float:
    """Return the highest speed of a road vehicle, in a unit."""
    return limits.FASTEST_MPS / SPEED_UNIT_MPS[unit]
