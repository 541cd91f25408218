"""Whether one person with one watch took the readings, or two that took turns.

Two watches are seconds apart, and who sits aside sees the needle a little off. Who took which reading is a hidden
Markov chain; its evidence is held against that of one reader (Kass and Raftery 1995, J. Am. Statist. Assoc. 90, 773).
"""

from __future__ import annotations

from itertools import product

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view

from speedcal.calibration.clock_posterior import Cells, Notes
from speedcal.calibration.ground_speed import GroundSpeed
from speedcal.calibration.tuning import (
    READERS_APART_S,
    READERS_CLOCK_REACH_S,
    READERS_SCATTERS_MPS,
    READERS_SHIFTS_MPS,
    READERS_SWITCH,
)
from speedcal.interval import FloatArray

_STEP_S = 1.0


def log_two_readers(ground: GroundSpeed, notes: Notes, cells: Cells) -> float:
    """Return the log odds of two readers against one, both equally likely before, at the line that was found.

    Parameters
    ----------
    ground, notes
        The drive.
    cells
        The posterior of clock offset and line for one reader.
    """
    best = int(np.argmax(cells.log_mass))
    order = np.argsort(notes.time_s, kind="stable")
    wrong = float(cells.weight @ cells.wrong_share)
    right, stray = 1 - wrong, wrong * notes.stray[order]
    steps = int(READERS_CLOCK_REACH_S / _STEP_S)
    clocks = cells.clock_s[best] + _STEP_S * np.arange(-steps, steps + 1)
    shifts = {side * shift / 2 for shift in READERS_SHIFTS_MPS for side in (1, -1)}
    watch = _Watch(ground, notes, cells.offset_mps[best], cells.gain[best], clocks)
    one, first, second = [], [], []
    for scatter in READERS_SCATTERS_MPS:
        density = {shift: right * watch.density(scatter, shift)[:, order] + stray for shift in shifts}
        one.append(density[0.0])
        for apart, shift in product(READERS_APART_S, READERS_SHIFTS_MPS):
            lag = round(apart / _STEP_S)
            first.append(density[-shift / 2][:-lag])
            second.append(density[shift / 2][lag:])
    alone = np.log(np.concatenate(one)).sum(axis=1)
    turns = _taking_turns(np.concatenate(first), np.concatenate(second))
    return float(np.logaddexp.reduce(turns) - np.log(len(turns)) - np.logaddexp.reduce(alone) + np.log(len(alone)))


class _Watch:
    """What the track says at the moments of the readings, for some offsets of one watch."""

    def __init__(self, ground: GroundSpeed, notes: Notes, offset: float, gain: float, clocks: FloatArray) -> None:
        at = notes.at
        self.at, self.stride = at, max(1, round(_STEP_S / at.spacing_s))
        steps = at.spacing_s * np.arange((len(clocks) - 1) * self.stride + len(at.delay_s))
        speed, rate, inside = ground.at(notes.time_s[:, None] + clocks[0] + at.delay_s[0] + steps)
        self.inside = inside.astype(float)
        self.residual = notes.indicated_mps[:, None] - offset - gain * speed
        self.variance = notes.u_rounding_mps**2 + gain**2 * (notes.u_ground_mps**2 + (rate * at.spacing_s) ** 2 / 12)
        self.off_track = (1 - self._over_moments(self.inside)) * notes.stray[:, None]

    def _over_moments(self, values: FloatArray) -> FloatArray:
        return np.asarray(sliding_window_view(values, len(self.at.delay_s), axis=1)[:, :: self.stride] @ self.at.weight)

    def density(self, scatter: float, shift: float) -> FloatArray:
        """Return the density of each reading at each offset, shape (offsets, n), by a reader who sees it shifted."""
        variance = self.variance + scatter**2
        normal = np.exp(-0.5 * (self.residual - shift) ** 2 / variance) / np.sqrt(2 * np.pi * variance)
        return np.asarray((self._over_moments(normal * self.inside) + self.off_track).T)


def _taking_turns(first: FloatArray, second: FloatArray) -> FloatArray:
    """Return the log evidence of two readers for each pair of offsets: the forward recursion over who read."""
    one, two = first[:, 0] / 2, second[:, 0] / 2
    log_sum = np.zeros(len(first))
    for note in range(1, first.shape[1]):
        whole = one + two
        log_sum += np.log(whole)
        share = READERS_SWITCH + (1 - 2 * READERS_SWITCH) * one / whole
        one, two = share * first[:, note], (1 - share) * second[:, note]
    return np.asarray(log_sum + np.log(one + two))
