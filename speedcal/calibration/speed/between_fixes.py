"""The way between fixes that lie far apart: straight lines are too short, and by how much is told by thinning them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from speedcal.calibration.tuning import track as tuned
from speedcal.interval import FloatArray, IntArray


@dataclass(frozen=True, slots=True)
class Way:
    """The way along the fixes."""

    step_m: FloatArray
    """From each fix to the next, what is lost spread evenly, as distances ask; zero across gaps. [m]"""
    bent_step_m: FloatArray
    """The same with what is lost where the bends are, as speeds ask. [m]"""
    longer: float
    """Share by which the road is longer than the straight lines; ``step_m`` has it in."""
    u: float
    """Relative standard uncertainty of the way, the same for all of it."""


def way_between(piece: IntArray, east: FloatArray, north: FloatArray, speed: FloatArray) -> Way:
    """Return the way along fixes that lie far apart.

    Straight lines from fix to fix cut corners. Those over every second fix cut more of them, those over every fourth
    more again. How the loss grows tells smooth bends (with the square of the distance) from corners that are rarer than
    fixes (with the distance), and so what the first lines lose themselves; where they do, what the second ones lose.

    Parameters
    ----------
    piece
        Number of the unbroken piece of each fix, shape (n,).
    east, north
        Positions. [m]
    speed
        Speed at each fix; where it stands at both ends of a short line the receiver only wanders. [m/s]
    """
    here = np.diff(piece) == 0
    chord = np.hypot(np.diff(east), np.diff(north))
    standing = np.maximum(speed[1:], speed[:-1]) < tuned.SLOWEST_MPS
    chord[~here | (standing & (chord < tuned.STANDING_CHORD_M))] = 0.0
    whole, half, quarter = (_length(piece, east, north, chord, every) for every in (1, 2, 4))
    lost = max(1 - half / max(whole, 1.0), 0.0)
    growth = (half - quarter) / max(whole - half, 1e-9)
    share = float(
        np.clip(1 / max(growth - tuned.CHORD_GROWTH_OFF, 1e-9), tuned.CHORD_LOSS_LEAST, tuned.CHORD_LOSS_MOST)
    )
    longer = share * lost
    where = _lost_at(piece, east, north, chord)
    bent = chord + where * (longer * whole / max(float(where.sum()), 1e-9))
    return Way(chord * (1 + longer), bent, longer, tuned.CHORD_LOSS_U * share * longer)


def _lost_at(piece: IntArray, east: FloatArray, north: FloatArray, chord: FloatArray) -> FloatArray:
    """Return what lines over every second fix lose at each step, in the mean over it and four beside it. [m].

    Bends are driven slowly: spread evenly, what they lose would make the fast and straight parts faster than they were.
    """
    far = np.hypot(east[2:] - east[:-2], north[2:] - north[:-2])
    lost = np.where(piece[2:] == piece[:-2], np.maximum(chord[1:] + chord[:-1] - far, 0.0), 0.0)
    at = np.concatenate((lost, [0.0])) + np.concatenate(([0.0], lost))
    near, length = (np.convolve(x, (1.0, 2.0, 3.0, 2.0, 1.0), "same") for x in (at, chord))
    return near / np.maximum(length, 1e-9) * chord


def _length(piece: IntArray, east: FloatArray, north: FloatArray, chord: FloatArray, every: int) -> float:
    """Return the length of straight lines over every so many fixes, in the mean over where they begin.

    What is left at the ends of the unbroken pieces is taken from fix to fix.
    """
    along = np.concatenate(([0.0], np.cumsum(chord)))
    far = np.hypot(east[every:] - east[:-every], north[every:] - north[:-every])
    inside = piece[every:] == piece[:-every]
    short = np.minimum(far, along[every:] - along[:-every])[inside]
    covered = (along[every:] - along[:-every])[inside]
    return float(along[-1] - (covered.sum() - short.sum()) / every)
