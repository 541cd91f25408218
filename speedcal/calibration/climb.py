"""Climb to the maximum of a smooth log density of a few parameters, and measure its curvature there."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from speedcal.interval import FloatArray

_MOST_ROUNDS = 40
_DAMPINGS = np.array([0.1, 1.0, 10.0, 100.0, 1e3, 1e5])

LogDensity = Callable[[FloatArray], FloatArray]
"""Takes points, shape (rows, parameters), and returns the log density of each, shape (rows,)."""


@dataclass(frozen=True, slots=True)
class Mode:
    """A maximum of a log density."""

    theta: FloatArray
    """Where it is, shape (p,)."""
    covariance: FloatArray
    """Inverse of the curvature there, shape (p, p)."""
    log_weight: float
    """Log of the mass about this maximum (Laplace's approximation), up to a constant."""


def add_mode(
    modes: list[Mode],
    density: LogDensity,
    start: FloatArray,
    *,
    step: FloatArray,
    longest: FloatArray,
    same: FloatArray,
) -> None:
    """Climb from a start and add the maximum, unless one within ``same`` of it, shape (p,), is there already."""
    theta, height, covariance = climb(density, start, step=step, longest=longest)
    if all(np.max(np.abs(theta - other.theta) / same) > 1 for other in modes):
        modes.append(Mode(theta, covariance, height + 0.5 * float(np.linalg.slogdet(covariance)[1])))


def mode_weights(modes: list[Mode]) -> FloatArray:
    """Return the share of each mode in the mass of all of them."""
    weight = np.array([mode.log_weight for mode in modes])
    mass = np.exp(weight - weight.max())
    return np.asarray(mass / mass.sum())


def mixture(modes: list[Mode]) -> tuple[FloatArray, FloatArray]:
    """Return mean and covariance of the mixture of the modes, each weighted by its mass."""
    theta = np.array([mode.theta for mode in modes])
    weight = mode_weights(modes)
    away = theta - weight @ theta
    inside = np.einsum("k,kij->ij", weight, np.array([mode.covariance for mode in modes]))
    return weight @ theta, inside + np.einsum("k,ki,kj->ij", weight, away, away)


def climb(
    density: LogDensity, start: FloatArray, *, step: FloatArray, longest: FloatArray
) -> tuple[FloatArray, float, FloatArray]:
    """Return place, height and covariance (inverse negative curvature) of the maximum above ``start``.

    Newton's method with central differences, damped so that it only ever climbs (K. Levenberg, Quart. Appl. Math. 2,
    1944, 164-168). All evaluations of a round are made in one call.

    Parameters
    ----------
    density
        Log density of many points at once.
    start
        Point to start from, shape (p,).
    step
        Steps of the differences, shape (p,).
    longest
        Longest move of one round, shape (p,).
    """
    place, height, damping = start, float(density(start[None, :])[0]), 1e-3
    for _ in range(_MOST_ROUNDS):
        gradient, curvature = _derivatives(density, place, step)
        scale = np.maximum(np.abs(np.diag(curvature)), 1e-6)
        tries = damping * _DAMPINGS
        moves = np.stack([np.linalg.solve(_positive(curvature + np.diag(scale * t)), gradient) for t in tries])
        moves /= np.maximum(1.0, np.max(np.abs(moves) / longest, axis=1))[:, None]
        heights = density(place + moves)
        best = int(np.argmax(heights))
        gain = float(heights[best]) - height
        if gain > 0:
            place, height, damping = place + moves[best], float(heights[best]), float(np.clip(tries[best], 1e-9, 1e3))
        if gain < 1e-6:
            break
    _, curvature = _derivatives(density, place, step)
    return place, height, np.asarray(np.linalg.inv(_positive(curvature)), float)


def _positive(matrix: FloatArray) -> FloatArray:
    """Return the matrix with eigenvalues that are not positive lifted, so that it can serve as an information."""
    scale = np.sqrt(np.maximum(np.abs(np.diag(matrix)), 1e-9))
    values, vectors = np.linalg.eigh(matrix / np.outer(scale, scale))
    return np.asarray((vectors * np.maximum(values, 1e-3)) @ vectors.T * np.outer(scale, scale))


def _derivatives(density: LogDensity, place: FloatArray, step: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return gradient and negative second derivative by central differences."""
    count = len(place)
    pairs = [(i, j) for i in range(count) for j in range(i)]
    steps = np.diag(step)
    points = [place, *(place + s for s in steps), *(place - s for s in steps)]
    points += [place + sign * (steps[i] + steps[j]) for i, j in pairs for sign in (1, -1)]
    values = density(np.array(points))
    centre, up, down = values[0], values[1 : count + 1], values[count + 1 : 2 * count + 1]
    second = np.diag((up - 2 * centre + down) / step**2)
    for k, (i, j) in enumerate(pairs):
        both = values[2 * count + 1 + 2 * k] + values[2 * count + 2 + 2 * k] - 2 * centre
        cross = (both - second[i, i] * step[i] ** 2 - second[j, j] * step[j] ** 2) / (2 * step[i] * step[j])
        second[i, j] = second[j, i] = cross
    return (up - down) / (2 * step), -second
