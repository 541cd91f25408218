"""Lines through notes at many clock offsets at once: what the readings say there, and the climb to the likeliest.

The line and the share of wrong readings are fitted by expectation and maximisation (Dempster, Laird and Rubin 1977,
J. R. Statist. Soc. B 39, 1-38). A reading is averaged over the moments at which it may really have been taken, so one
under acceleration weighs itself.
"""

from __future__ import annotations

from dataclasses import dataclass, fields, replace
from functools import cached_property
from math import lgamma, log, pi
from typing import Any

import numpy as np

from speedcal.calibration.readings.clock_search import OFFSET_FREEDOM, OFFSET_SCALE_MPS
from speedcal.calibration.readings.moments import Moments
from speedcal.calibration.tuning.general import LARGEST_FACTOR, SMALLEST_FACTOR, WRONG_BETA
from speedcal.calibration.tuning.notes import CRAWL_SD_MPS, LN_FACTOR_FREEDOM, LN_FACTOR_SCALE
from speedcal.calibration.tuning.track import SLOWEST_MPS
from speedcal.interval import FloatArray, IntArray

_SHORT: np.dtype[Any] = np.dtype(np.float32)


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
    top_mps: float = np.inf
    """Reading at which the scale ends."""

    def only(self, rows: IntArray) -> Notes:
        """Return some of the readings, or all in another order."""
        arrays = {name: getattr(self, name)[rows] for name in ("time_s", "indicated_mps", "stray", "u_stated_mps")}
        return replace(self, **arrays)

    @property
    def own_variance(self) -> FloatArray:
        """Variance of each reading beside its scatter, shape (n,)."""
        return np.asarray(self.u_rounding_mps**2 + self.u_stated_mps**2)


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


@dataclass(frozen=True)
class Seen:
    """The track as the readings would have met it: clock offsets (c,), the rest (c, n, nodes)."""

    clock_s: FloatArray
    start_offset: FloatArray
    start_gain: FloatArray
    speed: FloatArray
    speed_variance: FloatArray
    """Of the ground speed, and of what it runs on between two nodes, spread evenly over the node."""
    weight: FloatArray
    """Of each moment, 0 off the track."""

    def only(self, rows: IntArray) -> Seen:
        """Return some of the clock offsets."""
        return Seen(*(getattr(self, entry.name)[rows] for entry in fields(self)))

    @property
    def in_short(self) -> Seen:
        """The same in single precision: to climb by it takes half the time, and ends within a millionth."""
        large = (part.astype(_SHORT) for part in (self.speed, self.speed_variance, self.weight))
        return Seen(self.clock_s, self.start_offset, self.start_gain, *large)

    @cached_property
    def crawls(self) -> tuple[IntArray, ...]:
        """Where the vehicle stands or crawls, as indices."""
        return np.nonzero(self.speed < SLOWEST_MPS)

    @cached_property
    def off_track(self) -> FloatArray:
        """Share of the moments of each reading that are not on the track, shape (c, n)."""
        return 1 - over_moments(self.weight)

    @property
    def start(self) -> Lines:
        """The lines that the search found."""
        alpha, beta = WRONG_BETA
        return Lines(self.start_offset, self.start_gain, np.full(len(self.clock_s), alpha / (alpha + beta)))


@dataclass(frozen=True, slots=True)
class Told:
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


def over_moments(*parts: FloatArray) -> FloatArray:
    """Return the product of parts of shape (r, n, nodes), summed over the moments of each reading."""
    names = ",".join(["rnk"] * len(parts))
    return np.asarray(np.einsum(f"{names}->rn", *parts))  # several times as fast as a sum over a short last axis


def told_at(seen: Seen, scatter: FloatArray, notes: Notes, lines: Lines) -> Told:
    """Return what the readings say at a line and a scatter for each row."""
    a, b = (part.astype(seen.speed.dtype)[:, None, None] for part in (lines.offset, lines.gain))
    shown = notes.indicated_mps.astype(seen.speed.dtype)[None, :, None]
    variance = b**2 * seen.speed_variance
    variance += (scatter[:, None] ** 2 + notes.own_variance)[:, :, None]
    precision = np.reciprocal(variance, out=variance)
    residual = b * seen.speed
    residual += a
    beyond = np.nonzero(residual > notes.top_mps) if np.isfinite(notes.top_mps) else None
    if beyond is not None:
        residual[beyond] = notes.top_mps
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
    if beyond is not None:  # at the end of the scale it tells that it was fast, and nothing about the line
        precision[beyond] = 0.0
    # where a moment is not on the track, the track has nothing to say against the reading
    return Told(density, residual, precision, over_moments(density) + seen.off_track * notes.stray)


def climbed(seen: Seen, scatter: FloatArray, notes: Notes, lines: Lines, *, rounds: int) -> Lines:
    """Return the lines after some rounds of expectation and maximisation."""
    shown, (alpha, beta) = notes.indicated_mps, WRONG_BETA
    for _ in range(rounds):
        told = told_at(seen, scatter, notes, lines)
        likelihood = told.likelihood(lines.wrong, notes.stray)
        right = ((1 - lines.wrong)[:, None] / likelihood).astype(seen.speed.dtype)
        weight = told.density * right[:, :, None] * told.precision
        each, times_speed = over_moments(weight), over_moments(weight, seen.speed)
        pull_a, pull_b = lines.prior_information
        s0, s1 = each.sum(axis=1) + pull_a, times_speed.sum(axis=1)
        s2 = over_moments(weight, seen.speed, seen.speed).sum(axis=1) + pull_b
        t0, t1 = each @ shown, times_speed @ shown + pull_b
        determinant = np.maximum(s0 * s2 - s1 * s1, 1e-12)
        gain = np.clip((s0 * t1 - s1 * t0) / determinant, SMALLEST_FACTOR, LARGEST_FACTOR)
        strays = (lines.wrong[:, None] * notes.stray / likelihood).sum(axis=1)
        lines = Lines((t0 - gain * s1) / s0, gain, (alpha + strays) / (alpha + beta + len(shown)))
    return lines


def log_height(seen: Seen, scatter: FloatArray, notes: Notes, lines: Lines) -> FloatArray:
    """Return the log density of all readings at a line, and of the line, shape (r,)."""
    likelihood = told_at(seen, scatter, notes, lines).likelihood(lines.wrong, notes.stray)
    return np.asarray(np.log(likelihood).sum(axis=1) + lines.log_prior)


def _log_student(freedom: float) -> float:
    """Return the log of the constant of Student's density of unit scale."""
    return lgamma((freedom + 1) / 2) - lgamma(freedom / 2) - 0.5 * log(pi * freedom)
