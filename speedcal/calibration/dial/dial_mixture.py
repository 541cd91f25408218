"""From readings with their true speeds to a dial: line, curve, runs and play in one, and what is unknown integrated.

The readings err by ``s``, part of it shared by those of one steady run; the dial departs from its line by a smooth
curve of unknown size, and a pointer with play hangs behind. Every size is a grid, every node a Gaussian model (JCGM
101 would draw, here the mixture is exact), and the clock offsets that are left bring their own pairs each.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from itertools import product

import numpy as np

from speedcal.calibration.dial.curve import deviation_covariance, deviation_sizes, driven_points, knots_for, shape_of
from speedcal.calibration.dial.dial import Dial
from speedcal.calibration.speed.ground_speed import GroundSpeed
from speedcal.calibration.tuning import notes as tuned
from speedcal.calibration.tuning.general import FACTOR_PRIOR_U, OFFSET_SHARES, OFFSET_SIZES_MPS
from speedcal.interval import BoolArray, FloatArray, IntArray

_RANK_TOLERANCE = 1e-3
_NEGLIGIBLE = 1e-5


@dataclass(frozen=True, slots=True)
class Laid:
    """Readings laid on the track in one way, arrays of shape (n,)."""

    weight: float
    """How probable this way is beside the others; they need not sum to one."""
    speed_mps: FloatArray
    shown_mps: FloatArray
    widening: FloatArray
    """By how much the variance of the reading is larger than its scatter says: doubt about its moment, about itself."""
    known_variance: FloatArray
    """Variance beside scatter and rounding: ground speed. [m2/s2]"""
    run: IntArray
    """Number of the steady run it lies in, -1 in none."""
    play: FloatArray
    """Where in its play the pointer hangs, -1 to 1."""
    moment_s: FloatArray = field(default_factory=lambda: np.zeros(0))
    """When each was taken, empty where nobody knows. [s]"""
    rounding_variance: float = 0.0
    """Of one reading; what readings of one run share of their scatter, they share of their rounding. [m2/s2]"""
    scatter_scale: float = 1.0
    """Usual scatter of such readings over that of a pointer that somebody reads."""


@dataclass(frozen=True, slots=True)
class Mixed:
    """What came out of all ways and sizes together."""

    dial: Dial
    scatter_mps: float
    between: float
    """Part of the variance at the middle of the driven speeds that the ways of laying the readings disagree by."""
    heaviest: Laid
    """The likeliest way."""
    nodes: Solved
    """All sizes for that way."""


@dataclass(frozen=True, slots=True)
class PointerPlay:
    """Where in its play a pointer hangs along a drive: -1 behind a rise of speed, 1 behind a fall."""

    clock_s: FloatArray
    hangs: FloatArray

    @classmethod
    def along(cls, ground: GroundSpeed) -> PointerPlay:
        """Return where it hangs along a track, seen once a second."""
        clock = np.arange(ground.time_s[0], ground.time_s[-1] + 1.0)
        speed, _, inside = ground.at(clock)
        return cls.behind(clock, speed, inside, play_mps=tuned.PLAY_MPS)

    @classmethod
    def behind(cls, clock_s: FloatArray, speed_mps: FloatArray, known: BoolArray, *, play_mps: float) -> PointerPlay:
        """Run the play operator over speeds (Krasnosel'skii and Pokrovskii 1989, chapter 1); it waits at unknown ones.

        Parameters
        ----------
        clock_s, speed_mps, known
            Times in order, the speed at each and whether it is known, shape (n,).
        play_mps
            Half of the play, as true speed.
        """
        low, high = (np.where(known, speed_mps + side * play_mps, side * np.inf) for side in (-1, 1))
        reach = 1
        while (low < high)[reach:].any():  # each second confines the pointer; two confinements in turn are one
            low[reach:], high[reach:] = (
                np.minimum(np.maximum(edge[:-reach], low[reach:]), high[reach:]) for edge in (low, high)
            )
            reach *= 2
        hangs = np.minimum(np.maximum(0.0, low), high) - speed_mps
        return cls(clock_s, np.clip(hangs / play_mps, -1.0, 1.0))

    def at(self, time_s: FloatArray) -> FloatArray:
        """Return where the pointer hangs at some times."""
        return np.interp(time_s, self.clock_s, self.hangs)


def mixed_dial(ways: Sequence[Laid], basis: Basis) -> Mixed:
    """Return the dial through readings that may be laid on the track in several ways.

    Parameters
    ----------
    ways
        Each with its weight.
    basis
        Parts of a dial that was driven at the speeds of the readings used; they define the line.
    """
    driven = basis.driven_mps
    parts = [solved(way, basis) for way in ways]
    share = np.array([way.weight for way in ways])
    share /= share.sum()
    weight = np.concatenate([w * part.weight for w, part in zip(share, parts, strict=True)])
    keep = weight > _NEGLIGIBLE * weight.max()
    weight = weight[keep] / weight[keep].sum()
    mean, covariance, size, scatter = (
        np.concatenate([getattr(part, name) for part in parts])[keep]
        for name in ("mean", "covariance", "size", "scatter")
    )
    middle = weight @ mean
    away = mean - middle
    total = np.einsum("g,gij->ij", weight, covariance) + (away * weight[:, None]).T @ away
    at_knots = basis.at_knots
    straight = float(weight[size == 0].sum())
    shown = at_knots @ middle + basis.knots_mps
    knot_covariance = at_knots @ total @ at_knots.T
    dial = Dial(basis.knots_mps, shown, (knot_covariance + knot_covariance.T) / 2, driven, shape=shape_of(straight))
    at = basis.rows(np.array([float(np.median(driven))]))[0]
    centres = np.array([at @ (part.weight @ part.mean) for part in parts])
    between = float(share @ (centres - share @ centres) ** 2 / (at @ total @ at))
    best = int(np.argmax(share))
    return Mixed(dial, float(np.sqrt(weight @ scatter**2)), min(between, 1.0), ways[best], parts[best])


@dataclass(frozen=True, slots=True)
class Basis:
    """Offset, excess of the factor over 1 and the weights of the curve's shapes: what a dial is made of."""

    knots_mps: FloatArray
    driven_mps: FloatArray
    shapes: FloatArray
    """Takes covariances with the knots to the shapes, shape (m, q)."""
    at_knots: FloatArray
    """What each part adds to the reading at the knots, shape (m, 2 + q)."""

    @classmethod
    def driven_at(cls, used_mps: FloatArray) -> Basis:
        """Return the parts of a dial that was driven at the true speeds of these readings."""
        driven = driven_points(used_mps)
        knots = knots_for(driven)
        values, vectors = np.linalg.eigh(deviation_covariance(knots, knots, driven))
        large = values > _RANK_TOLERANCE * values.max()
        root = np.sqrt(values[large])
        at_knots = np.column_stack([np.ones(len(knots)), knots, vectors[:, large] * root])
        return cls(knots, driven, vectors[:, large] / root, at_knots)

    def rows(self, speed: FloatArray) -> FloatArray:
        """Return what each part adds to the reading at some speeds, shape (n, 2 + q)."""
        curve = deviation_covariance(speed, self.knots_mps, self.driven_mps) @ self.shapes
        return np.column_stack([np.ones(len(speed)), speed, curve])


@dataclass(frozen=True, slots=True)
class Solved:
    """All nodes of one way: weights that sum to one, means and covariances of the parts, sizes and scatters."""

    weight: FloatArray
    mean: FloatArray
    covariance: FloatArray
    size: FloatArray
    scatter: FloatArray
    noise: FloatArray
    """Scatter and share of runs, shape (k, 2)."""
    prior_sd: FloatArray
    """Of the parts and the play, shape (k, p + 1)."""
    log_evidence: float
    """Of the readings, less a constant for each."""


def solved(way: Laid, basis: Basis) -> Solved:
    """Return every node's posterior for one way of laying the readings."""
    rows = basis.rows(way.speed_mps)
    parts = rows.shape[1]
    noise = np.array(list(product(tuned.LINE_SCATTERS_MPS, tuned.RUN_SHARES)))
    prior_sd, log_sizes = prior_nodes(parts)
    log_scatter = -0.5 * (np.log(noise[:, 0] / tuned.SCATTER_MPS) / tuned.SCATTER_LOG_SD) ** 2
    log_noise = log_scatter + np.tile(np.log(tuned.RUN_SHARE_ODDS), len(tuned.LINE_SCATTERS_MPS))
    noise[:, 0] *= way.scatter_scale
    told, log_determinant = information(way, np.column_stack([rows, way.play]), noise)
    log_node, scaled = at_nodes(told, log_determinant, prior_sd)
    log = (log_noise[:, None] + log_sizes + log_node).ravel()
    weight = np.exp(log - log.max())
    keep = np.flatnonzero(weight > _NEGLIGIBLE)
    noise, prior_sd = np.repeat(noise, len(prior_sd), axis=0)[keep], np.tile(prior_sd, (len(noise), 1))[keep]
    scaled = scaled.reshape(-1, parts + 2, parts + 2)[keep]
    covariance = np.asarray(np.linalg.inv(scaled[:, :-1, :-1]), float)
    mean = prior_sd * np.einsum("kij,kj->ki", covariance, scaled[:, :-1, -1])
    covariance *= prior_sd[:, :, None] * prior_sd[:, None, :]
    return Solved(
        weight=weight[keep] / weight[keep].sum(),
        mean=mean[:, :-1],
        covariance=covariance[:, :-1, :-1],
        size=prior_sd[:, 2],
        scatter=noise[:, 0],
        noise=noise,
        prior_sd=prior_sd,
        log_evidence=float(np.logaddexp.reduce(log) - np.logaddexp.reduce(log_noise)),
    )


def prior_nodes(parts: int) -> tuple[FloatArray, FloatArray]:
    """Return the prior standard deviations of the parts and the play at each node of sizes, and its log share."""
    curve_sizes, curve_shares = deviation_sizes()
    sizes = np.array(list(product(OFFSET_SIZES_MPS, curve_sizes, tuned.PLAY_SIZES_MPS)))
    prior_sd = np.repeat(sizes, [1, parts - 1, 1], axis=1)
    prior_sd[:, 1] = FACTOR_PRIOR_U
    return prior_sd, np.log(np.multiply.outer(OFFSET_SHARES, np.outer(curve_shares, tuned.PLAY_SHARES)).ravel())


def at_nodes(told: FloatArray, log_determinant: FloatArray, prior_sd: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return log density of the readings and scaled precision of parts and residual: by noise (k,) and size (m,).

    Parameters
    ----------
    told, log_determinant
        As :func:`information` returns them.
    prior_sd
        Of the parts and the play, shape (m, p + 1).
    """
    scale = np.column_stack([prior_sd, np.ones(len(prior_sd))])
    scaled = scale[:, :, None] * scale[:, None, :] * told[:, None] + np.eye(scale.shape[1])
    root = np.diagonal(np.linalg.cholesky(scaled), axis1=-2, axis2=-1)
    fit = root[..., -1] ** 2 - 1  # of the residual, what the parts leave: less the one that all have been given
    return -0.5 * (fit + log_determinant[:, None]) - np.log(root[..., :-1]).sum(axis=-1), scaled


def information(way: Laid, design: FloatArray, noise: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return ``[X r]' N^-1 [X r]`` and ``ln det N`` for each row (scatter, share of runs) of the readings' own errors.

    Their covariance is diagonal but for what the readings of one run share, which adds one dyad a run (Sherman and
    Morrison 1950).
    """
    columns = np.column_stack([design, way.shown_mps - way.speed_mps])
    in_run = way.run >= 0
    variance, shared = noise[:, :1] ** 2 + way.rounding_variance, noise[:, 1:]
    alone = np.where(in_run, (1 - shared) * variance, variance) * way.widening + way.known_variance
    weight = 1 / alone
    member = (way.run[in_run, None] == np.unique(way.run[in_run])).astype(float)
    weighted = columns * weight[:, :, None]
    total = columns.T @ weighted
    sums = member.T @ weighted[:, in_run]
    size = 1 + shared * variance * (weight[:, in_run] @ member)
    total -= sums.transpose(0, 2, 1) @ (sums * (shared * variance / size)[:, :, None])
    return total, np.log(alone).sum(axis=1) + np.log(size).sum(axis=1)
