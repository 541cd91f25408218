"""The true speed behind a track and a log: one smooth curve that explains both, rounded as they are.

Speed is a cubic spline in time whose second derivative is small, locally and as the drive itself shows. Recorded speed
and the instrument's readings are each that curve plus noise, rounded; the instrument's reading passes through the dial.
Dial, clock, drift of the clock and the damping of needle or receiver are found together with the curve.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from speedcal.calibration.dial import spline_weights
from speedcal.calibration.log_clock import ClockStart
from speedcal.calibration.rounded_values import Site, tilt
from speedcal.calibration.tuning import (
    ACCELERATION_FLOOR,
    CHANNEL_NOISE_FLOOR_MPS,
    CHANNEL_NOISE_STEPS,
    CLOCK_PRIOR_S,
    DAMPING_PRIOR,
    DIAL_BEND_MPS,
    DRIFT_PRIOR,
    LATENT_ROUNDS,
    TIME_NOISE_S,
    WRONG_ROWS,
)
from speedcal.interval import FloatArray, IntArray

_SPAN_MPS = 60.0
_LOCAL = 8
_LARGEST_MOVE_MPS, _SITE_STEP = 0.5, 0.7
_KERNEL = np.exp(-0.5 * (np.arange(-6, 7) / 1.3) ** 2)
_KERNEL /= _KERNEL.sum()


@dataclass(frozen=True, slots=True)
class Channel:
    """Values of one clock, arrays of shape (n,)."""

    time_s: FloatArray
    low_mps: FloatArray
    high_mps: FloatArray
    """The interval each value stands for; equal ends where nothing was rounded."""
    scale: FloatArray
    """Factor from the curve to this channel: horizontal over road speed for a track, 1 for a log."""

    @property
    def step_mps(self) -> float:
        """Usual width of the intervals. [m/s]."""
        return float(np.median(self.high_mps - self.low_mps))

    @property
    def middle_mps(self) -> FloatArray:
        """Middle of each interval. [m/s]."""
        return (self.low_mps + self.high_mps) / 2


@dataclass(frozen=True, slots=True)
class LatentFit:
    """What track and log together tell."""

    nodes_mps: FloatArray
    """True speeds at which the dial is known, shape (k,)."""
    shown_mps: FloatArray
    """Reading of the dial there."""
    clock_offset_s: float
    damping: float
    """Half the squared time constant, positive for the needle, negative for the receiver. [s2]"""
    drift: float
    """Seconds that the reading clock loses a second."""
    information: FloatArray
    """Of (shown at nodes, clock offset, damping, drift), the curve's uncertainty taken out, prior included."""
    influence: FloatArray
    """What each value of the log pushes these, shape (n, k + 3)."""
    track_influence: FloatArray
    """The same for each value of the track."""
    lever: FloatArray
    """How much a shift of each reading of the log pushes these, shape (n, k + 3)."""
    ground_mps: FloatArray
    """True speed behind each reading of the log, shape (n,)."""
    right: FloatArray
    """Probability that each reading of the log is not a wrong one."""
    noise_mps: tuple[float, float]
    """Standard deviation of track and log before rounding."""


def fit_latent(track: Channel, log: Channel, *, start: ClockStart, nodes_mps: FloatArray) -> LatentFit:
    """Return dial, clock, damping and drift of a dense log beside recorded speed.

    Parameters
    ----------
    track
        Recorded speed on the GPS clock.
    log
        Readings on their own clock, in order of time.
    start
        Clock offset, drift, damping and line to start from; the damping stays as it is.
    nodes_mps
        True speeds at which the dial is estimated, increasing, at least two.

    References
    ----------
    .. [1] P. H. C. Eilers and B. D. Marx, "Flexible smoothing with B-splines and penalties," Statistical Science,
       vol. 11, 1996, for the curve; T. Minka, UAI 2001, for the rounded values.
    """
    solver = _Solver(track, log, start, nodes_mps)
    for round_ in range(LATENT_ROUNDS):
        solver.solve_curve()
        solver.renew_sites(wide=round_ < 3)
        solver.move(short=round_ < 1)
    solver.solve_curve()
    return solver.result()


class _Solver:
    """Curve and parameters, improved in turn."""

    def __init__(self, track: Channel, log: Channel, start: ClockStart, nodes: FloatArray) -> None:
        self.channels = (track, log)
        self.nodes = nodes
        self.shown = start.offset_mps + start.factor * nodes
        self.tau, self.kappa, self.drift = start.tau_s, start.damping, start.drift
        tau = start.tau_s
        self.since = log.time_s - float(np.mean(log.time_s))
        self.begin = float(min(track.time_s[0], log.time_s[0] + tau)) - 8.0
        end = float(max(track.time_s[-1], log.time_s[-1] + tau)) + 8.0
        self.count = int(np.ceil(end - self.begin)) + 4
        self.noise = [max(0.3 * track.step_mps, 0.1), max(0.3 * log.step_mps, 0.15)]
        self.sites = [_first_site(channel) for channel in self.channels]
        self.right = np.ones(len(log.time_s))
        self.rough = _first_roughness(track, self.begin, self.count)
        self.curve = np.interp(self.begin + np.arange(self.count) - 1.0, track.time_s, track.middle_mps / track.scale)

    # ---- the curve

    def _rows(self) -> None:
        """Take both channels as linear functions of the coefficients, the dial as straight about the last curve."""
        theta = float(np.sqrt(2 * abs(self.kappa)))
        lead, lag = (theta, 0.0) if self.kappa > 0 else (0.0, theta)
        track, log = self.channels
        moment = log.time_s + self.tau + self.drift * self.since
        self.basis = [
            _Basis.at(track.time_s - self.begin, lead, self.count),
            _Basis.at(moment - self.begin, lag, self.count),
        ]
        speed = self.basis[1].value(self.curve)
        self.node_weight, node_slope = spline_weights(self.nodes, speed)
        self.slope = np.clip(node_slope @ self.shown, 0.2, 5.0)
        level = self.node_weight @ self.shown - self.slope * speed
        self.row = [
            self.basis[0].weight * track.scale[:, None],
            self.basis[1].weight * self.slope[:, None],
        ]
        self.level = [np.zeros(len(track.time_s)), level]

    def solve_curve(self) -> None:
        """Find the curve for what stands now for the values, and how well it is known."""
        from scipy.linalg import cho_solve_banded, cholesky_banded

        self._rows()
        band = np.zeros((4, self.count))  # lower form
        right_side = np.zeros(self.count)
        for basis, row, level, site in zip(self.basis, self.row, self.level, self.sites, strict=True):
            for k in range(4):
                target = row[:, k] * (site.shift - site.precision * level)
                right_side += np.bincount(basis.first + k, target, self.count)
                for m in range(k + 1):
                    product = site.precision * row[:, k] * row[:, m]
                    band[k - m] += np.bincount(basis.first + m, product, self.count)
        tight = 1 / self.rough**2
        for k, a in enumerate((1.0, -2.0, 1.0)):
            for m, b in enumerate((1.0, -2.0, 1.0)):
                if k >= m:
                    band[k - m, m : m + self.count - 2] += a * b * tight
        band[0] += 1e-9
        self.cholesky = cholesky_banded(band, lower=True)
        self.curve = np.asarray(cho_solve_banded((self.cholesky, True), right_side))
        self.blocks = _inverse_blocks(self.cholesky)
        self.fitted = [
            basis.apply(row, self.curve) + level
            for basis, row, level in zip(self.basis, self.row, self.level, strict=True)
        ]

    # ---- the values

    def renew_sites(self, *, wide: bool) -> None:
        """Renew what stands for each rounded value, and the noise of each channel."""
        for number, channel in enumerate(self.channels):
            basis, row, site = self.basis[number], self.row[number], self.sites[number]
            variance = np.maximum(basis.spread(row, self.blocks), 1e-10)
            # the belief without this value
            precision = np.maximum(1 / variance - site.precision, 1e-4)
            mean = (self.fitted[number] / variance - site.shift) / precision
            rate = basis.rate(self.curve) * (self.slope if number else channel.scale)
            noise = np.hypot(self.noise[number], TIME_NOISE_S * rate)
            wrong = max(WRONG_ROWS, 0.02) if wide else WRONG_ROWS
            tilted = tilt(channel.low_mps, channel.high_mps, mean, 1 / precision, noise, wrong=wrong, span=_SPAN_MPS)
            keep = _SITE_STEP
            self.sites[number] = Site(
                keep * tilted.site.precision + (1 - keep) * site.precision,
                keep * tilted.site.shift + (1 - keep) * site.shift,
            )
            part = (self.noise[number] / noise) ** 2  # the rest of the error is that of the stamps
            square = part**2 * tilted.noise_square + self.noise[number] ** 2 * (1 - part)
            size = np.sqrt(np.sum(tilted.right * square) / max(float(tilted.right.sum()), 1.0))
            floor = max(CHANNEL_NOISE_STEPS * channel.step_mps, CHANNEL_NOISE_FLOOR_MPS)
            self.noise[number] = max(float(size), floor)
            if number:
                self.right = tilted.right

    # ---- dial, clock, damping, drift

    def _columns(self) -> tuple[FloatArray, FloatArray]:
        """Return how each value of track and log moves with (shown, clock, damping, drift)."""
        size = len(self.nodes)
        track = np.zeros((len(self.channels[0].time_s), size + 3))
        log = np.zeros((len(self.channels[1].time_s), size + 3))
        rate = self.slope * self.basis[1].rate(self.curve)
        smooth = np.convolve(np.pad(self.curve, 6, mode="edge"), _KERNEL, mode="valid")
        log[:, :size] = self.node_weight
        log[:, size] = rate
        log[:, size + 2] = rate * self.since
        if self.kappa >= 0:
            track[:, size + 1] = -self.channels[0].scale * self.basis[0].bend(smooth)
        if self.kappa <= 0:
            log[:, size + 1] += self.slope * self.basis[1].bend(smooth)
        if self.kappa == 0:  # both sides share it
            track[:, size + 1] *= 0.5
            log[:, size + 1] *= 0.5
        return track, log

    def _information(self) -> tuple[FloatArray, FloatArray, tuple[FloatArray, FloatArray, FloatArray]]:
        """Return information and score of the parameters, and pushes and levers of values, the curve taken out."""
        from scipy.linalg import cho_solve_banded

        columns = self._columns()
        size = columns[0].shape[1]
        cross = np.zeros((self.count, size))
        whole = np.zeros((size, size))
        for basis, row, site, column in zip(self.basis, self.row, self.sites, columns, strict=True):
            weighted = site.precision[:, None] * column
            whole += column.T @ weighted
            for k in range(4):
                for m in range(size):
                    cross[:, m] += np.bincount(basis.first + k, row[:, k] * weighted[:, m], self.count)
        carried = np.asarray(cho_solve_banded((self.cholesky, True), cross))
        information = whole - cross.T @ carried
        pushes, lever = [], np.empty(0)
        for basis, row, site, column, fitted in zip(
            self.basis, self.row, self.sites, columns, self.fitted, strict=True
        ):
            own = column - np.stack([basis.apply(row, carried[:, m]) for m in range(size)], axis=1)
            pushes.append((site.shift - site.precision * fitted)[:, None] * own)
            lever = site.precision[:, None] * own
        score = pushes[0].sum(axis=0) + pushes[1].sum(axis=0) - self._shrinkage(columns[1])
        return information, score, (pushes[0], pushes[1], lever)

    def _shrinkage(self, column: FloatArray) -> FloatArray:
        """Return what a plain score has too much because the curve is uncertain: it flattens the dial otherwise."""
        size, precision = len(self.nodes), self.sites[1].precision
        basis, row = self.basis[1], self.row[1]
        variance = basis.spread(row, self.blocks) / self.slope**2
        _, node_slope = spline_weights(self.nodes, basis.value(self.curve))
        too_much = np.zeros(size + 3)
        too_much[:size] = (precision * self.slope * variance) @ node_slope
        with_rate = basis.spread_with_rate(row, self.blocks) / self.slope
        together = precision * self.slope**2 * with_rate
        too_much[size] = together.sum()
        too_much[size + 2] = together @ self.since
        return too_much

    def _prior(self) -> tuple[FloatArray, FloatArray]:
        """Return precision and pull of the priors: a smooth dial, a damping and a drift that are small."""
        size = len(self.nodes)
        precision = np.zeros((size + 3, size + 3))
        if size > 2:
            gap = float(np.mean(np.diff(self.nodes)))
            second = np.diff(np.eye(size), 2, axis=0) / (DIAL_BEND_MPS * (gap / 5.0) ** 2)
            precision[:size, :size] = second.T @ second
        away = self.nodes - float(np.mean(self.nodes))
        ends = np.zeros(size)
        ends[:] = away / np.sum(away**2)
        precision[:size, :size] += np.outer(ends, ends) / 0.5**2
        pull = np.zeros(size + 3)
        pull[:size] = ends / 0.5**2  # a factor of one, give or take a half
        precision[size, size] = 1 / CLOCK_PRIOR_S**2
        precision[size + 1, size + 1] = 1 / DAMPING_PRIOR**2
        precision[size + 2, size + 2] = 1 / DRIFT_PRIOR**2
        now = np.concatenate([self.shown, [0.0, self.kappa, self.drift]])
        return precision, pull - precision @ now

    def move(self, *, short: bool) -> None:
        """Move the parameters by one step."""
        information, score, _ = self._information()
        precision, pull = self._prior()
        size = len(self.nodes)
        total = information + precision
        # the curve leans towards whatever damping is assumed, so that its score says nothing of it; see find_clock
        still = [size + 1, size + 2] if short else [size + 1]
        total[still, :] = total[:, still] = 0.0
        total[still, still] = 1.0
        score[still] = pull[still] = 0.0
        step = np.linalg.solve(total, score + pull)
        self.shown = self.shown + np.clip(step[:size], -_LARGEST_MOVE_MPS, _LARGEST_MOVE_MPS)
        self.tau += float(np.clip(step[size], -2.0, 2.0))
        self.drift += float(np.clip(step[size + 2], -0.002, 0.002))

    def result(self) -> LatentFit:
        """Return what was found."""
        information, _, (track_push, push, lever) = self._information()
        precision, _ = self._prior()
        return LatentFit(
            nodes_mps=self.nodes,
            shown_mps=self.shown,
            clock_offset_s=self.tau,
            damping=self.kappa,
            drift=self.drift,
            information=information + precision,
            influence=push,
            track_influence=track_push,
            lever=lever,
            ground_mps=self.basis[1].value(self.curve),
            right=self.right,
            noise_mps=(self.noise[0], self.noise[1]),
        )


@dataclass(frozen=True, slots=True)
class _Basis:
    """Cubic B-splines at times: four weights from a first coefficient on, for value, rate and bend."""

    first: IntArray
    weight: FloatArray
    """Of the channel's own value, damping included."""
    rate_weight: FloatArray
    bend_weight: FloatArray

    @classmethod
    def at(cls, time: FloatArray, damping_s: float, count: int) -> _Basis:
        """Return the splines at times since the first knot; a damped channel runs ahead of the curve it shows."""
        time = time - damping_s
        first = np.clip(np.floor(time).astype(np.int64), 0, count - 4)
        x = np.clip(time - first, 0.0, 1.0)
        value = np.stack([(1 - x) ** 3, 3 * x**3 - 6 * x**2 + 4, -3 * x**3 + 3 * x**2 + 3 * x + 1, x**3], axis=1) / 6
        rate = np.stack([-((1 - x) ** 2), 3 * x**2 - 4 * x, -3 * x**2 + 2 * x + 1, x**2], axis=1) / 2
        bend = np.stack([1 - x, 3 * x - 2, 1 - 3 * x, x], axis=1)
        return cls(first, value + damping_s * rate, rate, bend)

    def apply(self, row: FloatArray, curve: FloatArray) -> FloatArray:
        """Return a linear function of the coefficients at every time."""
        return np.asarray(np.einsum("nk,nk->n", row, curve[self.first[:, None] + np.arange(4)]))

    def value(self, curve: FloatArray) -> FloatArray:
        """Return the channel's own value of the curve."""
        return self.apply(self.weight, curve)

    def rate(self, curve: FloatArray) -> FloatArray:
        """Return how fast the curve changes. [1/s]."""
        return self.apply(self.rate_weight, curve)

    def bend(self, curve: FloatArray) -> FloatArray:
        """Return how fast that changes. [1/s2]."""
        return self.apply(self.bend_weight, curve)

    def spread(self, row: FloatArray, blocks: FloatArray) -> FloatArray:
        """Return the variance of a linear function of the coefficients."""
        return np.asarray(np.einsum("nk,nkl,nl->n", row, blocks[self.first], row))

    def spread_with_rate(self, row: FloatArray, blocks: FloatArray) -> FloatArray:
        """Return the covariance of a linear function with the rate of the curve."""
        return np.asarray(np.einsum("nk,nkl,nl->n", row, blocks[self.first], self.rate_weight))


def _first_site(channel: Channel) -> Site:
    precision = np.full(len(channel.time_s), 1 / (channel.step_mps**2 / 12 + 0.15**2))
    return Site(precision, precision * channel.middle_mps)


def _first_roughness(track: Channel, begin: float, count: int) -> FloatArray:
    """Return the size of the second derivative at each knot, from the fixes smoothed over three seconds."""
    speed = np.interp(begin + np.arange(count), track.time_s, track.middle_mps / track.scale)
    kernel = np.exp(-0.5 * (np.arange(-5, 6) / 1.5) ** 2)
    smooth = np.convolve(np.pad(speed, 5, mode="edge"), kernel / kernel.sum(), mode="valid")
    return _local_size(np.diff(smooth, 2))


def _local_size(second: FloatArray) -> FloatArray:
    """Return the root mean square over the knots around each."""
    square = np.convolve(np.pad(second**2, _LOCAL, mode="edge"), np.ones(2 * _LOCAL + 1), mode="valid")
    return np.asarray(np.sqrt(square / (2 * _LOCAL + 1) + ACCELERATION_FLOOR**2))


def _inverse_blocks(cholesky: FloatArray) -> FloatArray:
    """Return the 4 x 4 blocks on the diagonal of the inverse of a banded matrix, shape (n - 3, 4, 4).

    From its Cholesky factor, from the last row back (Takahashi, Fagan and Chen 1973); plain numbers, since each step
    needs the one before it.
    """
    count = cholesky.shape[1]
    diagonal = cholesky[0]
    ratio = [(cholesky[k] / diagonal).tolist() for k in (1, 2, 3)]
    own = (1 / diagonal**2).tolist()
    a = b = c = d = e = f = 0.0
    rows = [[0.0] * count for _ in range(4)]
    first, second, third, fourth = rows
    for j in range(count - 1, -1, -1):
        p, q, r = ratio[0][j], ratio[1][j], ratio[2][j]
        x1 = -(p * a + q * b + r * c)
        x2 = -(p * b + q * d + r * e)
        x3 = -(p * c + q * e + r * f)
        x0 = own[j] - (p * x1 + q * x2 + r * x3)
        first[j], second[j], third[j], fourth[j] = x0, x1, x2, x3
        a, b, c, d, e, f = x0, x1, x2, a, b, d
    beside = np.array(rows)
    index = np.arange(count - 3)
    blocks = np.empty((count - 3, 4, 4))
    for i in range(4):
        for k in range(i, 4):
            blocks[:, i, k] = blocks[:, k, i] = beside[k - i, index + i]
    return blocks
