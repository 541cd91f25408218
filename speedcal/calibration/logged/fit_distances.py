"""A dense log beside positions: the way between fixes against the way that the readings make of a dial.

Speed from positions is noisy, and smoothing it eats accelerations; the way between two fixes is neither. Over windows
of some ten seconds it is the integral of the true speed, and the true speed is what the dial would have to be driven
at to show what it showed: linear in the dial turned round. The noise is on the side of the way, so that nothing is
flattened. A display that is damped, or falls later than it rises, shows other speeds while they change: by how much is
linear in the way, too.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from itertools import product, starmap

import numpy as np

from speedcal.calibration.dial.curve import dial_through
from speedcal.calibration.dial.measured import NO_GROUND, TOO_SLOW, WRONG, MeasuredLine, RoughLog, StraightWindows
from speedcal.calibration.logged.held_rounding import HeldRounding
from speedcal.calibration.logged.log_course import LogCourse
from speedcal.calibration.logged.log_intervals import leaving_out_blocks, scaled_noise
from speedcal.calibration.logged.shown_way import ShownWay
from speedcal.calibration.logged.smoothed_positions import with_smoothing_left
from speedcal.calibration.logged.smoothed_way import CurvedWay
from speedcal.calibration.logged.way import Windows, windows_of_way
from speedcal.calibration.logged.window_noise import CAUCHY, LEAST_NOISE_M, Whitening, noise_of_windows
from speedcal.calibration.speed.ground_speed import GroundSpeed
from speedcal.calibration.speed.positions import Smoothing, without_spikes
from speedcal.calibration.tuning import logs as tuned
from speedcal.calibration.tuning.track import SLOWEST_POSITION_SPEED_MPS
from speedcal.finding import Finding
from speedcal.interval import BoolArray, FloatArray, median, robust_scale

_ROUNDS, _ROUNDS_FROM_NEAR, _ROUNDS_TO_TELL, _MOST_NODES, _WINDOWS_A_NODE = 10, 4, 2, 8, 8
_LARGEST_STEP_S, _FAR = 1.0, 6.0
_SETTLED = 3e-3
"""Length of a step, in standard deviations of what it moves, after which none is taken."""
_GAINED_AFTER = 15.0
"""Most that a fit becomes likelier by after its first two rounds. [nats] Of 176 whose positions were smoothed in other
ways, the 111 that came within 60 of the plain one gained 7 at most; one that stayed farther off, 27."""
_HELD = 1e9
"""Information of what is taken as none."""
_BEND_MPS = 1.0
"""Loose bound on the second difference of the dial from node to node; the prior of the curve decides afterwards."""


def fit_distances(log: RoughLog) -> MeasuredLine | None:
    """Return the dial of a log beside positions.

    None with fewer than a dozen windows, and where positions that tell the speed show a display that follows at once.
    """
    ground, time_s, indicated_mps = log.ground, log.time_s, log.indicated_mps
    windows = windows_of_way(ground)
    smooth = without_spikes(time_s, indicated_mps)
    right = np.flatnonzero(smooth)
    if len(right) < 2:
        return None
    rows = LogCourse.of(time_s[right], indicated_mps[right])
    nodes = _nodes(rows, windows, log.tau_s)
    if nodes is None:
        return None
    prompt = _Fit(windows, rows, nodes, (nodes - log.offset_mps) / log.factor, log.tau_s)
    if not ground.between_is_guessed:
        late = prompt.late(tuned.LATE_FROM)
        return _line(log, late, smooth) if late is not None else None
    if not prompt.run():
        return None
    late = prompt.late(tuned.LATE_FROM_BETWEEN) or prompt
    if median(np.diff(rows.time_s)) <= tuned.LATENT_INTERVAL_S and ground.interval_s <= tuned.THINNED_TO_S:
        found = _unsmoothed(prompt, ground, least=prompt.better_by(late))
        if found is not None:
            unsmoothed, smoothing = found
            told = Finding("positions_smoothed", smoothed_s=smoothing.constant_s)
            line = replace(_line(log, unsmoothed, smooth), findings=(told,))
            return with_smoothing_left(line, _line(log, prompt, smooth))
    return _line(log, late, smooth)


def _line(log: RoughLog, fit: _Fit, smooth: BoolArray) -> MeasuredLine:
    """Return the dial of a fit, and what each row was found to be."""
    ground, nodes = log.ground, fit.nodes
    moment = fit.gps_time(log.time_s)
    covariance, u_clock = fit.uncertainty(log.step_mps)
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
        needle_lag_s=fit.needle_lag_s() if ground.interval_s <= tuned.LATENT_INTERVAL_S else None,
        windows=fit.straight_windows() if ground.between_is_guessed else None,
    )


def _unsmoothed(plain: _Fit, ground: GroundSpeed, *, least: float) -> tuple[_Fit, Smoothing] | None:
    """Return the fit of positions that were smoothed before they were thinned out; None where a log denies it.

    It must bring more than ``least``. [nats]
    """
    curve = CurvedWay.through(ground)

    def tried(constants_s: Sequence[float]) -> tuple[float, _Fit, Smoothing] | None:
        best = None
        for smoothing in starmap(Smoothing, product(constants_s, (False, True), (False, True))):
            fit = plain.smoothed(curve.with_bends(plain.windows, smoothing), smoothing)
            told = fit.told_beside(plain, best[0] if best is not None else tuned.THINNED_HINT)
            if told is not None:
                best = told, fit, smoothing
        return best

    found = tried((tuned.THINNED_HINT_S,)) and tried(tuned.SMOOTHING_S)
    if found is None:
        return None
    told, best, smoothing = found
    asked = max(least, tuned.THINNED_FILTER_FROM if smoothing.overshoots else tuned.THINNED_FROM)
    return (best, smoothing) if told >= asked and best.run() else None


def _nodes(log: LogCourse, windows: Windows, tau_s: float) -> FloatArray | None:
    covered = log.covers(windows.begin_s - tau_s, windows.end_s - tau_s)
    if covered.sum() < tuned.FEWEST_WINDOWS:
        return None
    middle = (windows.begin_s + windows.end_s)[covered] / 2 - tau_s
    low, high = np.quantile(np.interp(middle, log.time_s, log.shown_mps), (0.02, 0.98))
    if high == low:  # one speed tells no slope
        return None
    high = max(high, low + 1.0)
    most = min(_MOST_NODES, max(2, int(covered.sum()) // _WINDOWS_A_NODE))
    count = int(np.clip(round((high - low) / tuned.LOG_NODE_GAP_MPS) + 1, 2, most))
    return np.linspace(low, high, count)


class _Fit:
    """Gauss and Newton's method for the dial turned round, the clock and its drift, and how the display follows."""

    def __init__(
        self,
        windows: Windows,
        log: LogCourse,
        nodes: FloatArray,
        true: FloatArray,
        tau: float,
        smoothing: Smoothing | None = None,
    ) -> None:
        self.windows, self.log, self.nodes, self.true_mps = windows, log, nodes, true
        self.tau, self.drift = tau, 0.0
        self.swing_s = np.zeros(2)
        """Half of how much later the display falls than it rises [s], and half the square of its time constant [s2]."""
        self.slow_s = np.zeros((2, 0))
        self.shown = ShownWay(log, nodes, smoothing)
        size = len(nodes)
        self.prior = np.diag([*np.zeros(size), 1e-4, tuned.DRIFT_U**-2, _HELD, _HELD])
        if size > 2:
            second = np.diff(np.eye(size), 2, axis=0) / _BEND_MPS
            self.prior[:size, :size] = second.T @ second

    def late(self, asked: float) -> _Fit | None:
        """Return a fit that starts here, of a display that falls later than it rises or is damped.

        None for one that is so by fewer standard deviations than asked.
        """
        fit = _Fit(self.windows, self.log, self.nodes, self.true_mps, self.tau)
        fit.drift = self.drift
        fit.prior[-2:, -2:] = np.diag([tuned.UNEVEN_LAG_U_S**-2, tuned.DAMPING_U_S2**-2])
        if not fit.run(_ROUNDS_TO_TELL):
            return None
        uneven, damped = fit.sigmas()
        return fit if max(abs(uneven), damped) > asked and fit.run() else None

    def smoothed(self, windows: Windows, smoothing: Smoothing) -> _Fit:
        """Return a fit that starts here, of positions that were smoothed, away from where the vehicle is slow."""
        fit = _Fit(windows, self.log, self.nodes, self.true_mps, self.tau, smoothing)
        slow = self.log.time_s[self.shown.weight_at @ self.true_mps < SLOWEST_POSITION_SPEED_MPS] + self.tau
        fit.slow_s = np.stack([slow - smoothing.constant_s, slow + smoothing.constant_s])
        begun, ended = (np.searchsorted(fit.slow_s[1 - k], (windows.begin_s, windows.end_s)[k]) for k in (0, 1))
        fit.windows = windows.only(begun == ended)
        return fit

    def better_by(self, other: _Fit) -> float:
        """Return how much likelier another fit makes its windows, by how far they usually lie off this one. [nats]."""
        size = max(robust_scale(self.off_m), LEAST_NOISE_M)
        here = self.off_m[np.isin(self.some.begin_s, other.some.begin_s)]
        return float(np.sum(np.log1p((here / size) ** 2)) - np.sum(np.log1p((other.off_m / size) ** 2)))

    def told_beside(self, plain: _Fit, least: float) -> float | None:
        """Return how much likelier than a plain fit this one is, from near; None where that is less. [nats]."""
        if not self.run(_ROUNDS_TO_TELL) or plain.better_by(self) < least - _GAINED_AFTER:
            return None
        told = plain.better_by(self) if self.run(_ROUNDS_FROM_NEAR - _ROUNDS_TO_TELL) else -np.inf
        return told if told >= least else None

    def is_slow(self, moment: FloatArray) -> BoolArray:
        """Return which moments lie where smoothing brings in speeds that no dial shows in proportion."""
        return np.searchsorted(self.slow_s[1], moment) < np.searchsorted(self.slow_s[0], moment, side="right")

    def gps_time(self, time_s: FloatArray) -> FloatArray:
        return np.asarray(time_s + self.tau + self.drift * (time_s - self.log.middle_s))

    def run(self, rounds: int = _ROUNDS) -> bool:
        """Move to the best place; tell whether it is one, and the log covers windows enough there."""
        for _ in range(rounds):
            moved = self._round()
            if moved is None:
                return False
            if moved < _SETTLED:
                break
        return bool(np.all(np.diff(self.true_mps) > 0))

    def _round(self) -> float | None:
        """Take a step and return how far it goes, in standard deviations; None where the log covers few windows."""
        begin, end = (t - self.tau for t in (self.windows.begin_s, self.windows.end_s))
        self.some = some = self.windows.only(self.log.covers(begin, end))
        if len(some.way_m) < tuned.FEWEST_WINDOWS:
            return None
        late = bool(self.prior[-1, -1] != _HELD)
        columns = self.shown.columns(some, self.true_mps, tau=self.tau, drift=self.drift, late=late)
        size = len(self.nodes)
        here = np.concatenate([self.true_mps, [0.0, 0.0], self.swing_s])
        self.off_m = rest = some.way_m - columns @ here
        self.ends, length, far = noise_of_windows(rest, some)
        self.off = np.sqrt(far) * CAUCHY > _FAR
        self.noise_mps = robust_scale(rest / (some.end_s - some.begin_s))
        self.root = Whitening(some, self.ends, length, far)
        self.design, self.rest = self.root.whitened(columns), self.root.whitened(rest[:, None])[:, 0]
        here[size + 1] = self.drift
        pull = self.design.T @ self.rest - self.prior @ here
        step = np.linalg.solve(self.design.T @ self.design + self.prior, pull)
        self.true_mps = self.true_mps + step[:size]
        self.tau += float(np.clip(step[size], -_LARGEST_STEP_S, _LARGEST_STEP_S))
        self.drift += float(step[size + 1])
        self.swing_s = self.swing_s + step[size + 2 :]
        return float(np.sqrt(max(step @ pull, 0.0)))

    def sigmas(self) -> FloatArray:
        """Return by how many of its standard deviations the display falls later than it rises, and is damped."""
        covariance = np.linalg.inv(self.design.T @ self.design + self.prior)
        return np.asarray(self.swing_s / np.sqrt(np.diag(covariance)[-2:]))

    def needle_lag_s(self) -> float | None:
        """Return the time constant with which the needle follows, None where nothing tells it. [s]."""
        return float(np.sqrt(2 * self.swing_s[1])) if self.sigmas()[1] > tuned.DAMPING_FROM else None

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

    def uncertainty(self, step_mps: float) -> tuple[FloatArray, float]:
        """Return covariance of the true speeds at the nodes, and u of the clock, of readings in steps."""
        held = HeldRounding.of(self.gps_time(self.log.time_s), self.log.shown_mps, step_mps)
        middle, long_s = (self.some.begin_s + self.some.end_s) / 2, self.some.end_s - self.some.begin_s
        slope = float(np.polyfit(self.nodes, self.true_mps, 1)[0])
        rounded_m = slope * long_s[:, None] * held.columns(middle)
        size = len(self.nodes)
        line = np.column_stack([np.ones(size), self.nodes])
        narrow = np.zeros((size + 4, 6))
        narrow[size:, :4], narrow[:size, 4:] = np.eye(4), line
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
        alike = self.design.T @ self.root.whitened(np.column_stack([self.some.u_between_m, rounded_m]))
        moved = np.linalg.solve(self.design.T @ self.design + self.prior, alike)[:size]
        noise = noise + moved @ moved.T
        return noise, float(np.sqrt(max(jackknife[0, 0], model[0, 0])))
