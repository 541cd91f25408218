"""Notes of a needle that follows by seconds: the speed that it was on its way to show."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import suppress
from dataclasses import replace

import numpy as np

from speedcal.calibration.ground_speed import GroundSpeed
from speedcal.calibration.measured import MeasuredLine
from speedcal.calibration.tuning import FEW_READINGS
from speedcal.calibration.tuning_notes import SLOW_NEEDLE_EVIDENCE, SLOW_NEEDLE_FROM, SLOW_NEEDLES_S
from speedcal.calibration.weigh_noted import Weighed
from speedcal.errors import AlignmentError
from speedcal.interval import FloatArray

_STEP_S, _REACH = 0.5, 6.0
"""Step of the sum over what went before, and how many time constants back it goes."""


def with_slow_needle(
    weighed: Weighed, weigh: Callable[[GroundSpeed], Weighed], fit: Callable[[Weighed], MeasuredLine]
) -> MeasuredLine:
    """Return a fit of notes, to the speeds as a slow needle shows them where the readings say so.

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
    best = plain = fit(weighed)
    if _slowness(ground, plain, weighed.notes.indicated_mps) < SLOW_NEEDLE_FROM:
        return plain
    for constant in SLOW_NEEDLES_S:
        slow = weigh(damped(ground, constant))
        if slow.log_evidence > max(best.log_evidence, plain.log_evidence + SLOW_NEEDLE_EVIDENCE):
            with suppress(AlignmentError):
                best = replace(fit(slow), needle_lag_s=constant)
    return best


def _slowness(ground: GroundSpeed, line: MeasuredLine, indicated_mps: FloatArray) -> float:
    """Return by how many standard errors the readings used lie where a slow needle would have put them.

    What a late clock does as well is left out of it.
    """
    used = np.array([not reason for reason in line.reason]) & np.isfinite(line.ground_mps)
    if used.sum() < FEW_READINGS:
        return 0.0
    moment, constant = line.time_s[used], SLOW_NEEDLES_S[-1]
    speed, rate, _ = ground.at(moment)
    behind = _damped_at(ground, moment + constant, constant)[0] - speed
    design = np.column_stack([np.ones(len(moment)), speed, rate, behind])
    part, *_ = np.linalg.lstsq(design, indicated_mps[used], rcond=None)
    left = indicated_mps[used] - design @ part
    u = np.sqrt(left @ left / (len(left) - 4) * np.linalg.pinv(design.T @ design)[3, 3])
    return float(part[3] / max(u, 1e-9))


def damped(ground: GroundSpeed, constant_s: float) -> GroundSpeed:
    """Return a drive with its speeds as an instrument of the first order follows them."""
    speed, rate = _damped_at(ground, ground.time_s, constant_s)
    return replace(ground, speed_mps=speed, slope=rate, acceleration=rate)


def _damped_at(ground: GroundSpeed, time_s: FloatArray, constant_s: float) -> tuple[FloatArray, FloatArray]:
    """Return speed and its change as an instrument of the first order shows them, shape (n,) each."""
    before = np.arange(_STEP_S / 2, _REACH * constant_s, _STEP_S)
    speed, rate, inside = ground.at(time_s[:, None] - before)
    weight = np.exp(-before / constant_s) * inside
    weight[:, 0] += 1e-9  # where nothing is known of what went before
    weight /= weight.sum(axis=1)[:, None]
    return (weight * speed).sum(axis=1), (weight * rate).sum(axis=1)
