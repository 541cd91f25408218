"""Solutions and the band of the inverse of matrices of bandwidth three, against plain and against exact arithmetic."""

from __future__ import annotations

from fractions import Fraction

import numpy as np
import pytest

from speedcal.calibration.speed.banded import Banded
from speedcal.interval import FloatArray


def banded(size: int, scale: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return a positive definite matrix of bandwidth three, rows of observations scaled so, and its band."""
    rng = np.random.default_rng(size)
    matrix = 0.1 * np.eye(size)
    for first in range(size - 3):
        row = scale[first] * rng.normal(0, 1, 4)
        matrix[first : first + 4, first : first + 4] += np.outer(row, row)
    band = np.zeros((4, size))
    for d in range(min(4, size)):
        band[d, : size - d] = np.diag(matrix, -d)
    return matrix, band


@pytest.mark.parametrize("size", [1, 2, 3, 4, 5, 8, 61, 400])
def test_solution_and_inverse_are_those_of_a_plain_matrix(size: int) -> None:
    """Both held against numpy's, one right side and several."""
    matrix, band = banded(size, np.ones(size))
    factor, plain = Banded(band), np.linalg.inv(matrix)
    for right_side in (np.arange(1.0, size + 1), np.random.default_rng(0).normal(0, 1, (size, 3))):
        assert factor.solve(right_side) == pytest.approx(plain @ right_side, rel=1e-9, abs=1e-10)
    inverse = factor.inverse()
    for d in range(min(4, size)):
        assert inverse[d, : size - d] == pytest.approx(np.diag(plain, -d), rel=1e-9, abs=1e-10)


def test_what_is_known_of_parts_may_differ_by_eight_powers_of_ten() -> None:
    """Against elimination in fractions, which rounds nothing; of a condition of 1.5e10 six digits are left at most."""
    size = 24
    matrix, band = banded(size, np.where(np.arange(size) < 10, 1e4, 1.0))
    rows = [[Fraction(x) for x in row] + [Fraction(i == j) for j in range(size)] for i, row in enumerate(matrix)]
    for pivot in range(size):
        rows[pivot] = [x / rows[pivot][pivot] for x in rows[pivot]]
        for other in range(size):
            if other != pivot and rows[other][pivot]:
                factor = rows[other][pivot]
                rows[other] = [x - factor * y for x, y in zip(rows[other], rows[pivot], strict=True)]
    exact = np.array([[float(x) for x in row[size:]] for row in rows])
    inverse = Banded(band).inverse()
    for d in range(4):
        assert inverse[d, : size - d] == pytest.approx(np.diag(exact, -d), rel=1e-5, abs=1e-8 * exact.max())


def test_a_matrix_that_rounding_has_made_indefinite_is_lifted_by_next_to_nothing() -> None:
    """Second differences alone, held by 1e-20: singular to the last digit, and still finite and positive."""
    size = 30
    matrix = 1e-20 * np.eye(size)
    for first in range(size - 2):
        row = np.array([1.0, -2.0, 1.0])
        matrix[first : first + 3, first : first + 3] += np.outer(row, row)
    band = np.zeros((4, size))
    for d in range(4):
        band[d, : size - d] = np.diag(matrix, -d)
    inverse = Banded(band).inverse()
    assert np.isfinite(inverse).all()
    assert (inverse[0] > 0).all()
