"""What a value that was rounded to a step says of the value behind it: an interval, never a point.

The message of each value to the rest of the model is a Gaussian of the same effect (expectation propagation: T. P.
Minka, Proc. 17th Conf. Uncertainty in Artificial Intelligence, 2001, 362-369). An interval tells no more than its
width however small the noise, so nothing collapses when many values are alike.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from speedcal.calibration.tuning.general import WRONG_SPREAD_MPS
from speedcal.calibration.tuning.logs import LOG_WRONG_SHARE, LOG_WRONG_SPREAD_MPS, LOG_WRONG_STEADY_MPS2
from speedcal.interval import BoolArray, FloatArray

WRONG_SHARE = 0.001
WRONG_DENSITY = WRONG_SHARE / WRONG_SPREAD_MPS
"""Share of values that are wrong, for each m/s about what is right. [s/m]"""
_FINE = 0.5
"""A step this small beside the noise is as good as none: its variance is step^2/12 to a part in a thousand."""
_LEAST_CAVITY = 0.02
_LEAST_CHANCE = 1e-280


@dataclass(frozen=True, slots=True)
class Message:
    """What values say of the quantity behind them, arrays of shape (n,)."""

    precision: FloatArray
    shift: FloatArray
    """Precision times mean."""

    def blended(self, new: Message, share: float) -> Message:
        """Return this message moved part of the way to another."""
        return Message(
            self.precision + share * (new.precision - self.precision), self.shift + share * (new.shift - self.shift)
        )

    def times(self, share: FloatArray) -> Message:
        """Return messages that say so many times what these say."""
        return Message(self.precision * share, self.shift * share)


@dataclass(frozen=True, slots=True)
class Told:
    """What rounded values say, given what is expected of them without themselves."""

    message: Message
    square: FloatArray
    """Square of each value's expected noise, as a share of the square of its variance."""
    known: FloatArray
    """How much of each value's noise is known then, as a share of its variance."""
    right: FloatArray
    """Probability that each value is right."""


def nothing_said(count: int) -> Message:
    """Return messages that say nothing."""
    return Message(np.zeros(count), np.zeros(count))


def without(mean: FloatArray, variance: FloatArray, message: Message) -> tuple[FloatArray, FloatArray]:
    """Return mean and variance of a quantity without one message in it (the cavity)."""
    precision = np.maximum(1 / variance - message.precision, _LEAST_CAVITY / variance)
    return (mean / variance - message.shift) / precision, 1 / precision


def wrong_of_log(steep: FloatArray) -> FloatArray:
    """Return what a log may be wrong by at each value, as a density of shape (n,).

    Where a speed is steady a value that is off is soon taken as wrong; where it changes the value may be late, and
    tells how late.
    """
    return WRONG_DENSITY + LOG_WRONG_SHARE / LOG_WRONG_SPREAD_MPS * np.exp(-((steep / LOG_WRONG_STEADY_MPS2) ** 2))


def told_by(
    value: FloatArray,
    step: float,
    noise: FloatArray,
    mean: FloatArray,
    variance: FloatArray,
    wrong: FloatArray | float = WRONG_DENSITY,
) -> Told:
    """Return what values rounded to a step say of quantities of given mean and variance.

    Parameters
    ----------
    value
        The values, shape (n,).
    step
        What they are rounded to; 0 when they are not.
    noise
        Variance of the noise each had before it was rounded, shape (n,).
    mean, variance
        What is known without these values, shape (n,).
    wrong
        Density of wrong values.
    """
    slope, curve, density = slopes(value - mean, step, noise, variance + noise)
    right = (1 - WRONG_SHARE) * density
    right = right / (right + wrong)
    square, known = right * slope**2, right * curve
    curve, slope = right * curve, right * slope
    left = np.maximum(1 - curve * variance, 1e-9)
    return Told(Message(curve / left, (curve * mean + slope) / left), square, known, right)


def log_likelihood(
    value: FloatArray,
    step: float,
    noise: FloatArray,
    mean: FloatArray,
    variance: FloatArray,
    wrong: FloatArray | float = WRONG_DENSITY,
) -> float:
    """Return the log likelihood of values rounded to a step; parameters as of :func:`told_by`."""
    density = _density(value - mean, step, noise, variance + noise)
    return float(np.sum(np.log((1 - WRONG_SHARE) * density + wrong)))


def slopes(
    away: FloatArray, step: FloatArray | float, noise: FloatArray, total: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return how the log probability of rounded values changes with the mean of what is behind them.

    Parameters
    ----------
    away
        Values less their mean, arrays of any one shape.
    step
        What each is rounded to; 0 where it is not.
    noise, total
        Variance before rounding, without and with that of the mean.

    Returns
    -------
        First and negative second derivative, and density.
    """
    coarse, total = _coarse(step, noise, total)
    if coarse.all():
        return _interval(away, step, np.sqrt(total))
    slope, curve, density = away / total, 1 / total, _normal(away, total)
    if coarse.any():
        some = np.broadcast_to(step, coarse.shape)[coarse]
        slope[coarse], curve[coarse], density[coarse] = _interval(away[coarse], some, np.sqrt(total[coarse]))
    return slope, curve, density


def _density(away: FloatArray, step: float, noise: FloatArray, total: FloatArray) -> FloatArray:
    """Return the density of rounded values; parameters as of :func:`slopes`, the last of whose results it is."""
    coarse, total = _coarse(step, noise, total)
    if coarse.all():
        return _within(away, step, np.sqrt(total))[2] / step
    density = _normal(away, total)
    if coarse.any():
        density[coarse] = _within(away[coarse], step, np.sqrt(total[coarse]))[2] / step
    return density


def _coarse(step: FloatArray | float, noise: FloatArray, total: FloatArray) -> tuple[BoolArray, FloatArray]:
    """Return where values stand for an interval, and the variance with that of a step that is as good as none."""
    square = np.square(step)
    coarse = (square >= _FINE**2 * noise) & (square > 0)
    return coarse, total if coarse.all() else total + np.where(coarse, 0.0, square / 12)


def _normal(away: FloatArray, total: FloatArray) -> FloatArray:
    return np.asarray(np.exp(-0.5 * away**2 / total) / np.sqrt(2 * np.pi * total))


def _within(away: FloatArray, step: FloatArray | float, root: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return both ends of a standardised interval, in the lower tail, and the probability between them."""
    from scipy.special import ndtr

    far = np.abs(away)
    low, high = (-step / 2 - far) / root, (step / 2 - far) / root  # in the lower tail differences are exact
    return low, high, np.maximum(ndtr(high) - ndtr(low), _LEAST_CHANCE)


def _interval(
    away: FloatArray, step: FloatArray | float, root: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return first and negative second derivative of the log probability of an interval by the mean, and its density.

    The density is the probability per unit of step.
    """
    low, high, chance = _within(away, step, root)
    tiny = chance <= _LEAST_CHANCE
    at_low, at_high = (np.exp(-0.5 * edge**2) / np.sqrt(2 * np.pi) for edge in (low, high))
    first = (at_low - at_high) / chance  # mean of the standardised distance
    moved = (high * at_high - low * at_low) / chance
    if tiny.any():  # far out: all of it lies at the near edge
        first[tiny] = high[tiny]
        moved[tiny] = 1 - high[tiny] ** 2
    slope = np.where(away < 0, first, -first) / root
    curve = np.maximum(first**2 + moved, 1e-12) / root**2
    return slope, curve, chance / step
