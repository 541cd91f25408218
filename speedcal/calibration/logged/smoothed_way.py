"""The way between positions that were smoothed before they were thinned out, with what that took in bends put back.

On a straight road the way of smoothed positions is that of the speed smoothed alike, which a log makes up for. In bends
it is shorter, or longer where a filter swings out, and smoothing itself makes a curve through the positions sure.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from speedcal.calibration.logged.way import Windows
from speedcal.calibration.speed.banded import Banded
from speedcal.calibration.speed.ground_speed import GroundSpeed
from speedcal.calibration.speed.positions import Smoothing
from speedcal.calibration.speed.smoothing import share_left
from speedcal.calibration.tuning.logs import TURN_SHARE_U
from speedcal.interval import FloatArray, IntArray

_APART_S, _FEWEST = 1.0, 2


@dataclass(frozen=True, slots=True)
class CurvedWay:
    """Velocity along a cubic spline through the positions at even times, shape (k,)."""

    time_s: FloatArray
    east_mps: FloatArray
    north_mps: FloatArray
    piece: IntArray

    @classmethod
    def through(cls, ground: GroundSpeed) -> CurvedWay:
        """Return the curve through the fixes of each piece that has some."""
        parts = []
        for piece in np.flatnonzero(np.bincount(ground.piece) >= _FEWEST):
            here = ground.piece == piece
            time = ground.time_s[here]
            even = np.arange(time[0], time[-1], _APART_S)
            place = np.column_stack([ground.east_m[here], ground.north_m[here]])
            parts.append((even, *rate_of_curve(time, place, even).T, np.full(len(even), piece)))
        return cls(*(np.concatenate(column) for column in zip(*parts, strict=True)))

    def with_bends(self, windows: Windows, smoothing: Smoothing) -> Windows:
        """Return the windows with what smoothing took of their way put back."""
        speed = np.hypot(self.east_mps, self.north_mps)
        left = share_left(self.east_mps, self.north_mps, self.piece, _APART_S, smoothing)
        way, whole = (np.cumsum(each) for each in (speed, speed / left))
        over = (
            np.interp(windows.end_s, self.time_s, along) - np.interp(windows.begin_s, self.time_s, along)
            for along in (way, whole)
        )
        plain = next(over)
        longer = np.where(plain > 0, next(over) / np.maximum(plain, 1e-9), 1.0)
        u_turn_m = np.hypot(windows.u_turn_m, TURN_SHARE_U * np.abs(longer - 1) * windows.way_m)
        return replace(windows, way_m=windows.way_m * longer, u_turn_m=u_turn_m)


def rate_of_curve(time_s: FloatArray, place: FloatArray, at_s: FloatArray) -> FloatArray:
    """Return the derivative of the natural cubic spline through places, shape (n, k), at some of their time."""
    step = np.diff(time_s)
    slope = np.diff(place, axis=0) / step[:, None]
    bending = np.zeros_like(place)
    if len(step) > 1:
        band = np.zeros((4, len(step) - 1))
        band[0], band[1, :-1] = 2 * (step[1:] + step[:-1]), step[1:-1]
        bending[1:-1] = Banded(band).solve(6 * np.diff(slope, axis=0))
    cell = np.clip(np.searchsorted(time_s, at_s, side="right") - 1, 0, len(step) - 1)
    wide, since = step[cell, None], (at_s - time_s[cell])[:, None]
    first, second = bending[cell], bending[cell + 1]
    turned = first * since + (second - first) * since**2 / (2 * wide)
    return np.asarray(slope[cell] - wide * (2 * first + second) / 6 + turned)
