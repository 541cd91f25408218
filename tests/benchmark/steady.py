"""Rounded values at a steady speed: what the exact likelihood of a plateau tells about the edge of a step.

While cruise control holds the speed, a whole plateau rounds to one or two values. All that these tell is on which side
of the edge between two values the speed was, second by second. The speed about its unknown mean is an
Ornstein-Uhlenbeck process, fixes measure it with the noise of a Doppler speed, a reading says between which edges it
lies: the forward recursion of a hidden Markov chain on a fine grid of speeds (L. R. Rabiner, *Proceedings of the IEEE*
77, 1989, section III A) gives the likelihood of fixes and readings together for any place of the edges.
"""

from __future__ import annotations

from functools import cache

import numpy as np
from numpy.typing import NDArray

from speedcal.interval import FloatArray

_REACH = 3.6
"""Standard deviations of the wander that the grid covers, either way."""
_STATES = 61
_DELAY_S = 0.05
"""Times between events are rounded to this."""


@cache
def _step(delays: int, wander_mps: float, scale_s: float) -> NDArray[np.float32]:
    """Return the chances to go from one speed of the grid (row) to another (column)."""
    grid = np.linspace(-_REACH, _REACH, _STATES) * wander_mps
    keeps = np.exp(-delays * _DELAY_S / scale_s)
    spread = wander_mps * np.sqrt(1 - keeps**2)
    chance = np.exp(-0.5 * ((grid[None, :] - keeps * grid[:, None]) / spread) ** 2)
    return (chance / chance.sum(axis=1, keepdims=True)).astype(np.float32)


def edge_likelihood(
    edge_mps: FloatArray,
    *,
    level_mps: FloatArray,
    width_mps: float,
    fixes: tuple[FloatArray, FloatArray],
    readings: tuple[FloatArray, FloatArray],
    noise_mps: float,
    wander_mps: float,
    scale_s: float,
) -> FloatArray:
    """Return the log likelihood of one plateau for places of an edge.

    Parameters
    ----------
    edge_mps
        Places to try: true speed at which the value 0 begins, less a speed near the mean, shape (n,). [m/s]
    level_mps
        Means to sum over, evenly spaced, less the same speed, shape (m,). [m/s]
    width_mps
        Distance of two edges, as true speed. [m/s]
    fixes
        Times and measured speeds, less the same speed. [s, m/s]
    readings
        Times and values, in whole steps. [s, 1]
    noise_mps
        Of a measured speed. [m/s]
    wander_mps, scale_s
        Standard deviation and correlation time of the speed about its mean.
    """
    grid = np.linspace(-_REACH, _REACH, _STATES) * wander_mps
    time = np.concatenate([fixes[0], readings[0]])
    order = np.argsort(time, kind="stable")
    delays = np.rint(np.diff(time[order], prepend=time[order[0]]) / _DELAY_S).astype(int)
    about = grid[None, :] + np.repeat(level_mps, len(edge_mps))[:, None]
    value = (about - np.tile(edge_mps, len(level_mps))[:, None]) / width_mps
    soft = (grid[1] - grid[0]) / width_mps  # a cell of the grid that an edge cuts counts in part
    state = np.exp(-0.5 * (grid / wander_mps) ** 2)
    state = np.tile(state / state.sum(), (len(value), 1)).astype(np.float32)
    about, value = about.astype(np.float32), value.astype(np.float32)
    total = np.zeros(len(value))
    for event, delay in zip(order, delays, strict=True):
        if delay > 0:
            state = state @ _step(int(delay), wander_mps, scale_s)
        if event < len(fixes[0]):
            state = state * np.exp(-0.5 * ((np.float32(fixes[1][event]) - about) / np.float32(noise_mps)) ** 2)
        else:
            place = value - np.float32(readings[1][event - len(fixes[0])])
            state = state * np.clip(np.minimum(place, 1 - place) / np.float32(soft) + np.float32(0.5), 1e-9, 1)
        mass = state.sum(axis=1, keepdims=True)
        total += np.log(mass[:, 0].astype(float) + 1e-30)
        state = state / (mass + np.float32(1e-30))
    return np.asarray(np.logaddexp.reduce(total.reshape(len(level_mps), -1), axis=0) - np.log(len(level_mps)))
