"""Whether one person with one watch took the readings off one dial, or two that took turns, or off two dials.

Two watches are seconds apart, and who sits aside sees the needle a little off. Who took which reading is a hidden
Markov chain; its evidence is held against that of one reader (Kass and Raftery 1995, J. Am. Statist. Assoc. 90, 773),
whose needle may hang in its play: that, too, makes neighbours differ. Two dials are held against one of the two alone
as well: where the dial that was found is a little off, another one is not yet a second.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import product

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view

from speedcal.calibration.dial.dial import Dial
from speedcal.calibration.dial.dial_mixture import PointerPlay
from speedcal.calibration.noted.clock_posterior import Cells
from speedcal.calibration.noted.note_lines import Notes
from speedcal.calibration.speed.ground_speed import GroundSpeed
from speedcal.calibration.tuning import rivals as tuned
from speedcal.interval import FloatArray, IntArray

_STEP_S = 1.0
_SPEEDS = 100
_LOGS_EVERY = 8
"""Notes whose densities are multiplied before a logarithm is taken: far from what a float holds."""


@dataclass(frozen=True, slots=True)
class OtherReaders:
    """Log odds against one reader of one dial."""

    watches: float
    """Of two readers, each with a watch."""
    dials: float
    """Of two dials."""
    apart_mps2: float
    """Mean square of what one reader sees otherwise than the mean of both, if there are two with two watches."""

    @property
    def two(self) -> float:
        """Two readers or two dials."""
        share = tuned.TWO_WATCHES_SHARE
        return float(np.logaddexp(np.log(share) + self.watches, np.log(1 - share) + self.dials))


def other_readers(ground: GroundSpeed, notes: Notes, cells: Cells, dial: Dial) -> OtherReaders:
    """Return the odds of two readers or two dials against one of each.

    Parameters
    ----------
    cells
        The posterior of clock offset and line for one reader.
    dial
        What came of them: a bend, too, is no second reader.
    """
    order = np.argsort(notes.time_s, kind="stable")
    # a needle at rest tells no reader from another, and many rest below some speed, where the track goes on
    moves = notes.indicated_mps[order] > tuned.AT_REST_MPS
    order = order[moves] if cells.seen[order[moves]].any() else order
    # one that lies in a gap another watch only brings to what speed there is beside it
    watch = _Watch(ground, notes, cells, dial, rows=order[cells.seen[order]], reach_s=tuned.READERS_CLOCK_REACH_S)
    near = _Watch(ground, notes, cells, dial, rows=order, reach_s=tuned.DIALS_CLOCK_REACH_S)
    pointer = PointerPlay.along(ground)
    dials = _two_dials(near)
    either = mean_of_logs(np.log(np.concatenate(dials, axis=1)).sum(axis=0))
    first, second, shift = _two_watches(watch)
    watches = taking_turns(first, second, tuned.READERS_SWITCHES)
    square = np.tile((shift / 2) ** 2, len(tuned.READERS_SWITCHES))
    return OtherReaders(
        watches=mean_of_logs(watches) - _alone(watch, pointer),
        dials=mean_of_logs(taking_turns(*dials, tuned.READERS_SWITCHES))
        - mean_of_logs(np.array([_alone(near, pointer), either])),
        apart_mps2=float(np.average(square, weights=np.exp(watches - watches.max()))),
    )


def mean_of_logs(logs: FloatArray) -> float:
    """Return the log of the mean of what these are the logs of."""
    return float(np.logaddexp.reduce(logs) - np.log(len(logs)))


def _alone(watch: _Watch, pointer: PointerPlay) -> float:
    """Return the log evidence of one reader of one dial, whose needle may hang in its play."""
    plays = np.multiply.outer(tuned.READERS_PLAYS_MPS, pointer.at(watch.moments))
    logs = [np.log(watch.density(scatter, plays)).sum(axis=-2) for scatter in tuned.READERS_SCATTERS_MPS]
    return mean_of_logs(np.ravel(logs))


def _two_watches(watch: _Watch) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return the densities of the readings by either of two readers, shape (n, ways) each, and how they see apart."""
    first, second, apart_mps = [], [], []
    shifts = sorted({side * shift / 2 for shift in tuned.READERS_SHIFTS_MPS for side in (1, -1)})
    for scatter in tuned.READERS_SCATTERS_MPS:
        density = dict(zip(shifts, watch.density(scatter, np.array(shifts)[:, None, None]), strict=True))
        for apart, shift in product(tuned.READERS_APART_S, tuned.READERS_SHIFTS_MPS):
            lag = round(apart / _STEP_S)
            first.append(density[-shift / 2][:, :-lag])
            second.append(density[shift / 2][:, lag:])
            apart_mps.append(np.full(second[-1].shape[1], shift))
    return np.concatenate(first, axis=1), np.concatenate(second, axis=1), np.concatenate(apart_mps)


def _two_dials(watch: _Watch) -> tuple[FloatArray, FloatArray]:
    """Return the densities of the readings off either of two dials; that found lies between them, or is one."""
    away = np.array([apart * (watch.speed - meet) for meet, apart in product(tuned.DIALS_MEET_MPS, tuned.DIALS_APART)])
    first, second = [], []
    for scatter in tuned.READERS_SCATTERS_MPS:
        parts = watch.density(scatter, np.multiply.outer([-0.5, 0.5, -1.0, 1.0], away))
        low, high, below, above = (np.concatenate(part, axis=1) for part in parts)
        here = np.tile(watch.density(scatter, 0.0), len(away))
        first += [low, here, here]
        second += [high, below, above]
    return np.concatenate(first, axis=1), np.concatenate(second, axis=1)


def _shown(dial: Dial, speed_mps: FloatArray) -> FloatArray:
    """Return what a dial shows at many speeds, from a table."""
    speeds = np.linspace(0.0, float(speed_mps.max()), _SPEEDS)
    return np.interp(speed_mps, speeds, dial.indicated(speeds))


class _Watch:
    """What the track says at the moments of the readings, for some offsets of one watch."""

    def __init__(
        self, ground: GroundSpeed, notes: Notes, cells: Cells, dial: Dial, *, rows: IntArray, reach_s: float
    ) -> None:
        """Look at the track for offsets within reach of those of the best cell, for some readings in order of time."""
        best = int(np.argmax(cells.log_mass))
        gain, wrong = cells.gain[best], float(cells.weight @ cells.wrong_share)
        at = notes.at
        self.at, self.stride = at, max(1, round(_STEP_S / at.spacing_s))
        clocks = round(2 * reach_s / _STEP_S)
        steps = at.spacing_s * np.arange(clocks * self.stride + len(at.delay_s))
        self.moments = notes.time_s[rows, None] + cells.clock_s[best] - reach_s + at.delay_s[0] + steps
        self.speed, rate, inside = ground.at(self.moments)
        self.inside = inside.astype(float)
        self.residual = notes.indicated_mps[rows, None] - _shown(dial, self.speed)
        self.variance = gain**2 * (ground.variance_at(self.moments) + (rate * at.spacing_s) ** 2 / 12)
        self.variance += notes.own_variance[rows, None]
        self.right, self.stray = 1 - wrong, notes.stray[rows]
        self.off_track = self.right * (1 - self._over_moments(self.inside)) + wrong

    def _over_moments(self, values: FloatArray) -> FloatArray:
        windows = sliding_window_view(values, len(self.at.delay_s), axis=-1)[..., :: self.stride, :]
        return np.asarray(windows @ self.at.weight)

    def density(self, scatter: float, away: FloatArray | float) -> FloatArray:
        """Return the density of each reading at each offset if it is seen this far from the dial.

        Parameters
        ----------
        scatter
            Of a reading. [m/s]
        away
            At each moment, shape (..., n, m), or the same at all. [m/s]

        Returns
        -------
        FloatArray
            Shape (..., n, offsets).
        """
        scale = 1 / np.sqrt(2 * (self.variance + scatter**2))
        normal = np.subtract(self.residual, away)
        normal *= scale
        np.exp(np.negative(np.square(normal, out=normal), out=normal), out=normal)
        normal *= self.right / np.sqrt(np.pi) * scale * self.inside
        return self._over_moments(normal) + self.off_track * self.stray[:, None]


def taking_turns(first: FloatArray, second: FloatArray, switches: tuple[float, ...]) -> FloatArray:
    """Return the log evidence of two readers for each chance to switch and way: the forward recursion over who read.

    Parameters
    ----------
    first, second
        Densities of the readings, in order of time, by either in each way, shape (n, ways).
    """
    switch = np.array(switches)[:, None]
    one = two = np.full((len(switches), first.shape[1]), 0.5)
    log_sum = np.zeros(one.shape)
    for note, (by_first, by_second) in enumerate(zip(first, second, strict=True)):
        whole = one + two
        if note % _LOGS_EVERY == 0:
            log_sum += np.log(whole)
            one, whole = one / whole, np.ones_like(whole)
        still = switch * whole + (1 - 2 * switch) * one
        one, two = still * by_first, (whole - still) * by_second
    return np.ravel(log_sum + np.log(one + two))
