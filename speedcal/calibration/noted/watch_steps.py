"""Notes whose watch was set on the way, or that were timed by one clock and then by another: where, and by how much.

A step of the notes' clock is a hypothesis beside one clock all the way: its place and its size are integrated out and
have to pay for themselves (Kass and Raftery 1995, J. Am. Statist. Assoc. 90, 773). At a line each note has a likelihood
at each clock offset; summed up from either end of the notes, these tell all places and all pairs of offsets at once.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from speedcal.calibration.noted.note_lines import Notes
from speedcal.calibration.readings.clock_search import OFFSET_SCALE_MPS, Shift, averaged
from speedcal.calibration.speed.ground_speed import GroundSpeed
from speedcal.calibration.tuning.general import LARGEST_FACTOR, SMALLEST_FACTOR, WRONG_BETA
from speedcal.calibration.tuning.notes import CRAWL_SD_MPS, LN_FACTOR_SCALE, SCATTER_MPS
from speedcal.calibration.tuning.rivals import FEWEST_ON_A_SIDE, WATCH_SET_SHARE, WATCH_STEPS_S
from speedcal.calibration.tuning.track import SLOWEST_MPS
from speedcal.interval import BoolArray, FloatArray, IntArray

_ROUNDS, _MOST_LINES = 2, 2
_WORTH, _MOST_OFFSETS = 12.0, 80
"""Offsets of each side that are paired: within so many nats of the best, and not more than so many."""
_MOST_CELLS = 250_000
"""Notes times offsets: of more, as where the notes go on for hours after the track, no step is asked."""
_OFFSETS_IN_REACH, _NOTHING = 6.0, 1e-300


@dataclass(frozen=True, slots=True)
class WatchStep:
    """A watch that was set between two notes."""

    late_s: FloatArray
    """What to add to the time of each note, shape (n,)."""
    first: int
    """Number of the first note after it."""
    forward_s: float
    """By how much it was set forward."""
    log_odds: float
    """Against one clock all the way, roughly."""
    log_paid: float
    """Log share of the evidence with this step that is left when its place and its size are not known before."""
    shift: Shift
    """The clock offset of all notes then."""


def likeliest_step(
    ground: GroundSpeed, notes: Notes, shifts: list[Shift], log_prior: Callable[[FloatArray], FloatArray]
) -> WatchStep | None:
    """Return the likeliest step of the watch of some notes; None where there are too few of them, or too many.

    Parameters
    ----------
    notes
        In the order in which they were written.
    shifts
        Clock offsets with lines to start from, best first.
    """
    track = _along(ground, notes, log_prior)
    if track is None:
        return None
    ways = [_Way(track, notes, (shift.offset_mps, shift.gain)) for shift in shifts[:_MOST_LINES]]
    way = max(ways, key=lambda one: one.log_sum)
    for _ in range(_ROUNDS):
        way = _Way(track, notes, way.refitted)
        ways.append(way)
    return way.step(max(one.log_one for one in ways))


@dataclass(frozen=True, slots=True)
class _Track:
    """The track as each note would have met it: clock offsets (c,), the rest (c, n)."""

    offset_s: FloatArray
    grid_s: float
    """Step of the offsets."""
    prior: FloatArray
    """Density of each offset."""
    of_size: FloatArray
    """Density of a step over so many offsets."""
    speed: NDArray[np.float32]
    variance: NDArray[np.float32]
    on: BoolArray


def _along(ground: GroundSpeed, notes: Notes, log_prior: Callable[[FloatArray], FloatArray]) -> _Track | None:
    """Look at the track at all clock offsets that lay any note on it."""
    time, reach = notes.time_s + notes.at.middle_s, notes.at.half_width_s
    begin, end = float(ground.time_s[0]), float(ground.time_s[-1])
    low, high = begin - float(time.max()), end - float(time.min())
    grid = max(1.0, round(reach / _OFFSETS_IN_REACH))
    if len(time) < 2 * FEWEST_ON_A_SIDE or (high - low) / grid * len(time) > _MOST_CELLS:
        return None
    offset = np.arange(np.floor(low), np.ceil(high) + grid, grid)
    mean, variance = averaged(ground, reach)
    index = np.rint(time - begin).astype(np.int64) + offset.astype(np.int64)[:, None]
    on = (index >= 0) & (index < len(mean))
    index = np.where(on, index, 0)
    on &= np.isfinite(mean[index])
    size = np.asarray(grid * np.arange(len(offset)), float)
    return _Track(
        offset,
        grid,
        np.exp(log_prior(offset)) * grid,
        _density_of_steps(size) * grid,
        np.where(on, mean[index], 0.0).astype(np.float32),
        variance[index].astype(np.float32),
        on,
    )


def _density_of_steps(size_s: FloatArray) -> FloatArray:
    """Return the density of steps of a size: alike for all orders of magnitude, and either way."""
    least, most = WATCH_STEPS_S
    inside = (size_s >= least) & (size_s <= most)
    return np.asarray(np.where(inside, 1 / (2 * np.log(most / least) * np.maximum(size_s, least)), 0.0), float)


class _Way:
    """What all steps come to at a line: for every place the likeliest offsets to both sides."""

    def __init__(self, track: _Track, notes: Notes, line: tuple[float, float]) -> None:
        """Weigh every note at every clock offset."""
        self.track, self.notes, self.line = track, notes, line
        wrong = WRONG_BETA[0] / sum(WRONG_BETA)
        own = (SCATTER_MPS**2 + notes.own_variance).astype(np.float32)
        shown, offset, gain = notes.indicated_mps.astype(np.float32), np.float32(line[0]), np.float32(line[1])
        crawls = track.speed < SLOWEST_MPS
        self.variance = np.where(crawls, np.float32(CRAWL_SD_MPS**2), own + gain**2 * track.variance)
        residual = shown - np.where(crawls, track.speed, offset + gain * track.speed)
        normal = np.exp(-0.5 * residual**2 / self.variance) / np.sqrt(2 * np.pi * self.variance)
        stray = notes.stray.astype(np.float32)
        # beside the track it is as good as wrong: a step that only moves notes off it explains nothing
        density = (1 - wrong) * np.where(track.on, normal, 0.0) + wrong * stray
        self.right = 1 - wrong * stray / density
        apart_s = np.diff(notes.time_s) + 2 * notes.at.half_width_s
        self.most_forward_s = apart_s[FEWEST_ON_A_SIDE - 1 : len(apart_s) + 1 - FEWEST_ON_A_SIDE]
        log = np.cumsum(np.log(density), axis=1, dtype=float)
        self.before = log[:, FEWEST_ON_A_SIDE - 1 : log.shape[1] - FEWEST_ON_A_SIDE]
        self.after = log[:, -1:] - self.before
        self.log_places = np.array([self._joint(place)[3] for place in range(self.before.shape[1])])
        of_line = 0.5 * ((line[0] / OFFSET_SCALE_MPS) ** 2 + (np.log(line[1]) / LN_FACTOR_SCALE) ** 2)
        with np.errstate(divide="ignore"):
            self.log_one = float(np.logaddexp.reduce(log[:, -1] + np.log(track.prior)) - of_line)
        self.log_sum = float(np.logaddexp.reduce(self.log_places) - np.log(len(self.log_places)) - of_line)

    def _joint(self, place: int) -> tuple[IntArray, IntArray, FloatArray, float]:
        """Return offsets before and after a place as indices, the mass of each pair, and the log of all of it."""
        before, after, prior = self.before[:, place], self.after[:, place], self.track.prior
        early, late = _likely(before), _likely(after)
        mass = np.exp(before[early] - before[early].max())[:, None] * np.exp(after[late] - after[late].max())
        steps = early[:, None] - late
        mass *= (prior[early][:, None] + prior[late]) / 2 * self.track.of_size[np.abs(steps)]
        mass *= steps * self.track.grid_s <= self.most_forward_s[place]  # else what was written later was seen earlier
        whole = np.log(max(mass.sum(), _NOTHING)) + before[early].max() + after[late].max()
        return early, late, mass, float(whole)

    def _best(self) -> tuple[int, int, int, float]:
        """Return the likeliest place, with the offsets to both sides as indices, and the log share of that size."""
        place = int(np.argmax(self.log_places))
        early, late, mass, log_place = self._joint(place)
        row, column = np.unravel_index(int(np.argmax(mass)), mass.shape)
        steps = early[row] - late[column]
        same = mass[early[:, None] - late == steps].sum() / max(self.track.of_size[abs(steps)], _NOTHING)
        known = log_place + np.log(max(same, _NOTHING) / max(mass.sum(), _NOTHING))
        return place, int(early[row]), int(late[column]), float(known)

    @property
    def refitted(self) -> tuple[float, float]:
        """The line through the notes as the likeliest step lays them."""
        place, early, late, _ = self._best()
        note = np.arange(len(self.notes.time_s))
        row = np.where(note < place + FEWEST_ON_A_SIDE, early, late), note
        speed = self.track.speed[row].astype(float)
        weight = self.right[row] / self.variance[row] * (self.track.on[row] & (speed >= SLOWEST_MPS))
        design = np.column_stack([np.ones(len(speed)), speed])
        told = (design * weight[:, None]).T @ design + np.diag([OFFSET_SCALE_MPS**-2, LN_FACTOR_SCALE**-2])
        pull = (design * weight[:, None]).T @ self.notes.indicated_mps + np.array([0.0, LN_FACTOR_SCALE**-2])
        offset, gain = np.linalg.solve(told, pull)
        return float(offset), float(np.clip(gain, SMALLEST_FACTOR, LARGEST_FACTOR))

    def step(self, log_one: float) -> WatchStep:
        """Return the likeliest step, when one clock all the way comes to so much."""
        place, early, late, known = self._best()
        first, offset = place + FEWEST_ON_A_SIDE, self.track.offset_s
        # the part by whose clock the other is put right is the one whose offset is the likelier
        keep = early if self.track.prior[early] >= self.track.prior[late] else late
        own = np.where(np.arange(len(self.notes.time_s)) < first, offset[early], offset[late])
        every = float(np.logaddexp.reduce(self.log_places) - np.log(len(self.log_places)))
        return WatchStep(
            late_s=own - offset[keep],
            first=first,
            forward_s=float(offset[early] - offset[late]),
            log_odds=self.log_sum + float(np.log(WATCH_SET_SHARE)) - log_one,
            log_paid=every - known + float(np.log(WATCH_SET_SHARE)),
            shift=Shift(float(offset[keep]), 0.0, *self.line),
        )


def _likely(log: FloatArray) -> IntArray:
    """Return the offsets that hold nearly all of the mass, as indices."""
    some = np.argpartition(log, -_MOST_OFFSETS)[-_MOST_OFFSETS:] if len(log) > _MOST_OFFSETS else np.arange(len(log))
    return np.sort(some[log[some] > log[some].max() - _WORTH])
