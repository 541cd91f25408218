"""The true speed of a drive, and what a receiver makes of it."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from speedcal.calibration.speed.geodesy import curvature_radii_m
from speedcal.interval import BoolArray, FloatArray, IntArray
from speedcal.logs.drive.track import Track
from speedcal.simulate.model import DriveKind, Plateau, distance_m

POSITION_SD_M = 2.0
POSITION_SCALE_S = 90.0
HEIGHT_SD_M = 3.0
HILL_LENGTH_M = 3000.0
DOPPLER_SD_MPS = 0.08
FIX_JITTER_S = 0.01
MISSING_SHARE = 0.01

_OCEAN_DEG = ((-48.0, -125.0), (36.0, -42.0), (-30.0, 85.0), (-38.0, 180.0), (20.0, -150.0))
"""Middles of empty pieces of ocean, one of them on the 180th meridian: latitude, longitude."""


def draw_profile(
    kind: DriveKind, plan: Sequence[Plateau], rng: np.random.Generator
) -> tuple[FloatArray, FloatArray, list[tuple[float, float, float]]]:
    """Return the time grid from 0, the true speed on it, and the plateaus (begin, end, mean speed)."""
    holds = [(0.0, rng.uniform(10, 40))]
    held: list[int] = []
    for plateau in plan:
        if held and rng.random() < 0.2:
            holds.append((0.0, rng.uniform(8, 45)))
        held.append(len(holds))
        holds.append((plateau.speed_mps, plateau.seconds))
    holds.append((0.0, rng.uniform(10, 40)))
    level = np.array([speed for speed, _ in holds])
    ramp_s = 1.5 * np.abs(np.diff(level)) / rng.uniform(0.8, 2.0, len(level) - 1)
    edge = np.cumsum(np.column_stack(([s for _, s in holds], np.append(ramp_s, 0.0))).ravel())[:-1]
    begin, end = np.concatenate(([0.0], edge[1::2])), edge[::2]
    step = 0.1 if edge[-1] < 7200 else 0.5
    time = np.arange(0.0, edge[-1], step)
    wander = kind.wander_mps * _markov(rng, len(time), step, kind.wander_scale_s, poles=1)
    inside = [slice(*np.searchsorted(time, (begin[k], end[k]))) for k in held]
    level[held] -= [wander[piece].mean() for piece in inside]
    speed = np.interp(time, np.column_stack((begin, end)).ravel(), np.repeat(level, 2))
    which = np.searchsorted(edge, time, side="right")
    on_ramp = (which % 2 == 1) & (which < len(edge))
    low = which[on_ramp]
    u = (time[on_ramp] - edge[low - 1]) / (edge[low] - edge[low - 1])
    rise = np.diff(level)[low // 2]
    speed[on_ramp] = level[low // 2] + rise * u * u * (3 - 2 * u)
    speed = np.maximum(speed + wander * np.clip(speed / 5, 0, 1), 0.0)
    return time, speed, [(begin[k], end[k], float(speed[piece].mean())) for k, piece in zip(held, inside, strict=True)]


def _markov(rng: np.random.Generator, n: int, step_s: float, scale_s: float, *, poles: int) -> FloatArray:
    """Return a stationary process of variance 1: exponentially correlated (1 pole) or Matern 3/2 (2 poles).

    C. E. Rasmussen and C. K. I. Williams, *Gaussian Processes for Machine Learning*, MIT Press 2006, section 4.2.1.
    """
    from scipy.signal import lfilter

    phi = np.exp(-step_s * np.sqrt(2 * poles - 1) / scale_s)
    lead = int(8 * scale_s / step_s)
    white = rng.standard_normal(n + lead)
    if poles == 1:
        return np.asarray(lfilter([np.sqrt(1 - phi**2)], [1, -phi], white)[lead:])
    gain = np.sqrt((1 - phi**2) ** 3 / (1 + phi**2))
    return np.asarray(lfilter([gain], [1, -2 * phi, phi**2], white)[lead:])


def receive(kind: DriveKind, rng: np.random.Generator, grid_s: FloatArray, ground: FloatArray) -> Track:
    """Return what a receiver makes of the drive; its speed is the horizontal one."""
    step = grid_s[1] - grid_s[0]
    distance = distance_m(grid_s, ground)
    height, grade = _hills(kind, rng, distance)
    level = np.diff(distance) / np.hypot(1.0, (grade[1:] + grade[:-1]) / 2)
    latitude, longitude = _way(rng, distance, level, height)
    meridian, prime_vertical = curvature_radii_m(latitude[0])
    error = [POSITION_SD_M * _markov(rng, len(grid_s), step, POSITION_SCALE_S, poles=2) for _ in range(2)]
    latitude = latitude + np.degrees(error[0] / meridian)
    longitude = longitude + np.degrees(error[1] / (prime_vertical * np.cos(np.radians(latitude[0]))))
    time = np.arange(grid_s[0], grid_s[-1], kind.fix_interval_s)
    time = np.round(time + np.clip(rng.normal(0, FIX_JITTER_S, len(time)), -0.05, 0.05), 3)
    keep, segment = _received(kind, rng, time, grid_s, ground)
    time = time[keep]
    speed = np.full(len(time), np.nan)
    if kind.recorded_speed:
        doppler = np.interp(time, grid_s, ground / np.hypot(1.0, grade)) + rng.normal(0, DOPPLER_SD_MPS, len(time))
        speed = np.round(np.maximum(doppler, 0.0), 2)
    elevation = np.full(len(time), np.nan)
    if kind.height_m or kind.hills_m:
        high = height + HEIGHT_SD_M * _markov(rng, len(grid_s), step, POSITION_SCALE_S, poles=2)
        elevation = np.round(np.interp(time, grid_s, high), 1)
    around = (np.interp(time, grid_s, longitude) + 180) % 360 - 180
    return Track(
        time_s=time,
        latitude_deg=np.round(np.interp(time, grid_s, latitude), 7),
        longitude_deg=np.round(around, 7),
        elevation_m=elevation,
        speed_mps=speed,
        segment=segment[keep],
        kind="GPX 1.1",
        source="simulated track",
    )


def _way(
    rng: np.random.Generator, distance: FloatArray, level: FloatArray, height: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Return a road that turns by about half a radian a kilometre, on the ellipsoid, at a height. [deg]."""
    corners = rng.uniform(0, 2 * np.pi) + np.cumsum(rng.normal(0, 0.5, int(distance[-1] // 1000) + 2))
    heading = np.interp(distance, 1000.0 * np.arange(len(corners)), corners)
    turn = (heading[1:] + heading[:-1]) / 2
    latitude0, longitude0 = np.array(_OCEAN_DEG[rng.integers(len(_OCEAN_DEG))]) + rng.uniform(-0.1, 0.1, 2)
    middle_height = (height[1:] + height[:-1]) / 2
    latitude = np.full(len(distance), latitude0)
    for _ in range(2):  # the radius depends on the latitude, by so little that the second pass is final
        radius = curvature_radii_m((latitude[1:] + latitude[:-1]) / 2)[0] + middle_height
        latitude = latitude0 + np.degrees(np.concatenate(([0.0], np.cumsum(level * np.cos(turn) / radius))))
    middle = (latitude[1:] + latitude[:-1]) / 2
    parallel = (curvature_radii_m(middle)[1] + middle_height) * np.cos(np.radians(middle))
    east = np.concatenate(([0.0], np.cumsum(level * np.sin(turn) / parallel)))
    return latitude, longitude0 + np.degrees(east)


def _hills(kind: DriveKind, rng: np.random.Generator, distance: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return height and grade along the road: one wave every three kilometres. [m, 1]."""
    phase = 2 * np.pi * distance / HILL_LENGTH_M + (rng.uniform(0, 2 * np.pi) if kind.hills_m else 0.0)
    grade = kind.hills_m * 2 * np.pi / HILL_LENGTH_M * np.cos(phase)
    return kind.height_m + kind.hills_m * np.sin(phase), grade / np.sqrt(1 - grade**2)


def _received(
    kind: DriveKind, rng: np.random.Generator, time: FloatArray, grid_s: FloatArray, ground: FloatArray
) -> tuple[BoolArray, IntArray]:
    """Return which fixes were received, and the number of the piece each belongs to (half the tunnels break it)."""
    keep = rng.random(len(time)) >= MISSING_SHARE
    keep[[0, -1]] = True
    segment = np.zeros(len(time), np.int64)
    moving = grid_s[(ground > 10) & (grid_s > grid_s[0] + 60) & (grid_s < grid_s[-1] - 120)]
    for k in range(rng.integers(2, kind.gaps + 1) if kind.gaps else 0):
        entry = rng.choice(moving)
        dark = (time > entry) & (time < entry + rng.uniform(10, 60))
        keep &= ~dark
        if k % 2:
            segment[time >= entry] += 1
    return keep, segment
