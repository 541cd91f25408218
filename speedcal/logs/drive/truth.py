"""Whether readings are a copy of the recorded speed of the track: then the truth would be held against itself."""

from __future__ import annotations

from typing import Literal

import numpy as np

from speedcal.interval import BoolArray, FloatArray
from speedcal.logs.drive.moved_copy import is_moved_copy
from speedcal.logs.drive.readings import Readings
from speedcal.logs.drive.track import Track

Kinship = Literal["copy", "untold", "own"]
"""``copy`` of the recorded speed; ``untold`` where the drive cannot tell; ``own``: an instrument of its own."""

_FEWEST = 20
_FEWEST_CHANGING = 60
"""With fewer rows under way between two speeds a right instrument may agree by luck."""
_LONGEST_STEP_S = 6.0
_ROUNDING = 0.505
"""Half a step, and a little for what an export rounded once more."""
_SAME_MPS = 0.02
"""What smoothing by an export changes. Two sensors scatter by 0.05 m/s at the least."""
_FINE_MPS, _SAME_FINE_MPS = 0.05, 0.06
"""The same for readings in steps so fine that they do not round an instrument's own scatter away."""
_BETWEEN_MPS3 = 0.06
"""What a straight line between two fixes misses, for a second between them. [m/s/s^2]"""
_MOST_BETWEEN_MPS = 0.1
"""More would take an instrument beside sparse fixes for a copy of them."""
_SHARE = 0.97
"""Rounded to 1 km/h, an instrument with a scatter of 0.03 m/s and nothing else wrong comes to 0.968."""
_ACCELERATING_MPS2 = 0.4
_MEAN_SIGMAS = 4.0
"""How far the mean difference of two series may be from that of one series rounded twice."""
_ABSURD_MPS = 1000.0
_QUARTER_S, _STAMP_S = 900.0, 0.02


def kinship(track: Track, readings: Readings) -> Kinship:
    """Tell whether the readings are the recorded speed over again.

    A copy has no delay when the vehicle speeds up and no scatter beyond rounding. A drive that hardly changes its speed
    cannot tell: an instrument that is right looks like a copy there.
    """
    recorded = np.abs(np.nan_to_num(track.speed_mps, nan=np.inf)) < _ABSURD_MPS
    known = (np.abs(np.nan_to_num(readings.speed_mps, nan=np.inf)) < _ABSURD_MPS) & np.isfinite(readings.time_s)
    if readings.clock == "none" or known.sum() < _FEWEST or recorded.sum() < _FEWEST:
        return "own"
    time_s, shown = readings.time_s[known], readings.speed_mps[known]
    shifts = _shifts(track, time_s)
    found: list[Kinship] = [_at(track, recorded, time_s + shift, shown, readings) for shift in shifts]
    if "copy" in found:
        return "copy"
    alike = "untold" in found or is_moved_copy(
        (track.time_s[recorded], track.speed_mps[recorded], track.speed_step_mps),
        (time_s, shown, readings.speed_resolution_mps),
        shifts,
    )
    return "untold" if alike else "own"


def _shifts(track: Track, time_s: FloatArray) -> list[float]:
    """Return what a copy's clock may be off: nothing, whole quarters of an hour, or where its seconds start."""
    start = float(track.time_s[0] - time_s[0])
    return sorted({0.0, start, float(round(start / _QUARTER_S)) * _QUARTER_S}, key=abs)


def _at(track: Track, recorded: BoolArray, time_s: FloatArray, shown: FloatArray, readings: Readings) -> Kinship:
    clock, speed = track.time_s[recorded], track.speed_mps[recorded]
    place = np.clip(np.searchsorted(clock, time_s), 1, len(clock) - 1)
    step_s = clock[place] - clock[place - 1]
    inside = (time_s >= clock[0] - 0.5) & (time_s <= clock[-1] + 0.5) & (step_s <= _LONGEST_STEP_S)
    if inside.sum() < _FEWEST:
        return "own"
    rate = np.abs((speed[place] - speed[place - 1]) / step_s)[inside]
    step = readings.speed_resolution_mps
    slack = _ROUNDING * step + (_SAME_MPS if step > _FINE_MPS else _SAME_FINE_MPS)
    # what a copy of the speed before the receiver rounded it may differ by; a right instrument may as well
    coarse = _ROUNDING * track.speed_step_mps
    line, held = np.interp(time_s[inside], clock, speed), speed[np.searchsorted(clock, time_s[inside] + 1e-6) - 1]
    near = np.minimum(np.abs(time_s - clock[place - 1]), np.abs(clock[place] - time_s))[inside]
    miss = np.where(near > _STAMP_S, np.minimum(_BETWEEN_MPS3 * step_s[inside] ** 2, _MOST_BETWEEN_MPS), 0.0)
    for truth, more in ((line, miss), (held, 0.0)):  # rows between two fixes are drawn through or repeated
        for cut in (0.0, step / 2, -track.speed_step_mps / 2):  # rounded to the nearest, or down, one or the other
            left, changing = np.abs(shown[inside] - truth + cut) - more, rate >= _ACCELERATING_MPS2
            same = left <= slack + coarse
            enough = changing.sum() >= _FEWEST_CHANGING
            # at steady whole speeds a dial that is right looks like a copy; on the way between them it does not
            if same.mean() >= _SHARE and (not enough or same[changing].mean() >= _SHARE):
                varied = float(np.quantile(truth, 0.9) - np.quantile(truth, 0.1)) > max(10 * step, 4.0)
                certain = cut >= 0 and (left <= slack).mean() >= _SHARE
                pair = truth[changing], shown[inside][changing]
                if not enough or _rounded_twice(*pair, (track.speed_step_mps, step)):
                    return "copy" if enough and varied and certain else "untold"
    return "own"


def _rounded_twice(truth: FloatArray, shown: FloatArray, steps: tuple[float, float]) -> bool:
    """Tell whether two series while the speed changes, each in its own steps, may be one that was rounded twice.

    Nearest or down, rounding leaves a mean difference of nothing or of half a step, the same when slow and when fast;
    the dial of an instrument that is right but for a little leaves any.
    """
    ways = [b - a for a in (0.0, -steps[0] / 2) for b in (0.0, -steps[1] / 2)]
    fast = truth > np.median(truth)
    parts = [(shown - truth)[which] for which in (fast, ~fast) if which.any()]
    loose = [_MEAN_SIGMAS * float(part.std()) / np.sqrt(len(part)) + _SAME_MPS for part in parts]
    return any(all(abs(part.mean() - way) <= most for part, most in zip(parts, loose, strict=True)) for way in ways)
