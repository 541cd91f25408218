"""Fixes that a program put between those of the receiver, on straight lines, as it made even steps of a track.

Taken for fixes they hide what a vehicle does between two that were measured: it seems to go at one speed and straight,
and to change both in no time. The receiver's own are where the lines meet.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from speedcal.calibration.speed.geodesy import local_east_north_m
from speedcal.calibration.tuning import track as tuned
from speedcal.interval import BoolArray, FloatArray, IntArray, median
from speedcal.logs.drive.track import Track

_METRES_IN_DEGREE = 111_195.0
_DIGITS = range(5, 10)


def measured(track: Track) -> tuple[Track, dict[str, int]]:
    """Return a track without what was put between its fixes, and the count of that; most come back as they are."""
    if len(track) < tuned.FEWEST_FIXES:
        return track, {}
    place = np.stack(local_east_north_m(track.latitude_deg, track.longitude_deg))
    step_m = _step_m(track)
    off, reach = _off_line(track, place)
    even = off < tuned.ON_LINE_STEPS * step_m
    turns = off > tuned.OFF_LINE_STEPS * step_m
    moving = even & (reach > tuned.OFF_LINE_STEPS * step_m)
    beside = np.zeros(len(off), bool)
    beside[1:] |= moving[:-1]
    beside[:-1] |= moving[1:]
    if turns.sum() < tuned.FEWEST_TURNS or beside[turns].mean() < tuned.TURNS_BESIDE_LINES:
        return track, {}
    end = np.flatnonzero(~np.concatenate(([False], even, [False])))
    own = _where_lines_meet(track, place, end)
    return own, {"put_between": len(track) - len(own)}


def _step_m(track: Track) -> float:
    """Return the step in which positions are written, next to none where they are not decimal. [m]."""
    both = np.concatenate((track.latitude_deg, track.longitude_deg))
    for digits in _DIGITS:
        scaled = both * 10.0**digits
        if (np.abs(scaled - np.round(scaled)) < 1e-3).all():
            return _METRES_IN_DEGREE * 10.0**-digits
    return _METRES_IN_DEGREE * 10.0 ** -_DIGITS[-1]


def _off_line(track: Track, place: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return how far each fix lies off even going between its neighbours, and how far apart those are. [m].

    All but the first and the last; those at the border of a segment lie off by an amount that is not known.
    """
    time = track.time_s
    share = (time[1:-1] - time[:-2]) / (time[2:] - time[:-2])
    across = place[:, 2:] - place[:, :-2]
    off = np.hypot(*(place[:, 1:-1] - place[:, :-2] - share * across))
    off[track.segment[2:] != track.segment[:-2]] = np.nan
    return off, np.hypot(*across)


def _where_lines_meet(track: Track, place: FloatArray, end: IntArray) -> Track:
    """Return the track of the ends of its lines, and of points along lines longer than usual.

    Where the end of one line and the begin of the next are neighbours, no fix was made at either: one stands between
    them, where both lines meet.
    """
    time = track.time_s
    inside = np.diff(end) > 1
    meets = np.flatnonzero(inside[:-2] & ~inside[1:-1] & inside[2:]) + 1
    before, after = end[meets], end[meets + 1]
    first, last = end[meets - 1], end[meets + 2]
    span = time[after] - time[before]
    speed = (place[:, before] - place[:, first]) / (time[before] - time[first])
    later = (place[:, last] - place[:, after]) / (time[last] - time[after])
    change = later - speed
    apart = place[:, after] - place[:, before] - later * span
    since = np.clip(-(apart * change).sum(axis=0) / np.maximum((change**2).sum(axis=0), 1e-12), 0.0, span)
    since = np.where(track.segment[after] == track.segment[before], since, 0.0)

    def moved(values: FloatArray) -> FloatArray:
        rate = (values[before] - values[first]) / (time[before] - time[first])
        own = values.copy()
        own[before] += rate * since
        return own

    gone = np.zeros(len(time), bool)
    gone[after] = track.segment[after] == track.segment[before]
    own_s = moved(time)
    keep = _along(own_s, end[~gone[end]])
    return replace(
        track,
        time_s=own_s[keep],
        latitude_deg=moved(track.latitude_deg)[keep],
        longitude_deg=moved(track.longitude_deg)[keep],
        elevation_m=moved(track.elevation_m)[keep],
        speed_mps=moved(track.speed_mps)[keep],
        segment=track.segment[keep],
    )


def _along(time: FloatArray, end: IntArray) -> BoolArray:
    """Return which fixes to keep: the ends of all lines, and along longer ones so many as elsewhere."""
    usual = median(np.diff(time[end]))
    line = np.clip(np.searchsorted(end, np.arange(len(time)), side="right") - 1, 0, len(end) - 2)
    begin, span = time[end][line], np.diff(time[end])[line]
    part = np.floor((time - begin) / (span / np.maximum(np.round(span / usual), 1.0)) + 1e-6)
    keep = np.diff(part, prepend=-1) > 0
    keep[end] = True
    return np.asarray(keep)
