"""Speed between fixes by the way along them, for readings too few to help: a spline whose accelerations it learns.

Stamps that are late by a part of a second put each fix some metres along the road. A fit over a few seconds makes
metres a second of that; one over many seconds cuts the ramps. So the way is a spline of time, and how much the vehicle
accelerates near each knot, and how far fixes lie off near each fix, are those of greatest evidence (D. J. C. MacKay,
Neural Computation 4, 1992, 415-447): long where the speed is held, short where it changes.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from speedcal.calibration.speed.banded import Banded
from speedcal.calibration.speed.between_fixes import way_between
from speedcal.calibration.speed.ground_speed import GroundSpeed
from speedcal.calibration.speed.motion import local_sum
from speedcal.calibration.speed.speed_spline import SplineGrid
from speedcal.calibration.tuning import track as tuned
from speedcal.calibration.tuning.logs import DENSE_POSITIONS_S
from speedcal.interval import BoolArray, FloatArray, IntArray

_LOOSE = 1e-6
_OUTLIER = 6.0
"""Square of a standardised residual from which on a fix counts for less, as Student's t of four degrees has it."""
_MOST_AT_ONCE = 16.0
"""Square of a residual over the usual one that counts towards the noise about it."""


def speed_along_way(ground: GroundSpeed) -> GroundSpeed:
    """Return the ground speed with a speed, and an uncertainty of its own, at fixes and moments two seconds apart.

    Parameters
    ----------
    ground
        Ground speed from positions, or recorded at fixes far apart.
    """
    piece = np.unique(ground.piece, return_inverse=True)[1]
    way, evenly, u_distance = _way(ground, piece)
    grid = SplineGrid.over(ground.time_s, piece, max(tuned.WAY_KNOTS_S, ground.interval_s / 2))
    coefficients, covariance = _fitted(ground, piece, way, grid)
    dense = ground.interval_s <= DENSE_POSITIONS_S
    time, before, share = _moments(ground.time_s, piece, np.inf if dense else tuned.WAY_KNOTS_S)
    places = grid.locate(time, piece[before])
    after = np.minimum(before + 1, len(piece) - 1)
    road = ground.road_over_level[before] * (1 - share) + ground.road_over_level[after] * share
    speed = np.maximum(places.of(coefficients, places.rate), 0.0) * road
    u_speed = np.sqrt(np.maximum(places.variances(covariance, places.rate, places.rate), 0.0))
    moving = speed > tuned.SLOWEST_MPS
    bending = grid.bending_at(places, grid.bending(coefficients))
    gone = places.of(coefficients, places.value) + np.interp(time, ground.time_s, evenly - way)
    distance = _distance(gone, ground.piece[before], road)
    return replace(
        ground,
        time_s=time,
        piece=ground.piece[before],
        speed_mps=speed,
        u_speed_mps=float(np.sqrt(np.mean(u_speed[moving if moving.any() else slice(None)] ** 2))),
        u_each_mps=u_speed,
        usable=ground.usable[before] & ground.usable[np.where(share > 0, after, before)],
        acceleration=bending,
        slope=bending,
        distance_m=distance,
        u_distance=u_distance,
        road_over_level=road,
        local_fit=ground.local_fit if dense else None,  # it stands at the fixes
    )


def _distance(way_m: FloatArray, piece: IntArray, road: FloatArray) -> FloatArray:
    """Return the distance along the road since the first moment; what lies between pieces is missing from it. [m]."""
    step = np.diff(way_m) * (road[1:] + road[:-1]) / 2
    return np.concatenate(([0.0], np.cumsum(np.where(np.diff(piece) == 0, step, 0.0))))


def _moments(time_s: FloatArray, piece: IntArray, apart_s: float) -> tuple[FloatArray, IntArray, FloatArray]:
    """Return the fixes and moments between those far apart, the fix before each, and how far on its way to the next."""
    step = np.diff(time_s)
    parts = np.where(np.diff(piece) == 0, np.maximum(np.ceil(step / apart_s), 1), 1).astype(np.int64)
    parts = np.append(parts, 1)
    before = np.repeat(np.arange(len(time_s)), parts)
    share = (np.arange(len(before)) - np.repeat(np.cumsum(parts) - parts, parts)) / parts[before]
    return time_s[before] + share * np.append(step, 0.0)[before], before, share


def _way(ground: GroundSpeed, piece: IntArray) -> tuple[FloatArray, FloatArray, float]:
    """Return the way to each fix from the first of its piece, level, in m, as speeds and as distances ask.

    And its relative uncertainty.
    """
    u_way = 0.0
    if ground.interval_s >= tuned.CORNERS_FROM_S:
        between = way_between(piece, ground.east_m, ground.north_m, ground.speed_mps)
        step, even, u_way = between.bent_step_m, between.step_m, between.u
    else:
        east, north = np.diff(ground.east_m), np.diff(ground.north_m)
        chord, course = np.hypot(east, north), np.arctan2(north, east)
        across = _noise_across(ground, piece, np.append(course, course[-1]))
        # what lies across the road lengthens each step: E hypot(L, e1 - e2) = L + u^2/L
        step = np.maximum(chord - across**2 / np.maximum(chord, max(across, tuned.LEAST_FIX_NOISE_M)), 0.0)
        step[np.diff(piece) != 0] = 0.0
        even = step
    way, evenly = (np.concatenate(([0.0], np.cumsum(steps))) for steps in (step, even))
    first = np.searchsorted(piece, piece)
    return np.asarray(way - way[first]), np.asarray(evenly - evenly[first]), u_way


def _noise_across(ground: GroundSpeed, piece: IntArray, course: FloatArray) -> float:
    """Return by how much fixes lie off across the course: what is left of four in a row by a parabola of time. [m]."""
    rows = np.arange(len(piece) - 3)[:, None] + np.arange(4)
    time, east, north = (x[rows] - x[rows[:, :1]] for x in (ground.time_s, ground.east_m, ground.north_m))
    between = time[:, :, None] - time[:, None, :] + np.eye(4)
    contrast = 1 / np.prod(between, axis=2)
    contrast /= np.sqrt((contrast**2).sum(axis=1))[:, None]
    along = course[rows[:, 1]]
    off = (contrast * north).sum(axis=1) * np.cos(along) - (contrast * east).sum(axis=1) * np.sin(along)
    moving = (ground.speed_mps[rows[:, 1]] >= tuned.SLOWEST_MPS) & (piece[rows[:, 0]] == piece[rows[:, 3]])
    return float(np.sqrt(_usual(off[moving] ** 2))) if moving.any() else 0.0


def _fitted(ground: GroundSpeed, piece: IntArray, way: FloatArray, grid: SplineGrid) -> tuple[FloatArray, FloatArray]:
    """Return the coefficients of the way and the band of their covariance."""
    places = grid.locate(ground.time_s, piece)
    moving = ground.speed_mps >= tuned.SLOWEST_MPS
    moving = moving if moving.any() else np.ones(len(way), bool)
    acceleration2 = np.full(len(grid), tuned.USUAL_WAY_ACCELERATION**2)
    noise2 = np.full(len(way), (ground.u_speed_mps * ground.interval_s) ** 2 + tuned.LEAST_FIX_NOISE_M**2)
    # what the fixes leave open stays near the way between them: held near nothing, a way of hundreds of km would stray
    between = np.interp(grid.knots_s, ground.time_s, way)
    coefficients = covariance = np.empty(0)
    # where speed is recorded it is seen as well, and positions wander by what it does not
    recorded = ground.source == "recorded"
    precision = np.full(len(way), recorded / (ground.u_speed_mps**2 + ground.step_mps**2 / 12))
    least_m = tuned.WANDER_OF_FIXES_M if recorded else tuned.LEAST_FIX_NOISE_M
    for _ in range(tuned.WAY_ROUNDS):
        band = grid.stiffness(1 / acceleration2)
        band[0] += _LOOSE
        places.add_information(band, places.value, 1 / noise2)
        told = _LOOSE * between + places.add_up(places.value, way / noise2, len(grid))
        if recorded:
            places.add_information(band, places.rate, precision)
            level = ground.speed_mps / ground.road_over_level
            told += places.add_up(places.rate, precision * level, len(grid))
        known = Banded(band)
        coefficients = known.solve(told)
        covariance = known.inverse()
        off2 = (way - places.of(coefficients, places.value)) ** 2
        seen2 = off2 + places.variances(covariance, places.value, places.value)
        noise2 = np.maximum(_near(seen2, moving), least_m**2)
        noise2 *= np.maximum(1.0, off2 / noise2 / _OUTLIER)
        acceleration2 = _learnt(grid, coefficients, covariance, acceleration2)
    return coefficients, covariance


def _usual(off2: FloatArray) -> float:
    """Return the mean square of what some residuals usually are; positions on a grid have no median to go by."""
    return float(np.minimum(off2, _MOST_AT_ONCE * np.median(off2)).mean())


def _near(off2: FloatArray, moving: BoolArray) -> FloatArray:
    """Return the mean square of how far fixes lie off near each, drawn towards that of all under way. [m2]."""
    usual2 = _usual(off2[moving])
    near2 = local_sum(np.minimum(off2, _MOST_AT_ONCE * usual2), tuned.FIX_NOISE_REACH)
    return (near2 + tuned.FIX_NOISE_POOL * usual2) / (
        local_sum(np.ones(len(off2)), tuned.FIX_NOISE_REACH) + tuned.FIX_NOISE_POOL
    )


def _learnt(
    grid: SplineGrid, coefficients: FloatArray, covariance: FloatArray, acceleration2: FloatArray
) -> FloatArray:
    """Return the mean square of the acceleration near each knot, from that before (MacKay's fixed point). [m2/s4]."""
    reach = max(1, round(tuned.WAY_REACH_S / grid.spacing_s))
    expected2 = max(tuned.USUAL_WAY_ACCELERATION**2, tuned.WAY_LEARNT * float(np.exp(np.log(acceleration2).mean())))
    learnt = np.clip(1 - grid.bending_variances(covariance) / acceleration2, 0.0, 1.0)
    return np.clip(
        (local_sum(grid.bending(coefficients) ** 2, reach) + tuned.WAY_POOL * expected2)
        / (local_sum(learnt * grid.inner, reach) + tuned.WAY_POOL),
        tuned.LEAST_WAY_ACCELERATION**2,
        tuned.MOST_WAY_ACCELERATION**2,
    )
