"""Rows that share a stamp: the log cut stamps to whole seconds, tens of them or minutes, or sent rows in bundles."""

from __future__ import annotations

import numpy as np

from speedcal.interval import BoolArray, FloatArray, IntArray

_FEWEST_CUT = 4
"""Rows of a stamp from which on it is believed to be cut to a coarse step; of fewer a burst may have been written."""
_ALIKE, _MOST = 0.1, 0.8
"""By how much the rows of a stamp may be more or fewer than usual, and for which share of the stamps."""

_LIKE_WITHIN = 2.5
"""By how much more the speed may change from one bundle to the next than within them: as much, where its rows were
taken one after the other; many times as much in a burst of one moment."""
_LONGER = 0.5
"""By how much of its usual time a bundle may come late or soon; else one is missing."""
_TOGETHER, _MOSTLY_TOGETHER = 0.02, 0.6
"""Rows were written in one go that follow each other in less than that share of the usual time; and how many must."""
_LATE_S = 2.0
"""How far the stamps of bundles may spread about a line, for the time that sending them takes."""


def written(time_s: FloatArray) -> FloatArray:
    """Return the stamps of rows, in order, shape (n,), those of a bundle alike that were stamped as it was written."""
    step = np.diff(time_s)
    together = step < _TOGETHER * step.mean()
    if together.mean() < _MOSTLY_TOGETHER:
        return time_s
    last = np.flatnonzero(np.append(~together, True))
    return np.asarray(time_s[last[np.searchsorted(last, np.arange(len(time_s)))]])


def are_even(count: IntArray, usual: int) -> bool:
    """Tell whether most stamps but the first and the last have the usual number of rows; ``count`` has shape (k,)."""
    inner = count[1:-1]
    return len(inner) > 0 and float((np.abs(inner - usual) <= max(1.0, _ALIKE * usual)).mean()) >= _MOST


def are_in_proportion(stamps: FloatArray, count: IntArray) -> bool:
    """Tell whether most stamps, shape (k,), follow the one before by what their rows take, be they few or many."""
    took, rows = np.diff(stamps), count[1:]
    period_s = float(np.median(took / rows))
    fit = np.abs(took - period_s * rows) <= np.minimum(_LATE_S, _LONGER * took)
    return len(took) > 1 and float(fit.mean()) >= _MOST


def cut_to(stamps: FloatArray, usual: int, finest_s: float) -> float:
    """Return the step to which stamps were cut: that at which all of them stand, or the finest. [s].

    Parameters
    ----------
    stamps
        Each once, in order, at least two, shape (k,). [s]
    usual
        How many rows share one.
    finest_s
        Step of their figures. [s]
    """
    apart = float(np.median(np.diff(stamps)))
    if apart <= finest_s or usual < _FEWEST_CUT:
        return finest_s
    whole = np.abs(stamps / apart - np.round(stamps / apart)) < 1e-6
    return apart if whole.all() else finest_s


def evenly(time_s: FloatArray, first: IntArray, usual: int, step_s: float) -> FloatArray:
    """Return times in which the rows of each stamp lie evenly in its step, shape (n,).

    Of the first stamp the earlier rows may be missing, of the last the later ones.

    Parameters
    ----------
    time_s
        Stamps of the rows, in order, shape (n,). [s]
    first
        First row of each stamp, shape (k,).
    usual
        How many rows a whole stamp has.
    step_s
        Step of the stamps. [s]
    """
    count = np.diff(first, append=len(time_s))
    whole = count.copy()
    whole[[0, -1]] = np.maximum(whole[[0, -1]], usual)
    place = np.arange(len(time_s)) - np.repeat(first, count)
    place[: count[0]] += whole[0] - count[0]
    return np.asarray(time_s + step_s * place / np.repeat(whole, count))


def in_bundles(time_s: FloatArray, speed: FloatArray, first: IntArray, usual: int) -> tuple[FloatArray, float]:
    """Return times and period of rows that were taken evenly and sent some at a time; else the stamps, and 0.

    A bundle is stamped when it is sent, so that its last row is the nearest to its stamp. How long that took differs,
    which a line through the stamps evens out.

    Parameters
    ----------
    time_s, speed
        Stamps of the rows, in order, and what they show, NaN where nothing, shape (n,). [s, 1]
    first
        First row of each stamp, at least two, shape (k,).
    usual
        How many rows a whole stamp has.
    """
    last = np.append(first[1:], len(time_s)) - 1
    stamps, taken = time_s[first], np.diff(last)
    period_s = float(np.median(np.diff(stamps) / taken))
    missing = np.abs(np.diff(stamps) - period_s * taken) > _LONGER * period_s * usual
    if usual < _FEWEST_CUT or not _change_alike(np.abs(np.diff(speed)), last[:-1], missing):
        return time_s, 0.0
    times = np.empty(len(time_s))
    for run in np.split(np.arange(len(first)), np.flatnonzero(missing) + 1):
        rows = np.arange(first[run[0]], last[run[-1]] + 1)
        times[rows] = _before_stamps(rows, last[run], stamps[run], period_s)
    return times, period_s


def _change_alike(change: FloatArray, ends: IntArray, missing: BoolArray) -> bool:
    """Tell whether the speed changes from one bundle to the next as it does within them."""
    across, within = change[ends[~missing]], np.delete(change, ends)
    across, within = across[np.isfinite(across)], within[np.isfinite(within)]
    return len(across) > 0 and bool(within.any()) and float(across.mean()) <= _LIKE_WITHIN * float(within.mean())


def _before_stamps(rows: IntArray, last: IntArray, stamps: FloatArray, period_s: float) -> FloatArray:
    """Return the times of rows that follow each other, from the last row and the stamp of each bundle."""
    along, beside = last - last.mean(), stamps - stamps.mean()
    line = float(along @ beside / (along @ along)) if len(last) > 1 else period_s
    if np.ptp(beside - line * along) <= _LATE_S:
        return np.asarray(stamps.mean() + line * (rows - last.mean()))
    before = stamps[0] - period_s * (last[0] - rows[0] + 1)
    return np.asarray(np.interp(rows, [rows[0] - 1, *last], [before, *stamps]))
