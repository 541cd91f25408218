"""Where the clock of noted readings stands: a posterior on cells of clock offset and scatter.

In each cell the line is integrated by Laplace's method about the likeliest, with the information of the observed data
(Louis 1982, J. R. Statist. Soc. B 44, 226-233), the share of wrong readings by quadrature.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view

from speedcal.calibration.noted.note_lines import Lines, Notes, Seen, Told, climbed, log_height, over_moments, told_at
from speedcal.calibration.readings.clock_search import Shift
from speedcal.calibration.readings.moments import Moments
from speedcal.calibration.speed.ground_speed import GroundSpeed
from speedcal.calibration.tuning import notes as tuned
from speedcal.calibration.tuning.general import WRONG_BETA
from speedcal.interval import BoolArray, FloatArray

_FIRST_ROUNDS, _SECOND_ROUNDS, _LAST_ROUNDS = 4, 2, 7
_WORTH_A_LOOK, _NEGLIGIBLE, _MOST_CLOCKS = 16.0, 9.0, 60
_LEAST_INFORMATION = 0.05
"""Share of the complete information that is left at least where the moments of a reading are in doubt."""


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


def clock_cells(
    ground: GroundSpeed, notes: Notes, shifts: list[Shift], log_prior: Callable[[FloatArray], FloatArray]
) -> Cells:
    """Return the cells that hold the posterior about the best shifts.

    Parameters
    ----------
    shifts
        Peaks of the search, each with a line to start from.
    log_prior
        Log density of clock offsets, normalised over the range that was searched.
    """
    whole = _around(ground, notes, shifts)
    seen = whole.in_short
    scatter = np.full(len(seen.clock_s), tuned.FIRST_SCATTER_MPS)
    lines = climbed(seen, scatter, notes, seen.start, rounds=_FIRST_ROUNDS)
    height = log_height(seen, scatter, notes, lines) + log_prior(seen.clock_s)
    near = np.sort(np.argsort(height, kind="stable")[-_MOST_CLOCKS:])
    near = near[height[near] > height.max() - _WORTH_A_LOOK]
    rows = np.repeat(near, len(tuned.SCATTER_NODES_MPS))
    scatter = np.tile(tuned.SCATTER_NODES_MPS, len(near))
    prior = (
        log_prior(seen.clock_s[rows])
        + np.tile(_log_scatter_prior(), len(near))
        + np.log(_stride(notes.at) * notes.at.spacing_s)
    )
    seen, lines = seen.only(rows), lines.only(rows)
    lines = climbed(seen, scatter, notes, lines, rounds=_SECOND_ROUNDS)
    height = log_height(seen, scatter, notes, lines) + prior
    keep = np.flatnonzero(height > height.max() - _NEGLIGIBLE)
    seen, scatter, lines = seen.only(keep), scatter[keep], lines.only(keep)
    lines = climbed(seen, scatter, notes, lines, rounds=_LAST_ROUNDS)
    return _weighed(whole.only(rows[keep]), scatter, notes, lines, prior[keep])


def _stride(at: Moments) -> int:
    """Return how many nodes of the moments lie between two clock offsets that are looked at."""
    return max(1, round((tuned.MINUTE_CELL_S if at.half_width_s > 10 else tuned.CELL_S) / at.spacing_s))


def _around(ground: GroundSpeed, notes: Notes, shifts: list[Shift]) -> Seen:
    """Look at the track for every clock offset within reach of a shift, none of them twice."""
    spacing, nodes, stride = notes.at.spacing_s, len(notes.at.delay_s), _stride(notes.at)
    reach = tuned.CELL_REACH_S + notes.at.half_width_s
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
        speed, rate, inside, known = (
            np.moveaxis(sliding_window_view(part, nodes, axis=1), 1, 0)[np.array(numbers) - low]
            for part in (*ground.at(times), ground.variance_at(times))
        )
        clock = base + spacing * np.array(numbers, float)
        start = np.full(len(clock), shift.offset_mps), np.full(len(clock), shift.gain)
        variance = known + (rate * spacing) ** 2 / 12
        parts.append((clock, *start, speed, variance, notes.at.weight * inside))
    return Seen(*(np.concatenate(part) for part in zip(*parts, strict=True)))


def _weighed(seen: Seen, scatter: FloatArray, notes: Notes, lines: Lines, log_prior: FloatArray) -> Cells:
    """Integrate line and share of wrong readings out of every cell."""
    told = told_at(seen, scatter, notes, lines)
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


def _information(seen: Seen, told: Told, share: FloatArray, lines: Lines) -> FloatArray:
    """Return the observed information of (offset, gain), shape (r, 2, 2), never less than a part of the complete."""
    speed = seen.speed
    score = share * told.residual * told.precision
    complete = _by_line(share * told.precision, speed)
    square = _by_line(score * told.residual * told.precision, speed)
    mean = np.stack([over_moments(score), over_moments(score, speed)], axis=1)
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
    k = np.arange(tuned.WRONG_NODES, dtype=float)
    twice = 2 * k + a + b
    # eigenvalues of the recurrence's matrix (Golub and Welsch 1969); scipy.special takes a third of a second to load
    diagonal = (b * b - a * a) / (twice * (twice + 2))
    k, twice = k[1:], twice[1:]
    beside = 4 * k * (k + a) * (k + b) * (k + a + b) / (twice**2 * (twice + 1) * (twice - 1))
    values, vectors = np.linalg.eigh(np.diag(diagonal) + np.diag(np.sqrt(beside), 1) + np.diag(np.sqrt(beside), -1))
    return np.asarray((1 + values) / 2), np.asarray(vectors[0] ** 2)


def _log_scatter_prior() -> FloatArray:
    """Return the log prior share of each scatter node."""
    log = -0.5 * ((np.log(tuned.SCATTER_NODES_MPS) - np.log(tuned.SCATTER_MPS)) / tuned.SCATTER_LOG_SD) ** 2
    return np.asarray(log - np.logaddexp.reduce(log))


def best_moments(
    ground: GroundSpeed, notes: Notes, cells: Cells, best: int
) -> tuple[FloatArray, FloatArray, FloatArray, BoolArray]:
    """Return how probably each reading is right at a clock offset, its moment, the speed then and if there is one."""
    share = cells.share[best]
    total = share.sum(axis=1)
    delay = np.where(total > 1e-9, share @ notes.at.delay_s / np.maximum(total, 1e-9), notes.at.middle_s)
    moment = notes.time_s + cells.clock_s[best] + delay
    speed, _, inside = ground.at(moment)
    return cells.right[best], moment, speed, inside
