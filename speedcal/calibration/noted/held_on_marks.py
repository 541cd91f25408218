"""Readings that all lie on coarse marks: the needle held there, or whatever it showed rounded to them."""

from __future__ import annotations

from math import comb
from typing import NamedTuple

import numpy as np

from speedcal.calibration.noted.clock_posterior import Cells, best_moments
from speedcal.calibration.noted.note_lines import Notes
from speedcal.calibration.speed.ground_speed import GroundSpeed
from speedcal.calibration.tuning import notes as tuned
from speedcal.calibration.tuning.general import WRONG_BELOW
from speedcal.calibration.tuning.track import SLOWEST_MPS
from speedcal.logs.writing.numbers import is_multiple


class HeldOnMarks(NamedTuple):
    """Whether readings were taken as the needle stood at its marks."""

    log_odds: float
    """Against rounding to them, with speeds as they came."""
    log_odds_by_gps: float
    """The same where they were held at multiples of the step by a receiver."""
    u_rounding_mps: float
    """Of readings that were rounded."""


def held_on_marks(
    ground: GroundSpeed, driven: GroundSpeed, notes: Notes, cells: Cells, u_rounding_mps: float
) -> HeldOnMarks:
    """Tell needles held on their marks from readings rounded to them.

    Speeds held alike are rounded alike: each mark beyond two shows once whether it lies on a line with the others, by
    the differential entropy of an even distribution over a step against that of what is left. Where true speeds lie at
    multiples of the step they may have been held by a receiver, and a dial that is off by less than half a step is
    rounded to them. Where all are tens they were hardly rounded to tens, and rounding to fives would seldom have hit no
    other, but beside tens held by a receiver.
    """
    best = int(np.argmax(cells.log_mass))
    good, moment, speed, inside = best_moments(ground, notes, cells, best)
    use = (good > WRONG_BELOW) & inside & (speed >= SLOWEST_MPS)
    if not use.any():
        return HeldOnMarks(0.0, 0.0, u_rounding_mps)
    marks = np.unique(notes.indicated_mps[use])
    off = notes.indicated_mps[use] - cells.offset_mps[best] - cells.gain[best] * speed[use]
    ten = next((ten for ten in tuned.TENS_MPS if is_multiple(marks, ten).all()), None)
    step = ten or float(np.sqrt(12)) * u_rounding_mps
    left = float(np.hypot(np.sqrt(np.mean(off**2)), tuned.SCATTER_NODES_MPS[0]))

    def on_a_line(step_mps: float) -> float:
        return float((len(marks) - 2) * (np.log(step_mps / left) - (1 + np.log(2 * np.pi)) / 2))

    kept, _, _ = driven.at(moment[use])  # whatever course the needle followed
    beside = np.mean((kept - step * np.round(kept / step)) ** 2) / tuned.HELD_BY_GPS_U_MPS**2
    at_round = float(len(marks) * (np.log(step / tuned.HELD_BY_GPS_U_MPS) - (beside + np.log(2 * np.pi)) / 2))
    by_gps = on_a_line(step) - max(at_round, 0.0)
    if ten is None:
        return HeldOnMarks(on_a_line(step), by_gps, u_rounding_mps)
    tens = round(float(np.ptp(marks)) / ten)
    no_five = float(np.log(comb(2 * tens + 1, len(marks)) / comb(tens + 1, len(marks))))
    log_odds = min(on_a_line(ten / 2) + no_five, on_a_line(ten) + tuned.TENS_HELD)
    return HeldOnMarks(log_odds, by_gps, ten / (2 * float(np.sqrt(12))))
