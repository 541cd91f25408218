"""Symmetric matrices of bandwidth three: one factor for solutions and for the band of the inverse."""

from __future__ import annotations

import numpy as np

from speedcal.interval import FloatArray

_DIAGONALS = 4
_LIFT = 2.0**-40
_ENTRIES = (((1, 3), (2, 6), (3, 9)), ((1, 3), (2, 6), (3, 7)), ((1, 3), (2, 4), (3, 5)), ((1, 1), (2, 2), (3, 3)))
"""Of the elements (i, i + 3) to (i, i) of an inverse: by which element under the diagonal of the factor each is taken
from others, and how many elements before it those stand."""


class Banded:
    """The Cholesky factor of a positive definite matrix of bandwidth three or less.

    Parameters
    ----------
    band
        ``band[d, j]`` is the element (j + d, j), shape (4, n), or as many as are not 0.
    """

    def __init__(self, band: FloatArray) -> None:
        from scipy.linalg.lapack import dpbtrf

        self._factor, indefinite = dpbtrf(band, lower=1)
        lift = _LIFT
        while indefinite:  # by a rounding, where a piece is held by next to nothing
            lifted = band.copy()
            lifted[0] *= 1 + lift
            self._factor, indefinite = dpbtrf(lifted, lower=1)
            lift *= 4

    def solve(self, right_side: FloatArray) -> FloatArray:
        """Return the solution for a right side of shape (n,) or (n, k)."""
        from scipy.linalg.lapack import dpbtrs

        return np.asarray(dpbtrs(self._factor, right_side, lower=1)[0], float)

    def half_solved(self, right_side: FloatArray) -> FloatArray:
        """Return what times itself is the right side times its solution, shape (n, k) as the right side, sooner."""
        from scipy.linalg.lapack import dtbtrs

        return np.asarray(dtbtrs(self._factor, right_side, uplo="L")[0], float)

    def inverse(self) -> FloatArray:
        """Return the same band of the inverse of a matrix given in four diagonals, shape (4, n).

        Every element follows from those below and to the right of it (K. Takahashi, J. Fagan and M. S. Chin, Proc. 8th
        PICA Conf., 1973, 63-69), which is a triangular system of bandwidth nine.
        """
        from scipy.linalg.lapack import dtbtrs

        factor = self._factor
        count = factor.shape[1]
        system = np.zeros((10, _DIAGONALS * count))
        ratio = (factor / factor[0])[:, ::-1]
        for place, entries in enumerate(_ENTRIES):
            for below, before in entries:
                some = max(count - below, 0)
                system[before, _DIAGONALS * below + place - before :: _DIAGONALS][:some] = ratio[below, count - some :]
        right_side = np.zeros(_DIAGONALS * count)
        right_side[_DIAGONALS - 1 :: _DIAGONALS] = (1 / factor[0] ** 2)[::-1]
        answer = dtbtrs(system, right_side, uplo="L", diag="U")[0]
        return np.ascontiguousarray(answer.reshape(count, _DIAGONALS)[::-1, ::-1].T)
