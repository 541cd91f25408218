"""What the dial may be, drawn evenly: the truths that the choices are judged under."""

from __future__ import annotations

from functools import cache

import numpy as np

from speedcal.calibration.dial.dial import Dial
from speedcal.interval import FloatArray

_POINTS, _LATTICE = 2584, 1597  # Fibonacci numbers: the first two coordinates cover the square evenly
_MOST_DIMENSIONS = 8
"""Ways of the dial that are drawn; what is left of it does not move a choice."""
_FURTHER = (2.0, 3.0, 5.0, 7.0, 11.0, 13.0)
"""Square roots of these primes are the steps of the further coordinates (a Kronecker sequence)."""


def plausible_dials(dial: Dial, speeds_mps: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return equally likely readings at the knots (n, knots) and two spare deviates (n, 2), the same on every call.

    A point set that fills the unit cube evenly is turned into the joint normal distribution of the knots. The first
    coordinates carry what moves the readings at the customer's speeds most.
    """
    values, vectors = np.linalg.eigh(dial.knot_covariance)
    root = vectors * np.sqrt(np.maximum(values, 0.0))
    turned = np.linalg.svd(dial.weights(speeds_mps) @ root, full_matrices=True)[2]
    keep = min(_MOST_DIMENSIONS - 2, len(turned))
    points = _even_normals(keep + 2)
    return dial.shown_mps + points[:, :keep] @ (root @ turned[:keep].T).T, points[:, keep:]


@cache
def _even_normals(dimensions: int) -> FloatArray:
    """Return standard normal deviates that fill the space evenly, shape (2584, dimensions)."""
    from scipy.special import ndtri

    i = np.arange(_POINTS)
    columns = [(i + 0.5) / _POINTS, ((i * _LATTICE) % _POINTS + 0.5) / _POINTS]
    columns += [(0.5 + i * np.sqrt(prime)) % 1.0 for prime in _FURTHER[: dimensions - 2]]
    return np.asarray(ndtri(np.clip(np.column_stack(columns), 1e-9, 1 - 1e-9)))
