"""A receiver that follows a course with a filter of the second order (alpha-beta filter).

One that follows speed and its change hangs behind no steady change, and so overshoots where the change ends. One that
follows place and speed, as Kalman's filter of positions does, records a speed that comes late and rings less. What a
dial showed, seen through the same filter, is a line of what it recorded.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from speedcal.interval import FloatArray

STEP_S = 0.5
_REACH = 6.0
"""Time constants of its decay that count."""


@dataclass(frozen=True, slots=True)
class Tracking:
    """How quickly a receiver follows, and how much it rings."""

    rate_per_s: float
    """Natural frequency, in radians."""
    ratio: float
    """Damping ratio; not exactly 1."""
    overshoots: bool = True
    """Whether it follows speed and its change, and not place and speed."""

    def kernel(self, step_s: float = STEP_S) -> FloatArray:
        """Return the weights of what was, by steps back from now; they sum to one."""
        decay, ring = self.ratio * self.rate_per_s, self.rate_per_s * np.sqrt(self.ratio**2 - 1 + 0j)
        back = np.arange(0.0, _REACH / (decay - ring.real), step_s)
        swing = self.rate_per_s**2 / ring * np.sinh(ring * back)
        if self.overshoots:
            swing = 2 * decay * np.cosh(ring * back) + (1 - 2 * self.ratio**2) * swing
        weight = np.exp(-decay * back) * swing.real
        weight[0] /= 2
        return np.asarray(weight / weight.sum())

    def seen(self, time_s: FloatArray, value_mps: FloatArray) -> FloatArray:
        """Return what it makes of a course known at moments in order, shape (n,)."""
        moment = np.arange(time_s[0], time_s[-1] + STEP_S, STEP_S)
        return np.asarray(np.interp(time_s, moment, passed(np.interp(moment, time_s, value_mps), self.kernel())))


def passed(course: FloatArray, kernel: FloatArray) -> FloatArray:
    """Return what a filter of given weights, from now back in time, makes of a course."""
    return np.asarray(course[0] + np.convolve(course - course[0], kernel / kernel.sum())[: len(course)])
