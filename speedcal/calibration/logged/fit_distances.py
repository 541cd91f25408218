"""A dense log beside positions: the way between fixes against the way that the readings make of a dial.

Speed from positions is noisy, and smoothing it eats accelerations; the way between two fixes is neither. Over windows
of some ten seconds it is the integral of the true speed, and the true speed is what the dial would have to be driven
at to show what it showed: linear in the dial turned round. The noise is on the side of the way, so that nothing is
flattened.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import product, starmap

import numpy as np

from speedcal.calibration.dial.curve import dial_through
from speedcal.calibration.dial.dial import spline_weights
from speedcal.calibration.dial.measured import NO_GROUND, TOO_SLOW, WRONG, MeasuredLine, RoughLog, StraightWindows
from speedcal.calibration.logged.log_intervals import leaving_out_blocks, scaled_noise
from speedcal.calibration.logged.smoothed_positions import with_smoothing_left
from speedcal.calibration.logged.smoothed_way import CurvedWay
from speedcal.calibration.logged.way import Windows, windows_of_way
from speedcal.calibration.speed.ground_speed import GroundSpeed
from speedcal.calibration.speed.positions import Smoothing, without_spikes
from speedcal.calibration.tuning import logs as tuned
from speedcal.calibration.tuning.track import SLOWEST_POSITION_SPEED_MPS
from speedcal.finding import Finding
from speedcal.interval import BoolArray, FloatArray, IntArray, median, robust_scale

_ROUNDS, _ROUNDS_FROM_NEAR, _CAUCHY, _MOST_NODES, _WINDOWS_A_NODE = 10, 4, 3.0, 8, 8
_LARGEST_STEP_S, _FAR = 1.0, 6.0
_BEND_MPS = 1.0
"""Loose bound on the second difference of the dial from node to node; the prior of the curve decides afterwards."""
_LEAST_NOISE_M = 0.02


def fit_distances(log: RoughLog) -> MeasuredLine | None:
    """Return the dial of a log beside positions; None with fewer than a dozen windows."""
    ground, time_s, indicated_mps = log.ground, log.time_s, log.indicated_mps
    windows = windows_of_way(ground)
    smooth = without_spikes(time_s, indicated_mps)
    right = np.flatnonzero(smooth)
    if len(right) < 2:
        return None
    rows = _Log.of(time_s[right], indicated_mps[right])
    nodes = _nodes(rows, windows, log.tau_s)
    if nodes is None:
        return None
    fit = _Fit(windows, rows, nodes, (nodes - log.offset_mps) / log.factor, log.tau_s)
    if not fit.run():
        return None
    plain = _line(log, fit, smooth)
    if np.median(np.diff(rows.time_s)) > tuned.LATENT_INTERVAL_S or ground.interval_s > tuned.THINNED_TO_S:
        return plain
    found = _unsmoothed(fit, ground)
    if found is None:
        return plain
    unsmoothed, smoothing = found
    told = Finding("positions_smoothed", smoothed_s=smoothing.constant_s)
    return with_smoothing_left(replace(_line(log, unsmoothed, smooth), findings=(told,)), plain)


def _line(log: RoughLog, fit: _Fit, smooth: BoolArray) -> MeasuredLine:
    """Return the dial of a fit, and what each row was found to be."""
    ground, nodes = log.ground, fit.nodes
    moment = fit.gps_time(log.time_s)
    covariance, u_clock = fit.uncertainty()
    gain = 1 / np.gradient(fit.true_mps, nodes)
    speed, _, inside = ground.at(moment)
    usable = inside & ground.usable_at(moment) & ~fit.is_slow(moment)
    wrong = ~smooth | fit.far_off(moment)
    dial = dial_through(
        fit.true_mps,
        nodes,
        covariance * np.outer(gain, gain),
        used_mps=speed[usable & ~wrong] if (usable & ~wrong).any() else fit.true_mps,
    )
    reason = np.where(usable, np.where(wrong, WRONG, ""), np.where(inside, TOO_SLOW, NO_GROUND))
    return MeasuredLine(
        dial=dial,
        clock_offset_s=fit.tau,
        u_clock_offset_s=u_clock,
        scatter_mps=float(np.hypot(dial.line.error_factor * fit.noise_mps, log.step_mps / np.sqrt(12))),
        time_s=moment,
        ground_mps=np.where(inside, speed, np.nan),
        reason=tuple(reason.tolist()),
        windows=fit.straight_windows(),
    )


def _unsmoothed(plain: _Fit, ground: GroundSpeed) -> tuple[_Fit, Smoothing] | None:
    """Return the fit of positions that were smoothed before they were thinned out; None where a log denies it."""
    curve = CurvedWay.through(ground)

    def tried(constants_s: Sequence[float]) -> tuple[float, _Fit, Smoothing]:
        found = []
        for smoothing in starmap(Smoothing, product(constants_s, (False, True), (False, True))):
            fit = plain.smoothed(curve.with_bends(plain.windows, smoothing), smoothing)
            found.append((plain.better_by(fit) if fit.run(_ROUNDS_FROM_NEAR) else -np.inf, fit, smoothing))
        return max(found, key=lambda one: one[0])

    if tried((tuned.THINNED_HINT_S,))[0] < tuned.THINNED_HINT:
        return None
    told, best, smoothing = tried(tuned.SMOOTHING_S)
    asked = tuned.THINNED_FILTER_FROM if smoothing.overshoots else tuned.THINNED_FROM
    return (best, smoothing) if told >= asked and best.run() else None


@dataclass(frozen=True, slots=True)
class _Log:
    """Readings on their own clock, in order."""

    time_s: FloatArray
    since_s: FloatArray
    """Time since the middle of the log."""
    shown_mps: FloatArray
    stretch: IntArray
    """Number of the unbroken stretch each lies in."""

    @classmethod
    def of(cls, time: FloatArray, shown: FloatArray) -> _Log:
        step = np.diff(time)
        gap = step > max(3.0, 3 * median(step))
        return cls(time, time - float(np.mean(time)), shown, np.concatenate(([0], np.cumsum(gap))))

    def covers(self, begin: FloatArray, end: FloatArray) -> BoolArray:
        """Return whether one stretch covers each span of its own clock."""
        first = np.clip(np.searchsorted(self.time_s, begin, side="right") - 1, 0, len(self.time_s) - 1)
        last = np.clip(np.searchsorted(self.time_s, end), 0, len(self.time_s) - 1)
        inside = (begin >= self.time_s[0]) & (end <= self.time_s[-1])
        return np.asarray(inside & (self.stretch[first] == self.stretch[last]))


def _nodes(log: _Log, windows: Windows, tau_s: float) -> FloatArray | None:
    covered = log.covers(windows.begin_s - tau_s, windows.end_s - tau_s)
    if covered.sum() < tuned.FEWEST_WINDOWS:
        return None
    middle = (windows.begin_s + windows.end_s)[covered] / 2 - tau_s
    low, high = np.quantile(np.interp(middle, log.time_s, log.shown_mps), (0.02, 0.98))
    high = max(high, low + 1.0)
    most = min(_MOST_NODES, max(2, int(covered.sum()) // _WINDOWS_A_NODE))
    count = int(np.clip(round((high - low) / tuned.LOG_NODE_GAP_MPS) + 1, 2, most))
    return np.linspace(low, high, count)


class _Fit:
    """Gauss and Newton's method for the dial turned round, the clock and its drift."""

    def __init__(
        self,
        windows: Windows,
        log: _Log,
        nodes: FloatArray,
        true: FloatArray,
        tau: float,
        smoothing: Smoothing | None = None,
    ) -> None:
        self.windows, self.log, self.nodes, self.true_mps = windows, log, nodes, true
        self.tau, self.drift = tau, 0.0
        self.slow_s = np.zeros((2, 0))
        self.weight_at, _ = spline_weights(nodes, log.shown_mps)
        if smoothing is not None:
            usual_s = median(np.diff(log.time_s))
            self.weight_at = np.column_stack([smoothing.mean(one, log.stretch, usual_s) for one in self.weight_at.T])
        self.middle = float(np.mean(log.time_s))
        size = len(nodes)
        self.prior = np.zeros((size + 2, size + 2))
        if size > 2:
            second = np.diff(np.eye(size), 2, axis=0) / _BEND_MPS
            self.prior[:size, :size] = second.T @ second
        self.prior[-2, -2], self.prior[-1, -1] = 1e-4, tuned.DRIFT_U**-2

    def smoothed(self, windows: Windows, smoothing: Smoothing) -> _Fit:
        """Return a fit that starts here, of positions that were smoothed, away from where the vehicle is slow."""
        fit = _Fit(windows, self.log, self.nodes, self.true_mps, self.tau, smoothing)
        slow = self.log.time_s[self.weight_at @ self.true_mps < SLOWEST_POSITION_SPEED_MPS] + self.tau
        fit.slow_s = np.stack([slow - smoothing.constant_s, slow + smoothing.constant_s])
        begun, ended = (np.searchsorted(fit.slow_s[1 - k], (windows.begin_s, windows.end_s)[k]) for k in (0, 1))
        fit.windows = windows.only(begun == ended)
        return fit

    def better_by(self, other: _Fit) -> float:
        """Return how much likelier another fit makes its windows, by how far they usually lie off this one. [nats]."""
        size = max(robust_scale(self.off_m), _LEAST_NOISE_M)
        here = self.off_m[np.isin(self.some.begin_s, other.some.begin_s)]
        return float(np.sum(np.log1p((here / size) ** 2)) - np.sum(np.log1p((other.off_m / size) ** 2)))

    def is_slow(self, moment: FloatArray) -> BoolArray:
        """Return which moments lie where smoothing brings in speeds that no dial shows in proportion."""
        return np.searchsorted(self.slow_s[1], moment) < np.searchsorted(self.slow_s[0], moment, side="right")

    def gps_time(self, time_s: FloatArray) -> FloatArray:
        return np.asarray(time_s + self.tau + self.drift * (time_s - self.middle))

    def run(self, rounds: int = _ROUNDS) -> bool:
        """Move to the best place; tell whether it is one, and the log covers windows enough there."""
        return all(self._round() for _ in range(rounds)) and bool(np.all(np.diff(self.true_mps) > 0))

    def _round(self) -> bool:
        begin, end = (t - self.tau for t in (self.windows.begin_s, self.windows.end_s))
        self.some = some = self.windows.only(self.log.covers(begin, end))
        if len(some.way_m) < tuned.FEWEST_WINDOWS:
            return False
        columns = self._columns(some)
        self.off_m = rest = some.way_m - columns[:, : len(self.nodes)] @ self.true_mps
        self.ends, length, far = _noise(rest, some)
        self.off = np.sqrt(far) * _CAUCHY > _FAR
        self.noise_mps = robust_scale(rest / (some.end_s - some.begin_s))
        self.root = _Whitening(some, self.ends, length, far)
        self.design, self.rest = self.root.whitened(columns), self.root.whitened(rest[:, None])[:, 0]
        place = np.concatenate([self.true_mps, [0.0, self.drift]])
        step = np.linalg.solve(self.design.T @ self.design + self.prior, self.design.T @ self.rest - self.prior @ place)
        self.true_mps = self.true_mps + step[:-2]
        self.tau += float(np.clip(step[-2], -_LARGEST_STEP_S, _LARGEST_STEP_S))
        self.drift += float(step[-1])
        return True

    def straight_windows(self) -> StraightWindows | None:
        """Return the windows that bends hardly lengthen, None where they are few."""
        some = self.some
        lasts = some.end_s - some.begin_s
        straight = some.u_turn_m < tuned.STRAIGHT_U_MPS * lasts
        if straight.sum() < tuned.FEWEST_WINDOWS:
            return None
        lasts, off_m = lasts[straight], self.off_m[straight]
        stray_m = np.sqrt(max(robust_scale(off_m) ** 2 - 2 * self.ends, 0.0))
        return StraightWindows(
            time_s=(some.begin_s + some.end_s)[straight] / 2,
            ground_mps=some.way_m[straight] / lasts,
            off_mps=-off_m / lasts,
            wander_mps=float(stray_m / np.median(lasts)),
        )

    def far_off(self, moment: FloatArray) -> BoolArray:
        """Return which moments lie in a window that nothing explains."""
        place = np.clip(np.searchsorted(self.some.begin_s, moment, side="right") - 1, 0, None)
        return np.asarray(self.off[place] & (moment >= self.some.begin_s[place]) & (moment <= self.some.end_s[place]))

    def _columns(self, some: Windows) -> FloatArray:
        moment = self.gps_time(self.log.time_s)
        through = self.weight_at @ self.true_mps
        weight, rate = self.weight_at, self._rate(moment)
        step = np.diff(moment)[:, None]
        whole = np.zeros_like(weight)
        whole[1:] = np.cumsum(_integral(np.ones_like(step), step, (weight[:-1], weight[1:]), (rate[:-1], rate[1:])), 0)
        spans = []
        for edge in (some.begin_s, some.end_s):
            place = np.clip(np.searchsorted(moment, edge) - 1, 0, len(moment) - 2)
            share = (edge - moment[place])[:, None] / step[place]
            ends = ((values[place], values[place + 1]) for values in (weight, rate))
            part = _integral(share, step[place], *ends)
            speed = through[place] + share[:, 0] * (through[place + 1] - through[place])
            since = self.log.since_s[place]
            spans.append(np.column_stack([whole[place] + part, -speed, -speed * since]))
        return np.asarray(spans[1] - spans[0])

    def _rate(self, moment: FloatArray) -> FloatArray:
        """Return how the weights change at each row, by those around it; not at all at the ends of a stretch."""
        inner = np.zeros(len(moment), np.bool_)
        inner[1:-1] = self.log.stretch[2:] == self.log.stretch[:-2]
        rate = np.zeros_like(self.weight_at)
        rate[1:-1] = (self.weight_at[2:] - self.weight_at[:-2]) / (moment[2:] - moment[:-2])[:, None]
        return np.where(inner[:, None], rate, 0.0)

    def uncertainty(self) -> tuple[FloatArray, float]:
        """Return covariance of the true speeds at the nodes, and u of the clock."""
        size = len(self.nodes)
        line = np.column_stack([np.ones(size), self.nodes])
        narrow = np.zeros((size + 2, 4))
        narrow[size:, :2], narrow[:size, 2:] = np.eye(2), line
        design = self.design @ narrow
        model, jackknife, freedom = leaving_out_blocks(
            design * self.rest[:, None],
            design,
            design,
            block=np.floor((self.some.begin_s - self.some.begin_s[0]) / tuned.POSITIONS_BLOCK_S),
            prior=narrow.T @ self.prior @ narrow,
        )
        noise = np.asarray(np.linalg.inv(self.design.T @ self.design + self.prior)[:size, :size], float)
        noise = scaled_noise(noise, line, model=model[-2:, -2:], jackknife=jackknife[-2:, -2:], freedom=freedom)
        alike = self.design.T @ self.root.whitened(self.some.u_between_m[:, None])[:, 0]
        moved = np.linalg.solve(self.design.T @ self.design + self.prior, alike)[:size]
        noise = noise + np.outer(moved, moved)
        return noise, float(np.sqrt(max(jackknife[0, 0], model[0, 0])))


_Ends = tuple[FloatArray, FloatArray]


def _integral(share: FloatArray, step: FloatArray, value: _Ends, rate: _Ends) -> FloatArray:
    """Return the integral of Hermite's cubics over the first share of each step, by what they are at its ends."""
    s2, s3, s4 = share**2, share**3, share**4
    at_value = (share - s3 + s4 / 2) * value[0] + (s3 - s4 / 2) * value[1]
    at_rate = (s2 / 2 - 2 * s3 / 3 + s4 / 4) * rate[0] + (s4 / 4 - s3 / 3) * rate[1]
    return np.asarray(step * (at_value + step * at_rate))


def _noise(rest: FloatArray, some: Windows) -> tuple[float, float, FloatArray]:
    """Return variance of an end and of the length of a window, and how far each lies (Cauchy's weights)."""
    size = max(robust_scale(rest), _LEAST_NOISE_M)
    spread = np.hypot(size, some.u_turn_m)
    far = (rest / (_CAUCHY * spread)) ** 2
    cut = np.clip(rest, -_CAUCHY * size, _CAUCHY * size)
    together = cut[1:] * cut[:-1] * some.follows[1:]
    ends = max(-float(together.sum()) / max(int(some.follows[1:].sum()), 1), 0.0)
    ends = min(ends, 0.45 * size**2)
    return ends, size**2 - 2 * ends, far


class _Whitening:
    """Takes windows that share ends to independent ones of unit variance."""

    def __init__(self, some: Windows, ends: float, length: float, far: FloatArray) -> None:
        from scipy.linalg import cholesky_banded

        scale = np.sqrt(1 + far)
        band = np.zeros((2, len(far)))
        band[0] = (2 * ends + length + some.u_turn_m**2) * scale**2
        band[1, :-1] = -ends * some.follows[1:] * scale[1:] * scale[:-1]
        self.factor = cholesky_banded(band, lower=True)

    def whitened(self, columns: FloatArray) -> FloatArray:
        from scipy.linalg import solve_banded

        return np.asarray(solve_banded((1, 0), self.factor, columns))
