"""Notes beside positions that may have been smoothed: weighed beside the speeds that each smoothing would have left.

Positions smoothed by some seconds take speed in bends that the vehicle had, and say so nowhere; notes in bends and on
straights together do. A dozen of them rarely settle it, so what is not sure goes into the interval by its odds.
"""

from __future__ import annotations

from collections.abc import Callable
from contextlib import nullcontext, suppress
from dataclasses import replace

import numpy as np

from speedcal.calibration.dial.measured import MeasuredLine
from speedcal.calibration.noted.other_courses import gain_by, likeliest
from speedcal.calibration.noted.weigh_noted import Weighed
from speedcal.calibration.speed.ground_speed import GroundSpeed
from speedcal.calibration.speed.positions import Smoothing
from speedcal.calibration.speed.smoothing import SMOOTHED, with_smoothing
from speedcal.calibration.tuning.notes import (
    ASSOCIATION_FROM,
    SMOOTHED_NOTES_FROM,
    SMOOTHED_NOTES_S,
    SMOOTHED_NOTES_SHARE,
)
from speedcal.errors import AlignmentError

_NEGLIGIBLE = 0.02
"""A smoothing, or none, of a smaller probability is not fitted."""


def with_smoothed_positions(
    weighed: Weighed, weigh: Callable[[GroundSpeed], Weighed], fit: Callable[[Weighed], MeasuredLine]
) -> MeasuredLine:
    """Return the likeliest fit of notes to positions, smoothed or not, with what the others tell otherwise.

    Parameters are those of :func:`speedcal.calibration.noted.hanging_needle.with_hanging_needle`.
    """
    ground = weighed.ground
    if ground.local_fit is None or ground.between_is_guessed or weighed.log_evidence < ASSOCIATION_FROM:
        return fit(weighed)  # whether notes belong to the track is told by its positions as they are
    tried = [with_smoothing(ground, ground.local_fit, Smoothing(each, one_sided=True)) for each in SMOOTHED_NOTES_S]
    asked = [one for one in tried if gain_by(one.speed_mps - ground.speed_mps, weighed) > SMOOTHED_NOTES_FROM]
    courses = [weigh(one) for one in asked]
    log_paid = np.array([course.log_evidence for course in courses]) + np.log(SMOOTHED_NOTES_SHARE / len(tried))
    log_plain = weighed.log_evidence + np.log1p(-SMOOTHED_NOTES_SHARE)
    every = float(np.logaddexp.reduce([log_plain, *log_paid]))
    ways: list[tuple[float, MeasuredLine]] = []
    for log_share, course in zip((log_paid - every).tolist(), courses, strict=True):
        if np.exp(log_share) > _NEGLIGIBLE:
            with suppress(AlignmentError):
                line = fit(replace(course, log_evidence=weighed.log_evidence))
                told = course.ground.findings[len(ground.findings) :]
                ways.append((float(np.exp(log_share)), replace(line, findings=(*line.findings, *told))))
    if not ways or np.exp(log_plain - every) > _NEGLIGIBLE:
        with suppress(AlignmentError) if ways else nullcontext():  # loose beside the positions as they are
            ways.append((float(np.exp(log_plain - every)), fit(weighed)))
    return likeliest(ways, SMOOTHED)
