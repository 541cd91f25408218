"""Rounded values that tell the same: how many of their neighbours say what each of them says.

An interval that is told twice is still one interval. As messages of their own both would count, and the dial at a speed
that is held within a step would be pulled to the middle of that step. Equal values in a row are alike while the speed
between them has moved, and may have wandered, by little of a step.
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
