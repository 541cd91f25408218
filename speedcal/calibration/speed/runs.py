"""Steady runs: stretches of a drive at nearly one speed."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from speedcal.calibration.speed.ground_speed import GroundSpeed
from speedcal.calibration.tuning.track import SAME_RUN_MPS, STEADY_FROM_MPS, STEADY_MPS2, STEADY_REACH_S, STEADY_S
from speedcal.interval import BoolArray, FloatArray, IntArray


@dataclass(frozen=True, slots=True)
class SteadyRuns:
    """The steady runs of a drive in order, arrays of shape (k,)."""

    begin_s: FloatArray
    end_s: FloatArray
    speed_mps: FloatArray
    """Mean ground speed."""

    def __len__(self) -> int:
        return len(self.begin_s)

    def number_at(self, time_s: FloatArray) -> IntArray:
        """Return the number of the run each time lies in, -1 outside of all."""
        if not len(self):
            return np.full(len(time_s), -1, np.int64)
        run = np.clip(np.searchsorted(self.begin_s, time_s, side="right") - 1, 0, None)
        return np.where((time_s >= self.begin_s[run]) & (time_s <= self.end_s[run]), run, -1)


def steady_runs(ground: GroundSpeed) -> SteadyRuns:
    """Return the stretches of at least :data:`STEADY_S` in which the speed drifts by less than :data:`STEADY_MPS2`.

    The drift is that of the mean over some seconds before and after each fix, so the noise of single fixes and small
    corrections of the driver do not break a run. Neighbouring runs at nearly one speed, a short wobble apart,
    are one run.
    """
    time = ground.time_s
    half = STEADY_REACH_S / 2
    before, middle, after = (_mean_between(ground, time + at - half, time + at + half) for at in (-half, 0.0, half))
    steady = (np.abs(after - before) / STEADY_REACH_S < STEADY_MPS2) & (middle > STEADY_FROM_MPS)
    begin, end = _stretches(steady, ground)
    long = time[end] - time[begin] >= STEADY_S
    begin, end = begin[long], end[long]
    speed = _mean_between(ground, time[begin], time[end])
    joined: list[tuple[float, float, float]] = []
    for b, e, v in zip(time[begin], time[end], speed, strict=True):
        if joined and b - joined[-1][1] < 2 * STEADY_REACH_S and abs(v - joined[-1][2]) < SAME_RUN_MPS:
            first, last, u = joined[-1]
            weight = (e - b) / (e - b + last - first)
            joined[-1] = (first, e, u + weight * (v - u))
        else:
            joined.append((b, e, v))
    columns = np.array(joined, float).reshape(-1, 3).T
    return SteadyRuns(columns[0], columns[1], columns[2])


def _mean_between(ground: GroundSpeed, begin_s: FloatArray, end_s: FloatArray) -> FloatArray:
    """Return the mean ground speed between times, NaN where a gap lies between them."""
    begin_s, end_s = np.maximum(begin_s, ground.time_s[0]), np.minimum(end_s, ground.time_s[-1])
    first, first_piece, inside = ground.travelled_m(begin_s)
    last, last_piece, also = ground.travelled_m(end_s)
    whole = inside & also & (first_piece == last_piece) & (end_s > begin_s)
    return np.where(whole, (last - first) / np.where(whole, end_s - begin_s, 1.0), np.nan)


def _stretches(steady: BoolArray, ground: GroundSpeed) -> tuple[IntArray, IntArray]:
    """Return first and last index of each stretch of steady fixes inside one piece."""
    change = np.flatnonzero((np.diff(steady) != 0) | (np.diff(ground.piece) != 0)) + 1
    edges = np.concatenate(([0], change, [len(steady)]))
    keep = steady[edges[:-1]]
    return edges[:-1][keep], edges[1:][keep] - 1
