"""Readings that all lie on coarse marks: the needle held there, or whatever it showed rounded to them.

Speeds held alike are rounded alike, so each mark tells once whether it lies on a line with the others, by the
differential entropy of an even distribution over a step against that of what is left. Speeds held a step apart by a
receiver are rounded alike too, wherever between two marks the needle then stands: of such readings the line goes up as
the speed does, and tells nothing of the dial.
"""

from __future__ import annotations

from math import comb
from typing import NamedTuple

import numpy as np

from speedcal.calibration.noted.clock_posterior import Cells, best_moments
from speedcal.calibration.noted.note_lines import Notes
from speedcal.calibration.speed.ground_speed import GroundSpeed
from speedcal.calibration.tuning import notes as tuned
from speedcal.calibration.tuning.general import OFFSET_SHARES, OFFSET_SIZES_MPS, WRONG_BELOW
from speedcal.calibration.tuning.track import SLOWEST_MPS
from speedcal.interval import FloatArray
from speedcal.logs.writing.numbers import is_multiple

_LINE, _STEPS_APART = 2, 1
"""Marks that lie on any line, and in any even steps."""


class HeldOnMarks(NamedTuple):
    """Whether readings were taken as the needle stood at its marks."""

    log_odds: float
    """Against rounding to them, with speeds as they came."""
    log_odds_by_gps: float
    """The same where they may have been held a step apart by a receiver."""
    u_rounding_mps: float
    """Of readings that were rounded."""


def held_on_marks(ground: GroundSpeed, notes: Notes, cells: Cells, u_rounding_mps: float) -> HeldOnMarks:
    """Tell needles held on their marks from readings rounded to them.

    Where all are tens they were hardly rounded to tens, and rounding to fives would seldom have hit no other, but
    beside tens held by a receiver.
    """
    best = int(np.argmax(cells.log_mass))
    good, _, speed, inside = best_moments(ground, notes, cells, best)
    use = (good > WRONG_BELOW) & inside & (speed >= SLOWEST_MPS)
    if not use.any():
        return HeldOnMarks(0.0, 0.0, u_rounding_mps)
    shown, speed = notes.indicated_mps[use], speed[use]
    off = shown - cells.offset_mps[best] - cells.gain[best] * speed
    step, rounded = steps_of(shown, float(np.sqrt(12)) * u_rounding_mps)
    count = len(np.unique(shown))
    by_gps = over_receiver(shown, off, speed, step, rounded, needle_mps=float(cells.offset_mps[best]))
    if rounded == step:
        return HeldOnMarks(_told(count - _LINE, step, off), by_gps, u_rounding_mps)
    tens = round(float(np.ptp(shown)) / step)
    no_five = float(np.log(comb(2 * tens + 1, count) / comb(tens + 1, count)))
    log_odds = min(_told(count - _LINE, rounded, off) + no_five, _told(count - _LINE, step, off) + tuned.TENS_HELD)
    return HeldOnMarks(log_odds, by_gps, rounded / float(np.sqrt(12)))


def steps_of(shown_mps: FloatArray, step_mps: float) -> tuple[float, float]:
    """Return the step of coarse readings, and that to which somebody rounded them if they were: tens hardly to tens."""
    ten = tuned.TEN_MPS
    return (ten, ten / 2) if is_multiple(shown_mps, ten).all() else (step_mps, step_mps)


def over_receiver(
    shown_mps: FloatArray,
    off_mps: FloatArray,
    kept_mps: FloatArray,
    step_mps: float,
    rounded_mps: float,
    *,
    needle_mps: float,
) -> float:
    """Return the log odds of a needle held on its marks against speeds held by a receiver or as they came.

    Rounded alike, readings of a receiver's steps go up as the speed does and sit up to half a step off, as few needles.

    Parameters
    ----------
    shown_mps
        Readings, shape (n,).
    off_mps
        What a line leaves of each.
    kept_mps
        True speed of each.
    step_mps, rounded_mps
        As :func:`steps_of` returns them; rounded to fives, tens held by a receiver would come out as fives as often.
    needle_mps
        By which the needle then sits high.
    """
    count = len(np.unique(shown_mps))
    turned = np.angle(np.mean(np.exp(2j * np.pi * kept_mps / step_mps))) / (2 * np.pi)
    beside = kept_mps / step_mps - turned
    by_receiver = _told(count - _STEPS_APART, step_mps, step_mps * (beside - np.round(beside)))
    on_marks = _told(count - _LINE, step_mps, off_mps) + _seldom(needle_mps)
    return on_marks - max(by_receiver, 0.0) + float(np.log(step_mps / rounded_mps))


def _seldom(needle_mps: float) -> float:
    """Return by how many nats such a needle is less likely than one that sits right."""
    sizes, shares = np.array(OFFSET_SIZES_MPS), np.array(OFFSET_SHARES)
    seen = shares / sizes * np.exp(-((needle_mps / sizes) ** 2) / 2)
    return float(np.log(seen.sum() / (shares / sizes).sum()))


def _told(count: int, step_mps: float, left_mps: FloatArray) -> float:
    """Return by how many nats so many marks are nearer than anywhere within a step."""
    left = float(np.hypot(np.sqrt(np.mean(left_mps**2)), tuned.SCATTER_NODES_MPS[0]))
    return count * float(np.log(step_mps / left) - (1 + np.log(2 * np.pi)) / 2)
