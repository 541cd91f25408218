"""Fixes that an app took from its receiver by a timer of its own, every 0.985 s or 5.03 s, and stamped when it did.

A receiver gives a fix at each whole second of its own clock. A timer that is quicker takes some of them twice, one that
is slower leaves out one more now and then; either way most fixes lie whole seconds apart on the road and not on paper.
Speed from positions is then off by as much as the timer, 1.5 % or 0.6 % here, nearly everywhere, and far off where a
fix was taken twice.
"""

from __future__ import annotations

import numpy as np

from speedcal.interval import BoolArray, FloatArray, IntArray
from speedcal.logs.drive.timer_stamps import way_of_steps_m

_UNDER_WAY_MPS, _FEWEST_FIXES = 4.0, 60
"""A vehicle so fast does not stand a second later; fewer fixes tell no timer."""
_LONGEST_STEP_S, _LONGEST_STEPS = 3.0, 2.5
"""Steps longer than both, in seconds and usual steps, are gaps."""
_PERIODS_S, _OFF_SECONDS = (0.75, 12.0), 0.001
"""Timers that are asked after, and how far from whole seconds they are at the least."""
_WANDER_S, _MOST_EVEN = 0.15, 0.8
"""How far a timer strays in such a share of its steps; stamps that are late by chance stray farther."""
_PHASES = np.arange(20) / 20
"""Parts of a second at which a receiver may give its fixes."""
_MOST_ASKED = 5000
"""Fixes that are asked for that moment."""
_UNSURE, _UNLIKELY = 0.2, 0.05
"""So near to that moment a stamp may belong to the second on either side, at this cost."""
_MOST_ODD_S = 0.3
"""Ways tell where the speeds before and after are so near to each other that they cannot make more than this."""
_EXPLAINED, _FEWEST_ODD = 0.7, 2.5
"""Share of what ways are odd by that may be left, and how many whole odd seconds must be explained."""


def held_on_the_way(
    time_s: FloatArray, segment: IntArray, latitude: FloatArray, longitude: FloatArray, speed: FloatArray
) -> BoolArray:
    """Return the fixes that repeat the place of the one before, though the vehicle moved before and after."""
    if len(time_s) < _FEWEST_FIXES:
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
    step = np.diff(time_s)
    period_s = float(np.median(step)) if len(time_s) >= _FEWEST_FIXES else 0.0
    if not _PERIODS_S[0] < period_s < _PERIODS_S[1] or abs(period_s - np.rint(period_s)) < _OFF_SECONDS:
        return time_s, 0.0
    strays_s = np.abs(step - period_s * np.rint(step / period_s))
    if np.mean(strays_s < _WANDER_S) < _MOST_EVEN:
        return time_s, 0.0
    way, usual, apart = _steps(time_s, segment, latitude, longitude)
    moving = (usual > _UNDER_WAY_MPS) & (apart * period_s < _MOST_ODD_S * usual)
    seconds = np.where(moving, way / np.where(moving, usual, 1.0), np.nan)
    plain = float(_odd(seconds, step).sum())
    if plain < _FEWEST_ODD:
        return time_s, 0.0
    since_s = time_s - np.floor(time_s[0])
    asked = _seconds(since_s[:_MOST_ASKED] - _PHASES[:, None], seconds[: _MOST_ASKED - 1])
    phase = _PHASES[_odd(seconds[: _MOST_ASKED - 1], np.diff(asked)).sum(axis=1).argmin()]
    second = _seconds((since_s - phase)[None, :], seconds)[0]
    left = float(_odd(seconds, np.diff(second)).sum())
    if left > _EXPLAINED * plain or plain - left < _FEWEST_ODD:
        return time_s, 0.0
    return second + float(np.mean(time_s - second)), period_s


def _odd(seconds: FloatArray, expected: FloatArray) -> FloatArray:
    """Return the square by which each way is odd, in seconds at the usual speed; nothing where the vehicle stands."""
    return np.nan_to_num(np.minimum((seconds - expected) ** 2, 1.0))


def _seconds(since_s: FloatArray, seconds: FloatArray) -> FloatArray:
    """Return the whole second at which each fix was given: that of its stamp or, near its end, what the ways tell.

    By dynamic programming over the two seconds that a stamp may belong to (A. J. Viterbi, IEEE Trans. Information
    Theory 13, 1967, 260-269), for each of p beginnings of a second.

    Parameters
    ----------
    since_s
        Stamps since each beginning, shape (p, n).
    seconds
        Way of each step in seconds at the usual speed, NaN where it tells nothing, shape (n - 1,).
    """
    first = np.floor(since_s)
    part = since_s - first
    either = np.stack((first, first + 1.0 * (part > 1 - _UNSURE) - (part < _UNSURE)), axis=2)
    between = either[:, 1:, None, :] - either[:, :-1, :, None]
    price = _odd(seconds[:, None, None], between) + np.where(between < 0, np.inf, 0.0)
    price[..., 1] += _UNLIKELY
    count = since_s.shape[1]
    cost, came = np.zeros((len(since_s), 2)), np.zeros((*since_s.shape, 2), np.int64)
    for k in range(1, count):
        ways = cost[:, :, None] + price[:, k - 1]
        came[:, k] = ways.argmin(axis=1)
        cost = ways.min(axis=1)
    chosen = np.empty(since_s.shape, np.int64)
    chosen[:, -1] = cost.argmin(axis=1)
    every = np.arange(len(since_s))
    for k in range(count - 1, 0, -1):
        chosen[:, k - 1] = came[every, k, chosen[:, k]]
    return np.asarray(np.take_along_axis(either, chosen[..., None], axis=2)[..., 0])


def _steps(
    time_s: FloatArray, segment: IntArray, latitude: FloatArray, longitude: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return the way of each step, the usual speed about it, and how far apart the speeds before and after it are."""
    step, way = np.diff(time_s), way_of_steps_m(latitude, longitude)
    longest_s = max(_LONGEST_STEP_S, _LONGEST_STEPS * float(np.median(step)))
    whole = (step > 0) & (step <= longest_s) & (np.diff(segment) == 0)
    speed = np.pad(np.where(whole, way / np.where(whole, step, 1.0), 0.0), 2)
    beside = np.sort(np.stack([speed[:-4], speed[1:-3], speed[3:-1], speed[4:]]), axis=0)
    return way, beside[1:3].mean(axis=0), np.where(whole, beside[2] - beside[1], np.inf)
