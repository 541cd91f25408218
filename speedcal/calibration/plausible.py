"""What no vehicle does: jumps of the position and spikes of the speed."""

from __future__ import annotations

import numpy as np

from speedcal.calibration.geodesy import local_east_north_m
from speedcal.interval import BoolArray, FloatArray, IntArray
from speedcal.logs.model import Track

FEWEST_FIXES = 10
_POSSIBLE_SPEED_MPS = 110.0
_POSSIBLE_ACCELERATION = 15.0
_POSITION_SLACK_M = 25.0
_SPIKE_MPS, _SPIKE_ACCELERATION = 6.0, 4.0


def without_jumps(track: Track) -> tuple[BoolArray, IntArray, dict[str, int]]:
    """Return which fixes to keep and the segment of each; an impossible step begins a new segment.

    A step is impossible when it is far longer than the steps around it allow. What lies between two of them and is
    shorter than ten fixes is a jump there and back, and is dropped.
    """
    if len(track) < FEWEST_FIXES:
        return np.ones(len(track), bool), track.segment, {}
    east, north = local_east_north_m(track.latitude_deg, track.longitude_deg)
    length, span = np.hypot(np.diff(east), np.diff(north)), np.diff(track.time_s)
    usual = _running_median(length / span, 3)
    reach = span * np.minimum(usual + _POSSIBLE_ACCELERATION * span, _POSSIBLE_SPEED_MPS)
    impossible = length > reach + _POSITION_SLACK_M
    part = np.concatenate(([0], np.cumsum(impossible)))
    keep = (np.bincount(part) >= FEWEST_FIXES)[part]
    counts = {"impossible_jump": int((~keep).sum()), "step_of_positions": int((impossible[1:] & keep[2:]).sum())}
    segment = np.cumsum(np.concatenate(([0], (np.diff(track.segment) != 0) | impossible)))
    return keep, segment, {reason: count for reason, count in counts.items() if count}


def without_spikes(time: FloatArray, speed: FloatArray) -> BoolArray:
    """Return which speeds to keep; one that stands out from the median of its neighbours is a spike.

    A speed that only rises or only falls, however fast, is its own median; so braking hard is not a spike.
    """
    interval = float(np.median(np.diff(time)))
    away = np.abs(speed - _running_median(speed, 3))
    return np.asarray(away <= _SPIKE_MPS + _SPIKE_ACCELERATION * interval)


def _running_median(values: FloatArray, reach: int) -> FloatArray:
    """Return the median over the values up to ``reach`` before and after each."""
    padded = np.pad(values, reach, mode="edge")
    return np.asarray(np.median(np.lib.stride_tricks.sliding_window_view(padded, 2 * reach + 1), axis=1))
