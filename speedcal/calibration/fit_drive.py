"""Which fit the readings of a drive ask for: noted, logged, or listed without times."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from functools import partial

import numpy as np

from speedcal.calibration.clock_search import Shift, log_prior, log_prior_mass, search_shifts
from speedcal.calibration.clock_set import with_watch_set
from speedcal.calibration.clock_steps import ClockCourse, closed_jumps, course_of_clock
from speedcal.calibration.end_stops import at_stops
from speedcal.calibration.fit_held import fit_held
from speedcal.calibration.fit_logged import fit_logged, is_log
from speedcal.calibration.fit_noted import fit_noted
from speedcal.calibration.ground_speed import GroundSpeed
from speedcal.calibration.hanging_needle import with_hanging_needle
from speedcal.calibration.measured import APART, NO_SPEED, SPARE, STOPPED, UNUSED, MeasuredLine
from speedcal.calibration.moments import Moments, moments, rounded_by_hand
from speedcal.calibration.reading_habits import Habit
from speedcal.calibration.refusals import usable_readings
from speedcal.calibration.runs import SteadyRuns
from speedcal.calibration.slow_needle import with_slow_needle
from speedcal.calibration.smoothed_notes import with_smoothed_positions
from speedcal.calibration.standstill import rows_apart
from speedcal.calibration.tuning import FEW_READINGS
from speedcal.calibration.tuning_logs import LATENT_INTERVAL_S
from speedcal.calibration.tuning_notes import FEWEST_NOTES_AT_STOP, LONG_STEP_S, MOST_NOTES
from speedcal.calibration.weigh_noted import Weighed, weigh_notes
from speedcal.errors import AlignmentError, FitError
from speedcal.finding import Finding
from speedcal.interval import BoolArray, FloatArray, IntArray
from speedcal.logs.readings import Readings

DAY_S = 86400.0
NOTED_U_TIME_S, _LOGGED_U_TIME_S = 1.0, 0.1
"""Standard uncertainty of a stamp, by hand and by a machine; from memory."""
_ENOUGH_FOR_SEARCH = 160


def fit_drive(
    ground: GroundSpeed, runs: SteadyRuns, readings: Readings, known_s: float | None, habit: Habit
) -> MeasuredLine:
    """Fit the line in the way the readings ask for; readings without a speed come out as not used.

    Parameters
    ----------
    ground, runs
        Ground speed of the drive, and its steady runs.
    readings
        What the instrument showed.
    known_s
        Clock offset, as far as it is known. [s]
    habit
        How it was read.
    """
    here = usable_readings(readings)
    if readings.clock == "none":
        held = fit_held(
            ground,
            runs,
            readings.speed_mps[here],
            u_stated_mps=_stated(readings)[here],
            habit=habit,
            source=readings.source,
        )
        return _spread(held, here, readings)
    order = here[np.argsort(readings.time_s[here], kind="stable")]
    time, speed = readings.time_s[order], readings.speed_mps[order]
    if is_log(time):
        return _fit_log(ground, runs, readings, known_s, habit)
    if readings.time_resolution_s < 30:  # a table pasted twice holds nothing twice
        _, first = np.unique(np.stack([time, speed]), axis=1, return_index=True)
        first.sort()
        order, time, speed = order[first], time[first], speed[first]
    some = np.unique(np.linspace(0, len(order) - 1, min(len(order), MOST_NOTES)).astype(np.int64))
    spare = np.delete(order, some)
    order, time, speed = order[some], time[some], speed[some]
    at = moments(readings.time_resolution_s, NOTED_U_TIME_S)
    by_hand = rounded_by_hand(time, readings.time_resolution_s, NOTED_U_TIME_S)
    known_s = _on_its_day(known_s, ground, readings, time)
    shifts = _shifts(ground, time, speed, readings, known_s, at)
    midnight = np.floor(ground.time_s[0] / DAY_S) * DAY_S
    mass = log_prior_mass(ground, time, clock=readings.clock, midnight_s=midnight, known_s=known_s)

    def clocks(offset: FloatArray) -> FloatArray:
        return log_prior(readings.clock, offset, midnight_s=midnight, known_s=known_s) - mass

    def noted(some: BoolArray) -> MeasuredLine:
        weigh = partial(
            weigh_notes,
            time_s=time[some],
            indicated_mps=speed[some],
            shifts=shifts,
            at=at,
            by_hand=by_hand,
            u_rounding_mps=readings.speed_resolution_mps / np.sqrt(12),
            u_stated_mps=_stated(readings)[order[some]],
            log_prior=clocks,
            habit=habit,
        )
        fit = partial(fit_noted, runs=runs, habit=habit, source=readings.source)

        def fitted(weighed: Weighed, weigh: Callable[[GroundSpeed], Weighed]) -> MeasuredLine:
            # a time to the minute says nothing of a lag of seconds
            if at.half_width_s > LONG_STEP_S:
                return fit(weighed)
            slow = partial(with_slow_needle, weigh=weigh, fit=fit)
            return with_smoothed_positions(
                weighed, weigh, partial(with_hanging_needle, weigh=weigh, fit=fit, plainly=slow)
            )

        return with_watch_set(weigh, fitted, ground, shifts, clocks, readings.line[order[some]])

    def stopped(late_s: float, rests_mps: tuple[float, float] = (-np.inf, np.inf)) -> BoolArray:
        then, _, inside = ground.at(time + late_s)
        # who reads a needle at its stop notes one of two figures
        step_mps = 2 * readings.speed_resolution_mps
        lies = at_stops(np.where(inside, then, np.nan), speed, step_mps, fewest=FEWEST_NOTES_AT_STOP)
        lies |= inside & ((then < rests_mps[0]) | (then > rests_mps[1]))
        return np.asarray(lies & (at.half_width_s <= LONG_STEP_S) & ((~lies).sum() >= FEW_READINGS))

    roughly = stopped(shifts[0].offset_s + at.middle_s)
    line = noted(~roughly)
    surely = stopped(float(np.median(line.time_s - time[~roughly])), line.rests_mps)
    if (surely != roughly).any():
        line = noted(~surely)
    return _spread(line, order[~surely], readings, {STOPPED: order[surely], SPARE: spare})


def _fit_log(
    ground: GroundSpeed, runs: SteadyRuns, readings: Readings, known_s: float | None, habit: Habit
) -> MeasuredLine:
    """Fit what a machine logged, on the course that its clock took."""
    order, time, shifts, steps = _in_order(ground, readings, known_s)
    at = moments(readings.time_resolution_s, _LOGGED_U_TIME_S)
    speed, line = readings.speed_mps[order], readings.line[order]
    apart = _apart(ground, time + shifts[0].offset_s, speed, readings)
    together = np.flatnonzero(~apart)
    stopped = _stopped(ground, time[together] + shifts[0].offset_s, speed[together], readings)
    free = together[~np.isin(speed[together], speed[together[stopped]])]
    if len(free) < FEW_READINGS:
        free = together
    if len(free) < len(time):  # what tells nothing of the dial turns the line by which the clock is judged
        shifts = _shifts(ground, time[free], speed[free], readings, shifts[0].offset_s, at)
    course = course_of_clock(ground, time[free], speed[free], shift=shifts[0], step_mps=readings.speed_resolution_mps)
    steps = sorted(steps + [(int(line[free[row]]), forward) for row, forward in course.steps])
    before = np.maximum(np.searchsorted(free, np.arange(len(time)), side="right") - 1, 0)
    time, first = np.unique(time + course.late_s[before], return_index=True)
    order, speed = order[first], speed[first]
    if np.ptp(course.late_s):  # the offset was found for a part of it
        shifts = _shifts(ground, time, speed, readings, shifts[0].offset_s, at)
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
            u_stated_mps=_stated(readings)[order[~stopped]],
            source=readings.source,
        )

    stopped = _stopped(ground, time + shifts[0].offset_s, speed, readings)
    fit = without(stopped)
    # the line between two fixes far apart spreads the speeds at which one value is shown
    if ground.interval_s <= LATENT_INTERVAL_S and not ground.between_is_guessed:
        late = np.interp(time, time[~stopped], fit.time_s - time[~stopped])
        surely = _stopped(ground, time + late, speed, readings, settled=True)
        if (surely != stopped).any():
            stopped, fit = surely, without(surely)
    rows = [{"line": line, "forward_s": forward} for line, forward in steps]
    fit = replace(
        fit, reading_shift_mps=habit.shift_mps, findings=(Finding("clock_stepped", rows=rows),) if rows else ()
    )
    return _spread(fit, order[~stopped], readings, {STOPPED: order[stopped], APART: left})


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
    courses = (ClockCourse(np.zeros(len(here))), closed_jumps(readings.time_s[here]))
    found: list[tuple[IntArray, FloatArray, list[Shift], list[tuple[int, float]]]] = []
    for course in courses:
        if course is None:
            continue
        time, first = np.unique(
            readings.time_s[here] + course.late_s, return_index=True
        )  # of one stamp the first counts
        order = here[first]
        steps = [(int(readings.line[here[row]]), forward) for row, forward in course.steps]
        try:
            known = _on_its_day(known_s, ground, readings, time)
            shifts = _shifts(ground, time, readings.speed_mps[order], readings, known, at)
        except AlignmentError:
            if not found and (course.steps or courses[1] is None):
                raise
            continue
        found.append((order, time, shifts, steps))
    return max(found, key=lambda way: way[2][0].score)


def _shifts(
    ground: GroundSpeed,
    time_s: FloatArray,
    speed_mps: FloatArray,
    readings: Readings,
    known_s: float | None,
    at: Moments,
) -> list[Shift]:
    """Return the clock offsets worth refining, best first."""
    some = slice(None, None, max(1, len(time_s) // _ENOUGH_FOR_SEARCH))
    return search_shifts(
        ground,
        time_s[some],
        speed_mps[some],
        clock=readings.clock,
        middle_s=at.middle_s,
        half_width_s=max(at.half_width_s, 1.0),
        known_s=known_s,
        source=readings.source,
    )


def _on_its_day(known_s: float | None, ground: GroundSpeed, readings: Readings, time_s: FloatArray) -> float | None:
    """Return a known clock offset with the whole days that times of day leave open."""
    if known_s is None or readings.clock != "time of day":
        return known_s
    return known_s + DAY_S * round((float(ground.time_s[0]) - float(time_s[0]) - known_s) / DAY_S)


def _stated(readings: Readings) -> FloatArray:
    """Return the standard uncertainty that each reading states of itself, 0 where it states none. [m/s]."""
    if readings.u_speed_mps is None:
        return np.zeros(len(readings))
    return np.nan_to_num(readings.u_speed_mps)


def _spread(
    line: MeasuredLine, where: IntArray, readings: Readings, left: Mapping[str, IntArray] | None = None
) -> MeasuredLine:
    """Bring what was found for some readings into the order of all of them; those ``left`` get their reason."""
    time, ground = np.full(len(readings), np.nan), np.full(len(readings), np.nan)
    reason = np.where(np.isfinite(readings.speed_mps), UNUSED, NO_SPEED).astype(object)
    if line.clock_offset_s is not None:
        time = readings.time_s + line.clock_offset_s
        reason[~np.isfinite(time)] = NO_SPEED
    time[where], ground[where] = line.time_s, line.ground_mps
    hangs = np.zeros(len(readings))
    hangs[where] = line.hangs_mps if len(line.hangs_mps) else 0.0
    reason[where] = line.reason
    for why, rows in (left or {}).items():
        reason[rows] = why
    return replace(line, time_s=time, ground_mps=ground, hangs_mps=hangs, reason=tuple(reason))
