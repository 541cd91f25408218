"""Where a log shows one figure for long: the rounding error that all its rows have in common.

Rows of a speed that wanders over several steps are rounded each in its own way, and their mean is right. A limiter or
cruise control holds it so still that every row is off by the same part of a step, at every visit to that figure. Beside
recorded speed a figure that changes to and fro tells where its step ends.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from speedcal.calibration.tuning.logs import HELD_FIGURE_ROWS, HELD_FIGURE_S, RECEIVER_U_MPS
from speedcal.interval import BoolArray, FloatArray, IntArray, median


@dataclass(frozen=True, slots=True)
class HeldRounding:
    """What the rows of a log have in common of their rounding errors, arrays of shape (n,)."""

    time_s: FloatArray
    u_mps: FloatArray
    """Standard uncertainty of what is left of the rounding error in the mean of the rows about each. [m/s]"""
    figure: IntArray
    """The figure shown about each row; where it is the same, so is the error."""

    @classmethod
    def of(
        cls,
        time_s: FloatArray,
        shown_mps: FloatArray,
        step_mps: float,
        *,
        run: IntArray | None = None,
        wander2: FloatArray | None = None,
    ) -> HeldRounding:
        """Return that of rows in order of time.

        Parameters
        ----------
        run
            Number of the steady run each row lies in, as :func:`mean_about` asks for.
        wander2
            By how much what is rounded wanders about each row, a variance; by the spread of the figures where nothing
            else tells. [m2/s2]
        """
        if step_mps <= 0:
            return cls(time_s, np.zeros(len(time_s)), np.zeros(len(time_s), np.int64))
        mean, spread2 = mean_about(time_s, shown_mps, run)
        if wander2 is None:
            wander2 = np.maximum(spread2 - step_mps**2 / 12, 0.0)
        return cls(time_s, np.sqrt(mean_rounding(wander2, step_mps)), np.rint(mean / step_mps).astype(np.int64))

    def columns(self, time_s: FloatArray) -> FloatArray:
        """Return what an error of one standard uncertainty at each figure does at other times, shape (k, figures)."""
        row = np.clip(np.searchsorted(self.time_s, time_s), 0, len(self.time_s) - 1)
        figure, u = self.figure[row], self.u_mps[row]
        held = np.unique(figure[u > RECEIVER_U_MPS])  # of fine steps there are thousands, which come to nothing
        return np.asarray(u[:, None] * (figure[:, None] == held))


def mean_about(time_s: FloatArray, value: FloatArray, run: IntArray | None = None) -> tuple[FloatArray, FloatArray]:
    """Return mean and variance of the values about each of them, in a steady run of those of the same run.

    The ramps at its ends neither round otherwise what is held between them, nor tell where its step ends.

    Parameters
    ----------
    run
        Number of the run, -1 outside of all, shape (n,).
    """
    first, last = _about(time_s, HELD_FIGURE_S, run)
    away = value - np.mean(value)
    total, square = (np.concatenate(([0.0], np.cumsum(power))) for power in (away, away**2))
    mean, mean2 = ((sums[last] - sums[first]) / (last - first) for sums in (total, square))
    return mean + np.mean(value), np.maximum(mean2 - mean**2, 0.0)


def one_figure(time_s: FloatArray, shown_mps: FloatArray, step_mps: float, run: IntArray | None = None) -> BoolArray:
    """Return whether all values about each, as of :func:`mean_about`, are the same, as far as such steps tell."""
    first, last = _about(time_s, max(HELD_FIGURE_S, HELD_FIGURE_ROWS * median(np.diff(time_s))), run)
    changes = np.concatenate(([0, 0], np.cumsum(np.abs(np.diff(shown_mps)) > step_mps / 2)))
    return np.asarray(changes[last] == changes[first + 1])


def _about(time_s: FloatArray, reach_s: float, run: IntArray | None) -> tuple[IntArray, IntArray]:
    """Return the first value about each, and the one after the last."""
    first, last = np.searchsorted(time_s, time_s - reach_s), np.searchsorted(time_s, time_s + reach_s, side="right")
    if run is None:
        return first, last
    begin = np.flatnonzero(np.diff(run, prepend=run[0] - 1))
    length = np.diff(begin, append=len(run))
    inside = run >= 0
    first = np.where(inside, np.maximum(first, np.repeat(begin, length)), first)
    return first, np.where(inside, np.minimum(last, np.repeat(begin + length, length)), last)


def mean_rounding(wander2: FloatArray, step_mps: float) -> FloatArray:
    """Return the variance of the mean rounding error of speeds of given variances.

    Of a normal speed that wanders by s about an unknown place between two steps it is ``sum over k of step^2 / (2 pi^2
    k^2) exp(-(2 pi k s / step)^2)`` (B. Widrow and I. Kollar, *Quantization Noise*, Cambridge 2008, chapter 9):
    step^2/12 under cruise control, nothing when the speed wanders by half a step.
    """
    if step_mps <= 0:
        return np.zeros(len(wander2))
    k = np.arange(1, 6)[:, None]
    kept = np.sum(np.exp(-((2 * np.pi * k / step_mps) ** 2) * wander2) / k**2, axis=0)
    return np.asarray(step_mps**2 / (2 * np.pi**2) * kept)
