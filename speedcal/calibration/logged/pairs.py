"""Pairs of ground speed and indicated speed of a log, and their means over windows of time."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from speedcal.calibration.speed.ground_speed import GroundSpeed
from speedcal.interval import BoolArray, FloatArray, IntArray, median

_LONGEST_WINDOW_S, _SHORTEST_WINDOW_S = 10.0, 1.0
_NEGLIGIBLE_FLATTENING = 2e-4


@dataclass(frozen=True, slots=True)
class Pairs:
    """Ground speed and indicated speed at the same moments, arrays of shape (n,)."""

    time_s: FloatArray
    """Moments on the GPS clock."""
    ground_mps: FloatArray
    acceleration: FloatArray
    indicated_mps: FloatArray
    piece: IntArray
    usable: BoolArray
    """Whether the pair may carry the error factor."""


def make_pairs(ground: GroundSpeed, time_s: FloatArray, indicated_mps: FloatArray, clock_offset_s: float) -> Pairs:
    """Return pairs at the times of the sparser side; interpolating that side would invent speeds it never had.

    When the ground speed comes from a local fit to positions, the distance that the instrument showed goes through the
    very same fit, and through the smoothing of the positions: it eats the same accelerations, and the line stays where
    it is.
    """
    spacing = median(np.diff(time_s))
    if spacing >= ground.interval_s / 1.5 and (ground.local_fit is None or spacing > 1.5 * ground.interval_s):
        moment, indicated = time_s + clock_offset_s, indicated_mps
        speed, acceleration, inside = ground.at(moment)
    else:
        moment, speed, acceleration = ground.time_s, ground.speed_mps, ground.acceleration
        indicated, inside = _at_fixes(ground, time_s, indicated_mps, clock_offset_s, spacing)
    before, known = ground.place(moment)
    usable = known & ground.usable[before] & ground.usable[before + 1] if moment is not ground.time_s else ground.usable
    return Pairs(
        time_s=moment[inside],
        ground_mps=speed[inside],
        acceleration=acceleration[inside],
        indicated_mps=indicated[inside],
        piece=ground.piece[before][inside],
        usable=usable[inside],
    )


def _at_fixes(
    ground: GroundSpeed, time_s: FloatArray, indicated_mps: FloatArray, clock_offset_s: float, spacing: float
) -> tuple[FloatArray, BoolArray]:
    """Return what the instrument showed at each fix, and where that is known."""
    moment = ground.time_s - clock_offset_s
    after = np.clip(np.searchsorted(time_s, moment), 1, len(time_s) - 1)
    step = np.diff(time_s)
    stretch = np.concatenate(([0], np.cumsum(step > max(3.0, 3 * spacing)))).astype(np.int64)
    inside = (moment >= time_s[0]) & (moment <= time_s[-1]) & (stretch[after] == stretch[after - 1])
    share = (moment - time_s[after - 1]) / step[after - 1]
    indicated = indicated_mps[after - 1] + share * (indicated_mps[after] - indicated_mps[after - 1])
    if ground.local_fit is None:
        return indicated, inside
    whole = np.concatenate(([0.0], np.cumsum(step * (indicated_mps[1:] + indicated_mps[:-1]) / 2)))
    part = (moment - time_s[after - 1]) * (indicated_mps[after - 1] + indicated) / 2
    label = np.where(inside, stretch[after], -1 - np.arange(len(moment)))
    shown = ground.local_fit.rate(whole[after - 1] + part)
    inside &= ground.local_fit.spans(label)
    if ground.local_fit.smoothing is not None:
        shown = ground.local_fit.smoothing.mean(shown, label, ground.interval_s)
    return shown, inside


def window_length_s(ground: GroundSpeed, pairs: Pairs) -> float:
    """Return how long to average so that noise of the ground speed flattens the line by less than 0.02 %.

    Noise of positions changes slowly, so more of it cannot be averaged away: they always get the longest window.
    """
    if ground.source == "positions":
        return _LONGEST_WINDOW_S
    spacing = median(np.diff(pairs.time_s))
    variance = float(np.var(pairs.ground_mps[pairs.usable]))
    enough = spacing * ground.u_speed_mps**2 / (_NEGLIGIBLE_FLATTENING * max(variance, 1e-9))
    return float(np.clip(enough, _SHORTEST_WINDOW_S, _LONGEST_WINDOW_S))


@dataclass(frozen=True, slots=True)
class Windows:
    """Means over windows, arrays of shape (k,)."""

    time_s: FloatArray
    ground_mps: FloatArray
    indicated_mps: FloatArray
    acceleration: FloatArray
    """Mean size of the acceleration. [m/s²]"""
    count: FloatArray
    """Number of pairs."""

    def __len__(self) -> int:
        return len(self.time_s)


def average(pairs: Pairs, good: BoolArray, length_s: float) -> Windows:
    """Return the means of the good pairs over windows of a length, no window reaching over a gap."""
    time, piece = pairs.time_s[good], pairs.piece[good]
    if not len(time):
        return Windows(time, time, time, time, time)
    key = np.floor((time - time[0]) / length_s).astype(np.int64)
    _, label = np.unique(np.stack([piece, key]), axis=1, return_inverse=True)
    count = np.bincount(label).astype(float)
    columns = (pairs.time_s, pairs.ground_mps, pairs.indicated_mps, np.abs(pairs.acceleration))
    time, ground, indicated, acceleration = (np.bincount(label, weights=column[good]) / count for column in columns)
    return Windows(time, ground, indicated, acceleration, count)
