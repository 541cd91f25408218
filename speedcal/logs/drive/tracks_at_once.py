"""Tracks of several vehicles in one file: recorded at the same time in different places."""

from __future__ import annotations

from itertools import combinations

import numpy as np

from speedcal.interval import BoolArray, FloatArray, IntArray

_LEAST_S, _FEWEST_FIXES, _MOST_TRACKS = 60.0, 10, 50
_APART_M = 100.0
"""Two receivers in one vehicle are nearer than this to each other, half of the time at the least."""
_DEGREE_M = 111_195.0


def are_apart(time_s: FloatArray, latitude_deg: FloatArray, longitude_deg: FloatArray, track: IntArray) -> bool:
    """Tell whether two of the tracks that the fixes belong to cannot be of one vehicle.

    Parameters
    ----------
    time_s, latitude_deg, longitude_deg
        Fixes, shape (n,).
    track
        Number of the track of each.
    """
    known = np.isfinite(time_s + latitude_deg + longitude_deg)
    numbers = np.unique(track[known])[:_MOST_TRACKS]
    rows = [np.flatnonzero(known & (track == number)) for number in numbers]
    fixes = [np.stack([time_s, latitude_deg, longitude_deg])[:, at[np.argsort(time_s[at])]] for at in rows]
    return any(_apart(one, other) for one, other in combinations(fixes, 2))


def _apart(one: FloatArray, other: FloatArray) -> bool:
    first, last = max(one[0, 0], other[0, 0]), min(one[0, -1], other[0, -1])
    here, there = (_within(fixes, first, last) for fixes in (one, other))
    if last - first < _LEAST_S or min(here.sum(), there.sum()) < _FEWEST_FIXES:
        return False
    at, north, east = one[:, here]
    away_north = np.interp(at, other[0], other[1]) - north
    turned = (np.interp(at, other[0], other[2]) - east + 180.0) % 360.0 - 180.0  # across the date line too
    away_east = turned * np.cos(np.radians(north))
    return float(np.median(np.hypot(away_north, away_east))) * _DEGREE_M > _APART_M


def _within(fixes: FloatArray, first: float, last: float) -> BoolArray:
    return np.asarray((fixes[0] >= first) & (fixes[0] <= last))
