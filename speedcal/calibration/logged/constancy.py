"""Whether one dial holds through a whole log: no part that reads otherwise, no second vehicle.

What lies off the dial is summed over blocks of a fraction of a minute. A part of the drive with another gain (slip, low
range, another unit, another tire) stands out by its mean, beside all that one curve could take up of it, judged against
how blocks differ anyway (cluster-robust variance: A. C. Cameron and D. L. Miller, J. Human Resources 50, 2015,
317-372). A log from another vehicle on the same road keeps no company at steady speeds, where everything that a needle,
a receiver or a clock does late is at rest.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.polynomial.legendre import legvander

from speedcal.calibration.tuning import logs as tuned
from speedcal.calibration.tuning.track import SLOWEST_POSITION_SPEED_MPS
from speedcal.interval import FloatArray, IntArray, median, robust_scale

_MOST_BLOCKS = 120
_LEAST_SHARE, _LEAST_DRIFT_SHARE = 0.03, 0.01
"""Of the weight, that a part and a drift must have beside what a curve takes up of them; of a drift it is a twelfth."""
_CURVE_DEGREE = 4
"""Of the polynomial that a dial is taken to be here."""
FITTED_SHARE, _CLIP_MPS = 0.25, 1.0
"""Farther off than this is a broken row, or enough to be seen."""
_FEWEST_WINDOWS, _FEWEST_QUIET = 8, 20


@dataclass(frozen=True, slots=True)
class Change:
    """A part of a log that reads otherwise than the rest."""

    first: int
    """Index of its first reading."""
    last: int
    """Index of its last reading."""
    difference: float
    """How much higher it reads than the rest, or a log at its end than at its begin, relative."""
    gradual: bool
    """The reading drifts over the whole log."""
    large: bool
    """So much that it has a cause that a single answer would hide."""
    spread: float
    """Standard deviation over the log of how the reading is changed, relative."""


def change_within(time_s: FloatArray, ground_mps: FloatArray, off_mps: FloatArray, *, step_mps: float) -> Change | None:
    """Return the part of a log that reads otherwise, or its drift, whichever explains more; None where one dial holds.

    Parameters
    ----------
    time_s, ground_mps, off_mps
        Moments in order, true speed, and reading less what the dial says, shape (n,). [s, m/s, m/s]
    step_mps
        Step of rounding, of both sides together; speeds held still round alike for minutes. [m/s]
    """
    length = max(tuned.CHANGE_BLOCK_S, (time_s[-1] - time_s[0]) / _MOST_BLOCKS)
    label = np.unique(np.floor((time_s - time_s[0]) / length), return_inverse=True)[1]
    count = int(label[-1]) + 1
    least = max(3, count // 10)
    if count < 2 * least:
        return None
    blocks = _Blocks.of(label, ground_mps, clipped(ground_mps, off_mps))
    begin, end = _proper(count, least)
    block = np.arange(count)
    parts = (block >= begin[:, None]) & (block < end[:, None])
    shape = np.vstack([parts, block / (count - 1) - 0.5])  # the last one is a drift over all of the log
    difference, told, share = blocks.differences(shape)
    rounding = step_mps / 4 / median(ground_mps)
    least_share, least_told, sigmas = (
        np.append(np.full(len(parts), of_part), of_drift)
        for of_part, of_drift in ((_LEAST_SHARE, _LEAST_DRIFT_SHARE), tuned.CHANGE_TOLD, tuned.CHANGE_SIGMAS)
    )
    some = np.flatnonzero((share >= least_share) & (np.abs(difference) >= least_told + rounding))
    plain = some[np.abs(difference[some]) >= sigmas[some] * blocks.u_differences(shape[some])]
    if not len(plain):
        return None
    large = np.abs(difference[plain]) >= tuned.CHANGE_LEAST + rounding
    plain = plain[large | ~large.any()]
    shorter = 1 - 1e-9 * np.append(end - begin, 0)  # of a part and its rest, which say the same
    best = plain[int(np.argmax((told * shorter)[plain]))]
    changed = float(difference[best])
    spread = abs(changed) * float(np.std(shape[best][label]))
    if best == len(parts):
        return Change(0, len(label) - 1, changed, gradual=True, large=bool(large.any()), spread=spread)
    within = np.flatnonzero((label >= begin[best]) & (label < end[best]))
    return Change(int(within[0]), int(within[-1]), changed, gradual=False, large=bool(large.any()), spread=spread)


@dataclass(frozen=True, slots=True)
class _Blocks:
    """Sums over the rows of each of m blocks: of the gain's column g and the p columns x of any dial that is one curve.

    What lies off is left without all that a curve can take up, so that a part with speeds of its own, which a bend
    explains as well, is no change.
    """

    gain_gain: FloatArray
    """g g, shape (m,)."""
    gain_curve: FloatArray
    """g x, shape (m, p)."""
    curve_curve: FloatArray
    """x x', shape (m, p, p)."""
    gain_off: FloatArray
    """g times what lies off, shape (m,)."""
    curve_off: FloatArray
    """x times what lies off, shape (m, p)."""

    @classmethod
    def of(cls, label: IntArray, ground_mps: FloatArray, off_mps: FloatArray) -> _Blocks:
        low, high = ground_mps.min(), ground_mps.max()
        curve = legvander((2 * ground_mps - low - high) / max(high - low, 1e-9), _CURVE_DEGREE)
        off = off_mps - curve @ np.linalg.lstsq(curve, off_mps, rcond=None)[0]
        first = np.searchsorted(label, np.arange(label[-1] + 1))

        def summed(rows: FloatArray) -> FloatArray:
            return np.add.reduceat(rows, first)

        return cls(
            summed(ground_mps**2),
            summed(ground_mps[:, None] * curve),
            summed(curve[:, :, None] * curve[:, None, :]),
            summed(ground_mps * off),
            summed(curve * off[:, None]),
        )

    def differences(self, shape: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Return by how much the gain follows each course over the blocks, what that explains, and its share left.

        ``shape`` has a course a row, shape (k, m): ones for a part, a ramp for a drift.
        """
        curve = shape @ self.gain_curve
        left = shape**2 @ self.gain_gain - np.sum(curve * self._taken_up(curve), axis=1)
        left = np.maximum(left, 1e-9)
        pull = shape @ self.gain_off
        return pull / left, pull**2 / left, left / self.gain_gain.sum()

    def u_differences(self, shape: FloatArray) -> FloatArray:
        """Return the standard uncertainty of each difference, by how the blocks differ."""
        difference, _, share = self.differences(shape)
        taken = self._taken_up(shape @ self.gain_curve)
        square = taken[:, :, None] * taken[:, None, :]
        both = np.tensordot(square, self.curve_curve, axes=((1, 2), (1, 2)))
        column = shape * (shape * self.gain_gain - 2 * taken @ self.gain_curve.T) + both
        score = shape * self.gain_off - taken @ self.curve_off.T - difference[:, None] * column
        return np.asarray(np.sqrt(np.sum(score**2, axis=1)) / (share * self.gain_gain.sum()) + 1e-6)

    def _taken_up(self, curve: FloatArray) -> FloatArray:
        """Return what the curve would do to take up each part, shape (k, p)."""
        return curve @ np.linalg.pinv(self.curve_curve.sum(axis=0))


def steady_wander(
    time_s: FloatArray, ground_mps: FloatArray, off_mps: FloatArray, acceleration_mps2: FloatArray
) -> float:
    """Return how far readings stray from the dial for seconds together while the speed stands, robust. [m/s].

    Parameters
    ----------
    time_s, ground_mps, off_mps, acceleration_mps2
        Moments in order, true speed, reading less what the dial says, and change of speed, shape (n,).
        [s, m/s, m/s, m/s2]
    """
    label = np.unique(np.floor(time_s / tuned.STEADY_WINDOW_S), return_inverse=True)[1]
    count = np.bincount(label)
    mean = np.bincount(label, weights=clipped(ground_mps, off_mps)) / count
    change = np.sqrt(np.bincount(label, weights=acceleration_mps2**2) / count)
    steady = mean[(count >= np.median(count) / 2) & (change < tuned.STEADY_ACCELERATION_MPS2)]
    if len(steady) < _FEWEST_WINDOWS:
        return 0.0
    return robust_scale(steady - median(steady))


def by_turns(shown_mps: FloatArray, ground_mps: FloatArray | None = None) -> float:
    """Return how far rows lie from the middle of their neighbours, as the scatter of one row, robust. [m/s].

    Parameters
    ----------
    shown_mps
        Readings in order of time, shape (n,). [m/s]
    ground_mps
        True speeds there, however rough: only rows under way count then where these change least, as a share of them,
        since rows some seconds apart lie off their neighbours by what is driven.
    """
    off = shown_mps[1:-1] - (shown_mps[2:] + shown_mps[:-2]) / 2
    if ground_mps is not None:
        step, moving = np.abs(np.diff(ground_mps)), ground_mps[1:-1] > SLOWEST_POSITION_SPEED_MPS
        change = (np.maximum(step[1:], step[:-1]) / ground_mps[1:-1].clip(SLOWEST_POSITION_SPEED_MPS))[moving]
        off = off[moving][np.argsort(change, kind="stable")[: max(_FEWEST_QUIET, int(tuned.QUIET_SHARE * len(change)))]]
    if not len(off):
        return 0.0
    return robust_scale(off) / float(np.sqrt(1.5))


def clipped(ground_mps: FloatArray, off_mps: FloatArray) -> FloatArray:
    """Return what lies off the dial, broken rows brought nearer."""
    most = FITTED_SHARE * ground_mps + _CLIP_MPS
    return np.clip(off_mps, -most, most)


def _proper(count: int, least: int) -> tuple[IntArray, IntArray]:
    """Return first and last (exclusive) block of each part that is long enough and leaves a rest that is."""
    length = np.arange(count + 1)[None, :] - np.arange(count + 1)[:, None]
    begin, end = np.nonzero((length >= least) & (count - length >= least))
    return begin, end
