"""Rows whose stamps the log cut to whole seconds, to tens of them or to minutes."""

from __future__ import annotations

import numpy as np

from speedcal.interval import FloatArray, IntArray

_FEWEST_CUT = 4
"""Rows of a stamp from which on it is believed to be cut to a coarse step; of fewer a burst may have been written."""
_ALIKE, _MOST = 0.1, 0.8
"""By how much the rows of a stamp may be more or fewer than usual, and for which share of the stamps."""
_FEWEST_LONGER, _EVEN_SPREAD, _MOST_OTHERS = 8, 0.3, 0.05
"""Longer steps that tell a timer, by how much the way from one to the next may vary (of missing rows it does by 1),
and the share of the rows that may step otherwise."""


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


def of_a_timer(time_s: FloatArray) -> tuple[FloatArray, float]:
    """Return times and period of rows that a timer wrote with stamps cut to whole seconds; else the stamps, and 0.

    A timer of 5.04 s steps by 5 s, and by 6 s every 24 rows, as evenly as nothing else does. So cut, each way between
    two rows but the longer ones is driven in less time than it took. A step of 2 s among steps of 1 s may as well be a
    row that is missing, and is left to :func:`speedcal.logs.cut_stamps.evenly_taken`.

    Parameters
    ----------
    time_s
        Stamps, increasing, shape (n,). [s]
    """
    step = np.diff(time_s)
    if len(step) < _FEWEST_LONGER or (time_s != np.round(time_s)).any():
        return time_s, 0.0
    usual = float(np.median(step))
    sign = 1.0 if np.count_nonzero(step == usual + 1) > np.count_nonzero(step == usual - 1) else -1.0
    odd = step == usual + sign
    if np.mean(~odd & (step != usual)) > _MOST_OTHERS or usual < 2:
        return time_s, 0.0
    times, periods = time_s.copy(), []
    for piece in np.split(np.arange(len(time_s)), np.flatnonzero(~odd & (step != usual)) + 1):
        longer = np.flatnonzero(odd[piece[:-1]]) + 0.5
        apart = np.diff(longer)
        if len(longer) >= _FEWEST_LONGER and np.std(apart) <= _EVEN_SPREAD * np.mean(apart):
            period_s = usual + sign / float(apart.mean())
            ends = [longer[0] - 2 * apart.mean(), *longer, longer[-1] + 2 * apart.mean()]
            gained_s = np.interp(
                np.arange(len(piece)), ends, sign * np.array([-2, *range(len(longer)), len(longer) + 1])
            )
            times[piece] = usual * np.arange(len(piece)) + gained_s
            times[piece] += np.mean(time_s[piece] - times[piece])
            periods.append(period_s)
    return times, float(np.median(periods)) if periods else 0.0
