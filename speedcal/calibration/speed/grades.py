"""How much longer the road is than its map: from the heights of a track, or as uncertainty where it has none."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from functools import cache
from importlib import resources
from typing import Any, get_args

import numpy as np

from speedcal.calibration.tuning import track as tuned
from speedcal.finding import Finding
from speedcal.interval import FloatArray, IntArray, median
from speedcal.logs.drive.readings import Terrain
from speedcal.units import FOOT_M

_REACH_INTERVALS, _SHORTEST_M = 2.5, 5.0
_PACE_MPS = 20.0


@dataclass(frozen=True, slots=True)
class RoadOverLevel:
    """How much longer the road is than its map, and how well that is known."""

    ratio: FloatArray
    """Road over horizontal length at each fix."""
    u: float
    """Relative standard uncertainty that all of it shares."""
    u_climb2: float = 0.0
    """Standard uncertainty of the mean square of how fast heights climb and fall by themselves. [m2/s2]"""
    findings: tuple[Finding, ...] = ()


def road_over_level(
    time_s: FloatArray, piece: IntArray, elevation_m: FloatArray, speed_mps: FloatArray, terrain: Terrain | None = None
) -> RoadOverLevel:
    """Return road over horizontal length at each fix.

    A grade g makes it ``sqrt(1 + g^2)``. The square of a noisy grade is too large in the mean; the product of two
    grades, one from every other fix and one from the rest, is not, since their noise has nothing in common. Grades are
    taken over a length of road and not over a time, which would flatten hills more the faster they are driven and so
    turn up as a wrong error factor. What is left of them over twice the length tells how much of them is roughness of
    the heights and no road. Where they are steeper than mountain roads the heights may be in feet.

    Parameters
    ----------
    time_s, piece, elevation_m, speed_mps
        Fixes, shape (n,); elevation is NaN where there is none, speed is horizontal. [s, 1, m, m/s]
    terrain
        How hilly it was, as somebody says; heights know better where there are any.
    """
    known = np.isfinite(elevation_m)
    if known.mean() < tuned.HEIGHTS_NEEDED or len(time_s) < 4:
        told, u_told = (1.0, tuned.NO_HEIGHTS_U) if terrain is None else longer_in(terrain)
        return RoadOverLevel(np.full(len(time_s), told), u_told)
    height = np.interp(time_s, time_s[known], elevation_m[known]) - float(np.mean(elevation_m[known]))
    step = np.diff(time_s)
    way = np.concatenate(([0.0], np.cumsum(step * (speed_mps[1:] + speed_mps[:-1]) / 2)))
    moving = speed_mps > tuned.SLOWEST_MPS
    square, smoother = (
        np.where(moving, _square_of_grade(way, height, piece, reach), 0.0)
        for reach in (
            np.maximum(times * tuned.GRADE_REACH_M, _REACH_INTERVALS * median(step) * speed_mps) for times in (1, 2)
        )
    )
    climb = _climb_at_rest(time_s, height, piece, speed_mps)
    share_u, (rate2, u_rate2) = (
        (tuned.GRADE_SHARE_U, (0.0, 0.0)) if climb is None else (tuned.GRADE_SHARE_RESTED_U, climb)
    )
    a_rate = np.where(moving, 1 / np.maximum(speed_mps, tuned.SLOWEST_MPS) ** 2, 0.0)
    square, smoother = square - rate2 * a_rate, smoother - rate2 * a_rate
    longer = np.sqrt(1 + np.maximum(square, -(tuned.STEEPEST_GRADE**2)))
    extra, lost = float(np.mean(longer)) - 1, float(np.mean(square - smoother)) / 2
    u_extra = share_u * extra
    steep = float(np.sqrt(max(float(np.mean(square[moving])), 0.0))) if moving.any() else 0.0
    if steep <= _facts()["mountainous"]["highest_grade"]:
        return RoadOverLevel(longer, float(np.hypot(u_extra, max(lost - tuned.HILLS_LOSE * extra, 0.0))), u_rate2)
    in_feet = FOOT_M**2
    longer = np.sqrt(1 + square * (1 + in_feet) / 2)
    u_extra = float(np.hypot(u_extra, (1 - in_feet) / 4 * extra))
    return RoadOverLevel(longer, u_extra, u_rate2, (Finding("heights_steep", grade=steep),))


def _climb_at_rest(
    time_s: FloatArray, height: FloatArray, piece: IntArray, speed_mps: FloatArray
) -> tuple[float, float] | None:
    """Return the mean square of how fast heights change while the vehicle stands, and its standard uncertainty.

    None where it hardly stands. [m2/s2]
    """
    passed = np.concatenate(([0.0], np.cumsum(speed_mps > tuned.STANDING_MPS)))
    edge = np.searchsorted(time_s, [time_s - tuned.CLIMB_REACH_S, time_s + tuned.CLIMB_REACH_S])
    rests = passed[edge[1]] == passed[edge[0]]
    if rests.sum() < tuned.FEWEST_AT_REST:
        return None
    along = (time_s - time_s[0]) * _PACE_MPS  # as if it climbed on its way
    square = _square_of_grade(along, height, piece, np.full(len(along), tuned.CLIMB_REACH_S * _PACE_MPS))[rests]
    alike = tuned.CLIMB_REACH_S / 2 / median(np.diff(time_s))
    return float(np.mean(square)) * _PACE_MPS**2, float(np.std(square) * np.sqrt(alike / len(square))) * _PACE_MPS**2


def _square_of_grade(way: FloatArray, height: FloatArray, piece: IntArray, reach: FloatArray) -> FloatArray:
    """Return the square of the grade about each fix, 0 where it cannot be told; noise makes it negative in places."""
    square = np.ones(len(way))
    for first in (0, 1):
        square *= _grade(way, way[first::2], height[first::2], reach)
    edge = np.searchsorted(way, [way - reach, way + reach])
    whole = piece[np.minimum(edge[0], len(way) - 1)] == piece[np.minimum(edge[1], len(way) - 1)]
    return np.where(whole, np.clip(square, -(tuned.STEEPEST_GRADE**2), tuned.STEEPEST_GRADE**2), 0.0)


@cache
def _facts() -> dict[str, dict[str, Any]]:
    return tomllib.loads(resources.files("speedcal").joinpath("data/terrain.toml").read_text(encoding="utf-8"))


@cache
def longer_in(terrain: Terrain) -> tuple[float, float]:
    """Return road length over horizontal length in such country, and its standard uncertainty.

    Grades of root mean square g make a road longer by g^2/2; g lies anywhere between two bounds (``terrain.toml``).

    Raises
    ------
    ValueError
        Another word.
    """
    if terrain not in get_args(Terrain):
        raise ValueError(f"terrain must be one of {', '.join(get_args(Terrain))}, not {terrain!r}")
    low, high = (_facts()[terrain][end] for end in ("lowest_grade", "highest_grade"))
    mean = (low**2 + low * high + high**2) / 6
    square = (high**5 - low**5) / (20 * (high - low))
    return 1 + mean, float(np.sqrt(square - mean**2))


def _grade(at: FloatArray, way: FloatArray, height: FloatArray, reach: FloatArray) -> FloatArray:
    """Return the slope of the least-squares line through the heights within reach of each place."""
    first, last = np.searchsorted(way, at - reach), np.searchsorted(way, at + reach, side="right")
    count = np.maximum(last - first, 1)
    totals = [np.concatenate(([0.0], np.cumsum(a))) for a in (way, height, way * height, way**2)]
    sum_way, sum_height, sum_both, sum_square = (total[last] - total[first] for total in totals)
    spread = sum_square - sum_way**2 / count
    enough = spread > _SHORTEST_M**2
    return np.where(enough, (sum_both - sum_way * sum_height / count) / np.where(enough, spread, 1.0), 0.0)
