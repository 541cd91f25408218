"""How much longer the road is than its map: from the heights of a track, or as uncertainty where it has none."""

from __future__ import annotations

import tomllib
from functools import cache
from importlib import resources
from typing import get_args

import numpy as np

from speedcal.calibration.tuning_track import (
    GRADE_REACH_M,
    GRADE_SHARE_U,
    HEIGHTS_NEEDED,
    NO_HEIGHTS_U,
    SLOWEST_MPS,
    STEEPEST_GRADE,
)
from speedcal.interval import FloatArray, IntArray
from speedcal.logs.readings import Terrain

_REACH_INTERVALS, _SHORTEST_M = 2.5, 5.0


def road_over_level(
    time_s: FloatArray,
    piece: IntArray,
    elevation_m: FloatArray,
    speed_mps: FloatArray,
    terrain: Terrain | None = None,
) -> tuple[FloatArray, float]:
    """Return road length over horizontal length at each fix, and the relative standard uncertainty they all share.

    A grade g makes it ``sqrt(1 + g^2)``. The square of a noisy grade is too large in the mean; the product of two
    grades, one from every other fix and one from the rest, is not, since their noise has nothing in common. Grades are
    taken over a length of road and not over a time, which would flatten hills more the faster they are driven and so
    turn up as a wrong error factor.

    Parameters
    ----------
    time_s, piece, elevation_m, speed_mps
        Fixes, shape (n,); elevation is NaN where there is none, speed is horizontal. [s, 1, m, m/s]
    terrain
        How hilly it was, as somebody says; heights know better where there are any.
    """
    known = np.isfinite(elevation_m)
    if known.mean() < HEIGHTS_NEEDED or len(time_s) < 4:
        told, u_told = (1.0, NO_HEIGHTS_U) if terrain is None else longer_in(terrain)
        return np.full(len(time_s), told), u_told
    height = np.interp(time_s, time_s[known], elevation_m[known]) - float(np.mean(elevation_m[known]))
    step = np.diff(time_s)
    way = np.concatenate(([0.0], np.cumsum(step * (speed_mps[1:] + speed_mps[:-1]) / 2)))
    reach = np.maximum(GRADE_REACH_M, _REACH_INTERVALS * float(np.median(step)) * speed_mps)
    square = np.ones(len(time_s))
    for first in (0, 1):
        square *= _grade(way, way[first::2], height[first::2], reach)
    edge = np.searchsorted(way, [way - reach, way + reach])
    whole = piece[np.minimum(edge[0], len(way) - 1)] == piece[np.minimum(edge[1], len(way) - 1)]
    square = np.where(whole & (speed_mps > SLOWEST_MPS), np.clip(square, -(STEEPEST_GRADE**2), STEEPEST_GRADE**2), 0.0)
    longer = np.sqrt(1 + square)
    return longer, GRADE_SHARE_U * max(float(np.mean(longer)) - 1, 0.0)


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
    facts = tomllib.loads(resources.files("speedcal").joinpath("data/terrain.toml").read_text(encoding="utf-8"))
    low, high = facts[terrain]["lowest_grade"], facts[terrain]["highest_grade"]
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
