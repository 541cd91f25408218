"""A speed as a cubic B-spline of time, piece by piece, and the linear algebra that stays in a narrow band.

Every speed is a weighted sum of four neighbouring coefficients, so the information of a drive is a matrix of
bandwidth three. What it takes of the inverse, the same band, comes exactly by block reduction (G. Meurant, SIAM J.
Matrix Anal. Appl. 13, 1992, 707-728), half of the blocks at a time.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from speedcal.interval import BoolArray, FloatArray, IntArray

if TYPE_CHECKING:
    from scipy.sparse import csr_array

REACH = 4
"""Coefficients that make up one speed."""
_PADDING_S = 4.0
_FEW_BLOCKS = 16


@dataclass(frozen=True, slots=True)
class Places:
    """Moments on a spline: arrays of shape (n,) and (n, 4)."""

    first: IntArray
    """The first of the four coefficients."""
    value: FloatArray
    """Weights of the coefficients in the speed."""
    rate: FloatArray
    """Weights in its derivative. [1/s]"""
    part: FloatArray
    """How far into its cell each moment lies, 0 to 1."""

    def of(self, coefficients: FloatArray, weights: FloatArray) -> FloatArray:
        """Return the weighted sum of the coefficients at each moment."""
        return np.asarray(sum(weights[:, i] * coefficients[self.first + i] for i in range(REACH)))


@dataclass(frozen=True, slots=True)
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
        return int(self.base[-1] + self.cells[-1] + 3)

    def locate(self, time_s: FloatArray, piece: IntArray) -> Places:
        """Return the places of moments in given pieces (their order number)."""
        along = (time_s - self.begin_s[piece]) / self.spacing_s
        cell = np.clip(np.floor(along), 0, self.cells[piece] - 1)
        f = np.clip(along - cell, 0.0, 1.0)
        g = 1 - f
        value = np.stack([g**3, 3 * f**3 - 6 * f**2 + 4, 3 * g**3 - 6 * g**2 + 4, f**3], axis=1) / 6
        rate = np.stack([-(g**2), 3 * f**2 - 4 * f, 4 * g - 3 * g**2, f**2], axis=1) / (2 * self.spacing_s)
        return Places(self.base[piece] + cell.astype(np.int64), value, rate, f)

    @property
    def inner(self) -> BoolArray:
        """Whether a coefficient has neighbours on both sides in its piece, shape (n,)."""
        inside = np.ones(len(self), bool)
        inside[self.base] = False
        inside[self.base + self.cells + 2] = False
        return inside

    @property
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

    def change_rows(self) -> tuple[IntArray, FloatArray]:
        """Return the first of four coefficients and their weights, shape (n, 4), in each of :meth:`changes`."""
        return self._rows(np.array([-1.0, 1.0]) / self.spacing_s, np.arange(len(self)))

    def bending_rows(self) -> tuple[IntArray, FloatArray]:
        """Return the first of four coefficients and their weights, shape (n, 4), in each of :meth:`bending`."""
        return self._rows(np.array([1.0, -2.0, 1.0]) / self.spacing_s**2, np.arange(len(self)) - 1)

    def _rows(self, weights: FloatArray, at: IntArray) -> tuple[IntArray, FloatArray]:
        first = np.clip(at, 0, len(self) - REACH)
        row = np.zeros((len(self), REACH))
        for i, weight in enumerate(weights):
            place = at - first + i
            inside = (place >= 0) & (place < REACH)
            row[inside, place[inside]] = weight
        return first, row

    def bending(self, coefficients: FloatArray) -> FloatArray:
        """Return the second derivative at the knot of each coefficient, 0 at the ends of a piece. [1/s2]."""
        second = np.zeros(len(coefficients))
        second[1:-1] = coefficients[:-2] - 2 * coefficients[1:-1] + coefficients[2:]
        return np.asarray(second * self.inner / self.spacing_s**2)

    def bending_at(self, places: Places, bending: FloatArray) -> FloatArray:
        """Return the second derivative at moments from that at the knots; it is straight between them."""
        return np.asarray((1 - places.part) * bending[places.first + 1] + places.part * bending[places.first + 2])

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


def add_information(band: FloatArray, first: IntArray, row: FloatArray, precision: FloatArray) -> None:
    """Add to a band, shape (4, n), what observations ``row @ coefficients`` of given precision bring."""
    count = band.shape[1]
    for i in range(REACH):
        weighted = precision * row[:, i]
        for j in range(i, REACH):
            band[j - i] += np.bincount(first + i, weights=weighted * row[:, j], minlength=count)


def add_up(first: IntArray, row: FloatArray, value: FloatArray, count: int) -> FloatArray:
    """Return the sum over observations of ``row * value`` at their coefficients, shape (count,)."""
    total = np.zeros(count)
    for i in range(REACH):
        total += np.bincount(first + i, weights=row[:, i] * value, minlength=count)
    return total


def observations(first: IntArray, row: FloatArray, count: int) -> csr_array:
    """Return the matrix that makes observations ``row @ coefficients`` of coefficients, shape (n, count)."""
    from scipy.sparse import csr_array

    columns = first[:, None] + np.arange(REACH)
    return csr_array((row.ravel(), columns.ravel(), np.arange(0, row.size + 1, REACH)), shape=(len(first), count))


def variances(inverse_band: FloatArray, first: IntArray, row: FloatArray, other: FloatArray) -> FloatArray:
    """Return ``row C other`` for each observation, C the inverse whose band is given."""
    total = np.zeros(len(first))
    for i in range(REACH):
        total += row[:, i] * other[:, i] * inverse_band[0][first + i]
        for j in range(i + 1, REACH):
            both = row[:, i] * other[:, j] + row[:, j] * other[:, i]
            total += both * inverse_band[j - i][first + i]
    return total


def inverse_band(band: FloatArray) -> FloatArray:
    """Return the same band of the inverse of a positive definite matrix of bandwidth three.

    Parameters
    ----------
    band
        ``band[d, j]`` is the element (j + d, j), shape (4, n).
    """
    size, count = REACH - 1, band.shape[1]
    blocks = -(-count // size)
    padded = np.zeros((REACH, blocks * size))
    padded[:, :count] = band
    padded[0, count:] = 1.0
    diagonal = np.zeros((blocks, size, size))
    above = np.zeros((max(blocks - 1, 0), size, size))
    for i in range(size):
        for d in range(REACH):
            j = i + d
            if j < size:
                diagonal[:, i, j] = diagonal[:, j, i] = padded[d, i::size]
            else:
                above[:, i, j - size] = padded[d, i::size][:-1]
    near, next_ = _block_inverse(diagonal, above)
    out = np.zeros_like(padded)
    for i in range(size):
        for d in range(REACH):
            j = i + d
            if j < size:
                out[d, i::size] = near[:, i, j]
            else:
                out[d, i::size][:-1] = next_[:, i, j - size]
    return out[:, :count]


def _block_inverse(diagonal: FloatArray, above: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return the diagonal blocks and those above them of the inverse of a block tridiagonal matrix."""
    if len(diagonal) <= _FEW_BLOCKS:
        return _whole_inverse(diagonal, above)
    # eliminate every second block; what is left is block tridiagonal again
    odd = _inverses(diagonal[1::2])
    left, right = above[0::2], above[1::2]  # (even before, odd), (odd, even after)
    from_left = left @ odd
    kept = diagonal[0::2].copy()
    kept[: len(odd)] -= from_left @ left.swapaxes(1, 2)
    pairs = len(right)
    to_right = odd[:pairs] @ right
    kept[1 : pairs + 1] -= right.swapaxes(1, 2) @ to_right
    near, far = _block_inverse(kept, -from_left[:pairs] @ right)
    out = np.empty_like(diagonal)
    out_above = np.empty_like(above)
    out[0::2] = near
    back = from_left.swapaxes(1, 2)  # odd^-1 A(odd, even before)
    with_left = -near[: len(odd)] @ from_left
    with_right = -back[:pairs] @ far
    with_left[:pairs] -= far @ to_right.swapaxes(1, 2)
    with_right -= to_right @ near[1 : pairs + 1]
    own = odd - back @ with_left
    own[:pairs] -= to_right @ with_right.swapaxes(1, 2)
    out[1::2] = (own + own.swapaxes(1, 2)) / 2
    out_above[0::2], out_above[1::2] = with_left, with_right
    return out, out_above


def _inverses(blocks: FloatArray) -> FloatArray:
    """Return the inverses of symmetric 3 x 3 matrices, shape (n, 3, 3).

    Elimination without pivots: what is known of the speed in one block differs by ten powers of ten, and a pivot chosen
    by size loses the small.
    """
    first, second, third = blocks[:, 0, 0], blocks[:, 1, 0], blocks[:, 2, 0]
    over_second, over_third = second / first, third / first
    middle = blocks[:, 1, 1] - over_second * second
    across = blocks[:, 2, 1] - over_third * second
    over_middle = across / middle
    from_first, from_middle = over_second * over_middle - over_third, 1 / middle
    from_last = 1 / (blocks[:, 2, 2] - over_third * third - over_middle * across)
    out = np.empty_like(blocks)
    out[:, 2, 2] = from_last
    out[:, 1, 2] = out[:, 2, 1] = -over_middle * from_last
    out[:, 0, 2] = out[:, 2, 0] = from_first * from_last
    out[:, 1, 1] = from_middle + over_middle**2 * from_last
    out[:, 0, 1] = out[:, 1, 0] = -over_second * from_middle - over_middle * from_first * from_last
    out[:, 0, 0] = 1 / first + over_second**2 * from_middle + from_first**2 * from_last
    return out


def _whole_inverse(diagonal: FloatArray, above: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return the same of so few blocks that one Cholesky factor of their matrix costs less than halving again."""
    from scipy.linalg.lapack import dpotrf, dpotri

    count, size, _ = diagonal.shape
    each = np.arange(count)
    here, after = each[:-1], each[1:]
    whole = np.zeros((count, size, count, size))
    whole[each, :, each] = diagonal
    whole[here, :, after], whole[after, :, here] = above, above.swapaxes(1, 2)
    matrix = whole.reshape(count * size, -1)
    factor, indefinite = dpotrf(matrix, lower=1)  # by a rounding, where a piece is held by next to nothing
    lower = np.asarray(np.linalg.inv(matrix) if indefinite else dpotri(factor, lower=1)[0], float).reshape(whole.shape)
    near = np.tril(lower[each, :, each])
    near += np.tril(near, -1).swapaxes(1, 2)
    return near, lower[after, :, here].swapaxes(1, 2)
