"""The dial through checks whose errors are known only roughly: how large they are is learnt from how repeats scatter.

The size of the errors has a prior and is integrated over, so that the few readings get the wide tails of Student's t
(Gelman et al. 2013, Bayesian Data Analysis, 3.2). A value that was rounded says that the truth lies within a step,
and six equal ones say no more than that; such readings enter by expectation propagation (Rasmussen and Williams 2006,
Gaussian Processes for Machine Learning, 3.6).
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import product

import numpy as np

from speedcal.calibration.dial.curve import deviation_covariance, deviation_sizes, driven_points, knots_for, shape_of
from speedcal.calibration.dial.dial import Dial
from speedcal.calibration.dial.lone_reading import lone_reading
from speedcal.calibration.dial.rounded_likelihood import slopes
from speedcal.calibration.tuning import general as tuned
from speedcal.interval import FloatArray, IntArray

_ROUNDS, _DAMPED, _SETTLED = 25, 0.8, 1e-4
_LEAST_PRECISION = 1e-6
_NEGLIGIBLE = 1e-5
_LEAST_OWN = 0.2
"""Part of a reading's own variance that is left to it, however much its stretch shares."""


@dataclass(frozen=True, slots=True, eq=False)
class Pairs:
    """Readings beside truths; arrays of shape (n,)."""

    true_mps: FloatArray
    shown_mps: FloatArray
    own: FloatArray
    """Variance of the error of each reading by itself, as large as it usually is: holding, eye. [m2/s2]"""
    truth: FloatArray
    """Covariance of the errors of the truths, as large as they usually are, shape (n, n). [m2/s2]"""
    step_mps: FloatArray
    """What each reading is rounded to; 0 where the needle was held on a mark. [m/s]"""
    cut_mps: FloatArray
    """What is to be added to each true speed if it was cut off in place of rounded: half its step, signed. [m/s]"""
    stretch: IntArray
    """Readings of one number were taken without letting go of the mark."""

    def only(self, rows: IntArray) -> Pairs:
        """Return some of the pairs."""
        taken = {name: getattr(self, name)[rows] for name in ("true_mps", "shown_mps", "own", "step_mps", "cut_mps")}
        return Pairs(**taken, truth=self.truth[rows][:, rows], stretch=self.stretch[rows])

    @property
    def noise(self) -> FloatArray:
        """Covariance of the readings about the dial with errors of the usual size, shape (n, n). [m2/s2]."""
        rounding = (self.step_mps**2 + 4 * self.cut_mps**2) / 12
        return np.asarray(self.truth + np.diag(self.own + rounding))


def dial_of_checks(pairs: Pairs) -> tuple[Dial, float]:
    """Return the dial through checks, and the size of their errors over the usual one.

    All sizes of errors, of the needle's offset and of the curve are weighed together, both ways of rounding the truth,
    and whether a check that the slope rests on was a slip; the dial has the mean and the covariance of them all.
    """
    driven = driven_points(pairs.true_mps)
    ways = [(pairs, 1.0)]
    if np.abs(pairs.cut_mps).max() > 0:
        moved = replace(pairs, true_mps=pairs.true_mps + pairs.cut_mps)
        ways = [(pairs, 1 - tuned.CHECK_CUT_SHARE), (moved, tuned.CHECK_CUT_SHARE)]
    lone = lone_reading(pairs.true_mps, 1 / np.diag(pairs.noise))
    if lone is not None:
        wrong, right = tuned.WRONG_BETA
        slip = tuned.SLIP_MPS**2 * (np.arange(len(pairs.own)) == lone)
        odds = wrong / (right + len(pairs.own))
        ways += [(replace(one, own=one.own + slip), share * odds) for one, share in ways]
    parts = [_Ways.of(one, driven).less(float(np.log(share))) for one, share in ways]
    log_weight = np.concatenate([part.log_weight for part in parts])
    weight = np.exp(log_weight - log_weight.max())
    keep = weight > _NEGLIGIBLE
    weight = weight[keep] / weight[keep].sum()
    mean, covariance, curve, size = (
        np.concatenate([getattr(part, name) for part in parts])[keep]
        for name in ("mean", "covariance", "curve", "size")
    )
    middle = np.asarray(weight @ mean)
    away = mean - middle
    total = np.einsum("g,gij->ij", weight, covariance) + (away * weight[:, None]).T @ away
    straight = float(weight[curve == 0].sum())
    dial = Dial(knots_for(driven), middle, (total + total.T) / 2, driven, shape=shape_of(straight))
    return dial, float(np.sqrt(weight @ size**2))


def dial_covariance(
    at_mps: FloatArray,
    driven_mps: FloatArray,
    offset_mps: FloatArray | float = tuned.OFFSET_SIZES_MPS[-1],
    curve_mps: FloatArray | float = tuned.CURVE_SIZES_MPS[-1],
) -> FloatArray:
    """Return the covariance of what a dial shows at some speeds before it is seen, about the truth. [m2/s2].

    Parameters
    ----------
    at_mps, driven_mps
        The speeds, and those that define the line. [m/s]
    offset_mps, curve_mps
        Sizes of the offset and of the deviation; the loosest where none are given. [m/s]
    """
    deviation = deviation_covariance(at_mps, at_mps, driven_mps)
    return np.asarray(
        offset_mps**2 + tuned.FACTOR_PRIOR_U**2 * np.multiply.outer(at_mps, at_mps) + curve_mps**2 * deviation
    )


@dataclass(frozen=True, slots=True, eq=False)
class _Ways:
    """The dial for each combination of sizes, g of them."""

    log_weight: FloatArray
    mean: FloatArray
    """At the knots, shape (g, m)."""
    covariance: FloatArray
    curve: FloatArray
    """Size of the deviation."""
    size: FloatArray
    """Size of the errors over the usual."""

    def less(self, log_share: float) -> _Ways:
        """Return the same with a share of the weight."""
        return replace(self, log_weight=self.log_weight + log_share)

    @classmethod
    def of(cls, pairs: Pairs, driven: FloatArray) -> _Ways:
        """Return every way, by expectation propagation in all of them at once."""
        speed, knots = pairs.true_mps, knots_for(driven)
        count, at = len(speed), np.concatenate([speed, knots])
        curve_sizes, curve_shares = deviation_sizes()
        held_on = len(np.unique(pairs.stretch)) < len(speed)
        stretch_shares, stretch_odds = (
            (tuned.CHECK_STRETCH_SHARES, tuned.CHECK_STRETCH_ODDS) if held_on else ((0.0,), (1.0,))
        )
        grid = np.array(list(product(tuned.OFFSET_SIZES_MPS, curve_sizes, tuned.CHECK_ERROR_SIZES, stretch_shares)))
        log_errors = -0.5 * (np.log(tuned.CHECK_ERROR_SIZES) / tuned.CHECK_ERROR_LOG_SD) ** 2
        prior = [np.log(tuned.OFFSET_SHARES), np.log(curve_shares), log_errors, np.log(stretch_odds)]
        log_prior = np.add.outer(np.add.outer(np.add.outer(prior[0], prior[1]), prior[2]), prior[3]).ravel()
        offset, curve, size, shared = (column[:, None, None] for column in grid.T)

        dial = dial_covariance(at, driven, offset, curve)
        together = np.equal.outer(pairs.stretch, pairs.stretch) * np.sqrt(np.multiply.outer(pairs.own, pairs.own))
        behind = dial[:, :count, :count] + size**2 * pairs.truth + shared * together  # no repeat tells what is shared
        own = (size**2 * np.maximum(1 - shared, _LEAST_OWN))[..., 0] * pairs.own
        site, log_evidence = _propagated(pairs, speed, behind, own)
        across = dial[:, :count, count:]
        gain = np.linalg.solve(behind + site.noise, across)
        covariance = dial[:, count:, count:] - np.swapaxes(across, 1, 2) @ gain
        return cls(
            log_prior + log_evidence,
            knots + np.einsum("gnm,gn->gm", gain, site.value - speed),
            covariance,
            curve.ravel(),
            size.ravel(),
        )


@dataclass(frozen=True, slots=True, eq=False)
class _Sites:
    """What each reading says of the needle behind it, as a value with a variance, shape (g, n)."""

    value: FloatArray
    variance: FloatArray

    @property
    def noise(self) -> FloatArray:
        return np.asarray(self.variance[..., None] * np.eye(self.variance.shape[1]))


def _propagated(pairs: Pairs, mean: FloatArray, behind: FloatArray, own: FloatArray) -> tuple[_Sites, FloatArray]:
    """Return what the readings say, and the log evidence of each way.

    A reading rounded once more by its truth counts with the wider of its two steps; the narrower is a variance.
    """
    steps = np.sort([pairs.step_mps, 2 * np.abs(pairs.cut_mps)], axis=0)
    own = own + steps[0] ** 2 / 12
    step = np.broadcast_to(steps[1], own.shape)
    shown = np.broadcast_to(pairs.shown_mps, own.shape)
    precision = 1 / (own + step**2 / 12)
    shift = precision * (shown - mean)
    for _ in range(_ROUNDS):
        cavity, around = _without_itself(behind, precision, shift)
        slope, curve, _ = slopes(shown - mean - around, step, own, cavity + own)
        left = np.maximum(1 - curve * cavity, 1e-9)
        new = np.maximum(curve / left, _LEAST_PRECISION)
        change = float(np.max(np.abs(new - precision) / precision))
        precision = precision + _DAMPED * (new - precision)
        shift = shift + _DAMPED * ((curve * around + slope) / left - shift)
        if change < _SETTLED:
            break
    cavity, around = _without_itself(behind, precision, shift)
    density = slopes(shown - mean - around, step, own, cavity + own)[2]
    value, width = shift / precision, 1 / precision
    marginal = behind + width[..., None] * np.eye(len(mean))
    _, log_determinant = np.linalg.slogdet(marginal)
    square = np.einsum("gi,gi->g", value, np.linalg.solve(marginal, value[..., None])[..., 0])
    spread = cavity + width
    single = np.log(np.maximum(density, 1e-300)) + 0.5 * (np.log(2 * np.pi * spread) + (around - value) ** 2 / spread)
    evidence = single.sum(axis=1) - 0.5 * (square + log_determinant + len(mean) * np.log(2 * np.pi))
    return _Sites(value + mean, width), np.asarray(evidence)


def _without_itself(behind: FloatArray, precision: FloatArray, shift: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return variance and mean of what is behind each reading, told by all the others (the cavity)."""
    marginal = behind + (1 / precision)[..., None] * np.eye(behind.shape[-1])
    solved = np.linalg.solve(marginal, behind)
    variance = np.diagonal(behind - behind @ solved, axis1=1, axis2=2)
    centre = np.einsum("gji,gj->gi", solved, shift / precision)
    free = np.maximum(1 / variance - precision, 0.01 / variance)
    return 1 / free, np.asarray((centre / variance - shift) / free)
