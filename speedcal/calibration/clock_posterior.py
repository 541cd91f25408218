"""Where the clock of noted readings stands: a posterior on cells of clock offset and scatter.

In each cell the line and the share of wrong readings are fitted by expectation and maximisation (Dempster, Laird and
Rubin 1977, J. R. Statist. Soc. B 39, 1-38); the line is integrated by Laplace's method with the information of the
observed data (Louis 1982, J. R. Statist. Soc. B 44, 226-233), the share of wrong readings by quadrature. A reading is
averaged over the moments at which it may really have been taken, so one under acceleration weighs itself.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, fields, replace
from functools import cache, cached_property
from math import lgamma, log, pi
from typing import Any

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view

from speedcal.calibration.clock_search import OFFSET_FREEDOM, OFFSET_SCALE_MPS, Shift
from speedcal.calibration.ground_speed import GroundSpeed
from speedcal.calibration.moments import Moments
from speedcal.calibration.tuning import (
    CELL_REACH_S,
    CELL_S,
    CRAWL_SD_MPS,
    FIRST_SCATTER_MPS,
    LARGEST_FACTOR,
    LN_FACTOR_FREEDOM,
    LN_FACTOR_SCALE,
    MINUTE_CELL_S,
    SCATTER_LOG_SD,
    SCATTER_MPS,
    SCATTER_NODES_MPS,
    SLOWEST_MPS,
    SMALLEST_FACTOR,
    WRONG_BETA,
    WRONG_NODES,
)
from speedcal.interval import BoolArray, FloatArray, IntArray

_FIRST_ROUNDS, _SECOND_ROUNDS, _LAST_ROUNDS = 4, 2, 7
_WORTH_A_LOOK, _NEGLIGIBLE, _MOST_CLOCKS = 16.0, 9.0, 60
_SHORT: np.dtype[Any] = np.dtype(np.float32)
_LEAST_INFORMATION = 0.05
"""Share of the complete information that is left at least where the moments of a reading are in doubt."""


@dataclass(frozen=True, slots=True)
class Notes:
    """Noted readings and what is known of them before the track is seen."""

    time_s: FloatArray
    indicated_mps: FloatArray
    stray: FloatArray
    """Density of each reading when nothing is known of its moment. [s/m]"""
    at: Moments
    u_rounding_mps: float
    u_stated_mps: FloatArray
    """Standard uncertainty that each reading states of itself, 0 where it states none."""
    u_ground_mps: float

    def only(self, rows: IntArray) -> Notes:
        """Return some of the readings, or all in another order."""
        arrays = {name: getattr(self, name)[rows] for name in ("time_s", "indicated_mps", "stray", "u_stated_mps")}
        return replace(self, **arrays)

    @property
    def own_variance(self) -> FloatArray:
        """Variance of each reading beside its scatter, shape (n,)."""
        return np.asarray(self.u_rounding_mps**2 + self.u_stated_mps**2)


@dataclass(frozen=True, slots=True)
class Cells:
    """Cells of clock offset and scatter that hold the posterior; arrays of shape (r,) unless said otherwise."""

    clock_s: FloatArray
    scatter_mps: FloatArray
    offset_mps: FloatArray
    gain: FloatArray
    wrong_share: FloatArray
    log_mass: FloatArray
    """Log evidence of the cell, its width and prior included."""
    covariance: FloatArray
    """Of offset and gain, shape (r, 2, 2)."""
    right: FloatArray
    """Probability that each reading is right, shape (r, n)."""
    on_track: FloatArray
    """Share of the moments of each reading that lie on the track, shape (r, n)."""
    share: FloatArray
    """Posterior of the moments of each reading, shape (r, n, nodes)."""
    speed_mps: FloatArray
    """Ground speed at those moments, shape (r, n, nodes)."""

    @property
    def log_evidence(self) -> float:
        """Log evidence of all cells together."""
        return float(np.logaddexp.reduce(self.log_mass))

    @property
    def weight(self) -> FloatArray:
        """Posterior share of each cell."""
        mass = np.exp(self.log_mass - self.log_mass.max())
        return np.asarray(mass / mass.sum())

    @property
    def seen(self) -> BoolArray:
        """Which readings were taken while the track has something to say, shape (n,)."""
        return np.asarray(self.weight @ self.on_track > 0.5)


@dataclass(frozen=True)
class _Seen:
    """The track as the readings would have met it: clock offsets (c,), the rest (c, n, nodes)."""

    clock_s: FloatArray
    start_offset: FloatArray
    start_gain: FloatArray
    speed: FloatArray
    speed_variance: FloatArray
    """Of the ground speed, and of what it runs on between two nodes, spread evenly over the node."""
    weight: FloatArray
    """Of each moment, 0 off the track."""

    def only(self, rows: IntArray) -> _Seen:
        return _Seen(*(getattr(self, entry.name)[rows] for entry in fields(self)))

    @property
    def in_short(self) -> _Seen:
        """The same in single precision: to climb by it takes half the time, and ends within a millionth."""
        large = (part.astype(_SHORT) for part in (self.speed, self.speed_variance, self.weight))
        return _Seen(self.clock_s, self.start_offset, self.start_gain, *large)

    @cached_property
    def crawls(self) -> tuple[IntArray, ...]:
        """Where the vehicle stands or crawls, as indices."""
        return np.nonzero(self.speed < SLOWEST_MPS)

    @cached_property
    def off_track(self) -> FloatArray:
        """Share of the moments of each reading that are not on the track, shape (c, n)."""
        return 1 - _over_moments(self.weight)

    @property
    def start(self) -> Lines:
        """The lines that the search found."""
        alpha, beta = WRONG_BETA
        return Lines(self.start_offset, self.start_gain, np.full(len(self.clock_s), alpha / (alpha + beta)))


def clock_cells(
    ground: GroundSpeed, notes: Notes, shifts: list[Shift], log_prior: Callable[[FloatArray], FloatArray]
) -> Cells:
    """Return the cells that hold the posterior about the best shifts.

    Parameters
    ----------
    ground, notes
        The drive.
    shifts
        Peaks of the search, each with a line to start from.
    log_prior
        Log density of clock offsets, normalised over the range that was searched.
    """
    whole = _around(ground, notes, shifts)
    seen = whole.in_short
    scatter = np.full(len(seen.clock_s), FIRST_SCATTER_MPS)
    lines = _climbed(seen, scatter, notes, seen.start, rounds=_FIRST_ROUNDS)
    height = _log_height(seen, scatter, notes, lines) + log_prior(seen.clock_s)
    near = np.sort(np.argsort(height, kind="stable")[-_MOST_CLOCKS:])
    near = near[height[near] > height.max() - _WORTH_A_LOOK]
    rows = np.repeat(near, len(SCATTER_NODES_MPS))
    scatter = np.tile(SCATTER_NODES_MPS, len(near))
    prior = (
        log_prior(seen.clock_s[rows])
        + np.tile(_log_scatter_prior(), len(near))
        + np.log(_stride(notes.at) * notes.at.spacing_s)
    )
    seen, lines = seen.only(rows), lines.only(rows)
    lines = _climbed(seen, scatter, notes, lines, rounds=_SECOND_ROUNDS)
    height = _log_height(seen, scatter, notes, lines) + prior
    keep = np.flatnonzero(height > height.max() - _NEGLIGIBLE)
    seen, scatter, lines = seen.only(keep), scatter[keep], lines.only(keep)
    lines = _climbed(seen, scatter, notes, lines, rounds=_LAST_ROUNDS)
    return _weighed(whole.only(rows[keep]), scatter, notes, lines, prior[keep])


def _stride(at: Moments) -> int:
    """Return how many nodes of the moments lie between two clock offsets that are looked at."""
    return max(1, round((MINUTE_CELL_S if at.half_width_s > 10 else CELL_S) / at.spacing_s))


def _around(ground: GroundSpeed, notes: Notes, shifts: list[Shift]) -> _Seen:
    """Look at the track for every clock offset within reach of a shift, none of them twice."""
    spacing, nodes, stride = notes.at.spacing_s, len(notes.at.delay_s), _stride(notes.at)
    reach = CELL_REACH_S + notes.at.half_width_s
    count = int(np.ceil(reach / spacing / stride))
    base = shifts[0].offset_s
    taken: set[int] = set()
    parts = []
    for shift in shifts:
        middle = round((shift.offset_s - base) / spacing / stride)
        numbers = [k * stride for k in range(middle - count, middle + count + 1) if k * stride not in taken]
        if not numbers:
            continue
        taken.update(numbers)
        low, high = numbers[0], numbers[-1]
        steps = spacing * np.arange(low, high + nodes)
        times = notes.time_s[:, None] + base + notes.at.delay_s[0] + steps
        speed, rate, inside = (
            np.moveaxis(sliding_window_view(part, nodes, axis=1), 1, 0)[np.array(numbers) - low]
            for part in ground.at(times)
        )
        clock = base + spacing * np.array(numbers, float)
        start = np.full(len(clock), shift.offset_mps), np.full(len(clock), shift.gain)
        variance = notes.u_ground_mps**2 + (rate * spacing) ** 2 / 12
        parts.append((clock, *start, speed, variance, notes.at.weight * inside))
    return _Seen(*(np.concatenate(part) for part in zip(*parts, strict=True)))


@dataclass(frozen=True, slots=True)
class Lines:
    """A line and a share of wrong readings for each row, arrays of shape (r,)."""

    offset: FloatArray
    gain: FloatArray
    wrong: FloatArray

    def only(self, rows: IntArray) -> Lines:
        """Return some of the rows."""
        return Lines(self.offset[rows], self.gain[rows], self.wrong[rows])

    @property
    def log_prior(self) -> FloatArray:
        """Log density of offset and gain before any reading is seen."""
        a, ln_b = self.offset / OFFSET_SCALE_MPS, np.log(self.gain) / LN_FACTOR_SCALE
        offset = -(OFFSET_FREEDOM + 1) / 2 * np.log1p(a**2 / OFFSET_FREEDOM) - np.log(OFFSET_SCALE_MPS)
        factor = -(LN_FACTOR_FREEDOM + 1) / 2 * np.log1p(ln_b**2 / LN_FACTOR_FREEDOM)
        constant = _log_student(OFFSET_FREEDOM) + _log_student(LN_FACTOR_FREEDOM)
        return np.asarray(offset + factor - np.log(LN_FACTOR_SCALE * self.gain) + constant)

    @property
    def prior_information(self) -> tuple[FloatArray, FloatArray]:
        """Weights of the pull of the offset to 0 and of the gain to 1, as the priors exert it here."""
        ln_b = np.log(self.gain)
        pull = (LN_FACTOR_FREEDOM + 1) / (LN_FACTOR_FREEDOM * LN_FACTOR_SCALE**2 + ln_b**2) / self.gain**2
        return (OFFSET_FREEDOM + 1) / (OFFSET_FREEDOM * OFFSET_SCALE_MPS**2 + self.offset**2), pull


@dataclass(frozen=True, slots=True)
class _Told:
    """What the readings say in each row at a line: densities, and what they make of each moment."""

    density: FloatArray
    """Of each reading at each moment, moment's weight included, shape (r, n, nodes)."""
    residual: FloatArray
    precision: FloatArray
    """Inverse variance; 0 where a vehicle that crawls tells nothing about the line."""
    good: FloatArray
    """Density of each reading if it is right, shape (r, n)."""

    def likelihood(self, wrong: FloatArray, stray: FloatArray) -> FloatArray:
        """Return the density of each reading, shape (r, n)."""
        return np.asarray((1 - wrong[:, None]) * self.good + wrong[:, None] * stray)


def _over_moments(*parts: FloatArray) -> FloatArray:
    """Return the product of parts of shape (r, n, nodes), summed over the moments of each reading."""
    names = ",".join(["rnk"] * len(parts))
    return np.asarray(np.einsum(f"{names}->rn", *parts))  # several times as fast as a sum over a short last axis


def _told(seen: _Seen, scatter: FloatArray, notes: Notes, lines: Lines) -> _Told:
    a, b = (part.astype(seen.speed.dtype)[:, None, None] for part in (lines.offset, lines.gain))
    shown = notes.indicated_mps.astype(seen.speed.dtype)[None, :, None]
    variance = b**2 * seen.speed_variance
    variance += (scatter[:, None] ** 2 + notes.own_variance)[:, :, None]
    precision = np.reciprocal(variance, out=variance)
    residual = b * seen.speed
    residual += a
    np.subtract(shown, residual, out=residual)
    # a vehicle that stands or crawls tells when it was, and nothing about the line
    crawls = seen.crawls
    residual[crawls] = (shown - seen.speed)[crawls] if len(crawls[0]) else 0.0
    precision[crawls] = 1 / CRAWL_SD_MPS**2
    density = residual**2
    density *= precision
    density *= -0.5
    np.exp(density, out=density)
    density *= np.sqrt(precision / (2 * np.pi))
    density *= seen.weight
    precision[crawls] = 0.0
    # where a moment is not on the track, the track has nothing to say against the reading
    return _Told(density, residual, precision, _over_moments(density) + seen.off_track * notes.stray)


def _climbed(seen: _Seen, scatter: FloatArray, notes: Notes, lines: Lines, *, rounds: int) -> Lines:
    """Return the lines after some rounds of expectation and maximisation."""
    shown, (alpha, beta) = notes.indicated_mps, WRONG_BETA
    for _ in range(rounds):
        told = _told(seen, scatter, notes, lines)
        likelihood = told.likelihood(lines.wrong, notes.stray)
        right = ((1 - lines.wrong)[:, None] / likelihood).astype(seen.speed.dtype)
        weight = told.density * right[:, :, None] * told.precision
        each, times_speed = _over_moments(weight), _over_moments(weight, seen.speed)
        pull_a, pull_b = lines.prior_information
        s0, s1 = each.sum(axis=1) + pull_a, times_speed.sum(axis=1)
        s2 = _over_moments(weight, seen.speed, seen.speed).sum(axis=1) + pull_b
        t0, t1 = each @ shown, times_speed @ shown + pull_b
        determinant = np.maximum(s0 * s2 - s1 * s1, 1e-12)
        gain = np.clip((s0 * t1 - s1 * t0) / determinant, SMALLEST_FACTOR, LARGEST_FACTOR)
        strays = (lines.wrong[:, None] * notes.stray / likelihood).sum(axis=1)
        lines = Lines((t0 - gain * s1) / s0, gain, (alpha + strays) / (alpha + beta + len(shown)))
    return lines


def _log_height(seen: _Seen, scatter: FloatArray, notes: Notes, lines: Lines) -> FloatArray:
    """Return the log density of all readings at a line, and of the line, shape (r,)."""
    likelihood = _told(seen, scatter, notes, lines).likelihood(lines.wrong, notes.stray)
    return np.asarray(np.log(likelihood).sum(axis=1) + lines.log_prior)


def _weighed(seen: _Seen, scatter: FloatArray, notes: Notes, lines: Lines, log_prior: FloatArray) -> Cells:
    """Integrate line and share of wrong readings out of every cell."""
    told = _told(seen, scatter, notes, lines)
    likelihood = told.likelihood(lines.wrong, notes.stray)
    right = (1 - lines.wrong)[:, None] / likelihood
    share = told.density * right[:, :, None]
    information = _information(seen, told, share, lines)
    nodes, weights = _wrong_quadrature()
    every = (1 - nodes)[:, None, None] * told.good + nodes[:, None, None] * notes.stray
    integrated = np.log(np.exp(np.log(every / likelihood).sum(axis=2)).T @ weights) + np.log(likelihood).sum(axis=1)
    determinant = np.linalg.det(information)
    log_mass = integrated + lines.log_prior + np.log(2 * np.pi) - 0.5 * np.log(determinant) + log_prior
    return Cells(
        clock_s=seen.clock_s,
        scatter_mps=scatter,
        offset_mps=lines.offset,
        gain=lines.gain,
        wrong_share=lines.wrong,
        log_mass=log_mass,
        covariance=np.asarray(np.linalg.inv(information), float),
        right=np.clip(right * told.good, 0.0, 1.0),
        on_track=1 - seen.off_track,
        share=share,
        speed_mps=seen.speed,
    )


def _information(seen: _Seen, told: _Told, share: FloatArray, lines: Lines) -> FloatArray:
    """Return the observed information of (offset, gain), shape (r, 2, 2), never less than a part of the complete."""
    speed = seen.speed
    score = share * told.residual * told.precision
    complete = _by_line(share * told.precision, speed)
    square = _by_line(score * told.residual * told.precision, speed)
    mean = np.stack([_over_moments(score), _over_moments(score, speed)], axis=1)
    missing = square - mean @ mean.transpose(0, 2, 1)
    pull_a, pull_b = lines.prior_information
    complete[:, 0, 0] += pull_a
    complete[:, 1, 1] += pull_b
    root = np.linalg.inv(np.linalg.cholesky(complete))
    values, vectors = np.linalg.eigh(root @ missing @ root.transpose(0, 2, 1))
    left = np.maximum(1 - values, _LEAST_INFORMATION)
    back = np.linalg.inv(root) @ vectors
    return np.asarray(back * left[:, None, :] @ back.transpose(0, 2, 1))


def _by_line(weight: FloatArray, speed: FloatArray) -> FloatArray:
    """Return the sums of a weight times the products of (1, speed), shape (r, 2, 2)."""
    flat, along = weight.reshape(len(weight), -1), speed.reshape(len(speed), -1)
    sums = [flat.sum(axis=1), np.einsum("rm,rm->r", flat, along), np.einsum("rm,rm,rm->r", flat, along, along)]
    return np.stack([sums[0], sums[1], sums[1], sums[2]], axis=1).reshape(-1, 2, 2)


@cache
def _wrong_quadrature() -> tuple[FloatArray, FloatArray]:
    """Return nodes and weights of the share of wrong readings under its beta prior (Gauss and Jacobi)."""
    a, b = WRONG_BETA[1] - 1, WRONG_BETA[0] - 1
    k = np.arange(WRONG_NODES, dtype=float)
    twice = 2 * k + a + b
    # eigenvalues of the recurrence's matrix (Golub and Welsch 1969); scipy.special takes a third of a second to load
    diagonal = (b * b - a * a) / (twice * (twice + 2))
    k, twice = k[1:], twice[1:]
    beside = 4 * k * (k + a) * (k + b) * (k + a + b) / (twice**2 * (twice + 1) * (twice - 1))
    values, vectors = np.linalg.eigh(np.diag(diagonal) + np.diag(np.sqrt(beside), 1) + np.diag(np.sqrt(beside), -1))
    return np.asarray((1 + values) / 2), np.asarray(vectors[0] ** 2)


def _log_student(freedom: float) -> float:
    """Return the log of the constant of Student's density of unit scale."""
    return lgamma((freedom + 1) / 2) - lgamma(freedom / 2) - 0.5 * log(pi * freedom)


def _log_scatter_prior() -> FloatArray:
    """Return the log prior share of each scatter node."""
    log = -0.5 * ((np.log(SCATTER_NODES_MPS) - np.log(SCATTER_MPS)) / SCATTER_LOG_SD) ** 2
    return np.asarray(log - np.logaddexp.reduce(log))
