"""What a rounded value tells of the number behind it: an interval, and its moments by expectation propagation."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from speedcal.interval import FloatArray

_FINE = 0.3
"""A step below this share of the noise is no interval worth the name: the value counts as it stands."""
_TAIL = 1e-12


@dataclass(frozen=True, slots=True)
class Site:
    """A Gaussian that stands in for the likelihood of each value, arrays of shape (n,)."""

    precision: FloatArray
    shift: FloatArray
    """Precision times mean."""


@dataclass(frozen=True, slots=True)
class Tilted:
    """Moments after a value was seen, arrays of shape (n,)."""

    site: Site
    log_evidence: FloatArray
    noise_square: FloatArray
    """Expected square of the reading's own error."""
    right: FloatArray
    """Probability that the value is not a wrong one."""


def tilt(
    low: FloatArray,
    high: FloatArray,
    mean: FloatArray,
    variance: FloatArray,
    noise: FloatArray,
    *,
    wrong: float,
    span: float,
) -> Tilted:
    """Return what values in ``[low, high]`` say of a quantity believed to be normal.

    The value is the quantity plus normal noise, rounded into its interval; with probability ``wrong`` it is anything
    within ``span``. An interval carries bounded information however small the noise becomes, so nothing collapses.

    Parameters
    ----------
    low, high
        Interval of each value, shape (n,); equal ends are a value without rounding.
    mean, variance
        Belief without this value (the cavity), shape (n,).
    noise
        Standard deviation of the error before rounding, shape (n,).
    wrong, span
        Share of wrong values, and the width over which they spread.

    References
    ----------
    .. [1] T. P. Minka, "Expectation propagation for approximate Bayesian inference," UAI 2001; C. E. Rasmussen and
       C. K. I. Williams 2006, 3.6.
    """
    total = variance + noise**2
    root = np.sqrt(total)
    width = high - low
    fine = width < _FINE * noise
    middle = (low + high) / 2
    total = np.where(fine, total + width**2 / 12, total)
    density, slope, curve, inside, square = _cell(low, high, mean, root)
    z = (middle - mean) / np.sqrt(total)
    plain = np.exp(-0.5 * z * z) / np.sqrt(2 * np.pi * total) * np.maximum(width, 1e-9)
    density = np.where(fine, plain, density)
    slope = np.where(fine, z / np.sqrt(total), slope)
    curve = np.where(fine, 1 / total, curve)
    inside = np.where(fine, middle - mean, inside)
    square = np.where(fine, (middle - mean) ** 2, square)
    everything = (1 - wrong) * density + wrong * np.maximum(width, 1e-9) / span
    right = (1 - wrong) * density / everything
    # derivatives of the log of the mixture
    beta = right * curve - right * (1 - right) * slope**2
    alpha = right * slope
    beta = np.clip(beta, 1e-9, 0.999 / np.maximum(variance, 1e-12))
    precision = beta / (1 - beta * variance)
    shift = (beta * mean + alpha) / (1 - beta * variance)
    share = noise**2 / (variance + noise**2)
    noise_square = share**2 * square + share * variance
    return Tilted(Site(precision, shift), np.log(everything), noise_square, right)


def _cell(
    low: FloatArray, high: FloatArray, mean: FloatArray, root: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray, FloatArray]:
    """Return probability of the interval, the slope and minus the curvature of its log by the mean, and moments."""
    from scipy.special import ndtr

    a, b = (low - mean) / root, (high - mean) / root
    flip = a > 0  # in the upper tail differences of small numbers are taken on the other side
    left, right = np.where(flip, -b, a), np.where(flip, -a, b)
    mass = np.maximum(ndtr(right) - ndtr(left), _TAIL)
    at_a, at_b = (np.exp(-0.5 * np.minimum(x * x, 700.0)) / np.sqrt(2 * np.pi) for x in (a, b))
    far = mass <= _TAIL * 1.0001
    slope = (at_a - at_b) / mass
    bend = slope**2 - (a * at_a - b * at_b) / mass
    nearest = np.where(flip, a, b)
    slope = np.where(far, nearest, slope) / root
    bend = np.where(far, 0.9, np.clip(bend, 1e-6, 1.0)) / root**2
    inside = slope * root**2
    square = root**2 * (1 - bend * root**2) + inside**2
    return mass, slope, bend, inside, square
