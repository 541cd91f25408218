"""Disturbances: smooth random wander, and lags of the first order."""

from __future__ import annotations

import numpy as np

Array = np.ndarray
MPH = 0.44704
KMH = 1 / 3.6
KNOT = 1852 / 3600
_MEAN_SQUARE = 151 / 315
"""Mean over a cell of the sum of the squares of the four cubic B-splines that reach into it."""


def wander(rng: np.random.Generator, time_s: Array, scale_s: float) -> Array:
    """Return a smooth random course of variance 1 that forgets itself over this scale: a B-spline."""
    place = (time_s - time_s[0]) / scale_s
    cell = place.astype(int)
    u = place - cell
    knot = rng.standard_normal(int(cell[-1]) + 5) / np.sqrt(_MEAN_SQUARE)
    weights = ((1 - u) ** 3, 3 * u**3 - 6 * u**2 + 4, -3 * u**3 + 3 * u**2 + 3 * u + 1, u**3)
    return sum(weight * knot[cell + k] for k, weight in enumerate(weights)) / 6


def lagged(course: Array, step_s: float, lag_s: float) -> Array:
    """Return a course after a lag of the first order (exponential smoothing of the past), begun at rest."""
    if lag_s <= 0:
        return course
    decay = np.exp(-step_s / lag_s)
    kernel = (1 - decay) * decay ** np.arange(int(8 * lag_s / step_s) + 1)
    start = course[0]
    return start + np.convolve(course - start, kernel / kernel.sum())[: len(course)]


def to_step(value: Array, step: float, *, down: bool = False) -> Array:
    """Return values in whole steps, to the nearest or downwards; a step of zero leaves them."""
    if step <= 0:
        return value
    return (np.floor(value / step + 1e-9) if down else np.round(value / step)) * step
