"""Rows that a log writes twice, those of a figure that was not renewed, and those left out while the value stays.

Rows that stand only where the value changes are no sample of the drive: each is a moment at which the speed crossed
from one value to the next, and a speed that was held for minutes has one row, though nothing tells more.
"""

from __future__ import annotations

from collections import Counter

import numpy as np

from speedcal.interval import BoolArray, FloatArray, IntArray

_MOST_COPIES = 3

_FEWEST, _MOST_ALIKE, _SIGN_OF_LIFE = 60, 0.01, 5.0
"""Rows, and the share of them that may repeat the value before them sooner than so many times as late as rows mostly
come: later it is a sign of life."""
_NEIGHBOR_STEPS, _MOSTLY, _BRISK, _FEWEST_LATE = 2.5, 0.9, 1.5, 20
"""The next value is a step or two away, in this share of the rows that come later than so many times the soonest, of
which there are so many at least: a log that rests in between jumps. Soonest come those of hard braking."""
_JUMP_STEPS = 1.5
"""Behind a jump of more steps a display that is renewed with every row mostly moves on in the next. Of 330 sound logs
none lost a row."""
_SOONEST, _REGULAR = 0.1, 2 / 3
"""A display is renewed sooner in this share of its rests at most, the strays, and in this share of them it rests for so
many rows or one more. Tried on 12 drives of four kinds of road: renewed every 2 to 5.5 rows, 0.73 and more of the rests
on all but the gentlest; whole mph written as whole km/h, or moves from 1.5 steps on, 0.58 and less."""
_SOON_S = 1.0
"""A figure that is renewed so soon is late by less than the speed changes meanwhile. [s]"""
_BUNDLED = 2.0
"""Rows whose mean distance is so many times the usual one come in bundles: those of one are of one moment, or stamped
when they were sent."""
_USUAL_S, _LONGEST_S = 5.0, 600.0
"""A hand is slower than this; a value that stays for longer is a log that rests. [s]"""
_EVERY_S = 1.0
"""How often a value that stays is told. [s]"""


def doubled(
    time_s: FloatArray, keep: BoolArray, speed: FloatArray, odometer: FloatArray, dropped: Counter[str]
) -> BoolArray:
    """Find the second rows of a log that holds (nearly) every row twice.

    Of more rows that share a stamp those of one speed are a speed that was held.
    """
    nothing = np.zeros(len(keep), bool)
    at = np.flatnonzero(keep)
    if len(at) < 8 or np.median(np.unique(time_s[at], return_counts=True)[1]) > _MOST_COPIES:
        return nothing
    same = np.zeros(len(at), bool)
    columns = (time_s[at], speed[at], np.nan_to_num(odometer[at], nan=-1.0))
    same[1:] = np.logical_and.reduce([column[1:] == column[:-1] for column in columns])
    if same.sum() < 0.45 * len(at):
        return nothing
    dropped["repeated_row"] += int(same.sum())
    nothing[at[same]] = True
    return nothing


def said_again(time_s: FloatArray, keep: BoolArray, speed: FloatArray, odometer: FloatArray) -> BoolArray:
    """Find the rows behind a step back in time that say what one before it said: of a file joined to itself."""
    again = np.zeros(len(keep), bool)
    at = np.flatnonzero(keep & np.isfinite(time_s))
    back = np.diff(time_s[at], prepend=-np.inf) < 0
    if back.any():
        rows = np.column_stack((time_s[at], np.nan_to_num(speed[at], nan=-1.0), np.nan_to_num(odometer[at], nan=-1.0)))
        _, first, which = np.unique(rows, axis=0, return_index=True, return_inverse=True)
        last_back = np.maximum.accumulate(np.where(back, np.arange(len(at)), 0))
        again[at[first[which.ravel()] < last_back]] = True
    return again


def not_renewed(time_s: FloatArray, speed_mps: FloatArray, step_mps: float) -> BoolArray:
    """Find the rows that say again what the display showed before it was renewed, shape (n,).

    A log that asks oftener than its figure is renewed writes each several times: behind a jump of several steps it
    rests as long each time, though the speed goes on; a dial with steps of its own rests as the speed does. Taken as of
    their own moments, such rows turn factors on winding roads by 1 to 5 %. Of a figure that stays for longer those rows
    count that may be of a new one.

    Parameters
    ----------
    time_s, speed_mps
        Rows, shape (n,). [s, m/s]
    """
    nothing = np.zeros(len(time_s), bool)
    if len(time_s) < _FEWEST or not np.isfinite(time_s + speed_mps).all():
        return nothing
    apart_s = np.diff(time_s)
    usual_s = float(np.median(apart_s))
    if usual_s > _USUAL_S or np.mean(apart_s) > _BUNDLED * usual_s:
        return nothing
    change = np.abs(np.diff(speed_mps))
    moves = np.flatnonzero(change > step_mps / 2) + 1
    stays = np.diff(moves)[change[moves[:-1] - 1] > _JUMP_STEPS * step_mps]
    if len(stays) < _FEWEST_LATE:
        return nothing
    every = int(np.quantile(stays, _SOONEST, method="lower"))
    if every * usual_s <= _SOON_S or np.mean(stays <= every + 1) < _REGULAR:
        return nothing
    starts = np.concatenate(([0], moves))
    rows = np.diff(starts, append=len(time_s))
    since = np.arange(len(time_s)) - np.repeat(starts, rows)
    left = np.repeat(rows, rows) - since
    return np.asarray((since % every > 0) | ((since > 0) & (left < every)))


def shown_between(time_s: FloatArray, speed_mps: FloatArray, step_mps: float) -> IntArray:
    """Return how often each row of such a log stands for what was shown until the next; ones for any other log.

    Parameters
    ----------
    time_s, speed_mps
        Rows, shape (n,). [s, m/s]
    """
    alone = np.ones(len(time_s), np.int64)
    since, change = np.diff(time_s), np.abs(np.diff(speed_mps))
    if len(time_s) < _FEWEST or not np.isfinite(change).all() or not (since > 0).all() or np.median(since) > _USUAL_S:
        return alone
    near, late = change <= _NEIGHBOR_STEPS * step_mps, since > _BRISK * np.quantile(since, 0.1)
    repeats = (change < step_mps / 2) & (since < _SIGN_OF_LIFE * np.median(since))
    if repeats.mean() > _MOST_ALIKE or late.sum() < _FEWEST_LATE or near[late].mean() < _MOSTLY:
        return alone
    stays = near & (since <= _LONGEST_S)
    alone[:-1] = np.where(stays, np.maximum(np.ceil(since / _EVERY_S), 1), 1)
    return alone


def told_at(time_s: FloatArray, times: IntArray) -> FloatArray:
    """Return the times of the rows, each repeated so often at even steps. [s]."""
    row = np.repeat(np.arange(len(time_s)), times)
    return np.asarray(time_s[row] + _EVERY_S * (np.arange(len(row)) - (np.cumsum(times) - times)[row]))
