"""The way that the readings of a log make of a dial, between any two moments: linear in the dial turned round."""

from __future__ import annotations

import numpy as np

from speedcal.calibration.dial.dial import spline_weights
from speedcal.calibration.logged.log_course import LogCourse, change_over_seconds, integral_of
from speedcal.calibration.logged.way import Windows
from speedcal.calibration.speed.positions import Smoothing
from speedcal.calibration.tuning import logs as tuned
from speedcal.interval import FloatArray, median


class ShownWay:
    """What the true speed at each node counts for along a log.

    Integrals are taken once, on the log's own clock: one that runs faster makes all of them longer alike.
    """

    def __init__(self, log: LogCourse, nodes: FloatArray, smoothing: Smoothing | None) -> None:
        self.log = log
        self.weight_at, _ = spline_weights(nodes, log.shown_mps)
        """Share of each node in the true speed at each reading, shape (n, m)."""
        if smoothing is not None:
            usual_s = median(np.diff(log.time_s))
            self.weight_at = np.column_stack([smoothing.mean(one, log.stretch, usual_s) for one in self.weight_at.T])
        self._rate = self._rate_of_weights()
        self._step_s = np.diff(log.time_s)[:, None]
        ends = ((values[:-1], values[1:]) for values in (self.weight_at, self._rate))
        so_far = np.cumsum(integral_of(np.ones_like(self._step_s), self._step_s, *ends), axis=0)
        self._whole_s = np.concatenate([np.zeros_like(nodes)[None], so_far])

    def columns(self, windows: Windows, true_mps: FloatArray, *, tau: float, drift: float, late: bool) -> FloatArray:
        """Return by what each unknown moves the way of each window, shape (k, m + 4).

        The unknowns are the true speeds at the nodes, the clock offset, the drift, how much later a display falls than
        it rises, and how it is damped; the last two move nothing when not ``late``.
        """
        fast, count = 1 + drift, len(windows.way_m)
        middle = self.log.middle_s
        edge = middle + (np.concatenate([windows.begin_s, windows.end_s]) - tau - middle) / fast
        place = np.clip(np.searchsorted(self.log.time_s, edge) - 1, 0, len(self._step_s) - 1)
        step = self._step_s[place]
        share = (edge - self.log.time_s[place])[:, None] / step
        ends = ((values[place], values[place + 1]) for values in (self.weight_at, self._rate))
        at_edges = fast * (self._whole_s[place] + integral_of(share, step, *ends))
        through = self.weight_at @ true_mps
        swings = self._swings(through, fast) if late else np.zeros((2, len(through)))
        courses = np.column_stack([through, *swings])
        speed, *behind = (courses[place] + share * (courses[place + 1] - courses[place])).T
        columns = np.column_stack([at_edges, -speed, -speed * self.log.since_s[place], *behind])
        return np.asarray(columns[count:] - columns[:count])

    def _swings(self, through: FloatArray, fast: float) -> tuple[FloatArray, FloatArray]:
        """Return what a display that falls later than it rises, and one that is damped, lags behind the way by."""
        slope = change_over_seconds(fast * self.log.since_s, through)
        swing = np.hypot(slope, tuned.SWING_STEADY_MPS2) - tuned.SWING_STEADY_MPS2
        swung = np.cumsum(fast * self._step_s[:, 0] * (swing[1:] + swing[:-1]) / 2)
        return -np.concatenate(([0.0], swung)), -slope

    def _rate_of_weights(self) -> FloatArray:
        """Return how the weights change at each row, by those around it; not at all at the ends of a stretch."""
        time_s, stretch = self.log.time_s, self.log.stretch
        rate = np.zeros_like(self.weight_at)
        rate[1:-1] = (self.weight_at[2:] - self.weight_at[:-2]) / (time_s[2:] - time_s[:-2])[:, None]
        rate[1:-1][stretch[2:] != stretch[:-2]] = 0.0
        return rate
