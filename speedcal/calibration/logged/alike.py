"""Rounded values that tell the same: how many of their neighbours say what each of them says.

An interval that is told twice is still one interval. As messages of their own both would count, and the dial at a speed
that is held within a step would be pulled to the middle of that step. Of the speed, equal values in a row tell the same
while it has moved, and may have wandered, by little of a step. Of a dial, they tell the same where they lie near each
other on it, however often the speed, or the noise of what is known of it, has gone to and fro between them.
"""

from __future__ import annotations

import numpy as np

from speedcal.calibration.tuning.logs import ALIKE_STEPS
from speedcal.interval import FloatArray, IntArray

_FAR = 3.0
"""Farther apart than any two values that are alike."""


def telling_speed_alike(
    value: FloatArray, piece: IntArray, *, moved: FloatArray, wandered2: FloatArray, step: float
) -> FloatArray:
    """Return how many values, itself among them, tell of the speed what each tells, shape (n,).

    Parameters
    ----------
    value
        Values in order of time, shape (n,).
    piece
        Piece of the track each lies in.
    moved
        How far what was rounded has moved since the value before, shape (n,).
    wandered2
        Variance of what it may have wandered besides.
    step
        What the values are rounded to.
    """
    near = ALIKE_STEPS * step
    apart = np.full(len(value), _FAR)
    same = 1 + np.flatnonzero((value[1:] == value[:-1]) & (piece[1:] == piece[:-1]))
    apart[same] = np.minimum(np.abs(moved[same]) / near + wandered2[same] / near**2, _FAR)
    along = np.cumsum(apart)
    last, first = np.searchsorted(along, along + 1, side="right"), np.searchsorted(along, along - 1)
    return (last - first).astype(float)


def telling_dial_alike(value: FloatArray, piece: IntArray, *, exact: FloatArray, step: float) -> FloatArray:
    """Return how many values of a row of equal ones tell of a dial what each tells, the nearer the more, shape (n,).

    Parameters
    ----------
    value, piece, step
        As of :func:`telling_speed_alike`.
    exact
        What was rounded, as it is known by now, shape (n,).
    """
    reach = ALIKE_STEPS * step
    alone = (np.diff(value, prepend=np.nan) != 0) | (np.diff(piece, prepend=-1) != 0)
    place = np.cumsum(alone) * (np.ptp(exact) + 2 * reach) + exact  # other rows of values are out of reach
    order = np.argsort(place)
    ranked = place[order]
    total = np.concatenate(([0.0], np.cumsum(ranked)))
    here = np.arange(len(value))
    low, high = np.searchsorted(ranked, ranked - reach, side="right"), np.searchsorted(ranked, ranked + reach)
    away = ranked * (2 * here - low - high) + total[low] + total[high] - 2 * total[here]
    alike = np.empty(len(value))
    alike[order] = np.maximum(high - low - away / reach, 1.0)
    return alike
