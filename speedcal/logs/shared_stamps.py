"""Rows that share a stamp because the log cut its stamps to whole seconds, to tens of them or to minutes."""

from __future__ import annotations

import numpy as np

from speedcal.interval import FloatArray, IntArray

_FEWEST_CUT = 4
"""Rows of a stamp from which on it is believed to be cut to a coarse step; of fewer a burst may have been written."""
_ALIKE, _MOST = 0.1, 0.8
"""By how much the rows of a stamp may be more or fewer than usual, and for which share of the stamps."""


def are_even(count: IntArray, usual: int) -> bool:
    """Tell whether most stamps but the first and the last have the usual number of rows; ``count`` has shape (k,)."""
    inner = count[1:-1]
    return len(inner) > 0 and float((np.abs(inner - usual) <= max(1.0, _ALIKE * usual)).mean()) >= _MOST


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
