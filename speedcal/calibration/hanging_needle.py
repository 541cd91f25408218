"""Notes of a needle that hangs: a worn cable or a dry bearing holds it until it is off by some mph, and then drags it.

Where it hangs follows from the speeds driven before, so the course of what it shows is known but for how far it hangs.
Notes are held against such courses as against that of the speed itself; scatter that a course explains says nothing
against the drive.
"""

from __future__ import annotations

from collections.abc import Callable
from contextlib import suppress
from dataclasses import replace

import numpy as np

from speedcal.calibration.dial_mixture import PointerPlay
from speedcal.calibration.ground_speed import GroundSpeed
from speedcal.calibration.measured import MeasuredLine, with_shared
from speedcal.calibration.tuning import FEW_READINGS, WRONG_BELOW
from speedcal.calibration.tuning_notes import (
    HANGING_ASKED_FROM,
    HANGING_RESCUES,
    HANGING_SHARE,
    HANGING_SIZES_MPS,
)
from speedcal.calibration.tuning_track import SLOWEST_MPS
from speedcal.calibration.weigh_noted import Weighed, best_moments
from speedcal.errors import AlignmentError
from speedcal.interval import FloatArray

HANGING = "hanging_needle"
"""Name in the budget of how far a needle hangs, where that is not sure."""
_NEGLIGIBLE = 0.05
_EXACT = 1e-9
"""Sum of squares below which readings lie on a line for all that matters."""


def with_hanging_needle(
    weighed: Weighed,
    weigh: Callable[[GroundSpeed], Weighed],
    fit: Callable[[Weighed], MeasuredLine],
    plainly: Callable[[Weighed], MeasuredLine],
) -> MeasuredLine:
    """Return a fit of notes, to the speeds that a hanging needle shows where the readings say so.

    Parameters are those of :func:`speedcal.calibration.slow_needle.with_slow_needle`, and ``plainly``, which fits notes
    of a needle that does not hang.
    """
    ground = weighed.ground
    gains = [(gain_by(hang, weighed), hang) for hang in hangs_along(ground)]
    if max(gain for gain, _ in gains) < HANGING_ASKED_FROM:
        return plainly(weighed)
    courses = [weigh(ground.shown_as(ground.speed_mps + hang)) for gain, hang in gains if gain > 0]
    # a needle that hangs has to explain by itself what one that jumps at low speed would explain
    own = np.array([course.log_evidence - course.log_jumps for course in courses])
    log_odds = own - weighed.log_evidence - np.log(len(HANGING_SIZES_MPS))
    every = float(np.logaddexp.reduce(log_odds))
    paid = log_odds + np.log(HANGING_SHARE)
    shares = np.exp(paid - np.logaddexp(0.0, np.logaddexp.reduce(paid)))
    ways: list[tuple[float, MeasuredLine]] = []
    if every < HANGING_RESCUES:  # only what surely hangs saves notes that look like those of another drive
        ways.append((1 - float(shares.sum()), plainly(weighed)))
    log_evidence = weighed.log_evidence + every + float(np.log(HANGING_SHARE))
    for share, course in zip(shares.tolist(), courses, strict=True):
        if share > _NEGLIGIBLE:
            with suppress(AlignmentError):
                line = fit(replace(course, log_evidence=log_evidence))
                ways.append((share, _told(line, course.ground, ground)))
    return likeliest(ways, HANGING) if ways else plainly(weighed)


def likeliest(ways: list[tuple[float, MeasuredLine]], why: str) -> MeasuredLine:
    """Return the likeliest of several fits by their shares, with how far the others tell otherwise as a budget line."""
    _, best = max(ways, key=lambda way: way[0])
    if best.dial is None or len(ways) == 1:
        return best
    knots, whole = best.dial.knots_mps, sum(share for share, _ in ways)
    apart = [(share / whole, one.dial.indicated(knots) - best.dial.shown_mps) for share, one in ways if one.dial]
    return with_shared(best, {why: np.sum([share * np.outer(off, off) for share, off in apart], axis=0)})


def hangs_along(ground: GroundSpeed) -> list[FloatArray]:
    """Return by how much more needles that hang by several amounts show at each fix, as true speed."""
    clock = np.arange(ground.time_s[0], ground.time_s[-1] + 1.0)
    speed, _, inside = ground.at(clock)
    plays = [PointerPlay.behind(clock, speed, inside, play_mps=size) for size in HANGING_SIZES_MPS]
    return [size * play.at(ground.time_s) for size, play in zip(HANGING_SIZES_MPS, plays, strict=True)]


def gain_by(hang: FloatArray, weighed: Weighed) -> float:
    """Return the log likelihood ratio of so much more speed at each fix, as of a needle that hangs, roughly.

    Of normal errors about a line, at the moments found without it; what a late clock does as well is left out of both.
    """
    ground, notes, cells = weighed.ground, weighed.notes, weighed.cells
    good, moment, speed, inside = best_moments(ground, notes, cells, int(np.argmax(cells.log_mass)))
    use = (good > WRONG_BELOW) & inside & (speed >= SLOWEST_MPS)
    if use.sum() < FEW_READINGS:
        return -np.inf
    moment, speed, shown = moment[use], speed[use], notes.indicated_mps[use]
    rate = ground.at(moment)[1]

    def left(course_mps: FloatArray) -> float:
        design = np.column_stack([np.ones(len(shown)), course_mps, rate])
        off = shown - design @ np.linalg.lstsq(design, shown, rcond=None)[0]
        return float(off @ off)

    along = left(speed + np.interp(moment, ground.time_s, hang))
    return float(len(shown) / 2 * np.log(max(left(speed), _EXACT) / max(along, _EXACT)))


def _told(line: MeasuredLine, course: GroundSpeed, ground: GroundSpeed) -> MeasuredLine:
    """Return a fit to a course beside the speed itself."""
    known = np.isfinite(line.time_s) & np.isfinite(line.ground_mps)
    speed = np.where(known, ground.at(line.time_s)[0], np.nan)
    hangs = np.where(known, line.gain * (course.at(line.time_s)[0] - speed), 0.0)
    return replace(line, ground_mps=speed, hangs_mps=hangs)
