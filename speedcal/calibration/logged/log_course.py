"""The rows of a log as a course of what was shown: its stretches, how it changes, and what it adds up to."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from speedcal.calibration.tuning.logs import SWING_S
from speedcal.interval import BoolArray, FloatArray, IntArray, median


@dataclass(frozen=True, slots=True)
class LogCourse:
    """Readings on their own clock, in order."""

    time_s: FloatArray
    middle_s: float
    """Mean of the times."""
    since_s: FloatArray
    """Time since the middle of the log."""
    shown_mps: FloatArray
    stretch: IntArray
    """Number of the unbroken stretch each lies in."""

    @classmethod
    def of(cls, time: FloatArray, shown: FloatArray) -> LogCourse:
        """Return the course of rows in order of time; a gap ends a stretch."""
        step = np.diff(time)
        gap = step > max(3.0, 3 * median(step))
        middle = float(np.mean(time))
        return cls(time, middle, time - middle, shown, np.concatenate(([0], np.cumsum(gap))))

    def covers(self, begin: FloatArray, end: FloatArray) -> BoolArray:
        """Return whether one stretch covers each span of its own clock."""
        first = np.clip(np.searchsorted(self.time_s, begin, side="right") - 1, 0, len(self.time_s) - 1)
        last = np.clip(np.searchsorted(self.time_s, end), 0, len(self.time_s) - 1)
        inside = (begin >= self.time_s[0]) & (end <= self.time_s[-1])
        return np.asarray(inside & (self.stretch[first] == self.stretch[last]))


def change_over_seconds(moment: FloatArray, course: FloatArray) -> FloatArray:
    """Return how a course changes at each moment, over seconds enough that rounding does not show."""
    after, before = (np.interp(moment + side * SWING_S, moment, course) for side in (1, -1))
    return np.asarray((after - before) / (2 * SWING_S))


_Ends = tuple[FloatArray, FloatArray]


def integral_of(share: FloatArray, step: FloatArray, value: _Ends, rate: _Ends) -> FloatArray:
    """Return the integral of Hermite's cubics over the first share of each step, by what they are at its ends."""
    s2 = share**2
    s3, s4 = s2 * share, s2**2
    at_value = (share - s3 + s4 / 2) * value[0] + (s3 - s4 / 2) * value[1]
    at_rate = (s2 / 2 - 2 * s3 / 3 + s4 / 4) * rate[0] + (s4 / 4 - s3 / 3) * rate[1]
    return np.asarray(step * (at_value + step * at_rate))
