"""Content of a box under the multivariate normal distribution, by a fixed lattice.

Genz's separation of variables: each quantity in turn is confined to what its limits leave when those before it are
given, which turns the content into a smooth integral over the unit cube. The lattice is fixed, so the same box always
has the same content, to about 1e-4.

References
----------
.. [1] A. Genz, "Numerical computation of multivariate normal probabilities," J. Comput. Graph. Stat., vol. 1, 1992.
.. [2] A. Genz and F. Bretz, Computation of Multivariate Normal and t Probabilities, Springer, 2009, 4.1 and 4.2.
.. [3] F. J. Hickernell, "Obtaining O(N^-2+e) convergence for lattice quadrature rules," 2002 (the fold of the points).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from speedcal.interval import FloatArray

_POINTS, _GENERATOR = 8191, 2918
"""A prime, and the root of the lattice with the least error in the class of smooth functions (P2, weights 1/j^2) among
600 that were tried."""
_GONE = 1e-9
"""A quantity of which less than this share of its variance is left follows from the others."""
_FAR = 9.0
"""Standard deviations beyond which nothing is left (1e-19)."""


@dataclass(frozen=True)
class _Factor:
    """Lower triangular root of a correlation matrix whose rows are put in order; rows may share their last column."""

    rows: FloatArray
    """Shape (n, r), in the order of the quantities given."""
    closed_by: tuple[tuple[int, ...], ...]
    """For each column the quantities whose last column it is: they are known once it is."""


def content(low: FloatArray, high: FloatArray, correlation: FloatArray) -> float:
    """Return the probability of ``low <= x <= high`` for standard normal variables, all shape (n,).

    Parameters
    ----------
    low, high
        Limits in standard uncertainties, infinite where there is none.
    correlation
        Correlation matrix, shape (n, n); may be singular.
    """
    from scipy.special import ndtr, ndtri

    factor = _factor(low, high, correlation)
    columns = len(factor.closed_by)
    points = 1 - np.abs(2 * _points(columns) - 1)
    at = np.zeros((len(points), columns))
    chance = np.ones(len(points))
    for column, closed in enumerate(factor.closed_by):
        bottom, top = np.full(len(points), -np.inf), np.full(len(points), np.inf)
        for row in closed:
            known, own = at[:, :column] @ factor.rows[row, :column], factor.rows[row, column]
            ends = (low[row] - known) / own, (high[row] - known) / own
            bottom = np.maximum(bottom, ends[0] if own > 0 else ends[1])
            top = np.minimum(top, ends[1] if own > 0 else ends[0])
        below, above = ndtr(bottom), ndtr(top)
        width = np.maximum(above - below, 0.0)
        chance *= width
        at[:, column] = np.clip(ndtri(below + points[:, column] * width), -_FAR, _FAR)
    return float(chance.mean())


def sample(correlation: FloatArray) -> FloatArray:
    """Return evenly spread points of the standard normal distribution, shape (points, n)."""
    from scipy.special import ndtri

    n = len(correlation)
    factor = _factor(np.full(n, -1.0), np.full(n, 1.0), correlation)
    return np.asarray(ndtri(_points(len(factor.closed_by))) @ factor.rows.T)


def _factor(low: FloatArray, high: FloatArray, correlation: FloatArray) -> _Factor:
    """Return the Cholesky factor with the tightest limits first, where the integrand then varies least."""
    from scipy.special import ndtr

    rest = np.array(correlation, float)
    n = len(rest)
    rows, open_rows = np.zeros((n, 0)), list(range(n))
    closed_by: list[tuple[int, ...]] = []
    centre = np.zeros(n)
    while open_rows:
        spread = np.sqrt(np.diag(rest)[open_rows])
        bottom = (low[open_rows] - centre[open_rows]) / spread
        top = (high[open_rows] - centre[open_rows]) / spread
        chance = ndtr(top) - ndtr(bottom)
        best = int(np.argmin(chance))
        pivot = open_rows[best]
        column = rest[:, pivot] / np.sqrt(rest[pivot, pivot])
        column[[row for rows_ in closed_by for row in rows_]] = 0.0
        rows = np.column_stack([rows, column])
        rest = rest - np.outer(column, column)
        closed = tuple(row for row in open_rows if row == pivot or rest[row, row] <= _GONE)
        open_rows = [row for row in open_rows if row not in closed]
        closed_by.append(closed)
        centre += column * _mean_between(float(bottom[best]), float(top[best]), float(chance[best]))
    return _Factor(rows, tuple(closed_by))


def _mean_between(bottom: float, top: float, chance: float) -> float:
    """Return the mean of a standard normal variable between two limits."""
    if chance < 1e-10:
        return float(np.clip(0.0, bottom, top))
    density = np.exp(-0.5 * np.array([bottom, top]) ** 2) / np.sqrt(2 * np.pi)
    return float((density[0] - density[1]) / chance)


@lru_cache(maxsize=32)
def _points(columns: int) -> FloatArray:
    """Return the points of the lattice in the unit cube, none on its faces, shape (points, columns)."""
    generator = [pow(_GENERATOR, j, _POINTS) for j in range(columns)]
    points = (np.outer(np.arange(_POINTS), generator) % _POINTS + 0.5) / _POINTS
    points.flags.writeable = False
    return np.asarray(points)
