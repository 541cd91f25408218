"""Fixes that an app took from its receiver by a timer of its own, every 0.985 s, say, and stamped when it did.

A receiver gives a fix at each whole second of its own clock. A timer that is quicker takes some of them twice, one that
is slower leaves some out; either way most fixes are a second apart on the road and not on paper. Speed from positions
is then off by as much as the timer, 1.5 % here, nearly everywhere, and far off where a fix was taken twice.
"""

from __future__ import annotations

import numpy as np

from speedcal.interval import BoolArray, FloatArray, IntArray
from speedcal.logs.drive.timer_stamps import mean_of_run, way_of_steps_m

_UNDER_WAY_MPS, _LONGEST_STEP_S = 4.0, 3.0
"""A vehicle so fast does not stand a second later; longer steps are gaps."""
_BESIDE = 5
"""Steps to either side whose median is the usual speed."""
_NEAR_SECOND, _FEWEST_HELD, _FEWEST_STEPS = 0.2, 4, 20
"""How far a timer is from a second at the most, how many fixes taken twice or left out tell, and the steps of a run."""
_LEFT, _NEAR_LINE_S, _MOST_ASTRAY = 0.3, 1.5, 0.1
"""Share of what the timer is off by that whole seconds may leave, how far stamps spread about them, and the share of
those that may lie farther."""


def held_on_the_way(
    time_s: FloatArray, segment: IntArray, latitude: FloatArray, longitude: FloatArray, speed: FloatArray
) -> BoolArray:
    """Return the fixes that repeat the place of the one before, though the vehicle moved before and after."""
    if len(time_s) < _FEWEST_STEPS:
        return np.zeros(len(time_s), np.bool_)
    way, usual, _ = _steps(time_s, segment, latitude, longitude)
    still = np.concatenate(([False], (way == 0) & (usual > _UNDER_WAY_MPS)))
    return np.asarray(still & ~np.isfinite(speed))


def at_whole_seconds(
    time_s: FloatArray, segment: IntArray, latitude: FloatArray, longitude: FloatArray
) -> tuple[FloatArray, float]:
    """Return when the receiver gave each fix, up to a constant, and the period of the timer; else the stamps, and 0.

    Parameters
    ----------
    time_s
        Stamps in the order of the file, shape (n,). [s]
    segment
        Piece of the track each lies in.
    latitude, longitude
        Where they are. [degrees]
    """
    if len(time_s) < _FEWEST_STEPS:
        return time_s, 0.0
    way, usual, whole = _steps(time_s, segment, latitude, longitude)
    step = np.diff(time_s)
    moving = whole & (usual > _UNDER_WAY_MPS)
    seconds = np.where(moving, np.rint(way / np.maximum(usual, _UNDER_WAY_MPS)), 0.0)
    odd = moving & (seconds != np.rint(step))
    period_s = float(np.median(step))
    off = abs(period_s - 1)
    if odd.sum() < _FEWEST_HELD or off > _NEAR_SECOND:
        return time_s, 0.0
    run = np.concatenate(([0], np.cumsum(~moving)))
    run = np.where(np.bincount(run)[run] > _FEWEST_STEPS, run, -1)
    some = run >= 0
    label = np.unique(run[some], return_inverse=True)[1]
    place = np.concatenate(([0.0], np.cumsum(seconds)))[some]
    along, beside = (values - mean_of_run(label, values) for values in (place, time_s[some] - time_s[0]))
    astray = np.abs(beside - along) > _NEAR_LINE_S
    if abs(float(along @ beside / (along @ along)) - 1) > _LEFT * off or astray.mean() > _MOST_ASTRAY:
        return time_s, 0.0
    given = time_s.copy()
    given[some] += along - beside
    return given, period_s


def _steps(
    time_s: FloatArray, segment: IntArray, latitude: FloatArray, longitude: FloatArray
) -> tuple[FloatArray, FloatArray, BoolArray]:
    """Return the way of each step, the usual speed about it, and whether it is none over a gap."""
    step, way = np.diff(time_s), way_of_steps_m(latitude, longitude)
    whole = (step > 0) & (step <= _LONGEST_STEP_S) & (np.diff(segment) == 0)
    speed = np.pad(np.where(whole, way / np.where(whole, step, 1.0), 0.0), _BESIDE)
    usual = np.median(np.lib.stride_tricks.sliding_window_view(speed, 2 * _BESIDE + 1), axis=1)
    return way, np.asarray(usual), np.asarray(whole)
