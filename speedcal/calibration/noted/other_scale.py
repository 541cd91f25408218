"""Notes of a dial with two scales, of which some were read off the ring of the other unit.

Those stand off all others by the factor between a mile and a kilometer, at every speed. Where they are few, the others
tell the dial and they are left out as wrong; where they are many, no line goes through all of them.
"""

from __future__ import annotations

from collections.abc import Callable
from contextlib import suppress
from dataclasses import replace

import numpy as np

from speedcal.calibration.dial.measured import WRONG, MeasuredLine
from speedcal.calibration.noted.note_rows import NOTED_U_TIME_S
from speedcal.calibration.readings.kind import is_log
from speedcal.calibration.readings.looseness import FEW_CHANGES, LOOSE
from speedcal.calibration.readings.moments import moments
from speedcal.calibration.readings.refusals import usable_readings
from speedcal.calibration.readings.rows import on_its_day, shifts_of
from speedcal.calibration.speed.ground_speed import GroundSpeed
from speedcal.calibration.tuning import general, rivals
from speedcal.calibration.tuning import notes as tuned
from speedcal.errors import AlignmentError
from speedcal.finding import Finding
from speedcal.interval import IntArray
from speedcal.logs.drive.readings import Readings
from speedcal.units import MILE_M

_TIMES_TOO_HIGH = {"mph": MILE_M / 1000, "km/h": 1000 / MILE_M}
"""By how much a reading in a unit is too high if it was read off the scale of the other one."""

_MOST_NAMED = 8

_Fitted = tuple[GroundSpeed, MeasuredLine]


def with_other_scale(
    fit: Callable[[Readings], _Fitted], ground: GroundSpeed, readings: Readings, known_s: float | None
) -> tuple[Readings, GroundSpeed, MeasuredLine]:
    """Return a fit of readings, and them as of one scale where some were read off another.

    Parameters
    ----------
    fit
        Fits readings to the speed of the drive.
    known_s
        Clock offset, as far as it is known. [s]
    """
    here = usable_readings(readings)
    if readings.speed_unit not in _TIMES_TOO_HIGH or readings.clock == "none" or is_log(np.sort(readings.time_s[here])):
        return readings, *fit(readings)
    found: _Fitted | AlignmentError
    try:
        found = fit(readings)
    except AlignmentError as error:
        if error.code in (LOOSE, FEW_CHANGES):  # they belong to the drive as they are
            raise
        found = error
    if isinstance(found, AlignmentError):
        rows = _by_clock(ground, readings, known_s, here)
        # where no line told them apart, each was given the one of two that fits it better
        least = tuned.ASSOCIATION_FROM + len(here) * np.log(2)
    else:
        rows, least = _beside(found[1], readings), -np.inf
    if min(len(rows), len(here) - len(rows)) >= rivals.FEWEST_ON_A_SIDE:
        with suppress(AlignmentError):
            on, line = fit(_converted(readings, rows))
            if line.log_belongs >= least:
                return _converted(readings, rows), on, _told(line, readings, rows)
    if isinstance(found, AlignmentError):
        raise found
    return readings, *found


def _beside(line: MeasuredLine, readings: Readings) -> IntArray:
    """Return the rows that a line leaves out and that it meets by the other scale, where most of those are such."""
    wrong = np.flatnonzero(np.array(line.reason) == WRONG)
    shown = readings.speed_mps[wrong] / _TIMES_TOO_HIGH[readings.speed_unit] + line.reading_shift_mps
    near = np.abs(shown - line.dial.indicated(line.ground_mps[wrong])) < tuned.SCALES_NEAR_MPS
    return wrong[near] if 2 * near.sum() >= len(wrong) else wrong[:0]


def _converted(readings: Readings, rows: IntArray) -> Readings:
    speed = readings.speed_mps.copy()
    speed[rows] /= _TIMES_TOO_HIGH[readings.speed_unit]
    return replace(readings, speed_mps=speed)


def _told(line: MeasuredLine, readings: Readings, rows: IntArray) -> MeasuredLine:
    """Return a fit that says which rows were converted; many of them cost trust."""
    other = next(unit for unit in _TIMES_TOO_HIGH if unit != readings.speed_unit)
    lines = readings.line[rows[:_MOST_NAMED]].tolist()
    told = Finding("two_scales", lines=lines, count=len(rows), total=len(readings), noted=other)
    if len(rows) > general.MANY_WRONG * len(readings):
        return replace(line, reasons=(told, *line.reasons))
    return replace(line, findings=(*line.findings, told))


def _by_clock(ground: GroundSpeed, readings: Readings, known_s: float | None, here: IntArray) -> IntArray:
    """Return the rows of another scale by the clock offset and the factor at which most lie on one of the two."""
    order = here[np.argsort(readings.time_s[here], kind="stable")]
    time, shown = readings.time_s[order], readings.speed_mps[order]
    at = moments(readings.time_resolution_s, NOTED_U_TIME_S)
    shifts = shifts_of(ground, time, shown, readings, on_its_day(known_s, ground, readings, time), at)
    then = time + at.middle_s + np.array([shift.offset_s for shift in shifts])[:, None]
    speed, _, inside = ground.at(then)
    expected = np.array(tuned.SCALES_FACTORS)[:, None, None] * np.where(inside, speed, np.inf)
    own, other = (np.abs(shown / times - expected) for times in (1.0, _TIMES_TOO_HIGH[readings.speed_unit]))
    near = np.maximum(1 - (np.minimum(own, other) / tuned.SCALES_NEAR_MPS) ** 2, 0.0).sum(axis=-1)
    best = np.unravel_index(np.argmax(near), near.shape)
    return np.sort(order[(other[best] < own[best]) & (other[best] < tuned.SCALES_NEAR_MPS)])
