"""What positions tell: jumps no vehicle makes, and speed by a local fit on the receiver's own uneven times."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from speedcal.calibration.speed.geodesy import local_east_north_m
from speedcal.calibration.tuning import track as tuned
from speedcal.interval import BoolArray, FloatArray, IntArray, median
from speedcal.logs.drive.track import Track

_SMOOTHING_REACH = 5.0
"""Time constants before and after a moment that count; twice as many where it overshoots."""


@dataclass(frozen=True, slots=True)
class Smoothing:
    """How positions were smoothed before they were written: on the way, which comes late, or afterwards, evenly."""

    constant_s: float
    """Standard deviation of the time that is averaged over: the time constant of one on the way. Where it overshoots,
    one over its natural frequency."""
    one_sided: bool
    """On the way; the mean delay is the clock's."""
    overshoots: bool = False
    """By a filter that expects the vehicle to go on as it does (R. E. Kalman, J. Basic Eng. 82, 1960, 35-45), settled,
    or the same run forth and back. On the way it swings out of bends."""

    def mean(self, values: FloatArray, piece: IntArray, interval_s: float) -> FloatArray:
        """Return the values of shape (n,) smoothed in this way, each piece by itself."""
        return self.mean_over(piece, interval_s)(values)

    def mean_over(self, piece: IntArray, interval_s: float) -> Callable[[FloatArray], FloatArray]:
        """Return what smooths values at even times in this way, each piece by itself."""
        reach = int(np.ceil((1 + self.overshoots) * _SMOOTHING_REACH * self.constant_s / interval_s))
        weight = self._weight(reach, interval_s / self.constant_s)
        border = [0, *(np.flatnonzero(np.diff(piece)) + 1).tolist(), len(piece)]
        whole = [(begin, end, _total_weight(end - begin, weight)) for begin, end in pairwise(border)]

        def mean(values: FloatArray) -> FloatArray:
            smoothed = (np.convolve(values[a:b], weight)[reach:][: b - a] / total for a, b, total in whole)
            return np.concatenate(list(smoothed))

        return mean

    def _weight(self, reach: int, step: float) -> FloatArray:
        """Return the weight of values up to so many steps of the constant ahead and back."""
        since = np.arange(-reach, reach + 1) * step
        if self.overshoots and self.one_sided:
            return np.concatenate((np.zeros(reach), _of_steady_course(step, reach + 1)))
        if self.overshoots:
            angle = np.abs(since) / np.sqrt(2)
            return np.asarray(np.exp(-angle) * (np.cos(angle) + np.sin(angle)))
        if not self.one_sided:
            return np.asarray(np.exp(-(since**2) / 2))
        weight = np.where(since > -1 - 1e-9, np.exp(-np.maximum(since + 1, 0.0)), 0.0)
        weight[np.abs(since + 1) < 1e-9] /= 2
        return weight


@dataclass(frozen=True, slots=True)
class LocalFit:
    """How speed came out of positions: a weighted sum of what lies around each fix, shape (n, neighbours)."""

    neighbour: IntArray
    weight: FloatArray
    smoothing: Smoothing | None = None
    """What happened to the positions before."""

    def rate(self, coordinate: FloatArray) -> FloatArray:
        """Return the rate of change of a coordinate at each fix, by the same fit that made the speed. [1/s]."""
        return np.asarray(np.einsum("nm,nm->n", self.weight, coordinate[self.neighbour] - coordinate[:, None]))

    def spans(self, label: IntArray) -> BoolArray:
        """Return where all neighbours that count carry the label of the fix itself."""
        return np.asarray(np.all((label[self.neighbour] == label[:, None]) | (self.weight == 0), axis=1))


def _of_steady_course(step: float, count: int) -> FloatArray:
    """Return the weights of so many values, the newest first, in the settled filter of a steady course.

    Its gains by the tracking index, here the square of a step in natural time (P. R. Kalata, IEEE Trans. Aerospace and
    Electronic Systems 20, 1984, 174-182; from memory).
    """
    index = step**2
    root = (4 + index - np.sqrt(8 * index + index**2)) / 4
    of_place = 1 - root**2
    of_speed = 2 * (2 - of_place) - 4 * root
    place = speed = 0.0
    weight = np.empty(count)
    for k in range(count):
        place += speed
        off = (k == 0) - place
        place, speed = place + of_place * off, speed + of_speed * off
        weight[k] = place
    return weight


def _total_weight(count: int, weight: FloatArray) -> FloatArray:
    """Return how much of an odd number of weights, for what lies before and after, falls on each of so many values."""
    reach = len(weight) // 2
    before = np.concatenate(([0.0], np.cumsum(weight)))
    last = reach + np.arange(count)
    return np.asarray(before[np.minimum(last, 2 * reach) + 1] - before[np.clip(last - count + 1, 0, 2 * reach + 1)])


def speed_from_positions(
    time: FloatArray, piece: IntArray, east: FloatArray, north: FloatArray, interval: float
) -> tuple[FloatArray, FloatArray, float, LocalFit]:
    """Fit a quadratic of time to the positions around every fix.

    Returns speed, turning rate, noise of the speed, and the fit itself.
    """
    reach = int(np.clip(round(tuned.POSITION_WINDOW_S / interval), 1, 12))
    n = len(time)
    neighbours = np.arange(n)[:, None] + np.arange(-reach, reach + 1)[None, :]
    inside = (neighbours >= 0) & (neighbours < n)
    neighbours = np.clip(neighbours, 0, n - 1)
    inside &= piece[neighbours] == piece[:, None]
    u = np.where(inside, time[neighbours] - time[:, None], 0.0) / (reach * interval)
    weight = inside.astype(float)
    moments = [np.sum(weight * u**k, axis=1) for k in range(5)]
    normal = np.empty((n, 3, 3))
    for i in range(3):
        for j in range(3):
            normal[:, i, j] = moments[i + j]
    lonely = inside.sum(axis=1) < 4
    normal[:, 2, 2] += np.where(lonely, 1e6, 1e-12)  # too few fixes for a curvature: a straight line instead
    normal[:, 1, 1] += 1e-12
    basis = np.stack([weight, weight * u, weight * u * u], axis=2)
    rows = np.linalg.solve(normal, np.transpose(basis, (0, 2, 1)))
    velocity, residual = [], []
    for coordinate in (east, north):
        local = np.where(inside, coordinate[neighbours] - coordinate[:, None], 0.0)
        fit = np.einsum("nkm,nm->nk", rows, local)
        velocity.append(fit[:, 1] / (reach * interval))
        residual.append(np.where(inside, local - np.einsum("nmk,nk->nm", basis, fit), 0.0))
    speed = np.hypot(*velocity)
    course = np.arctan2(*velocity)
    first, last = np.maximum(np.arange(n) - reach, 0), np.minimum(np.arange(n) + reach, n - 1)
    turn = np.abs((course[last] - course[first] + np.pi) % (2 * np.pi) - np.pi)
    turning = turn / np.maximum(time[last] - time[first], interval)
    gain = np.sum(rows[:, 1, :] ** 2, axis=1) / (reach * interval) ** 2
    # in a bend a fit leaves the bend itself as residual, which is no noise
    full = (
        (inside.sum(axis=1) == 2 * reach + 1)
        & (speed > tuned.SLOWEST_POSITION_SPEED_MPS)
        & (turn < tuned.STRAIGHT_FIT_RAD)
    )
    spare = max(2 * reach + 1 - 3, 1)
    squares = sum(np.sum(r**2, axis=1) for r in residual) / 2 / spare
    variance = float(np.mean(np.minimum(squares[full], 4 * np.median(squares[full])))) if full.any() else 0.0
    # the slow wander of positions does not show in the residuals of a short fit, hence a floor
    u_speed = max(float(np.sqrt(variance * np.median(gain))), tuned.RECORDED_U_MPS)
    # E|v + noise| = |v| + u²/(2|v|): the part of the noise across the course only ever lengthens a velocity
    speed = np.maximum(speed - variance * gain / (2 * np.maximum(speed, 1.0)), 0.0)
    # a chord is shorter than its arc: on a circle the fitted rate of sin(wt)/w is 1 - w²/6 sum(weight t³)
    cube = np.sum(rows[:, 1, :] * u**3, axis=1) * (reach * interval) ** 2
    short = np.minimum(turning**2 * cube / 6, tuned.MOST_CHORD)
    speed = speed * (1 + short + 0.7 * short**2)  # x / sin x in powers of x²/6
    return speed, turning, u_speed, LocalFit(neighbours, rows[:, 1, :] * inside / (reach * interval))


def without_jumps(track: Track) -> tuple[BoolArray, IntArray, dict[str, int]]:
    """Return which fixes to keep and the segment of each; an impossible step begins a new segment.

    A step is impossible when it is far longer than the steps around it allow. What lies between two of them and is
    shorter than ten fixes is a jump there and back, and is dropped. A place that is repeated up to such a step is one
    where the receiver froze while the vehicle went on.
    """
    if len(track) < tuned.FEWEST_FIXES:
        return np.ones(len(track), bool), track.segment, {}
    east, north = local_east_north_m(track.latitude_deg, track.longitude_deg)
    length, span = np.hypot(np.diff(east), np.diff(north)), np.diff(track.time_s)
    usual = _running_median(length / span, 3)
    longest = span + _late_stamps_s(track.time_s)
    reach = longest * np.minimum(usual + tuned.IMPOSSIBLE_ACCELERATION * span, tuned.IMPOSSIBLE_SPEED_MPS)
    impossible = length > reach + tuned.POSITION_SLACK_M
    part = np.concatenate(([0], np.cumsum(impossible)))
    keep = (np.bincount(part) >= tuned.FEWEST_FIXES)[part]
    frozen = _frozen(length, impossible)
    counts = {
        "impossible_jump": int((~keep).sum()),
        "frozen_position": int((keep & frozen).sum()),
        "step_of_positions": int((impossible[1:] & keep[2:]).sum()),
    }
    segment = np.cumsum(np.concatenate(([0], (np.diff(track.segment) != 0) | impossible)))
    return keep & ~frozen, segment, {reason: count for reason, count in counts.items() if count}


def _late_stamps_s(time_s: FloatArray) -> float:
    """Return by how much longer than its stamps say a step may be: a second where uneven fixes are stamped in those."""
    step = np.diff(time_s)
    uneven = float(np.mean(step != np.median(step))) > tuned.UNEVEN_FIXES
    return 1.0 if uneven and (time_s == np.round(time_s)).all() else 0.0


def _frozen(length: FloatArray, impossible: BoolArray) -> BoolArray:
    """Return which fixes repeat the place before them, up to an impossible step."""
    repeats = np.concatenate(([False], length == 0))
    begin = np.maximum.accumulate(np.where(repeats, 0, np.arange(len(repeats))))
    left_far = np.zeros(len(repeats), bool)
    left_far[begin[:-1][impossible]] = True
    return np.asarray(repeats & left_far[begin])


def without_spikes(time: FloatArray, speed: FloatArray) -> BoolArray:
    """Return which speeds to keep; one that stands out from the median of its neighbours is a spike.

    A speed that only rises or only falls, however fast, is its own median; so braking hard is not a spike.
    """
    interval = median(np.diff(time))
    away = np.abs(speed - _running_median(speed, 3))
    return np.asarray(away <= tuned.SPIKE_MPS + tuned.SPIKE_ACCELERATION * interval)


def _running_median(values: FloatArray, reach: int) -> FloatArray:
    """Return the median over the values up to ``reach`` before and after each."""
    padded = np.pad(values, reach, mode="edge")
    return np.asarray(np.median(np.lib.stride_tricks.sliding_window_view(padded, 2 * reach + 1), axis=1))
