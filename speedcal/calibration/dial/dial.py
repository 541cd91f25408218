"""How an instrument reads at every true speed, and how well that is known: a curve with its covariance."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property
from typing import Literal

import numpy as np

from speedcal.interval import COVERAGE_FACTOR, FloatArray

Shape = Literal["straight", "bent"]
_NEWTON_STEPS, _LEAST_SLOPE = 8, 0.2
_ONE_SPEED_MPS = 1e-3
"""Speeds no farther apart are one, and differ by the rounding of their distances and times."""


@dataclass(frozen=True, slots=True)
class Line:
    """The straight line that serves a dial best over the driven speeds: ``shown = offset + error_factor * true``."""

    offset_mps: float
    error_factor: float
    covariance: FloatArray
    """Joint covariance of (offset [m/s], error factor [1]), shape (2, 2)."""

    @property
    def u_factor(self) -> float:
        """Standard uncertainty of the factor; by rounding a variance of none may come out below it."""
        return float(np.sqrt(max(self.covariance[1, 1], 0.0)))


@dataclass(frozen=True, eq=False)
class Dial:
    """The reading of an instrument as a curve of true speed, known at knots.

    Between the knots a natural cubic spline joins them, beyond them it goes on straight; both are linear in the
    readings at the knots, so the covariance of any two readings follows from that of the knots (JCGM 102, 6.2).

    Examples
    --------
    >>> from speedcal.calibration.dial.dial import Dial
    >>> dial = Dial.straight(0.5, 1.06, [[0.04, -0.001], [-0.001, 0.0001]], used_mps=[10.0, 20.0, 30.0])
    >>> float(dial.indicated(20.0)), round(dial.line.error_factor, 6)
    (21.7, 1.06)
    >>> float(dial.geared(1 / 1.06).indicated(20.0))
    20.5
    """

    knots_mps: FloatArray
    """True speeds, increasing, shape (m,), at least two. [m/s]"""
    shown_mps: FloatArray
    """What the dial shows there, shape (m,). [m/s]"""
    knot_covariance: FloatArray
    """Standard covariance of ``shown_mps``, shape (m, m). [m2/s2]"""
    used_mps: FloatArray
    """True speeds of the readings it rests on (or quantiles of them), increasing, shape (k,). [m/s]"""
    shape: Shape = "straight"

    @classmethod
    def straight(
        cls,
        offset_mps: float,
        error_factor: float,
        covariance: FloatArray | list[list[float]],
        *,
        used_mps: FloatArray | list[float],
    ) -> Dial:
        """Return the dial of a straight line; ``covariance`` is that of (offset, factor), shape (2, 2)."""
        used = np.sort(np.asarray(used_mps, float))
        knots = np.array([0.0, max(2 * used[-1], 1.0)])
        design = np.column_stack([np.ones(2), knots])
        return cls(
            knots_mps=knots,
            shown_mps=design @ np.array([offset_mps, error_factor]),
            knot_covariance=design @ np.asarray(covariance, float) @ design.T,
            used_mps=used,
        )

    def indicated(self, ground_mps: FloatArray | float) -> FloatArray:
        """Return what the dial shows at true speeds of any shape. [m/s]."""
        return _spline(self.knots_mps, *self._curve, ground_mps)[0][..., 0]

    def covariance(self, ground_mps: FloatArray | float, other_mps: FloatArray | float) -> FloatArray:
        """Return the covariance of the readings at (n,) and at (k,) true speeds, shape (n, k). [m2/s2]."""
        left, right = self.weights(np.atleast_1d(ground_mps)), self.weights(np.atleast_1d(other_mps))
        return np.asarray(left @ self.knot_covariance @ right.T)

    def u_indicated(self, ground_mps: FloatArray | float) -> FloatArray:
        """Return the standard uncertainty of :meth:`indicated`. [m/s]."""
        weights = self.weights(ground_mps)
        variance = np.sum((weights @ self.knot_covariance) * weights, axis=-1)
        return np.asarray(np.sqrt(np.maximum(variance, 0.0)))

    def half_width(self, ground_mps: FloatArray | float) -> FloatArray:
        """Return half the width of the 95 % interval of :meth:`indicated`. [m/s]."""
        return np.asarray(COVERAGE_FACTOR * self.u_indicated(ground_mps))

    @property
    def is_line(self) -> bool:
        """Whether the dial cannot be anything but a straight line."""
        return len(self.knots_mps) == 2

    @property
    def driven_mps(self) -> tuple[float, float]:
        """The slowest and the fastest true speed of the readings it rests on. [m/s]."""
        return float(self.used_mps[0]), float(self.used_mps[-1])

    @cached_property
    def line(self) -> Line:
        """The least-squares line through the dial over the speeds it rests on, and its covariance."""
        used = self.used_mps if np.ptp(self.used_mps) > _ONE_SPEED_MPS else self.used_mps[0] + np.array([-1.0, 1.0])
        middle = float(np.mean(used))
        away = (used - middle) / np.sum((used - middle) ** 2)
        weights = np.stack([1 / len(used) - middle * away, away]) @ self.weights(used)
        offset, factor = weights @ self.shown_mps
        return Line(float(offset), float(factor), np.asarray(weights @ self.knot_covariance @ weights.T))

    def geared(self, factor: float, *, u_ln_factor: FloatArray | float = 0.0) -> Dial:
        """Return the dial after its drive is changed: at true speed v it shows what it showed at ``factor * v``.

        Parameters
        ----------
        factor
            Speed of the instrument's shaft after the change over that before. Positive.
        u_ln_factor
            Standard uncertainty of its logarithm, one for all speeds or one for each knot; it errs alike at all.

        Raises
        ------
        ValueError
            The factor is not positive.
        """
        if not factor > 0:
            raise ValueError(f"factor {factor} must be positive")
        moved = u_ln_factor * self.knots_mps * self.slope(self.knots_mps)
        return replace(
            self,
            knots_mps=self.knots_mps / factor,
            used_mps=self.used_mps / factor,
            knot_covariance=self.knot_covariance + np.outer(moved, moved),
        )

    def slope(self, ground_mps: FloatArray | float) -> FloatArray:
        """Return how fast the reading grows with true speed. [1]."""
        return _spline(self.knots_mps, *self._curve, ground_mps)[1][..., 0]

    def true_speed(self, shown_mps: FloatArray | float) -> FloatArray:
        """Return the true speeds at which the dial shows what it shows; it has to rise. [m/s]."""
        shown, line = np.asarray(shown_mps, float), self.line
        true = (shown - line.offset_mps) / line.error_factor
        for _ in range(_NEWTON_STEPS):
            at, slope = (part[..., 0] for part in _spline(self.knots_mps, *self._curve, true))
            step = (at - shown) / np.maximum(slope, _LEAST_SLOPE)
            if not np.any(step):
                break
            true = true - step
        return np.asarray(true)

    def shifted(self, covariance: FloatArray | float) -> Dial:
        """Return the dial with one more uncertainty that errs alike at every speed, given as variance. [m2/s2]."""
        return replace(self, knot_covariance=self.knot_covariance + covariance)

    @cached_property
    def _bent(self) -> FloatArray:
        return _bending(self.knots_mps)

    @cached_property
    def _curve(self) -> tuple[FloatArray, FloatArray]:
        shown = self.shown_mps[:, None]
        return shown, self._bent @ shown

    def weights(self, ground_mps: FloatArray | float) -> FloatArray:
        """Return how much each knot counts for the reading at each speed, shape (..., m)."""
        return _spline(self.knots_mps, np.eye(len(self.knots_mps)), self._bent, ground_mps)[0]


def spline_weights(knots_mps: FloatArray, at_mps: FloatArray | float) -> tuple[FloatArray, FloatArray]:
    """Return how much the value at each knot counts for value and slope at other speeds, each of shape (..., m)."""
    return _spline(knots_mps, np.eye(len(knots_mps)), _bending(knots_mps), at_mps)


def _bending(knots: FloatArray) -> FloatArray:
    """Return second derivatives at the knots for unit values, natural ends, shape (m, m)."""
    count = len(knots)
    bending = np.zeros((count, count))
    if count < 3:
        return bending
    gap = np.diff(knots)
    left, right = gap[:-1], gap[1:]
    system = np.diag((left + right) / 3) + np.diag(right[:-1] / 6, 1) + np.diag(right[:-1] / 6, -1)
    change = np.zeros((count - 2, count))
    rows = np.arange(count - 2)
    change[rows, rows], change[rows, rows + 2] = 1 / left, 1 / right
    change[rows, rows + 1] = -1 / left - 1 / right
    bending[1:-1] = np.linalg.solve(system, change)
    return bending


def _spline(
    knots: FloatArray, values: FloatArray, bending: FloatArray, at: FloatArray | float
) -> tuple[FloatArray, FloatArray]:
    """Return value and slope of splines (..., k) that have values and second derivatives (m, k) at the knots."""
    speed, count = np.asarray(at, float)[..., None], len(knots)
    inside = np.minimum(np.maximum(speed, knots[0]), knots[-1])
    cell = np.minimum(np.maximum(np.searchsorted(knots, inside[..., 0], side="right") - 1, 0), count - 2)
    above = cell + 1
    begin = knots.take(cell)[..., None]
    gap = knots.take(above)[..., None] - begin
    upper = (inside - begin) / gap
    lower = 1 - upper
    low, high = values.take(cell, axis=0), values.take(above, axis=0)
    value, slope = lower * low + upper * high, (high - low) / gap
    if count > 2:
        bend_low, bend_high = bending.take(cell, axis=0), bending.take(above, axis=0)
        over_low, over_high = gap**2 / 6 * lower * (lower**2 - 1), gap**2 / 6 * upper * (upper**2 - 1)
        value += over_low * bend_low
        value += over_high * bend_high
        slope = slope + gap / 6 * (3 * upper**2 - 1) * bend_high - gap / 6 * (3 * lower**2 - 1) * bend_low
    return np.asarray(value + (speed - inside) * slope), np.asarray(slope)
