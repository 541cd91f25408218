"""Content of a polygon under the bivariate normal distribution, exact but for rounding, and its corners.

Whatever is known through two quantities (a straight dial: offset and factor) leaves a polygon of what conforms, however
many limits there are. The content is exact in one dimension and by quadrature in the other.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np

from speedcal.interval import FloatArray

_NODES = 24
"""Of Gauss and Legendre in each piece."""
_SMALL = 1e-12


def content(distance: FloatArray, normal: FloatArray) -> float:
    """Return the probability of ``distance + normal @ z >= 0`` for a standard bivariate normal.

    Given z1, the limits leave an interval of z2, whose content is exact. The panels of the outer quadrature end where
    the binding limit changes, so the integrand is smooth in each.

    Parameters
    ----------
    distance
        Distances of the limits from the origin, shape (k,), negative where it is outside.
    normal
        Their normals, shape (k, 2).
    """
    from scipy.special import ndtr

    if not len(distance):
        return 1.0
    normal = _turned(normal)
    slope, level = -normal[:, 0] / normal[:, 1], -distance / normal[:, 1]
    edges = _breaks(slope, level)
    lower, upper = normal[:, 1] > 0, normal[:, 1] < 0
    nodes, weights = _gauss_legendre()
    middle, half = (edges[1:] + edges[:-1]) / 2, (edges[1:] - edges[:-1]) / 2
    at = (middle[:, None] + half[:, None] * nodes).ravel()
    weight = (half[:, None] * weights).ravel()
    density = np.exp(-at * at / 2) / np.sqrt(2 * np.pi)
    bounds = level[:, None] + slope[:, None] * at
    bottom = bounds[lower].max(axis=0) if lower.any() else np.full(len(at), -np.inf)
    top = bounds[upper].min(axis=0) if upper.any() else np.full(len(at), np.inf)
    inner = np.where(top > bottom, ndtr(top) - ndtr(bottom), 0.0)
    return float(np.clip(np.sum(weight * density * inner), 0.0, 1.0))


def extreme_points(distance: FloatArray, normal: FloatArray) -> list[FloatArray]:
    """Return the corners of the polygon, or a point on each edge when it has none (one limit, a strip)."""
    corners: list[FloatArray] = []
    for i in range(len(distance)):
        for j in range(i):
            pair = normal[[i, j]]
            if abs(np.linalg.det(pair)) > 1e-9:
                corners.append(np.asarray(np.linalg.solve(pair, -distance[[i, j]])))
    edges = [np.asarray(-d * n) for d, n in zip(distance, normal, strict=True)]
    for points in (corners, edges):
        inside = [p for p in points if np.all(distance + normal @ p >= -1e-7)]
        if inside:
            return inside
    return []


def _turned(normal: FloatArray) -> FloatArray:
    """Turn the plane so that no normal lies along the first axis (a limit that depends on z1 only would be a step)."""
    angles = np.sort(np.arctan2(normal[:, 1], normal[:, 0]) % np.pi)
    gaps = np.diff(np.append(angles, angles[0] + np.pi))
    widest = int(np.argmax(gaps))
    turn = -(angles[widest] + gaps[widest] / 2)
    c, s = np.cos(turn), np.sin(turn)
    return np.asarray(normal @ np.array([[c, s], [-s, c]]))


def _breaks(slope: FloatArray, level: FloatArray) -> FloatArray:
    i, j = np.triu_indices(len(slope), 1)
    differs = np.abs(slope[i] - slope[j]) > _SMALL
    kinks = -(level[i] - level[j])[differs] / (slope[i] - slope[j])[differs]
    grid = np.linspace(-9.0, 9.0, 13)
    return np.unique(np.concatenate([grid, kinks[np.abs(kinks) < 9.0]]))


@lru_cache(maxsize=1)
def _gauss_legendre() -> tuple[FloatArray, FloatArray]:
    nodes, weights = np.polynomial.legendre.leggauss(_NODES)
    return nodes, weights
