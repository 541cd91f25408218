"""A speed as a cubic B-spline of time, piece by piece.

Every speed is a weighted sum of four neighbouring coefficients, so the information of a drive is a matrix of
bandwidth three, and nothing that is asked of its inverse lies outside of the same band.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np

from speedcal.interval import BoolArray, FloatArray, IntArray

if TYPE_CHECKING:
    from scipy.sparse import csc_array

REACH = 4
"""Coefficients that make up one speed."""
_PADDING_S = 4.0
_VALUE = np.array([[1, -3, 3, -1], [4, 0, -6, 3], [1, 3, 3, -3], [0, 0, 0, 1]]) / 6
_RATE = np.array([[-1, 2, -1, 0], [0, -4, 3, 0], [1, 2, -3, 0], [0, 0, 1, 0]]) / 2
"""Weights of the four coefficients, and their derivatives by the part of a cell, as polynomials of it."""


@dataclass(frozen=True, slots=True)
class Places:
    """Moments on a spline: arrays of shape (4, n) and (n,), and so are the weights that its methods take."""

    index: IntArray
    """The four coefficients."""
    value: FloatArray
    """Their weights in the speed."""
    rate: FloatArray
    """Their weights in its derivative. [1/s]"""
    part: FloatArray
    """How far into its cell each moment lies, 0 to 1, shape (n,)."""

    def of(self, coefficients: FloatArray, weights: FloatArray) -> FloatArray:
        """Return the weighted sum of the coefficients at each moment."""
        return np.asarray(np.einsum("kn,kn->n", weights, coefficients.take(self.index)))

    def add_information(self, band: FloatArray, weights: FloatArray, precision: FloatArray) -> None:
        """Add to a band, shape (4, m), what weighted sums of given precision bring."""
        weighted = precision * weights
        for d in range(REACH):
            brought = weighted[: REACH - d] * weights[d:]
            band[d] += np.bincount(self.index[: REACH - d].ravel(), weights=brought.ravel(), minlength=band.shape[1])

    def add_up(self, weights: FloatArray, value: FloatArray, count: int) -> FloatArray:
        """Return the sum over the moments of ``weights * value`` at their coefficients, shape (count,)."""
        total = np.bincount(self.index.ravel(), weights=(weights * value).ravel(), minlength=count)
        return np.asarray(total, float)

    def brought(self, weights: FloatArray, count: int) -> csc_array:
        """Return the matrix that brings weighted values at the moments to their coefficients, shape (count, n)."""
        from scipy.sparse import csc_array

        ends = np.arange(0, weights.size + 1, REACH)
        return csc_array((weights.T.ravel(), self.index.T.ravel(), ends), shape=(count, weights.shape[1]))

    def variances(self, inverse_band: FloatArray, weights: FloatArray, other: FloatArray) -> FloatArray:
        """Return the covariance of weighted sums at each moment with others, shape (..., 4, n), from the band of it."""
        total = np.einsum("...kn,kn->...n", weights * other, inverse_band[0].take(self.index))
        for d in range(1, REACH):
            both = weights[: REACH - d] * other[..., d:, :]
            both += both if other is weights else weights[d:] * other[..., : REACH - d, :]
            total += np.einsum("...kn,kn->...n", both, inverse_band[d].take(self.index[: REACH - d]))
        return np.asarray(total)


@dataclass(frozen=True)
class SplineGrid:
    """Even knots over each unbroken piece of a drive, a little beyond its ends."""

    begin_s: FloatArray
    """First knot of each piece."""
    cells: IntArray
    """Number of cells of each piece."""
    base: IntArray
    """First coefficient of each piece."""
    spacing_s: float

    @classmethod
    def over(cls, time_s: FloatArray, piece: IntArray, spacing_s: float) -> SplineGrid:
        """Return the grid over fixes; ``piece`` numbers their unbroken pieces in order."""
        start = np.flatnonzero(np.diff(piece, prepend=-1))
        end = np.append(start[1:], len(time_s)) - 1
        begin = time_s[start] - _PADDING_S
        cells = np.ceil((time_s[end] + _PADDING_S - begin) / spacing_s).astype(np.int64)
        base = np.concatenate(([0], np.cumsum(cells + 3)[:-1]))
        return cls(begin, cells, base, spacing_s)

    def __len__(self) -> int:
        """Return the number of coefficients."""
        return self._count

    @cached_property
    def _count(self) -> int:
        return int(self.base[-1] + self.cells[-1] + 3)

    def locate(self, time_s: FloatArray, piece: IntArray) -> Places:
        """Return the places of moments in given pieces (their order number)."""
        along = (time_s - self.begin_s.take(piece)) / self.spacing_s
        cell = np.minimum(np.maximum(np.floor(along), 0), self.cells.take(piece) - 1)
        f = np.minimum(np.maximum(along - cell, 0.0), 1.0)
        powers = np.ones((REACH, len(f)))
        powers[1] = f
        np.multiply(f, f, out=powers[2])
        np.multiply(powers[2], f, out=powers[3])
        first = self.base.take(piece) + cell.astype(np.int64)
        return Places(first + np.arange(REACH)[:, None], _VALUE @ powers, _RATE @ powers / self.spacing_s, f)

    @cached_property
    def inner(self) -> BoolArray:
        """Whether a coefficient has neighbours on both sides in its piece, shape (n,)."""
        inside = np.ones(len(self), bool)
        inside[self.base] = False
        inside[self.base + self.cells + 2] = False
        return inside

    @cached_property
    def joined(self) -> BoolArray:
        """Whether a coefficient has one after it in its piece, shape (n,)."""
        follows = np.ones(len(self), bool)
        follows[self.base + self.cells + 2] = False
        return follows

    @property
    def knots_s(self) -> FloatArray:
        """Moment at which each coefficient counts most, in s, shape (n,)."""
        piece = np.repeat(np.arange(len(self.base)), self.cells + 3)
        return np.asarray(self.begin_s[piece] + (np.arange(len(self)) - self.base[piece] - 1) * self.spacing_s)

    def changes(self, coefficients: FloatArray) -> FloatArray:
        """Return the rate from each coefficient to the next of its piece, 0 at the last."""
        return np.asarray(np.diff(coefficients, append=0.0) * self.joined / self.spacing_s)

    def bending(self, coefficients: FloatArray) -> FloatArray:
        """Return the second derivative at the knot of each coefficient, 0 at the ends of a piece. [1/s2]."""
        second = np.zeros(len(coefficients))
        second[1:-1] = coefficients[:-2] - 2 * coefficients[1:-1] + coefficients[2:]
        return np.asarray(second * self.inner / self.spacing_s**2)

    def smooth_bending(self, coefficients: FloatArray, width_s: float) -> FloatArray:
        """Return :meth:`bending` smoothed by a bell of that standard deviation, so that its own noise is not in it."""
        width = width_s / self.spacing_s
        reach = int(3 * width)
        kernel = np.exp(-0.5 * (np.arange(-reach, reach + 1) / width) ** 2)
        bending = self.bending(coefficients)
        if len(bending) <= 2 * reach:
            return bending
        return np.convolve(bending, kernel / kernel.sum(), mode="same")

    def change_variances(self, inverse_band: FloatArray) -> FloatArray:
        """Return the variance of each of :meth:`changes` from the band of the covariance, 0 at the last of a piece."""
        own, beside = inverse_band[0], inverse_band[1]
        variance = np.zeros(len(own))
        variance[:-1] = own[:-1] - 2 * beside[:-1] + own[1:]
        return np.asarray(variance * self.joined / self.spacing_s**2)

    def bending_variances(self, inverse_band: FloatArray) -> FloatArray:
        """Return the variance of each of :meth:`bending` from the band of the covariance, 0 at the ends of a piece."""
        own, beside, second = inverse_band[:3]
        variance = np.zeros(len(own))
        variance[1:-1] = own[:-2] + 4 * own[1:-1] + own[2:] - 4 * (beside[:-2] + beside[1:-1]) + 2 * second[:-2]
        return np.asarray(variance * self.inner / self.spacing_s**4)

    def bending_at(self, places: Places, bending: FloatArray) -> FloatArray:
        """Return the second derivative at moments from that at the knots; it is straight between them."""
        return np.asarray((1 - places.part) * bending[places.index[1]] + places.part * bending[places.index[2]])

    def tautness(self, precision: FloatArray) -> FloatArray:
        """Return the band of the information that changes of given precision bring, shape (4, n)."""
        p = precision * self.joined / self.spacing_s**2
        band = np.zeros((REACH, len(p)))
        band[0] = p + np.append(0.0, p[:-1])
        band[1] = -p
        return band

    def stiffness(self, precision: FloatArray) -> FloatArray:
        """Return the band of the information that second derivatives of given precision bring, shape (4, n)."""
        p = precision * self.inner / self.spacing_s**4
        band = np.zeros((REACH, len(p)))
        before, after = np.append(p[1:], 0.0), np.append(0.0, p[:-1])
        band[0] = 4 * p + before + after
        band[1, :-1] = -2 * (p[:-1] + p[1:])
        band[2, :-2] = p[1:-1]
        return band
