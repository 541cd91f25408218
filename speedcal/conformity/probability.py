"""Probability that a measured line lies inside linear limits, and the risk of a wrong decision.

Every limit on a speedometer whose reading is ``a + b v`` is a half plane in (a, b), whichever speed is given: joint
statements over several speeds are the content of a polygon, computed exactly in one dimension and by
quadrature in the other. Independence of the speeds is never assumed.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import lru_cache

import numpy as np

from speedcal.interval import FloatArray

_NODES = 24
_SMALL = 1e-12

_Law = tuple[FloatArray, Callable[[FloatArray], FloatArray], FloatArray, FloatArray]
"""Density of the outer variable, distribution of the inner one, and what slope and level are multiplied with."""


def probability_between(low: float, high: float, value: float, u: float, *, dof: float = np.inf) -> float:
    """Return the probability that a quantity lies between two limits.

    Parameters
    ----------
    low, high
        Limits; infinite for a side without limit. [any]
    value, u
        Best estimate and its standard uncertainty, not negative. [as the limits]
    dof
        Degrees of freedom of ``u``; infinite for the normal distribution.

    References
    ----------
    .. [1] JCGM 106:2012, 7.3 and 7.4 (clause numbers from memory).
    """
    if u < 0:
        raise ValueError(f"a standard uncertainty cannot be negative: {u}")
    rows = [(sign, 0.0, -sign * limit) for sign, limit in ((1.0, low), (-1.0, high)) if np.isfinite(limit)]
    return probability_inside(np.array(rows).reshape(-1, 3), np.array([value, 0.0]), np.diag([u * u, 0.0]), dof=dof)


def probability_inside(limits: FloatArray, mean: FloatArray, covariance: FloatArray, *, dof: float = np.inf) -> float:
    """Return the probability that two jointly known quantities satisfy all limits.

    Parameters
    ----------
    limits
        Half planes ``l[0] x + l[1] y + l[2] >= 0``, shape (k, 3).
    mean, covariance
        Best estimate, shape (2,), and joint covariance, shape (2, 2).
    dof
        Degrees of freedom of the bivariate t distribution; infinite for the normal distribution.
    """
    distance, normal, excluded = _standardise(limits, mean, covariance)
    return 0.0 if excluded else _content(distance, normal, dof)


def risk_of_false_fail(limits: FloatArray, mean: FloatArray, covariance: FloatArray, *, dof: float = np.inf) -> float:
    """Return how often, at most, a line inside all limits would give an estimate that breaks one as clearly as this.

    The test statistic is the largest violation in standard uncertainties. Its chance under a conforming truth is
    the content of the polygon widened by that violation; being log-concave in the truth (Prékopa 1973), it is
    worst at a corner of the polygon, so looking at the corners is exact. A small probability of conformance alone
    would not do: limits narrower than the uncertainty make it small for every instrument, good or bad.

    Parameters
    ----------
    limits, mean, covariance, dof
        As for :func:`probability_inside`.
    """
    distance, normal, excluded = _standardise(limits, mean, covariance)
    if excluded:
        return 0.0
    violation = float(-distance.min()) if len(distance) else 0.0
    if violation <= 0:
        return 1.0
    risks = [
        1 - _content(distance + normal @ truth + violation, normal, dof) for truth in _worst_truths(distance, normal)
    ]
    return max(risks, default=0.0)


def _standardise(limits: FloatArray, mean: FloatArray, covariance: FloatArray) -> tuple[FloatArray, FloatArray, bool]:
    """Return distances and unit normals of the limits in standard uncertainties, and whether a sure limit is broken."""
    values, vectors = np.linalg.eigh(np.asarray(covariance, float))
    root = vectors * np.sqrt(np.maximum(values, 0.0))
    slack = limits[:, :2] @ mean + limits[:, 2]
    gradient = limits[:, :2] @ root
    u = np.hypot(gradient[:, 0], gradient[:, 1])
    scale = np.abs(limits) @ np.append(np.abs(mean), 1.0)
    sure = u <= _SMALL * scale
    excluded = bool(np.any(slack[sure] < -1e-9 * scale[sure]))
    keep = ~sure
    return slack[keep] / u[keep], gradient[keep] / u[keep, None], excluded


def _worst_truths(distance: FloatArray, normal: FloatArray) -> list[FloatArray]:
    """Return the corners of the polygon, or a point on each edge when it has none (one speed: a strip)."""
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


def _content(distance: FloatArray, normal: FloatArray, dof: float) -> float:
    """Return the content of ``distance + normal @ z >= 0`` under the standard bivariate normal or t distribution.

    Given z1, the limits leave an interval of z2, whose content is exact; for t, z2 given z1 is again t, with one more
    degree of freedom and scale sqrt((dof + z1^2)/(dof + 1)). The panels of the outer quadrature end where the
    binding limit changes, so the integrand is smooth in each.
    """
    if not len(distance):
        return 1.0
    normal = _turned(normal)
    slope, level = -normal[:, 0] / normal[:, 1], -distance / normal[:, 1]
    breaks = _breaks(slope, level)
    lower, upper = normal[:, 1] > 0, normal[:, 1] < 0
    finite = np.isfinite(dof)
    edges = np.arctan(breaks / np.sqrt(dof)) if finite else breaks
    if finite:
        edges = np.concatenate([[-np.pi / 2], edges, [np.pi / 2]])
    nodes, weights = _gauss_legendre()
    middle, half = (edges[1:] + edges[:-1]) / 2, (edges[1:] - edges[:-1]) / 2
    at = (middle[:, None] + half[:, None] * nodes).ravel()
    weight = (half[:, None] * weights).ravel()
    if finite:
        density, cumulative, along, across = _student(at, dof)
    else:
        density, cumulative, along, across = _normal(at)
    bounds = level[:, None] * across + slope[:, None] * along
    bottom = bounds[lower].max(axis=0) if lower.any() else np.full(len(at), -np.inf)
    top = bounds[upper].min(axis=0) if upper.any() else np.full(len(at), np.inf)
    inner = np.where(top > bottom, cumulative(top) - cumulative(bottom), 0.0)
    return float(np.clip(np.sum(weight * density * inner), 0.0, 1.0))


def _normal(at: FloatArray) -> _Law:
    from scipy.special import ndtr

    return np.exp(-at * at / 2) / np.sqrt(2 * np.pi), ndtr, at, np.ones_like(at)


def _student(angle: FloatArray, dof: float) -> _Law:
    """With z1 = sqrt(dof) tan(angle), density and scaled bounds are smooth on the closed range."""
    from scipy.special import gammaln, stdtr

    constant = np.exp(gammaln((dof + 1) / 2) - gammaln(dof / 2)) / np.sqrt(np.pi)
    stretch = np.sqrt((dof + 1) / dof)
    density = constant * np.cos(angle) ** (dof - 1)
    return (
        np.asarray(density),
        lambda x: np.asarray(stdtr(dof + 1, x)),
        stretch * np.sqrt(dof) * np.sin(angle),
        stretch * np.cos(angle),
    )


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
