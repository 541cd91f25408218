"""A log beside a drive: its rows in order on the course that its clock took, without those that tell nothing."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from speedcal.calibration.dial.measured import APART, STOPPED, MeasuredLine
from speedcal.calibration.logged.clock_steps import ClockCourse, closed_jumps, course_of_clock
from speedcal.calibration.logged.fit_logged import fit_logged
from speedcal.calibration.logged.standstill import rows_apart
from speedcal.calibration.readings.clock_search import Shift
from speedcal.calibration.readings.end_stops import at_stops
from speedcal.calibration.readings.habits import Habit
from speedcal.calibration.readings.moments import moments
from speedcal.calibration.readings.refusals import usable_readings
from speedcal.calibration.readings.rows import in_their_order, on_its_day, shifts_of, stated_by
from speedcal.calibration.readings.unit_change import unit_change
from speedcal.calibration.speed.ground_speed import GroundSpeed
from speedcal.calibration.speed.runs import SteadyRuns
from speedcal.calibration.tuning.general import FEW_READINGS
from speedcal.calibration.tuning.logs import LATENT_INTERVAL_S
from speedcal.errors import AlignmentError, FitError
from speedcal.finding import Finding
from speedcal.interval import BoolArray, FloatArray, IntArray
from speedcal.logs.drive.readings import Readings

_LOGGED_U_TIME_S = 0.1
"""Standard uncertainty of a stamp by a machine; from memory."""


def fit_log(
    ground: GroundSpeed, runs: SteadyRuns, readings: Readings, known_s: float | None, habit: Habit
) -> MeasuredLine:
    """Fit what a machine logged, on the course that its clock took."""
    order, time, shifts, steps = _in_order(ground, readings, known_s)
    at = moments(readings.time_resolution_s, _LOGGED_U_TIME_S)
    speed, line = readings.speed_mps[order], readings.line[order]
    _refuse_units(ground, time + shifts[0].offset_s, speed, line, readings.source)
    apart = _apart(ground, time + shifts[0].offset_s, speed, readings)
    together = np.flatnonzero(~apart)
    stopped = _stopped(ground, time[together] + shifts[0].offset_s, speed[together], readings)
    free = together[~np.isin(speed[together], speed[together[stopped]])]
    if len(free) < FEW_READINGS:
        free = together
    if len(free) < len(time):  # what tells nothing of the dial turns the line by which the clock is judged
        shifts = shifts_of(ground, time[free], speed[free], readings, shifts[0].offset_s, at)
    course = course_of_clock(ground, time[free], speed[free], shift=shifts[0], step_mps=readings.speed_resolution_mps)
    changed = bool(len(free) < len(time) or course.late_s.any())
    steps = sorted(steps + [(int(line[free[row]]), forward) for row, forward in course.steps])
    before = np.maximum(np.searchsorted(free, np.arange(len(time)), side="right") - 1, 0)
    time, first = np.unique(time + course.late_s[before], return_index=True)
    order, speed = order[first], speed[first]
    if np.ptp(course.late_s):  # the offset was found for a part of it
        shifts = shifts_of(ground, time, speed, readings, shifts[0].offset_s, at)
    if changed:
        apart = _apart(ground, time + shifts[0].offset_s, speed, readings)
    left, order, time, speed = order[apart], order[~apart], time[~apart], speed[~apart]

    def without(stopped: BoolArray) -> MeasuredLine:
        left = int((~stopped).sum())
        if left < FEW_READINGS:
            raise FitError("few_rows_between_ends", source=readings.source, count=left, all=len(readings))
        return fit_logged(
            ground,
            time[~stopped],
            speed[~stopped] + habit.shift_mps,
            shifts=shifts[:1] if steps else shifts,
            runs=runs,
            step_mps=readings.speed_resolution_mps,
            u_stated_mps=stated_by(readings)[order[~stopped]],
            source=readings.source,
        )

    if changed:
        stopped = _stopped(ground, time + shifts[0].offset_s, speed, readings)
    fit = without(stopped)
    # the line between two fixes far apart spreads the speeds at which one value is shown
    if ground.interval_s <= LATENT_INTERVAL_S and not ground.between_is_guessed:
        late = np.interp(time, time[~stopped], fit.time_s - time[~stopped])
        surely = _stopped(ground, time + late, speed, readings, settled=True)
        if (surely != stopped).any():
            stopped, fit = surely, without(surely)
    rows = [{"line": line, "forward_s": forward} for line, forward in steps]
    stepped = (Finding("clock_stepped", rows=rows),) if rows else ()
    fit = replace(fit, reading_shift_mps=habit.shift_mps, findings=(*fit.findings, *stepped))
    return in_their_order(fit, order[~stopped], readings, {STOPPED: order[stopped], APART: left})


def _refuse_units(ground: GroundSpeed, time_s: FloatArray, speed_mps: FloatArray, line: IntArray, source: str) -> None:
    """Raise where the unit changes on the way; parts that read otherwise for other reasons are found later."""
    then, _, inside = ground.at(time_s)
    changed = unit_change(np.where(inside, then, np.nan), speed_mps)
    if changed is not None:
        row, up = changed
        before, after = ("mph", "km/h") if up else ("km/h", "mph")
        raise FitError("unit_changes", source=source, line=int(line[row]), before=before, after=after)


def _apart(ground: GroundSpeed, moment_s: FloatArray, speed_mps: FloatArray, readings: Readings) -> BoolArray:
    """Tell which rows of a log were shown while log and track did not belong together."""
    then, _, inside = ground.at(moment_s)
    return rows_apart(moment_s, np.where(inside, then, np.nan), speed_mps, readings.speed_resolution_mps)


def _stopped(
    ground: GroundSpeed, moment_s: FloatArray, speed_mps: FloatArray, readings: Readings, *, settled: bool = False
) -> BoolArray:
    """Tell which rows of a log were shown at a stop of the needle."""
    then, _, inside = ground.at(moment_s)
    return at_stops(np.where(inside, then, np.nan), speed_mps, readings.speed_resolution_mps, settled=settled)


def _in_order(
    ground: GroundSpeed, readings: Readings, known_s: float | None
) -> tuple[IntArray, FloatArray, list[Shift], list[tuple[int, float]]]:
    """Return the rows of a log in order, their times, where those may lie, and how the clock was set, by line.

    They are in the order of their times, or in that of the file where the track says that the clock was set on the way.
    """
    here = usable_readings(readings)
    at = moments(readings.time_resolution_s, _LOGGED_U_TIME_S)
    closed = closed_jumps(readings.time_s[here])
    courses = [ClockCourse(np.zeros(len(here))), *([closed] if closed else [])]
    found: list[tuple[IntArray, FloatArray, list[Shift], list[tuple[int, float]]]] = []
    for course in courses:
        time, first = np.unique(
            readings.time_s[here] + course.late_s, return_index=True
        )  # of one stamp the first counts
        order = here[first]
        steps = [(int(readings.line[here[row]]), forward) for row, forward in course.steps]
        try:
            known = on_its_day(known_s, ground, readings, time)
            shifts = shifts_of(ground, time, readings.speed_mps[order], readings, known, at)
        except AlignmentError:
            if not found and course is courses[-1]:
                raise
            continue
        found.append((order, time, shifts, steps))
    return max(found, key=lambda way: way[2][0].score)
