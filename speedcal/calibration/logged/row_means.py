"""Rows of a log that are means of all that was shown since the row before, as of boxes that send one in 10 to 60 s."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from speedcal.calibration.dial.measured import NO_GROUND, TOO_SLOW, MeasuredLine
from speedcal.calibration.readings.kind import of_period
from speedcal.calibration.readings.refusals import usable_readings
from speedcal.calibration.speed.ground_speed import GroundSpeed
from speedcal.calibration.tuning import logs as tuned
from speedcal.calibration.tuning.track import SLOWEST_MPS
from speedcal.errors import SpeedcalError
from speedcal.finding import Finding
from speedcal.interval import BoolArray, FloatArray, median, robust_scale
from speedcal.logs.drive.readings import Readings

_FEWEST_ROWS, _FEWEST_TOLD, _MOVES, _NEAREST = 30, 12, 61, 0.8
"""Rows of a log that tell it, those of them whose mean is told, places of the mean that are tried, and the share of
rows, the nearest ones, that count."""


@dataclass(frozen=True, slots=True)
class RowMeans:
    """The ground speed that rows go by which are means over so long, should they be such."""

    ground: GroundSpeed
    moments: GroundSpeed
    span_s: float
    slow: BoolArray
    """The vehicle stood or crawled in the mean about a fix, shape (n,)."""
    u_row_mps: float
    """By which a row of a moment misses the line anyhow; a mean misses it less and tells no more."""

    @classmethod
    def of(cls, ground: GroundSpeed, readings: Readings) -> RowMeans | None:
        """Return the speed of such rows, None beside rows that come sooner or unevenly, or where no speed is told."""
        time = np.unique(readings.time_s[usable_readings(readings)])
        if len(time) < _FEWEST_ROWS or ground.interval_s > tuned.LATENT_INTERVAL_S:
            return None
        span_s = median(np.diff(time))
        if span_s < tuned.MEANS_FROM_S or not of_period(np.diff(time), span_s):
            return None
        mean, whole = _means(ground, ground.time_s, span_s)
        slow = np.concatenate(([0], np.cumsum(~ground.usable)))
        first, last = (np.searchsorted(ground.time_s, ground.time_s + side * span_s / 2) for side in (-1, 1))
        told = whole & (slow[first] == slow[last])  # a dial need not be linear at a walk, which is in no mean then
        parts = told & (np.diff(ground.piece, prepend=ground.piece[0]) == 0)
        averaged = replace(
            ground.shown_as(np.where(told, mean, ground.speed_mps)),
            usable=told,
            piece=np.cumsum(~(parts & np.roll(told, 1))),
            step_mps=0.0,
            findings=(*ground.findings, Finding("rows_of_means", span_s=span_s)),
        )
        u_row = float(np.hypot(readings.speed_resolution_mps / np.sqrt(12), ground.u_speed_mps))
        return cls(averaged, ground, span_s, whole & ~told, u_row)

    def fitted(
        self, fit: Callable[[GroundSpeed], MeasuredLine], indicated_mps: FloatArray, plain: MeasuredLine | None
    ) -> tuple[GroundSpeed, MeasuredLine] | None:
        """Return the speed of means, and the fit to it, where rows go by them.

        Means over half a minute follow no speed of a moment: ``plain``, the fit to that, is None where it was refused.
        """
        if plain is not None and not self._told_by(plain, indicated_mps):
            return None
        try:
            line = fit(self.ground)
        except SpeedcalError:
            return None
        if not self._told_by(line, indicated_mps):
            return None
        reason = np.array(line.reason, dtype=object)
        reason[(reason == NO_GROUND) & self.slow[self.moments.nearest(line.time_s)]] = TOO_SLOW
        return self.ground, replace(line, reason=tuple(reason))

    def _told_by(self, line: MeasuredLine, indicated_mps: FloatArray) -> bool:
        """Tell whether rows go by means and not by the speed of a moment, about the clock that a fit has found."""
        known = np.flatnonzero(np.isfinite(line.time_s))
        moment = line.time_s[known, None] + np.linspace(-self.span_s, self.span_s, _MOVES)
        (of_moments, _, _), (of_means, _, told) = (one.at(moment) for one in (self.moments, self.ground))
        by_moments, by_means = (
            np.hypot(_least_scatter(one, told, indicated_mps[known]), self.u_row_mps) for one in (of_moments, of_means)
        )
        return bool(by_means < tuned.MEANS_MATCH * by_moments)


def _means(ground: GroundSpeed, time_s: FloatArray, span_s: float) -> tuple[FloatArray, BoolArray]:
    """Return the mean speed over so long about each time, and whether the track has all of that."""
    (first_m, first, begun), (last_m, last, ended) = (
        ground.travelled_m(time_s + side * span_s / 2) for side in (-1, 1)
    )
    return (last_m - first_m) / span_s, begun & ended & (first == last)


def _least_scatter(speed_mps: FloatArray, inside: BoolArray, shown_mps: FloatArray) -> float:
    """Return how far rows lie from a line at the best of the places in time, a column each."""
    least = np.inf
    for speed, here in zip(speed_mps.T, inside.T, strict=True):
        use = here & (speed > SLOWEST_MPS)
        if use.sum() < _FEWEST_TOLD:
            continue
        x, y = speed[use], shown_mps[use]
        off = y - np.polyval(np.polyfit(x, y, 1), x)
        near = np.abs(off) <= np.quantile(np.abs(off), _NEAREST)
        off = y - np.polyval(np.polyfit(x[near], y[near], 1), x)
        least = min(least, robust_scale(off))
    return float(least)
