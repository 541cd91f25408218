"""The dial's deviation from its line: a smooth curve of unknown size, always part of what is predicted.

``shown(v) = a + b v + f(v)`` with ``f`` a Gaussian process orthogonal to the line over the driven speeds. Its size is
unknown and integrated over a grid, so a straight dial costs a little width and a bent one is told as it is (Rasmussen
and Williams 2006, Gaussian Processes for Machine Learning, 2.7 and 5.2).
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np

from speedcal.calibration.dial.dial import Dial, Shape
from speedcal.calibration.tuning import general as tuned
from speedcal.interval import FloatArray

_DRIVEN_POINTS = 101
"""With a quarter of them the two ends count for so much that the line of a bent dial turns by half a per cent."""


def driven_points(speeds_mps: FloatArray) -> FloatArray:
    """Return evenly spaced quantiles of the speeds driven, enough to stand for all of them, shape (101,) or fewer."""
    speeds = np.sort(np.asarray(speeds_mps, float))
    if len(speeds) <= _DRIVEN_POINTS:
        return speeds
    shares = (np.arange(_DRIVEN_POINTS) + 0.5) / _DRIVEN_POINTS
    inner = np.quantile(speeds, shares)
    inner[0], inner[-1] = speeds[0], speeds[-1]
    return np.asarray(inner)


def knots_for(driven_mps: FloatArray) -> FloatArray:
    """Return the knots of a dial that was driven at these speeds: from standstill to well beyond the fastest. [m/s]."""
    top = 1.5 * float(np.max(driven_mps)) + 10.0
    return np.linspace(0.0, top, max(2, int(np.ceil(top / tuned.KNOT_SPACING_MPS)) + 1))


def deviation_covariance(left_mps: FloatArray, right_mps: FloatArray, driven_mps: FloatArray) -> FloatArray:
    """Return the prior covariance of the deviation, of unit size, between (n,) and (k,) speeds, shape (n, k).

    It is that of a squared exponential process less its own least-squares line over ``driven_mps``.
    """
    line, among_driven = _of_driven(np.asarray(driven_mps, float).tobytes())
    project_left, project_right = (
        np.column_stack([np.ones(len(at_mps)), at_mps]) @ line for at_mps in (left_mps, right_mps)
    )
    beside_right = _kernel(driven_mps, right_mps)
    beside_left = beside_right if left_mps is right_mps else _kernel(driven_mps, left_mps)
    return np.asarray(
        _kernel(left_mps, right_mps)
        - project_left @ beside_right
        - beside_left.T @ project_right.T
        + project_left @ among_driven @ project_right.T
    )


@lru_cache(maxsize=4)
def _of_driven(driven: bytes) -> tuple[FloatArray, FloatArray]:
    """Return what takes values at the driven speeds to their least-squares line, and the kernel among them.

    A fit asks for the same speeds a dozen times, and this is most of what a covariance costs.
    """
    driven_mps = np.frombuffer(driven)
    design = np.column_stack([np.ones(len(driven_mps)), driven_mps])
    return np.asarray(np.linalg.pinv(design)), _kernel(driven_mps, driven_mps)


def _kernel(left: FloatArray, right: FloatArray) -> FloatArray:
    square = np.subtract.outer(np.asarray(left, float), np.asarray(right, float)) ** 2
    return np.asarray(np.mean([np.exp(-square / (2 * length**2)) for length in tuned.CURVE_LENGTHS_MPS], axis=0))


def deviation_sizes() -> tuple[FloatArray, FloatArray]:
    """Return the sizes of the deviation that are weighed, none at all the first of them, and their prior shares."""
    shares = np.full(len(tuned.CURVE_SIZES_MPS), (1 - tuned.STRAIGHT_SHARE) / len(tuned.CURVE_SIZES_MPS))
    return np.array([0.0, *tuned.CURVE_SIZES_MPS]), np.concatenate([[tuned.STRAIGHT_SHARE], shares])


def shape_of(straight: float) -> Shape:
    """Return what to call a dial that is straight with this posterior probability."""
    odds = (1 - straight) / max(straight, 1e-300) * tuned.STRAIGHT_SHARE / (1 - tuned.STRAIGHT_SHARE)
    return "bent" if odds > tuned.BENT_ODDS else "straight"


def dial_through(speed_mps: FloatArray, shown_mps: FloatArray, noise: FloatArray, *, used_mps: FloatArray) -> Dial:
    """Return the dial that goes through readings of known noise.

    Parameters
    ----------
    speed_mps, shown_mps
        True speed and reading, shape (n,). [m/s]
    noise
        Covariance of the readings about the dial, shape (n, n), positive definite. [m2/s2]
    used_mps
        True speeds of all readings that stand behind these; they define the line. [m/s]
    """
    # of a dozen knots scipy's checks take longer than this does, and LAPACK's solver by itself wakes a thread a core
    from scipy.linalg.lapack import dgesv

    driven = driven_points(used_mps)
    knots = knots_for(driven)
    at_knots = np.column_stack([np.ones(len(knots)), knots])
    design = np.column_stack([np.ones(len(speed_mps)), speed_mps])
    line_prior = np.diag([tuned.OFFSET_PRIOR_MPS**2, tuned.FACTOR_PRIOR_U**2])
    everywhere, count = np.concatenate([knots, speed_mps]), len(knots)
    deviation = deviation_covariance(everywhere, everywhere, driven)
    knot_prior, cross, own = deviation[:count, :count], deviation[:count, count:], deviation[count:, count:]
    prior_mean = np.array([0.0, 1.0])
    rest = shown_mps - design @ prior_mean
    straight = design @ line_prior @ design.T + noise
    line_with_knots, line_at_knots = design @ line_prior @ at_knots.T, at_knots @ line_prior @ at_knots.T
    mean, covariance, log_weight = [], [], []
    sizes, share = deviation_sizes()
    for size in sizes.tolist():
        with_knots = line_with_knots + size**2 * cross.T
        factor, _, answer, _ = dgesv(straight + size**2 * own, np.column_stack([with_knots, rest]))
        gain = answer[:, :-1].T
        mean.append(at_knots @ prior_mean + gain @ rest)
        covariance.append(line_at_knots + size**2 * knot_prior - gain @ with_knots)
        log_determinant = np.log(np.abs(np.diag(factor))).sum()
        log_weight.append(-0.5 * (rest @ answer[:, -1] + log_determinant))
    log_share = np.array(log_weight) + np.log(share)
    weight = np.exp(log_share - log_share.max())
    weight /= weight.sum()
    middle = np.asarray(weight @ np.array(mean))
    spread = np.array(mean) - middle
    total = np.einsum("g,gij->ij", weight, np.array(covariance)) + (spread * weight[:, None]).T @ spread
    return Dial(knots, middle, (total + total.T) / 2, driven, shape=shape_of(float(weight[0])))
