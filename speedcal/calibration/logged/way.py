"""The way driven between positions, in windows of some ten seconds: chords, what bends add to them, how well known."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from speedcal.calibration.speed.ground_speed import GroundSpeed
from speedcal.calibration.speed.way_speed import speed_along_way
from speedcal.calibration.tuning import logs as tuned
from speedcal.calibration.tuning.track import SLOWEST_POSITION_SPEED_MPS, SPARSE_FROM_S
from speedcal.interval import BoolArray, FloatArray, IntArray


@dataclass(frozen=True, slots=True)
class Windows:
    """Stretches of road between two fixes, moving all the time, arrays of shape (k,)."""

    begin_s: FloatArray
    end_s: FloatArray
    way_m: FloatArray
    u_turn_m: FloatArray
    """Standard uncertainty of what bends add to the chords, of each window for itself."""
    u_between_m: FloatArray
    """That of what the road does between the fixes, which errs alike in all windows."""
    follows: BoolArray
    """Begins where the one before it ends."""

    def only(self, keep: BoolArray) -> Windows:
        """Return some of the windows."""
        follows = self.follows & np.concatenate(([False], keep[:-1]))
        begin, end, way = self.begin_s[keep], self.end_s[keep], self.way_m[keep]
        return Windows(begin, end, way, self.u_turn_m[keep], self.u_between_m[keep], follows[keep])


def windows_of_way(ground: GroundSpeed) -> Windows:
    """Return the windows of a track without recorded speed.

    The road between two fixes is longer than the arc through them and their neighbours by something that grows with
    a power of their distance. So what leaving out every other fix takes away, and three of four, tells what is missing
    (L. F. Richardson's extrapolation). A bend that lies between two fixes does not show there, and one that shows
    between others is counted too often: part of what is missing is spread along the whole way.
    """
    coarse = ground.u_speed_mps >= tuned.COARSE_POSITIONS_MPS
    smooth = coarse and ground.interval_s < SPARSE_FROM_S  # fixes further apart leave corners out, which no curve finds
    if smooth:
        ground = speed_along_way(ground)
    cell = np.floor(ground.time_s / (tuned.WINDOW_S if coarse else tuned.STATION_S)).astype(np.int64)
    first = np.flatnonzero((np.diff(cell, prepend=-1) > 0) | (np.diff(ground.piece, prepend=-1) != 0))
    time, piece = ground.time_s[first], ground.piece[first]
    whole = np.diff(piece) == 0
    slow = np.concatenate(([0], np.cumsum(ground.speed_mps < SLOWEST_POSITION_SPEED_MPS)))
    moving = np.flatnonzero(whole & (slow[first[1:] + 1] == slow[first[:-1]]))
    way, u_turn, u_between = (_smoothed if smooth else _arched)(ground, first, moving)
    label, follows = _labels(time, moving)
    begin = np.flatnonzero(np.diff(label, prepend=-1))
    end = np.append(begin[1:], len(moving)) - 1 if len(moving) else begin
    windows = Windows(
        begin_s=time[moving[begin]],
        end_s=time[moving[end] + 1],
        way_m=_sums(label, way),
        u_turn_m=np.sqrt(_sums(label, u_turn**2)),
        u_between_m=_sums(label, u_between),
        follows=follows,
    )
    return windows.only(windows.end_s - windows.begin_s > tuned.WINDOW_S / 2)


def _smoothed(ground: GroundSpeed, first: IntArray, moving: IntArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return the way of each moving interval along a spline, what bends may do to each, and to all. [m]."""
    way = np.diff(ground.distance_m[first])[moving]
    return way, ground.u_distance * way, ground.u_distance * way


def _arched(ground: GroundSpeed, first: IntArray, moving: IntArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return the same along arcs from fix to fix."""
    east, north, piece = ground.east_m[first], ground.north_m[first], ground.piece[first]
    chord, arc = _arcs(east, north, piece)
    lost, share = _lost(east, north, piece, arc)
    ratio = (ground.road_over_level[first][1:] + ground.road_over_level[first][:-1]) / 2
    chord, arc, lost = chord[moving], arc[moving], lost[moving]
    lost += tuned.BETWEEN_SPREAD * (lost.sum() * chord / max(chord.sum(), 1.0) - lost)
    missing = share * lost
    return (arc + missing) * ratio[moving], tuned.TURN_SHARE_U * (arc - chord + missing), lost * tuned.BETWEEN_SHARE_U


def _sums(label: IntArray, values: FloatArray) -> FloatArray:
    return np.asarray(np.bincount(label, values), float)


def _labels(time: FloatArray, moving: IntArray) -> tuple[IntArray, BoolArray]:
    """Return the number of the window of each moving interval, and whether each window follows on the one before."""
    run = np.cumsum(np.diff(moving, prepend=-2) > 1) - 1
    start = time[moving][np.flatnonzero(np.diff(run, prepend=-1))]
    lasts = np.bincount(run, np.diff(time)[moving])
    length = lasts / np.maximum(np.round(lasts / tuned.WINDOW_S), 1)
    number = np.floor((time[moving] - start[run] + 1e-6) / length[run]).astype(np.int64)
    new = (np.diff(run, prepend=-1) > 0) | (np.diff(number, prepend=-1) != 0)
    return np.cumsum(new) - 1, np.diff(run[new], prepend=-1) == 0


def _arcs(east: FloatArray, north: FloatArray, piece: IntArray) -> tuple[FloatArray, FloatArray]:
    """Return chords between fixes, and the arcs over them.

    An arc that turns by t is ``(t/2) / sin(t/2)`` times its chord, ``1 + t^2/24 + 7 t^4/5760``.
    """
    away, up = np.diff(east), np.diff(north)
    chord, heading = np.hypot(away, up), np.arctan2(away, up)
    whole = np.diff(piece) == 0
    turned = (np.diff(heading) + np.pi) % (2 * np.pi) - np.pi
    turned = np.where(whole[1:] & whole[:-1], turned, 0.0)
    before, after = np.concatenate(([0.0], turned)), np.concatenate((turned, [0.0]))
    square = (before**2 + before * after + after**2) / 3  # of a curvature that changes evenly
    return chord, chord * (1 + square / 24 + 7 * square**2 / 5760)


def _lost(east: FloatArray, north: FloatArray, piece: IntArray, arc: FloatArray) -> tuple[FloatArray, float]:
    """Return what each arc loses when every other fix is left out, and by what share of that the road is longer."""
    half, quarter = (_through_every(every, east, north, piece, arc) for every in (2, 4))
    growth = float(np.sum(half - quarter)) / max(float(np.sum(arc - half)), 1e-9)
    return arc - half, float(np.clip(1 / max(growth - 1, 1e-9), tuned.LEAST_BETWEEN_SHARE, tuned.BETWEEN_SHARE))


def _through_every(every: int, east: FloatArray, north: FloatArray, piece: IntArray, arc: FloatArray) -> FloatArray:
    """Return what is left of each arc when only every so many fixes stay, the mean of the ways to do that."""
    left = np.zeros(len(arc))
    count = np.zeros(len(arc))
    along = np.concatenate(([0.0], np.cumsum(arc)))
    for begin in range(every):
        some = np.arange(begin, len(east), every)
        _, long = _arcs(east[some], north[some], piece[some])
        ratio = long / np.maximum(np.diff(along[some]), 1e-3)
        same = piece[some[1:]] == piece[some[:-1]]
        for part in (some[:-1][same] + k for k in range(every)):
            left[part] += ratio[same] * arc[part]
            count[part] += 1
    return np.where(count > 0, left / np.maximum(count, 1), arc)
