"""What a receiver writes down of a drive."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from benchmark.outside.driver import STEP_S, Motion
from benchmark.outside.road import Road
from benchmark.outside.wander import Array, lagged, to_step, wander

_AXIS_M, _FLATTENING = 6378137.0, 1 / 298.257223563
_SQUARE = _FLATTENING * (2 - _FLATTENING)
_WATER_DEG = ((-40.0, -100.0), (30.0, -50.0), (-25.0, 75.0), (5.0, -140.0), (44.0, -35.0))
"""Invented places, in the open ocean."""


@dataclass(frozen=True)
class ReceiverStyle:
    """What kind of receiver, and under what sky."""

    interval_s: tuple[float, float] = (1.0, 1.0)
    """Time between fixes, drawn anew for each."""
    jitter_s: float = 0.02
    """The stamp is off from when the fix was valid."""
    stamp_step_s: float = 0.001
    recorded: bool = True
    """Writes the Doppler speed."""
    doppler_mps: float = 0.06
    doppler_slow_mps: float = 0.04
    """Part of the Doppler noise that lasts some seconds."""
    smoothing_s: float = 0.0
    speed_step_mps: float = 0.01
    cut: bool = False
    """Whole steps downwards, not to the nearest."""
    position_m: float = 2.5
    position_fast_m: float = 0.08
    canyon_share: float = 0.0
    """Share of the time between high walls."""
    static_hold: bool = False
    tunnels: int = 0
    missing: float = 0.005
    heights: str = "none"
    """``none``, ``good`` (3 m, smooth) or ``poor`` (15 m, jumping)."""
    thinned_m: float = 0.0
    """An app leaves out fixes this near to the line through the rest."""


@dataclass(frozen=True)
class Fixes:
    """The track as written: arrays of one length, NaN where nothing is written."""

    time_s: Array
    latitude_deg: Array
    longitude_deg: Array
    elevation_m: Array
    speed_mps: Array
    segment: Array


def receive(rng: np.random.Generator, motion: Motion, road: Road, style: ReceiverStyle) -> Fixes:
    """Return the fixes of a drive."""
    grid = motion.time_s
    grade = road.grade_at(motion.place_m)
    flat = motion.speed_mps / np.hypot(1.0, grade)
    canyon = wander(rng, grid, 40.0) < -3.0
    if style.canyon_share > 0:
        hidden = wander(rng, grid, 40.0)
        canyon = hidden < np.quantile(hidden, style.canyon_share)
    east, north = _way(rng, motion, road, flat, style, canyon)
    count = int((grid[-1] - grid[0]) / min(style.interval_s)) + 1
    when = grid[0] + rng.uniform(0, 1) + np.cumsum(rng.uniform(*style.interval_s, count))
    when = when[(when < grid[-1]) & (rng.random(count) >= style.missing)]
    when, segment = _under_sky(rng, when, style)
    at = np.clip(np.rint((when - grid[0]) / STEP_S).astype(int), 0, len(grid) - 1)
    speed = np.full(len(when), np.nan)
    if style.recorded:
        noise = np.where(canyon[at], 6.0, 1.0)
        doppler = np.interp(when, grid, lagged(flat, STEP_S, style.smoothing_s))
        doppler += noise * style.doppler_mps * rng.standard_normal(len(when))
        doppler += noise * style.doppler_slow_mps * wander(rng, when, 4.0)
        if style.static_hold:
            doppler[motion.speed_at(when) < 0.5] = 0.0
        speed = np.round(to_step(np.abs(doppler), style.speed_step_mps, down=style.cut), 3)
    stamp = when + style.jitter_s * np.clip(rng.standard_normal(len(when)), -3, 3)
    stamp = to_step(stamp, style.stamp_step_s, down=style.stamp_step_s >= 1)
    latest = np.concatenate(([-np.inf], np.maximum.accumulate(stamp)[:-1]))
    keep = stamp > latest
    if style.thinned_m > 0:
        there = np.flatnonzero(keep)
        keep[:] = False
        keep[
            there[_shape(np.interp(when[there], grid, east), np.interp(when[there], grid, north), style.thinned_m)]
        ] = True
    latitude, longitude = _on_globe(rng, np.interp(when, grid, east), np.interp(when, grid, north))
    return Fixes(
        time_s=np.round(stamp[keep], 3),
        latitude_deg=np.round(latitude[keep], 7),
        longitude_deg=np.round(longitude[keep], 7),
        elevation_m=_heights(rng, when, motion, grade, style)[keep],
        speed_mps=speed[keep],
        segment=segment[keep],
    )


def _shape(east: Array, north: Array, near_m: float) -> list[int]:
    """Return the corners of a line that is nowhere farther off (Douglas and Peucker, Cartographica 10, 1973)."""
    corners, open_ = [0, len(east) - 1], [(0, len(east) - 1)]
    while open_:
        first, last = open_.pop()
        if last - first < 2:
            continue
        along_e, along_n = east[last] - east[first], north[last] - north[first]
        off_e, off_n = east[first + 1 : last] - east[first], north[first + 1 : last] - north[first]
        far = np.abs(along_e * off_n - along_n * off_e) / max(np.hypot(along_e, along_n), 1e-9)
        if far.max() > near_m:
            corner = first + 1 + int(np.argmax(far))
            corners.append(corner)
            open_ += [(first, corner), (corner, last)]
    return sorted(corners)


def _way(
    rng: np.random.Generator, motion: Motion, road: Road, flat: Array, style: ReceiverStyle, canyon: Array
) -> tuple[Array, Array]:
    """Return where the receiver believes to be. [m east, m north]."""
    heading = road.heading_at(motion.place_m)
    offs = np.where(canyon, 1.0, 0.0)
    axes = []
    for along in (np.sin(heading), np.cos(heading)):
        step = flat * along
        axis = np.concatenate(([0.0], np.cumsum((step[1:] + step[:-1]) / 2 * STEP_S)))
        axis += style.position_m * wander(rng, motion.time_s, 60.0)
        axis += style.position_fast_m * wander(rng, motion.time_s, 1.0)
        if style.canyon_share > 0:
            axis += 12.0 * lagged(offs, STEP_S, 3.0) * wander(rng, motion.time_s, 8.0)
        axes.append(axis)
    if style.static_hold:
        still = motion.speed_mps < 0.5
        last = np.maximum.accumulate(np.where(still, 0, np.arange(len(still))))
        axes = [axis[last] for axis in axes]
    return axes[0], axes[1]


def _under_sky(rng: np.random.Generator, when: Array, style: ReceiverStyle) -> tuple[Array, Array]:
    """Return the times outside tunnels, and the piece each belongs to (a new one after every second tunnel)."""
    segment = np.zeros(len(when), int)
    keep = np.ones(len(when), bool)
    for k in range(style.tunnels):
        entry = rng.uniform(when[0] + 60, when[-1] - 120)
        keep &= ~((when > entry) & (when < entry + rng.uniform(8, 60)))
        if k % 2:
            segment[when >= entry] += 1
    return when[keep], segment[keep]


def _heights(rng: np.random.Generator, when: Array, motion: Motion, grade: Array, style: ReceiverStyle) -> Array:
    if style.heights == "none":
        return np.full(len(when), np.nan)
    rise = np.diff(motion.place_m) * ((grade[1:] + grade[:-1]) / 2) / np.hypot(1.0, (grade[1:] + grade[:-1]) / 2)
    height = 120.0 + np.interp(when, motion.time_s, np.concatenate(([0.0], np.cumsum(rise))))
    if style.heights == "good":
        return np.round(height + 3.0 * wander(rng, when, 90.0), 1)
    return np.round(height + 12.0 * wander(rng, when, 30.0) + 4.0 * rng.standard_normal(len(when)))


def _on_globe(rng: np.random.Generator, east: Array, north: Array) -> tuple[Array, Array]:
    """Return latitude and longitude on the WGS84 ellipsoid of a way that starts at an invented place."""
    latitude0, longitude0 = np.radians(_WATER_DEG[rng.integers(len(_WATER_DEG))]) + rng.uniform(-0.01, 0.01, 2)

    def radii(latitude: Array) -> tuple[Array, Array]:
        w = np.sqrt(1 - _SQUARE * np.sin(latitude) ** 2)
        return _AXIS_M * (1 - _SQUARE) / w**3, _AXIS_M / w

    latitude = latitude0 + north / radii(latitude0)[0]
    latitude = latitude0 + north / radii((latitude + latitude0) / 2)[0]
    middle = (latitude[1:] + latitude[:-1]) / 2
    turn = np.diff(east) / (radii(middle)[1] * np.cos(middle))
    longitude = longitude0 + east[0] / _AXIS_M + np.concatenate(([0.0], np.cumsum(turn)))
    return np.degrees(latitude), np.degrees(longitude)
