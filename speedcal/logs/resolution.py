"""In what steps numbers were written down, found from the numbers."""

from __future__ import annotations

import numpy as np

from speedcal.interval import FloatArray
from speedcal.units import SPEED_UNIT_MPS, SpeedUnit

_SPEED_STEPS = ((5.0, 0.85, 8), (2.0, 0.95, 16), (1.0, 0.6, 1), (0.5, 0.85, 8), (0.1, 0.6, 1), (0.01, 0.6, 1))
"""Step, share of the values that must be multiples of it, and how many values there must be at least.

The shares leave room for wrong readings (a swapped digit) and for values that a logger interpolated; the counts make
it less than one in a hundred that values written in a finer step look like this by chance.
"""


def speed_step(speeds: FloatArray, unit: SpeedUnit, *, held: bool) -> float:
    """Return the step in which speeds were read or logged. [m/s].

    Parameters
    ----------
    speeds
        As written, in ``unit``.
    unit
        Unit of the values. A logger may have converted whole km/h or mph to it; then the step is one of those.
    held
        True when the speeds were held at round numbers on purpose: that they are multiples of 5 then says nothing.
    """
    moving = speeds[speeds != 0]
    if not len(moving):
        return SPEED_UNIT_MPS[unit]
    step = _step(moving, coarse=not held)
    if step >= 0.1:
        return step * SPEED_UNIT_MPS[unit]
    other: SpeedUnit
    for other in ("km/h", "mph"):
        converted = moving * SPEED_UNIT_MPS[unit] / SPEED_UNIT_MPS[other]
        whole = np.abs(converted - np.round(converted)) <= step * SPEED_UNIT_MPS[unit] / SPEED_UNIT_MPS[other] + 1e-9
        if other != unit and step <= 0.02 and len(moving) >= 8 and whole.mean() >= 0.95:
            return SPEED_UNIT_MPS[other]
    return step * SPEED_UNIT_MPS[unit]


def _step(values: FloatArray, *, coarse: bool) -> float:
    for step, share, count in _SPEED_STEPS:
        if step > 1 and not coarse:
            continue
        if len(values) >= count and is_multiple(values, step).mean() >= share:
            return step
    return 0.001


def is_multiple(values: FloatArray, step: float) -> FloatArray:
    """Return 1.0 where a value is a multiple of the step (to a part in a thousand of it), else 0.0."""
    ratio = values / step
    return np.asarray(np.abs(ratio - np.round(ratio)) < 1e-3 + 1e-9 * np.abs(ratio), float)


def time_step(times_s: FloatArray, written_s: float) -> float:
    """Return the step of the times: as written, or coarser when every one of at least five is a multiple of it."""
    times = times_s[np.isfinite(times_s)]
    if len(times) >= 5:
        for step in (60.0, 1.0, 0.1, 0.01, 0.001):
            if step > written_s and np.abs(times / step - np.round(times / step)).max() * step < 2e-6:
                return step
    return written_s
