"""What a drive alone tells of its line: what was believed of needles before it is taken out of what came out of it.

The belief is a mixture, of needles that sit right and of others; where it is not taken out as such, a needle that is
off comes out farther off with every drive.
"""

from __future__ import annotations

import numpy as np

from speedcal.calibration.readings.kind import is_log
from speedcal.calibration.result import Calibration
from speedcal.calibration.tuning.general import FACTOR_PRIOR_U, OFFSET_PRIOR_MPS, OFFSET_SHARES, OFFSET_SIZES_MPS
from speedcal.interval import FloatArray

_LOOSEST_MPS = 30.0
"""A needle's constant error that a drive tells less well than this is not told at all. [m/s]"""
_SHARPEST = 1e-9
"""Nothing is taken to be known better than this share of what was believed, in variances."""
_SHARPER = 2.0
"""Doubt which kind of needle it is widens what comes out by less than this, in the logarithm of the variance."""
_LOOSEST = np.diag([_LOOSEST_MPS**2, FACTOR_PRIOR_U**2])
_OF_FACTOR = np.array([0.0, 1 / FACTOR_PRIOR_U**2])
Belief = tuple[tuple[float, ...], tuple[float, ...]]
"""Standard deviations of the offset before a drive, in m/s, and the share of each."""
OF_NOTES: Belief = (OFFSET_SIZES_MPS, OFFSET_SHARES)
OF_LOGS: Belief = ((OFFSET_PRIOR_MPS,), (1.0,))


def belief_of(calibration: Calibration) -> Belief:
    """Return what was believed of the needle in a calibration: of notes and checks another than of logs."""
    return OF_LOGS if is_logged(calibration) or "dial_not_checked" in calibration.trust.codes else OF_NOTES


def is_logged(calibration: Calibration) -> bool:
    """Tell whether the readings of a calibration come from a machine."""
    times = calibration.readings.get("time_s")
    return times is not None and is_log(times.dropna().to_numpy(float))


def with_belief(offset_mps: float, variance: float, belief: Belief) -> tuple[float, float]:
    """Return mean and variance of the offset once the belief goes with what a drive alone tells of it."""
    sizes, shares = np.square(belief[0]), np.array(belief[1])
    total = variance + sizes
    odds = np.log(shares) - 0.5 * (offset_mps**2 / total + np.log(total))
    weight = np.exp(odds - odds.max())
    weight /= weight.sum()
    means = sizes / total * offset_mps
    mean = float(weight @ means)
    return mean, float(weight @ (sizes / total * variance + (means - mean) ** 2))


def without_belief(offset_mps: float, variance: float, belief: Belief) -> tuple[float, float]:
    """Return mean and variance of the offset that a drive alone tells, where these came out with the belief.

    Known no better than it was believed, it is not told at all, wherever it came out.
    """
    from scipy.optimize import brentq

    size = abs(offset_mps)

    def told(ln_variance: float) -> float:
        """Return the offset that comes out as the one found."""
        alone = float(np.exp(ln_variance))
        most = size * (1 + alone / min(belief[0]) ** 2) + 1e-9
        return float(brentq(lambda at: with_belief(at, alone, belief)[0] - size, size * (1 - 1e-9), most))

    def too_wide(ln_variance: float) -> float:
        """Return by how much the variance comes out too large."""
        return with_belief(told(ln_variance), float(np.exp(ln_variance)), belief)[1] / variance - 1

    low, high = float(np.log(variance)) - _SHARPER, 2 * float(np.log(_LOOSEST_MPS))
    if too_wide(high) < 0:
        return offset_mps, float(np.exp(high))
    ln_variance = float(brentq(too_wide, low, high))
    return float(np.copysign(told(ln_variance), offset_mps)), float(np.exp(ln_variance))


def line_alone(value: FloatArray, covariance: FloatArray, belief: Belief) -> tuple[FloatArray, FloatArray]:
    """Return offset and factor of a line as the readings alone give them, with their covariance."""
    return _moved(value, covariance, *without_belief(float(value[0]), float(covariance[0, 0]), belief))


def told_of_line(value: FloatArray, covariance: FloatArray, belief: Belief) -> tuple[FloatArray, FloatArray]:
    """Return what a drive itself tells of offset and factor: the weight, and the weight times the value.

    Of what is known no better than it was believed a drive tells nothing, wherever the value came out.
    """
    alone, spread = line_alone(value, covariance + _LOOSEST * _SHARPEST, belief)
    found, root = np.asarray(np.linalg.inv(spread), float), np.sqrt(_LOOSEST)
    sharper, vectors = np.linalg.eigh(root @ (found - np.diag(_OF_FACTOR)) @ root)
    back = vectors.T @ np.linalg.inv(root)
    weights = np.maximum(sharper, _SHARPEST)
    moments = np.where(sharper > _SHARPEST, vectors.T @ root @ (found @ alone - _OF_FACTOR), weights * (back @ value))
    return back.T @ (weights[:, None] * back), back.T @ moments


def believed_line(weight: FloatArray, moment: FloatArray, belief: Belief) -> tuple[FloatArray, FloatArray]:
    """Return offset and factor with their covariance once the belief goes with what one drive or several tell."""
    covariance = np.asarray(np.linalg.inv(weight + np.linalg.inv(_LOOSEST)), float)
    value = covariance @ (moment + _OF_FACTOR)
    return _moved(value, covariance, *with_belief(float(value[0]), float(covariance[0, 0]), belief))


def _moved(
    value: FloatArray, covariance: FloatArray, offset_mps: float, variance: float
) -> tuple[FloatArray, FloatArray]:
    """Return a line with another offset: the factor goes with it, and what is unknown of it at an offset stays."""
    along = np.array([1.0, covariance[0, 1] / covariance[0, 0]])
    moved = covariance + (variance - covariance[0, 0]) * np.outer(along, along)
    return value + (offset_mps - value[0]) * along, moved
