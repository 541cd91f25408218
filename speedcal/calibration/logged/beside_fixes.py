"""A log beside recorded fixes far apart: between them the speed is a guess, and the log knows more of it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from speedcal.calibration.logged.constancy import clipped
from speedcal.calibration.speed.ground_speed import GroundSpeed
from speedcal.calibration.tuning.logs import BESIDE_FIX_S, LATENT_INTERVAL_S, STEADY_WINDOW_S
from speedcal.interval import FloatArray, median

_HALF_S = STEADY_WINDOW_S / 2


@dataclass(frozen=True, slots=True)
class BesideFixes:
    """What a log shows in the seconds about each fix, arrays of shape (k,)."""

    time_s: FloatArray
    ground_mps: FloatArray
    """Speed of the fix."""
    off_mps: FloatArray
    """Reading less what the dial says, the mean of the rows about it."""
    acceleration_mps2: FloatArray
    """Change of speed, as the log tells it."""

    @classmethod
    def of(
        cls, ground: GroundSpeed, time_s: FloatArray, off_mps: FloatArray, shown_mps: FloatArray, gain: float
    ) -> BesideFixes:
        """Return what rows show beside the fixes.

        Parameters
        ----------
        time_s, off_mps, shown_mps
            Moments in order, reading less what the dial says at the speed guessed there, and reading, shape (n,).
        """
        fix = ground.nearest(time_s)
        since_s = time_s - ground.time_s[fix]
        near = np.abs(since_s) <= max(BESIDE_FIX_S, median(np.diff(time_s)) / 2)
        place, which, count = np.unique(fix[near], return_inverse=True, return_counts=True)
        moment, speed = ground.time_s[place], ground.speed_mps[place]
        after, before = (np.interp(moment + move, time_s, shown_mps) for move in (_HALF_S, -_HALF_S))
        rate = (after - before) / (2 * _HALF_S * gain)
        guess, _, _ = ground.at(time_s[near])
        off = off_mps[near] + gain * (guess - speed[which] - rate[which] * since_s[near])
        return cls(moment, speed, np.bincount(which, weights=clipped(speed[which], off)) / count, rate)


def is_finer(ground: GroundSpeed, time_s: FloatArray) -> bool:
    """Tell whether a log knows what the speed did between recorded fixes, and they do not: they lie too far apart."""
    return ground.source == "recorded" and ground.interval_s > LATENT_INTERVAL_S >= median(np.diff(time_s))


def off_between(ground: GroundSpeed, moment_s: FloatArray, indicated_mps: FloatArray) -> FloatArray:
    """Return how far a log usually lies off the straight line between its values at the fixes about each row. [m/s]."""
    at_fixes = np.interp(ground.time_s, moment_s, indicated_mps)
    off = np.abs(indicated_mps - np.interp(moment_s, ground.time_s, at_fixes))
    before, _ = ground.place(moment_s)
    _, gap, count = np.unique(before, return_inverse=True, return_counts=True)
    first = np.cumsum(count) - count
    return np.asarray(off[np.lexsort((off, gap))][first + count // 2][gap])
