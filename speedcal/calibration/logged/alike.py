"""Rounded values that tell the same: how many of their neighbours say what each of them says.

An interval that is told twice is still one interval. As messages of their own both would count, and the dial at a speed
that is held within a step would be pulled to the middle of that step. Equal values in a row are alike while the speed
between them has moved, and may have wandered, by little of a step. To a dial those of other visits are alike, too,
where the speed is known to be the same.
"""

from __future__ import annotations

import numpy as np

from speedcal.calibration.tuning.logs import ALIKE_STEPS
from speedcal.interval import FloatArray, IntArray

_FAR = 3.0
"""Farther apart than any two values that are alike."""


def telling_alike(
    value: FloatArray, piece: IntArray, *, moved: FloatArray, wandered2: FloatArray, step: float
) -> FloatArray:
    """Return how many values, itself among them, tell what each tells, shape (n,).

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
        What the values are rounded to; 0 when they are not.
    """
    if step <= 0:
        return np.ones(len(value))
    near = ALIKE_STEPS * step
    apart = np.full(len(value), _FAR)
    same = 1 + np.flatnonzero((value[1:] == value[:-1]) & (piece[1:] == piece[:-1]))
    apart[same] = np.minimum(np.abs(moved[same]) / near + wandered2[same] / near**2, _FAR)
    along = np.cumsum(apart)
    last, first = np.searchsorted(along, along + 1, side="right"), np.searchsorted(along, along - 1)
    return (last - first).astype(float)


def telling_dial_alike(value: FloatArray, exact: FloatArray, *, u2_exact: FloatArray, step: float) -> FloatArray:
    """Return how many values at any time tell a dial what each tells, the nearer the more, shape (n,).

    Parameters
    ----------
    value
        Values, shape (n,).
    exact, u2_exact
        What was rounded, as far as it is known, and the variance of that, shape (n,).
    step
        What the values are rounded to; 0 when they are not.
    """
    if step <= 0:
        return np.ones(len(value))
    near = ALIKE_STEPS * step
    reach = 2 * near * np.maximum(1 - 2 * u2_exact / near**2, 0.0)
    beside = np.clip(exact - value, -_FAR * step / 2, _FAR * step / 2)
    place = np.rint(value / step) * (2 * _FAR * step) + beside  # other values are out of reach
    order = np.sort(place)
    total = np.concatenate(([0.0], np.cumsum(order)))
    low, here, high = (np.searchsorted(order, place + side * reach, side="right") for side in (-1, 0, 1))
    below = place * (here - low) - (total[here] - total[low])
    above = (total[high] - total[here]) - place * (high - here)
    return np.asarray(np.maximum(high - low - (below + above) / np.maximum(reach, 1e-9), 1.0))
