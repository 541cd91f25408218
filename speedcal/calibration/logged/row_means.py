"""Rows of a log that are means of all that was shown since the row before, as of boxes that send one in ten seconds."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from speedcal.calibration.dial.measured import MeasuredLine
from speedcal.calibration.readings.kind import is_log
from speedcal.calibration.speed.ground_speed import GroundSpeed
from speedcal.calibration.tuning import logs as tuned
from speedcal.calibration.tuning.track import SLOWEST_MPS
from speedcal.finding import Finding
from speedcal.interval import BoolArray, FloatArray, median, robust_scale

_FEWEST_ROWS, _MOVES, _NEAREST = 30, 21, 0.8
"""Rows that tell it, places of the mean that are tried, and the share of rows, the nearest ones, that count."""


def speed_of_means(ground: GroundSpeed, line: MeasuredLine, indicated_mps: FloatArray) -> GroundSpeed | None:
    """Return the mean speed that such rows go by, None where they go by the speed of a moment."""
    known = np.flatnonzero(np.isfinite(line.ground_mps))
    known = known[np.argsort(line.time_s[known], kind="stable")]
    time, shown = line.time_s[known], indicated_mps[known]
    if len(known) < _FEWEST_ROWS or not (ground.is_recorded_often and is_log(time)):
        return None
    span_s = median(np.diff(time))
    if span_s < tuned.MEANS_FROM_S:
        return None
    moves = np.linspace(-span_s, span_s, _MOVES)
    speed, _, inside = ground.at(time[:, None] + moves)
    of_moments = _least_scatter(speed, inside, shown)
    of_means = _least_scatter(*_means(ground, time[:, None] + moves, span_s), shown)
    if of_means > tuned.MEANS_MATCH * of_moments:
        return None
    mean, whole = _means(ground, ground.time_s, span_s)
    slow = np.concatenate(([0], np.cumsum(~ground.usable)))
    first, last = (np.searchsorted(ground.time_s, ground.time_s + side * span_s / 2) for side in (-1, 1))
    return replace(
        ground.shown_as(np.where(whole, mean, ground.speed_mps)),
        usable=whole & (slow[first] == slow[last]),  # a dial need not be linear at a walk, which is in no mean then
        step_mps=0.0,
        findings=(*ground.findings, Finding("rows_of_means", span_s=span_s)),
    )


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
        if use.sum() < _FEWEST_ROWS:
            continue
        x, y = speed[use], shown_mps[use]
        off = y - np.polyval(np.polyfit(x, y, 1), x)
        near = np.abs(off) <= np.quantile(np.abs(off), _NEAREST)
        off = y - np.polyval(np.polyfit(x[near], y[near], 1), x)
        least = min(least, robust_scale(off))
    return float(least)
