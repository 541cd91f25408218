"""Do these readings belong to this track? What the readings would look like if they did not.

The evidence for a track is held against that of readings which know nothing of it. Such readings are no independent
draws: the speed of any drive lasts, so neighbours in time are alike, and that alone lays them on many tracks
tolerably. A Markov chain over the readings has this in it (Kass and Raftery 1995, J. Am. Statist. Assoc. 90, 773-795,
on the odds from which evidence counts).
"""

from __future__ import annotations

from itertools import product

import numpy as np

from speedcal.calibration.speed.ground_speed import GroundSpeed
from speedcal.calibration.tuning import notes as tuned
from speedcal.calibration.tuning.general import WRONG_SPREAD_MPS
from speedcal.calibration.tuning.track import SLOWEST_MPS
from speedcal.interval import FloatArray

_TRACK_POINTS = 150


def stray_density(ground: GroundSpeed, indicated_mps: FloatArray) -> FloatArray:
    """Return the density of each reading if nobody knows when it was taken, shape (n,). [s/m].

    Half of it is what the track makes likely at any moment, half what the other readings do.
    """
    return 0.5 * _from_track(ground, indicated_mps) + 0.5 * _from_others(indicated_mps)


def _from_track(ground: GroundSpeed, indicated: FloatArray) -> FloatArray:
    moving = np.sort(ground.speed_mps[ground.speed_mps >= SLOWEST_MPS])
    uniform = tuned.TRACK_UNIFORM / WRONG_SPREAD_MPS
    if not len(moving):
        return np.full(len(indicated), 1 / WRONG_SPREAD_MPS)
    some = moving[np.linspace(0, len(moving) - 1, min(len(moving), _TRACK_POINTS)).astype(int)]
    width = np.maximum(tuned.TRACK_KERNEL_SHARE * some, tuned.TRACK_KERNEL_MPS)
    return np.asarray((1 - tuned.TRACK_UNIFORM) * _normal(indicated[:, None] - some, width).mean(axis=1) + uniform)


def _from_others(indicated: FloatArray) -> FloatArray:
    near = _normal(indicated[:, None] - indicated, tuned.NOTES_KERNEL_MPS)
    np.fill_diagonal(near, 0.0)
    others = near.sum(axis=1) / max(len(indicated) - 1, 1)
    return np.asarray((1 - tuned.NOTES_UNIFORM) * others + tuned.NOTES_UNIFORM / WRONG_SPREAD_MPS)


def log_unrelated(time_s: FloatArray, indicated_mps: FloatArray, stray: FloatArray, *, least_s: float) -> float:
    """Return the log evidence of the readings if they belong to another drive.

    Each reading is like the one before it, the more so the sooner it follows, or it is anything. How much of both is
    averaged over.

    Parameters
    ----------
    time_s, indicated_mps
        Readings, shape (n,); there may be none. [s, m/s]
    stray
        :func:`stray_density` of each. [s/m]
    least_s
        Least time between two readings that their stamps can vouch for. [s]
    """
    if not len(time_s):
        return 0.0
    order = np.argsort(time_s, kind="stable")
    shown, free = indicated_mps[order], stray[order]
    since = np.maximum(np.diff(time_s[order]), least_s)
    step = np.diff(shown)
    logs = []
    for lasts, memory, sd in product(tuned.UNRELATED_LASTS, tuned.UNRELATED_MEMORY_S, tuned.UNRELATED_STEP_MPS):
        same = lasts * np.exp(-since / memory)
        logs.append(float(np.log(same * _normal(step, sd) + (1 - same) * free[1:]).sum()))
    return float(np.log(free[0]) + np.logaddexp.reduce(logs) - np.log(len(logs)))


def _normal(away: FloatArray, sd: FloatArray | float) -> FloatArray:
    return np.asarray(np.exp(-0.5 * (away / sd) ** 2) / (sd * np.sqrt(2 * np.pi)))
