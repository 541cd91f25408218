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
    pairs = list(product(READERS_APART_S, READERS_SHIFTS_MPS))
    one, two = [], []
    for scatter in READERS_SCATTERS_MPS:
        density = {
            shift: right * _density(ground, notes, cells, best, clocks, scatter, shift)[:, order] + stray
            for shift in {side * shift / 2 for shift in READERS_SHIFTS_MPS for side in (1, -1)}
        }
        one.append(np.log(density[0.0]).sum(axis=1))
        for apart, shift in pairs:
            lag = round(apart / _STEP_S)
            two.append(_taking_turns(density[-shift / 2][:-lag], density[shift / 2][lag:]))
    log_one = np.logaddexp.reduce(np.concatenate(one)) - np.log(sum(len(part) for part in one))
    log_two = np.logaddexp.reduce(np.concatenate(two)) - np.log(sum(len(part) for part in two))
    return float(log_two - log_one)


def _density(
    ground: GroundSpeed, notes: Notes, cells: Cells, best: int, clocks: FloatArray, scatter: float, shift: float
) -> FloatArray:
    """Return the density of each reading at each clock offset if its reader sees the needle off by a shift."""
    at = notes.at
    stride = max(1, round(_STEP_S / at.spacing_s))
    steps = at.spacing_s * np.arange((len(clocks) - 1) * stride + len(at.delay_s))
    times = notes.time_s[:, None] + clocks[0] + at.delay_s[0] + steps
    speed, rate, inside = ground.at(times)
    gain = cells.gain[best]
    residual = notes.indicated_mps[:, None] - shift - cells.offset_mps[best] - gain * speed
    variance = scatter**2 + notes.u_rounding_mps**2 + (gain * notes.u_ground_mps) ** 2
    variance = variance + (gain * rate * at.spacing_s) ** 2 / 12
    normal = np.where(inside, np.exp(-0.5 * residual**2 / variance) / np.sqrt(2 * np.pi * variance), 0.0)
    known = sliding_window_view(inside.astype(float), len(at.delay_s), axis=1)[:, ::stride] @ at.weight
    seen = sliding_window_view(normal, len(at.delay_s), axis=1)[:, ::stride] @ at.weight
    return np.asarray((seen + (1 - known) * notes.stray[:, None]).T)


def _taking_turns(first: FloatArray, second: FloatArray) -> FloatArray:
    """Return the log evidence of two readers for each clock offset: the forward recursion over who read."""
    state = np.stack([first[:, 0], second[:, 0]]) / 2
    log_sum = np.zeros(len(first))
    for note in range(1, first.shape[1]):
        scale = state.sum(axis=0)
        log_sum += np.log(scale)
        state = state / scale
        state = (1 - READERS_SWITCH) * state + READERS_SWITCH * state[::-1]
        state = state * np.stack([first[:, note], second[:, note]])
    return np.asarray(log_sum + np.log(state.sum(axis=0)))
