"""Notes beside positions that may wander: errors that last for seconds look like driving, and no residual shows them.

Between high walls a fix errs like the one before it. Along the road that looks like a vehicle that pushes and slackens,
across it like bends. Roads have bends and drivers push, so where both change is not proof; but where either is calm the
positions are good, and the notes tell whether the speed is worse known where they are not.
"""

from __future__ import annotations

from collections.abc import Callable
from contextlib import suppress
from dataclasses import replace

import numpy as np

from speedcal.calibration.dial.measured import MeasuredLine
from speedcal.calibration.noted.weigh_noted import Weighed
from speedcal.calibration.speed.ground_speed import GroundSpeed
from speedcal.calibration.speed.motion import local_sum
from speedcal.calibration.tuning import notes as tuned
from speedcal.errors import AlignmentError
from speedcal.interval import FloatArray

_MOST_AT_ONCE = 16.0
"""Square of a change over the usual one that counts towards those about it."""


def with_wandering_positions(
    weighed: Weighed, weigh: Callable[[GroundSpeed], Weighed], fit: Callable[[Weighed], MeasuredLine]
) -> MeasuredLine:
    """Return a fit of notes; where it fails or leaves doubts, beside speeds less well known where positions wander.

    Parameters are those of :func:`speedcal.calibration.noted.hanging_needle.with_hanging_needle`.
    """
    if weighed.ground.local_fit is None:
        return fit(weighed)
    try:
        plain = fit(weighed)
    except AlignmentError:
        line = _beside_wandering(weighed, weigh, fit, tuned.WANDER_RESCUES)
        if line is None or not (line.reasons or line.log_doubt < tuned.WANDER_LEAVES):
            raise
        return line
    if not plain.reasons:
        return plain
    line = _beside_wandering(weighed, weigh, fit, max(tuned.WANDER_EVIDENCE, plain.log_doubt))
    return line if line is not None and line.log_doubt < tuned.WANDER_LEAVES else plain


def _beside_wandering(
    weighed: Weighed, weigh: Callable[[GroundSpeed], Weighed], fit: Callable[[Weighed], MeasuredLine], least: float
) -> MeasuredLine | None:
    """Return a fit beside positions that wander if that is so much likelier and the notes follow them; else None."""
    ground = weighed.ground
    wandering = may_wander(ground)
    tried = [
        weigh(replace(ground, u_each_mps=np.hypot(_u_each(ground), times * wandering)))
        for times in tuned.WANDER_TIMES_S2
    ]
    best = max(tried, key=lambda one: one.log_evidence)
    if best.log_evidence - weighed.log_evidence > least:
        with suppress(AlignmentError):
            return fit(best)
    return None


def _u_each(ground: GroundSpeed) -> FloatArray:
    return ground.u_each_mps if len(ground.u_each_mps) else np.full(len(ground.time_s), ground.u_speed_mps)


def may_wander(ground: GroundSpeed) -> FloatArray:
    """Return the lesser of how accelerations along and across the road change about each fix, rms. [m/s3]."""
    time, piece = ground.time_s, ground.piece
    interval = max(ground.interval_s, 1e-3)
    half = max(1, round(tuned.WANDER_CHANGE_S / interval))
    index = np.arange(len(time))
    before, after = np.maximum(index - half, 0), np.minimum(index + half, len(time) - 1)
    span = time[after] - time[before]

    def change(values: FloatArray) -> FloatArray:
        return (values[after] - values[before]) / span

    east, north = change(ground.east_m), change(ground.north_m)
    speed, course = np.hypot(east, north), np.unwrap(np.arctan2(north, east))
    whole = piece[before] == piece[after]
    reach = max(1, round(tuned.WANDER_REACH_S / interval))
    count = local_sum(whole.astype(float), reach)
    squares = []
    for acceleration in (change(speed), speed * change(course)):
        square = np.where(whole, change(acceleration), 0.0) ** 2
        most = _MOST_AT_ONCE * float(np.median(square[whole])) if whole.any() else 0.0
        squares.append(local_sum(np.minimum(square, most), reach) / np.maximum(count, 1.0))
    return np.asarray(np.sqrt(np.minimum(*squares)))
