"""The straight line through points that are uncertain in both coordinates."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from speedcal.errors import FitError
from speedcal.interval import FloatArray


class LineFitError(FitError):
    """The iteration did not settle; ``last`` holds where it stood."""

    def __init__(self, *, rounds: int, last: LineFit) -> None:
        self.last = last
        super().__init__("line_unsettled", rounds=rounds)


@dataclass(frozen=True, slots=True)
class LineFit:
    """Result of :func:`fit_line_york`; all uncertainties are 1 sigma, not rescaled by chi-square."""

    intercept: float
    slope: float
    u_intercept: float
    u_slope: float
    covariance: float
    """Covariance of intercept and slope."""
    chi_square: float
    n_points: int
    n_iterations: int


def fit_line_york(
    x: FloatArray,
    y: FloatArray,
    *,
    u_x: FloatArray | float,
    u_y: FloatArray | float,
    rtol: float = 1e-13,
    max_iterations: int = 200,
) -> LineFit:
    r"""Fit :math:`y = a + b x` when both coordinates carry known uncertainty.

    Minimises the weighted misfit of [1]_ (eqs. 13a-13e, uncorrelated errors); the uncertainties are those of the
    adjusted points. Ordinary least squares would bias ``b`` towards zero by ``u_x**2 / (u_x**2 + var x)``. With
    ``u_x = 0`` the result is weighted least squares, and nothing is iterated.

    Parameters
    ----------
    x, y
        Paired observations, shape (n,), at least three. [any, any]
    u_x, u_y
        Standard uncertainty of each observation, or one for all. Not negative, and not both zero for a point; for
        weighted least squares of x on y swap the axes instead of setting ``u_y`` to zero. [as x, as y]
    rtol
        The iteration ends when the slope changes by less than this part of itself.

    Raises
    ------
    ValueError
        Shapes differ, fewer than three points, a number is not finite, an uncertainty is negative or ``u_y`` is not
        positive, or all x are equal.
    LineFitError
        No convergence within ``max_iterations``; ``.last`` is the final iterate.

    References
    ----------
    .. [1] D. York, N. M. Evensen, M. Lopez Martinez and J. De Basabe Delgado, "Unified equations for the slope,
       intercept, and standard errors of the best straight line," Am. J. Phys., vol. 72, pp. 367-375, 2004,
       doi:10.1119/1.1632486.
    """
    x, y, u_x, u_y = _checked(x, y, u_x, u_y)
    slope = _round(x, y, u_x, u_y, 0.0)[0]  # weighted least squares starts it
    exact = not u_x.any()
    for iteration in range(1, max_iterations + 1):
        new = _round(x, y, u_x, u_y, slope)[0]
        settled = exact or abs(new - slope) <= rtol * abs(new)
        slope = new
        if settled:
            return _finished(x, y, u_x, u_y, slope, iteration)
    raise LineFitError(rounds=max_iterations, last=_finished(x, y, u_x, u_y, slope, max_iterations))


def _checked(
    x: FloatArray, y: FloatArray, u_x: FloatArray | float, u_y: FloatArray | float
) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    x, y = np.asarray(x, float), np.asarray(y, float)
    if x.ndim != 1 or x.shape != y.shape or len(x) < 3:
        raise ValueError(f"x {x.shape} and y {y.shape} must be one-dimensional, alike and of at least three points")
    u_x, u_y = np.broadcast_to(np.asarray(u_x, float), x.shape), np.broadcast_to(np.asarray(u_y, float), x.shape)
    if not all(np.isfinite(a).all() for a in (x, y, u_x, u_y)):
        raise ValueError("x, y, u_x and u_y must be finite")
    if (u_x < 0).any() or (u_y <= 0).any():
        raise ValueError("u_x must not be negative and u_y must be positive")
    if np.ptp(x) == 0:
        raise ValueError("all x are equal; a line needs two different ones")
    return x, y, np.asarray(u_x), np.asarray(u_y)


def _round(
    x: FloatArray, y: FloatArray, u_x: FloatArray, u_y: FloatArray, slope: float
) -> tuple[float, FloatArray, FloatArray]:
    """Return the next slope (eq. 13b), the weights (13c), and the adjusted x about the weighted mean (13d)."""
    weight = 1 / (u_y**2 + (slope * u_x) ** 2)
    dx, dy = x - np.average(x, weights=weight), y - np.average(y, weights=weight)
    beta = weight * (u_y**2 * dx + slope * u_x**2 * dy)
    return float(np.sum(weight * beta * dy) / np.sum(weight * beta * dx)), weight, beta


def _finished(x: FloatArray, y: FloatArray, u_x: FloatArray, u_y: FloatArray, slope: float, iterations: int) -> LineFit:
    """Return intercept (eq. 13a) and uncertainties (13e-f) for a settled slope."""
    _, weight, beta = _round(x, y, u_x, u_y, slope)
    mean_x, mean_y = np.average(x, weights=weight), np.average(y, weights=weight)
    intercept = float(mean_y - slope * mean_x)
    adjusted_mean = mean_x + np.average(beta, weights=weight)
    about = beta - np.average(beta, weights=weight)
    variance_slope = float(1 / np.sum(weight * about**2))
    return LineFit(
        intercept=intercept,
        slope=slope,
        u_intercept=float(np.sqrt(1 / weight.sum() + adjusted_mean**2 * variance_slope)),
        u_slope=float(np.sqrt(variance_slope)),
        covariance=float(-adjusted_mean * variance_slope),
        chi_square=float(np.sum(weight * (y - intercept - slope * x) ** 2)),
        n_points=len(x),
        n_iterations=iterations,
    )
