"""A log whose clock was set or stood still on the way: where it steps, and by how much.

The log is cut into blocks of half a minute. For each block and each lateness of its clock the rows have a likelihood:
of a right reading, or of one that only knows how often the log shows each speed. The course of the clock of greatest
evidence, every step paid for, is found by dynamic programming (A. J. Viterbi, IEEE Trans. Inf. Theory 13, 1967,
260-269), with a drift beside the steps: a clock that runs fast was not set ten times.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from speedcal.calibration.readings.clock_search import Shift
from speedcal.calibration.speed.ground_speed import GroundSpeed
from speedcal.calibration.tuning import logs as tuned
from speedcal.interval import BoolArray, FloatArray, IntArray, median

_GRID_S, _FINE_S, _FINE_REACH_S = 0.5, 0.1, 1.0
_LEAST_SCALE_MPS, _MOST_OFF_MPS, _MOVING_MPS, _STANDING_MPS = 0.3, 5.0, 3.0, 1.0
_WRONG, _UNIFORM, _TOP_MPS, _NEVER = 0.08, 0.02, 60.0, -30.0
_ALIKE = 3.0
"""Rows, a second apart, whose noise counts once."""
_LEAST_BLOCKS, _LEAST_PART, _MOST_FAR = 2, 0.05, 2
_NOTHING_FITS = -12.0
"""A block of which no row fits comes to -25; one in which the speed changes fast, to -8."""
_FITS = 3.0
"""Times the scale of the blocks, within which a row fits."""
_LONGEST_S, _CELLS_AT_ONCE = 14400.0, 2**17
"""Of longer logs and tracks no step is asked, which would take seconds; so many likelihoods stay in the cache."""


@dataclass(frozen=True, slots=True)
class ClockCourse:
    """How the clock of a log went."""

    late_s: FloatArray
    """What to add to the time of each reading beside one offset for all, shape (n,)."""
    steps: tuple[tuple[int, float], ...] = ()
    """Index of the first reading after each step, and by how much the clock was set forward there. [s]"""


def closed_jumps(time_s: FloatArray) -> ClockCourse | None:
    """Return the course of a clock that was set on the way, every jump closed; None where it never was, or too often.

    A counter that begins anew when it is full jumps back by all that it can count, as often as it likes.

    Parameters
    ----------
    time_s
        Times in the order of the file, shape (n,). [s]
    """
    step = np.diff(time_s)
    jumps = np.flatnonzero((step < 0) | (step > tuned.CLOCK_FAR_S))
    forward = step[jumps] - np.median(step)
    late = np.zeros(len(time_s))
    if len(jumps) > 1 and -np.max(step[jumps]) >= tuned.COUNTER_FULL * np.ptp(time_s):
        late[jumps + 1] = -np.median(forward)
        return ClockCourse(np.cumsum(late))
    if not 0 < len(jumps) <= tuned.MOST_JUMPS:
        return None
    late[jumps + 1] = -forward
    return ClockCourse(np.cumsum(late), tuple(zip((jumps + 1).tolist(), forward.tolist(), strict=True)))


def course_of_clock(
    ground: GroundSpeed, time_s: FloatArray, indicated_mps: FloatArray, *, shift: Shift, step_mps: float
) -> ClockCourse:
    """Return the steps of a log's clock and the drift beside them; no lateness where its clock has neither.

    Parameters
    ----------
    shift
        Clock offset and line that fit most of the log.
    """
    as_told = ClockCourse(np.zeros(len(time_s)))
    if max(np.ptp(time_s), np.ptp(ground.time_s)) > _LONGEST_S:
        return as_told
    some = np.flatnonzero(np.diff(np.floor(time_s - time_s[0]), prepend=-1) > 0)
    blocks = _Blocks(ground, time_s[some], indicated_mps[some], shift, step_mps)
    if blocks.astray_mps > tuned.LOG_ASTRAY_MPS + step_mps / 2:
        return as_told
    found = blocks.course(tuned.CLOCK_NEAR_S, tuned.CLOCK_DRIFTS)
    if np.abs(found[1]).max() >= tuned.CLOCK_NEAR_S:  # as far as was tried, and so perhaps farther
        found = blocks.course(tuned.CLOCK_WIDER_S, tuned.CLOCK_DRIFTS)
    if abs(found[0]) == max(tuned.CLOCK_DRIFTS):
        reach_s = tuned.CLOCK_NEAR_S + max(tuned.CLOCK_FAST_DRIFTS) * np.ptp(time_s) / 2
        found = blocks.course(reach_s, tuple(np.sign(found[0]) * np.array(tuned.CLOCK_FAST_DRIFTS)))
    unexplained = blocks.unexplained(*found)
    if unexplained >= max(_LEAST_BLOCKS, _LEAST_PART * np.count_nonzero(blocks.moving)):
        farther = blocks.course(tuned.CLOCK_FAR_S, (0.0,))
        if np.count_nonzero(np.diff(farther[1])) <= _MOST_FAR and 2 * blocks.unexplained(*farther) <= unexplained:
            found = farther
    drift, lateness = found
    if not drift and not np.ptp(lateness):
        return as_told
    first, late = blocks.located(drift, lateness)
    if blocks.least_explained(drift, first, late) < tuned.CLOCK_EXPLAINED:  # of another dial, and not late
        return as_told
    piece = np.searchsorted(some[first], np.arange(len(time_s)), side="right")
    longest = late[int(np.argmax(np.bincount(piece, minlength=len(late))))]
    steps = tuple((int(some[k]), float(a - b)) for k, a, b in zip(first, late[:-1], late[1:], strict=True))
    return ClockCourse((late - longest)[piece] + drift * (time_s - time_s.mean()), steps)


class _Blocks:
    """Likelihoods of the blocks of a log, whatever its clock shows there."""

    def __init__(
        self, ground: GroundSpeed, time_s: FloatArray, shown_mps: FloatArray, shift: Shift, step_mps: float
    ) -> None:
        self.time_s = time_s + shift.offset_s
        self.shown_mps = shown_mps.astype(np.float32)  # and with it all that is as large, which halves the time
        self.since_s = time_s - time_s.mean()
        self.block = np.unique(np.floor((time_s - time_s[0]) / tuned.CLOCK_BLOCK_S), return_inverse=True)[1]
        self.first = np.searchsorted(self.block, np.arange(int(self.block[-1]) + 1))
        self.count = np.diff(np.append(self.first, len(time_s)))
        self.start_s = float(ground.time_s[0])
        speed, _, inside = ground.at(np.arange(self.start_s, ground.time_s[-1], _FINE_S))
        expected = np.where(inside, shift.offset_mps + shift.gain * speed, np.nan)
        self.expected = np.concatenate(([np.nan], expected, [np.nan])).astype(np.float32)
        place = np.clip(shown_mps, 0.0, _TOP_MPS).astype(np.int64)
        often = np.convolve(np.bincount(place, minlength=int(_TOP_MPS) + 1), (0.25, 0.5, 0.25), "same")
        self.unknowing = ((1 - _UNIFORM) * often / len(place) + _UNIFORM / _TOP_MPS)[place]
        self.moving = np.maximum.reduceat(shown_mps, self.first) > _MOVING_MPS
        self.counts = (shown_mps > _STANDING_MPS) & ~self._beside()
        off = np.minimum(np.abs(self._off(_grid(tuned.CLOCK_NEAR_S), 0.0)), _MOST_OFF_MPS)
        known = np.add.reduceat(np.isfinite(off), self.first, axis=0, dtype=float)
        total = np.add.reduceat(np.nan_to_num(off), self.first, axis=0)
        unknown = self.count[:, None] - known
        mean = (total + _MOST_OFF_MPS * unknown).min(axis=1) / self.count
        usual = median(mean[self.moving]) if self.moving.any() else 0.0
        self.scale_mps = max(1.25 * usual, _LEAST_SCALE_MPS, step_mps / 2)
        told = self.moving & (unknown < known).all(axis=1)
        alone = total[told] / known[told]
        self.astray_mps = median(alone.min(axis=1)) if told.any() else 0.0
        """How far blocks lie off where the track tells it, each at its best lateness."""

    def _beside(self) -> BoolArray:
        """Return the rows of blocks that lie off the track for the most part."""
        beside = np.isnan(self._off(np.zeros(1), 0.0)[:, 0])
        return np.asarray((np.add.reduceat(beside, self.first) > self.count / 2)[self.block])

    def _off(self, late_s: FloatArray, drift: float, rows: slice = slice(None)) -> FloatArray:
        """Return how far readings lie off for each lateness, shape (n, k); NaN beside the track. [m/s]."""
        moment = self.time_s[rows] + drift * self.since_s[rows]
        at = np.rint((moment - self.start_s) / _FINE_S).astype(np.int64)[:, None] + 1
        at = at + np.rint(late_s / _FINE_S).astype(np.int64)
        return np.asarray(self.shown_mps[rows, None] - self.expected.take(at, mode="clip"))

    def _told(self, late_s: FloatArray, drift: float, rows: slice = slice(None)) -> FloatArray:
        """Return the log likelihood of each reading for each lateness, over that of one that knows nothing."""
        told = self._off(late_s, drift, rows)
        told *= np.float32(1 / self.scale_mps)
        told *= told
        told *= np.float32(-0.5)
        np.fmax(told, np.float32(_NEVER), out=told)  # also where nothing is known
        np.exp(told, out=told)
        level = (1 - _WRONG) / (self.scale_mps * np.sqrt(2 * np.pi) * self.unknowing[rows])
        told *= level.astype(np.float32)[:, None]
        told += np.float32(_WRONG)
        np.log(told, out=told)
        told *= self.counts[rows, None] / np.float32(_ALIKE)
        return told

    def _told_by_blocks(self, late_s: FloatArray, drift: float) -> FloatArray:
        """Return the log likelihood of each block for each lateness, shape (m, k)."""
        told = []
        at_once = max(_CELLS_AT_ONCE // (int(self.count.max()) * len(late_s)), 1)
        for begin in range(0, len(self.first), at_once):
            first, count = (each[begin : begin + at_once] for each in (self.first, self.count))
            rows = self._told(late_s, drift, slice(int(first[0]), int(first[-1] + count[-1])))
            told.append(np.add.reduceat(rows, first - first[0], axis=0))
        return np.concatenate(told)

    def course(self, reach_s: float, drifts: tuple[float, ...]) -> tuple[float, FloatArray]:
        """Return the drift of greatest evidence and, with it, the lateness of each block. [1, s]."""
        late = _grid(reach_s)
        as_told = self._told_by_blocks(late, 0.0)
        if _most(as_told) - _level(as_told) <= tuned.CLOCK_STEP_COST:  # what a lateness for each block would bring
            return 0.0, np.zeros(len(self.count))
        told = np.stack([self._told_by_blocks(late, drift) if drift else as_told for drift in drifts])
        cost = tuned.CLOCK_STEP_COST * (np.array(drifts) != 0)
        evidence = _level(told)
        path = np.repeat(told.sum(axis=1).argmax(axis=1)[:, None], len(self.count), axis=1)
        steps = np.flatnonzero(_most(told) - tuned.CLOCK_STEP_COST - cost > (evidence - cost).max())
        if len(steps):
            evidence[steps], path[steps] = _dearest_steps(told[steps])
        best = int(np.argmax(evidence - cost))
        return drifts[best], _lasting(late[path[best]])

    def unexplained(self, drift: float, lateness_s: FloatArray) -> int:
        """Return how many blocks with moving rows fit nothing."""
        late, which = np.unique(lateness_s, return_inverse=True)
        told = self._told_by_blocks(late, drift)
        return int((self.moving & (told[np.arange(len(told)), which] < _NOTHING_FITS)).sum())

    def located(self, drift: float, lateness_s: FloatArray) -> tuple[IntArray, FloatArray]:
        """Return the first row after each step, and the lateness of the pieces to a fraction of the grid."""
        edges = np.flatnonzero(np.diff(lateness_s)) + 1
        ends = np.append(self.first, len(self.time_s))
        first = np.array([self._split(drift, lateness_s, int(k), ends) for k in edges], np.int64)
        borders = np.concatenate(([0], first, [len(self.time_s)]))
        late = lateness_s[np.concatenate(([0], edges))]
        fine = np.arange(-_FINE_REACH_S, _FINE_REACH_S + _FINE_S / 2, _FINE_S)
        for k, (begin, end) in enumerate(pairwise(borders)):
            told = self._told(late[k] + fine, drift, slice(begin, end)).sum(axis=0)
            at = int(np.clip(np.argmax(told), 1, len(fine) - 2))
            before, here, after = told[at - 1 : at + 2]
            bend = max(2 * here - before - after, 1e-9)
            late[k] += fine[at] + _FINE_S * float(np.clip((after - before) / (2 * bend), -1.0, 1.0))
        return first, late

    def least_explained(self, drift: float, first: IntArray, late_s: FloatArray) -> float:
        """Return which share of its rows fits, of the piece between steps that fits worst."""
        share = [1.0]
        for late, begin, end in zip(late_s, [0, *first], [*first, len(self.time_s)], strict=True):
            rows = slice(int(begin), int(end))
            off = np.abs(self._off(np.array([late]), drift, rows)[:, 0])[self.counts[rows]]
            known = off[np.isfinite(off)]
            if len(known):
                share.append(float((known <= _FITS * self.scale_mps).mean()))
        return min(share)

    def _split(self, drift: float, lateness_s: FloatArray, k: int, ends: IntArray) -> int:
        """Return the row at which the clock steps, between the blocks before and from ``k``."""
        rows = slice(int(ends[k - 1]), int(ends[k + 1]))
        told = self._told(lateness_s[[k - 1, k]], drift, rows)
        before = np.concatenate(([0.0], np.cumsum(told[:, 0] - told[:, 1])))
        return int(ends[k - 1]) + int(np.argmax(before))


def _level(told: FloatArray) -> FloatArray:
    """Return the evidence of one lateness for all blocks, of shape (..., m, k)."""
    return np.asarray(told.sum(axis=-2).max(axis=-1))


def _most(told: FloatArray) -> FloatArray:
    """Return the evidence of a lateness for each block, no step paid for."""
    return np.asarray(told.max(axis=-1).sum(axis=-1))


def _grid(reach_s: float) -> FloatArray:
    return np.arange(-reach_s, reach_s + _GRID_S / 2, _GRID_S)


def _lasting(lateness_s: FloatArray) -> FloatArray:
    """Return the lateness of each block with pieces too short to be sure of counted to the one before."""
    edges = np.concatenate(([0], np.flatnonzero(np.diff(lateness_s)) + 1, [len(lateness_s)]))
    kept = lateness_s.copy()
    for begin, end in pairwise(edges):
        if end - begin < _LEAST_BLOCKS:
            kept[begin:end] = kept[begin - 1] if begin else kept[min(end, len(kept) - 1)]
    return kept


def _dearest_steps(told: FloatArray) -> tuple[FloatArray, IntArray]:
    """Return the greatest sum of evidence along a path over the blocks, steps paid for, and the path, shape (d, m).

    Parameters
    ----------
    told
        Evidence of each block for each lateness, for each of several drifts, shape (d, m, k).
    """
    apart = round(tuned.CLOCK_LEAST_STEP_S / _GRID_S)
    drifts, blocks, cells = told.shape
    here, nowhere = np.arange(cells), np.full((drifts, apart), -1)
    came = np.empty((blocks, drifts, cells), np.int64)
    sum_ = told[:, 0]
    for k in range(1, blocks):
        low, high = (_running_best(sum_[:, ::way])[:, ::way] for way in (1, -1))
        high = cells - 1 - high
        stay, best, source = sum_, np.full(sum_.shape, -np.inf), np.broadcast_to(here, sum_.shape)
        for index in (
            np.concatenate((nowhere, low), axis=1)[:, :cells],
            np.concatenate((high, nowhere), axis=1)[:, apart:],
        ):
            there = np.take_along_axis(sum_, index, axis=1)
            better = (index >= 0) & (there > best)
            best, source = np.where(better, there, best), np.where(better, index, source)
        steps = best - tuned.CLOCK_STEP_COST > stay
        came[k] = np.where(steps, source, here)
        sum_ = told[:, k] + np.where(steps, best - tuned.CLOCK_STEP_COST, stay)
    path = np.empty((drifts, blocks), np.int64)
    path[:, -1] = np.argmax(sum_, axis=1)
    for k in range(blocks - 1, 0, -1):
        path[:, k - 1] = came[k, np.arange(drifts), path[:, k]]
    return sum_.max(axis=1), path


def _running_best(values: FloatArray) -> IntArray:
    """Return the index of the greatest value so far at each place of each row."""
    best = np.maximum.accumulate(values, axis=1)
    return np.maximum.accumulate(np.where(values == best, np.arange(values.shape[1]), 0), axis=1)
