"""Which hold carries which note of a list: all assignments in order, summed by the forward recursion.

A list is laid on the holds of a drive as a hidden Markov chain is (Baum et al. 1970, Ann. Math. Statist. 41, 164-171);
the line is fitted by expectation and maximisation from many factors, and integrated by Laplace's method at each
maximum.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from speedcal.calibration.noted.holds import Holds
from speedcal.calibration.noted.note_lines import Lines
from speedcal.calibration.tuning import notes as tuned
from speedcal.calibration.tuning.general import LARGEST_FACTOR, SMALLEST_FACTOR
from speedcal.interval import BoolArray, FloatArray, IntArray

_FIRST_ROUNDS, _LAST_ROUNDS = 8, 6
_MOST_STARTS = 6
_SAME_MPS, _SAME_FACTOR = 0.15, 0.01
"""Two maxima this near in offset and factor are one."""


@dataclass(frozen=True, slots=True)
class Chain:
    """What holds and notes may do, as natural probabilities; arrays by hold (k,) or by note (n,)."""

    skip_hold: FloatArray
    """That a hold was not noted."""
    skip_note: FloatArray
    """That a note has no hold of its own, times its density then."""
    take: FloatArray
    """That a note has a hold and the hold a note, shape (n, k)."""

    def matched(self, density: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Return the log of the sum over all assignments and how probably each note lies on each hold.

        Parameters
        ----------
        density
            Of each note at each hold, shape (rows, n, k).

        Returns
        -------
        Arrays of shape (rows,) and (rows, n, k).
        """
        rows, notes, count = density.shape
        skipped = np.concatenate(([1.0], np.cumprod(self.skip_hold)))
        taken = density * self.take
        # exact[i, r]: the first i notes are explained and the last hold taken is r (none: 0)
        exact = np.zeros((notes + 1, rows, count + 1))
        exact[0, :, 0] = 1.0
        log_sum = np.zeros(rows)
        before = np.empty((notes, rows, count))
        for i in range(notes):
            before[i] = (np.cumsum(exact[i] / skipped, axis=1) * skipped)[:, :-1]
            exact[i + 1] = exact[i] * self.skip_note[i]
            exact[i + 1, :, 1:] += before[i] * taken[:, i]
            scale = exact[i + 1].max(axis=1)
            exact[i + 1] /= scale[:, None]
            log_sum += np.log(scale)
        after = np.tile(skipped[-1] / skipped, (rows, 1))
        log_sum += np.log((exact[-1] * after).sum(axis=1))
        match = np.empty_like(density)
        for i in reversed(range(notes)):
            here = taken[:, i] * after[:, 1:]
            after = after * self.skip_note[i]
            after[:, :-1] += np.cumsum((here * skipped[:-1])[:, ::-1], axis=1)[:, ::-1] / skipped[:-1]
            whole = (exact[i] * after).sum(axis=1)
            match[:, i] = before[i] * here / whole[:, None]
            after = after / after.max(axis=1)[:, None]
        return log_sum, match


def chain_of(holds: Holds, again: BoolArray, stray: FloatArray) -> Chain:
    """Return the chain of a list on the holds of a drive.

    Parameters
    ----------
    holds
        In order, k of them.
    again
        Whether a note repeats the one before it, shape (n,): then it may be the same hold listed twice.
    stray
        Density of each note that has no hold. [s/m]
    """
    skip_hold = np.where(holds.length_s < tuned.HOLD_LONG_S, tuned.HOLD_SKIPPED_SHORT, tuned.HOLD_SKIPPED)
    missed = np.where(again, tuned.NOTE_REPEATED, tuned.NOTE_MISSED)
    density = np.where(again, 1 / (tuned.HELD_REPEAT_MPS * np.sqrt(2 * np.pi)), stray)
    return Chain(skip_hold, missed * density, np.outer(1 - missed, 1 - skip_hold))


@dataclass(frozen=True, slots=True)
class HeldModes:
    """Maxima of the posterior of a list, arrays of shape (m,) unless said otherwise."""

    offset_mps: FloatArray
    gain: FloatArray
    log_mass: FloatArray
    """Log evidence about each maximum, priors included."""
    match: FloatArray
    """How probably each note lies on each hold, shape (m, n, k)."""
    widening: FloatArray
    """By how much a tail makes the variance of each note larger, shape (m, n)."""
    u_speed_mps: FloatArray
    """Doubt about what part of each hold was meant, shape (k,)."""

    @property
    def weight(self) -> FloatArray:
        """Posterior share of each maximum."""
        mass = np.exp(self.log_mass - self.log_mass.max())
        return np.asarray(mass / mass.sum())

    @property
    def log_usual(self) -> float:
        """Log density of the likeliest line before the list is seen, less that of a dial that is right."""
        best = int(np.argmax(self.log_mass))
        line = Lines(np.array([self.offset_mps[best], 0.0]), np.array([self.gain[best], 1.0]), np.zeros(2)).log_prior
        return float(line[0] - line[1])

    def assignment(self, mode: int) -> IntArray:
        """Return the hold of each note in one of them, -1 where it has none."""
        match = self.match[mode]
        return np.where(match.sum(axis=1) > 0.5, match.argmax(axis=1), -1)


def held_modes(
    holds: Holds, indicated_mps: FloatArray, again: BoolArray, stray: FloatArray, u_stated_mps: FloatArray
) -> HeldModes:
    """Return the maxima of the posterior of (offset, factor) for every scatter that is weighed."""
    problem = _Problem(chain_of(holds, again, stray), holds, indicated_mps, u_stated_mps)
    gain = np.asarray(tuned.HELD_FACTORS)
    lines = Lines(np.zeros(len(gain)), gain, np.zeros(len(gain)))
    first = np.full(len(gain), 1.5 * tuned.HOLD_SCATTER_MPS)
    lines = problem.climbed(lines, first, rounds=_FIRST_ROUNDS)
    best = _different(lines, problem.height(lines, first), first)[:_MOST_STARTS]
    rows = np.repeat(best, len(tuned.HOLD_SCATTERS_MPS))
    scatter = np.tile(tuned.HOLD_SCATTERS_MPS, len(best))
    lines = problem.climbed(lines.only(rows), scatter, rounds=_LAST_ROUNDS)
    log_prior = -0.5 * ((np.log(tuned.HOLD_SCATTERS_MPS) - np.log(tuned.HOLD_SCATTER_MPS)) / tuned.HOLD_LOG_SD) ** 2
    log_prior -= np.logaddexp.reduce(log_prior)
    keep = _different(lines, problem.height(lines, scatter), scatter)
    return problem.weighed(lines.only(keep), scatter[keep], np.tile(log_prior, len(best))[keep])


def _different(lines: Lines, height: FloatArray, scatter: FloatArray) -> IntArray:
    """Return the rows that are not nearly the same as a higher one, highest first."""
    kept: list[int] = []
    for row in np.argsort(-height, kind="stable"):
        near = [
            abs(lines.offset[row] - lines.offset[k]) < _SAME_MPS
            and abs(lines.gain[row] - lines.gain[k]) < _SAME_FACTOR
            and scatter[row] == scatter[k]
            for k in kept
        ]
        if not any(near):
            kept.append(int(row))
    return np.array(kept)


@dataclass(frozen=True, slots=True)
class _Problem:
    """A list and the holds it is to be laid on."""

    chain: Chain
    holds: Holds
    indicated: FloatArray
    u_stated: FloatArray

    @property
    def u_speed(self) -> FloatArray:
        return tuned.HOLD_SPREAD_SHARE * self.holds.spread_mps

    def _variance(self, gain: FloatArray, scatter: FloatArray) -> FloatArray:
        """Return the variance of each note at each hold for gains of shape (rows, 1, 1), shape (rows, n, k)."""
        return np.asarray(scatter[:, None, None] ** 2 + self.u_stated[:, None] ** 2 + (gain * self.u_speed) ** 2)

    def _told(self, lines: Lines, scatter: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Return log sum, matches, and the precision of each match with its tail weighed in, shape (rows, n, k)."""
        gain = lines.gain[:, None, None]
        residual = self.indicated[None, :, None] - lines.offset[:, None, None] - gain * self.holds.speed_mps
        variance = self._variance(gain, scatter)
        square = residual**2 / variance
        near = (1 - tuned.HELD_TAIL_SHARE) * np.exp(-0.5 * square)
        far = tuned.HELD_TAIL_SHARE / tuned.HELD_TAIL * np.exp(-0.5 * square / tuned.HELD_TAIL**2)
        density = (near + far) / np.sqrt(2 * np.pi * variance)
        log_sum, match = self.chain.matched(density)
        tail = far / np.maximum(near + far, 1e-300)
        return log_sum, match, (1 - tail + tail / tuned.HELD_TAIL**2) / variance

    def height(self, lines: Lines, scatter: FloatArray) -> FloatArray:
        """Return the log density of the list at each line, and of the line."""
        return np.asarray(self._told(lines, scatter)[0] + lines.log_prior)

    def climbed(self, lines: Lines, scatter: FloatArray, *, rounds: int) -> Lines:
        """Return the lines after some rounds of expectation and maximisation."""
        speed, shown = self.holds.speed_mps, self.indicated
        for _ in range(rounds):
            _, match, precision = self._told(lines, scatter)
            weight = match * precision
            by_hold, by_note = weight.sum(axis=1), weight.sum(axis=2)
            pull_a, pull_b = lines.prior_information
            s0, s1, s2 = by_note.sum(axis=1) + pull_a, by_hold @ speed, by_hold @ speed**2 + pull_b
            t0, t1 = by_note @ shown, (weight @ speed) @ shown + pull_b
            gain = (s0 * t1 - s1 * t0) / np.maximum(s0 * s2 - s1 * s1, 1e-12)
            gain = np.clip(gain, SMALLEST_FACTOR, LARGEST_FACTOR)
            lines = Lines((t0 - gain * s1) / s0, gain, lines.wrong)
        return lines

    def weighed(self, lines: Lines, scatter: FloatArray, log_prior: FloatArray) -> HeldModes:
        """Integrate the line out about every maximum."""
        log_sum, match, precision = self._told(lines, scatter)
        weight = match * precision
        by_hold = weight.sum(axis=1)
        pull_a, pull_b = lines.prior_information
        speed = self.holds.speed_mps
        s0, s1, s2 = by_hold.sum(axis=1) + pull_a, by_hold @ speed, by_hold @ speed**2 + pull_b
        log_mass = log_sum + lines.log_prior + log_prior + np.log(2 * np.pi) - 0.5 * np.log(s0 * s2 - s1**2)
        whole = (match / self._variance(lines.gain[:, None, None], scatter)).sum(axis=2)
        widening = np.maximum(whole / np.maximum(weight.sum(axis=2), 1e-12), 1.0)
        return HeldModes(lines.offset, lines.gain, log_mass, match, widening, self.u_speed)
