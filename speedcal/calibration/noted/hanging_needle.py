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

from speedcal.calibration.dial.dial_mixture import PointerPlay
from speedcal.calibration.dial.measured import MeasuredLine
from speedcal.calibration.noted.other_courses import gain_by, likeliest
from speedcal.calibration.noted.weigh_noted import Weighed
from speedcal.calibration.speed.ground_speed import GroundSpeed
from speedcal.calibration.tuning import notes as tuned
from speedcal.errors import AlignmentError
from speedcal.interval import FloatArray

HANGING = "hanging_needle"
"""Name in the budget of how far a needle hangs, where that is not sure."""
_NEGLIGIBLE = 0.05
"""A needle that hangs so with a smaller probability is not fitted."""


def with_hanging_needle(
    weighed: Weighed, weigh: Callable[[GroundSpeed], Weighed], fit: Callable[[Weighed], MeasuredLine]
) -> MeasuredLine:
    """Return a fit of notes, to the speeds that a hanging needle shows where the readings say so.

    Parameters
    ----------
    weighed
        The notes beside the speed as it was.
    weigh
        Weighs them beside any course of the speed.
    fit
        Fits them once they are weighed.
    """
    ground = weighed.ground
    gains = [(gain_by(hang, weighed), hang) for hang in hangs_along(ground)]
    if max(gain for gain, _ in gains) < tuned.HANGING_ASKED_FROM:
        return fit(weighed)
    courses = [weigh(ground.shown_as(ground.speed_mps + hang)) for gain, hang in gains if gain > 0]
    # a needle that hangs has to explain by itself what one that jumps at low speed would explain
    own = np.array([course.log_evidence - course.log_jumps for course in courses])
    log_odds = own - weighed.log_evidence - np.log(len(tuned.HANGING_SIZES_MPS))
    every = float(np.logaddexp.reduce(log_odds))
    paid = log_odds + np.log(tuned.HANGING_SHARE)
    shares = np.exp(paid - np.logaddexp(0.0, np.logaddexp.reduce(paid)))
    ways: list[tuple[float, MeasuredLine]] = []
    if every < tuned.HANGING_RESCUES:  # only what surely hangs saves notes that look like those of another drive
        ways.append((1 - float(shares.sum()), fit(weighed)))
    log_evidence = weighed.log_evidence + every + float(np.log(tuned.HANGING_SHARE))
    for share, course in zip(shares.tolist(), courses, strict=True):
        if share > _NEGLIGIBLE:
            with suppress(AlignmentError):
                line = fit(replace(course, log_evidence=log_evidence))
                ways.append((share, _told(line, course.ground, ground)))
    return likeliest(ways, HANGING) if ways else fit(weighed)


def hangs_along(ground: GroundSpeed) -> list[FloatArray]:
    """Return by how much more needles that hang by several amounts show at each fix, as true speed."""
    clock = np.arange(ground.time_s[0], ground.time_s[-1] + 1.0)
    speed, _, inside = ground.at(clock)
    plays = [PointerPlay.behind(clock, speed, inside, play_mps=size) for size in tuned.HANGING_SIZES_MPS]
    return [size * play.at(ground.time_s) for size, play in zip(tuned.HANGING_SIZES_MPS, plays, strict=True)]


def _told(line: MeasuredLine, course: GroundSpeed, ground: GroundSpeed) -> MeasuredLine:
    """Return a fit to a course beside the speed itself."""
    known = np.isfinite(line.time_s) & np.isfinite(line.ground_mps)
    speed = np.where(known, ground.at(line.time_s)[0], np.nan)
    hangs = np.where(known, line.gain * (course.at(line.time_s)[0] - speed), 0.0)
    return replace(line, ground_mps=speed, hangs_mps=hangs)
