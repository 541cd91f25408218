"""Which fit the readings of a drive ask for: noted, logged, or listed without times."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial

import numpy as np

from speedcal.calibration.clock_search import Shift, log_prior, log_prior_mass
from speedcal.calibration.clock_set import with_watch_set
from speedcal.calibration.end_stops import at_stops
from speedcal.calibration.fit_held import fit_held
from speedcal.calibration.fit_logged import is_log
from speedcal.calibration.fit_noted import fit_noted
from speedcal.calibration.ground_speed import GroundSpeed
from speedcal.calibration.hanging_needle import with_hanging_needle
from speedcal.calibration.log_rows import fit_log
from speedcal.calibration.measured import SPARE, STOPPED, MeasuredLine
from speedcal.calibration.moments import moments, rounded_by_hand
from speedcal.calibration.reading_habits import Habit
from speedcal.calibration.reading_rows import DAY_S, in_their_order, on_its_day, shifts_of, stated_by
from speedcal.calibration.refusals import usable_readings
from speedcal.calibration.runs import SteadyRuns
from speedcal.calibration.scale_end import with_scale_end
from speedcal.calibration.slow_needle import with_slow_needle
from speedcal.calibration.smoothed_notes import with_smoothed_positions
from speedcal.calibration.tuning import FEW_READINGS
from speedcal.calibration.tuning_notes import FEWEST_NOTES_AT_STOP, LONG_STEP_S, MOST_NOTES
from speedcal.calibration.wandering_positions import with_wandering_positions
from speedcal.calibration.weigh_noted import Weighed, weigh_notes
from speedcal.interval import BoolArray, FloatArray, IntArray
from speedcal.logs.readings import Readings

NOTED_U_TIME_S = 1.0
"""Standard uncertainty of a stamp by hand; from memory."""


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
            u_stated_mps=stated_by(readings)[here],
            habit=habit,
            source=readings.source,
        )
        return in_their_order(held, here, readings)
    order = here[np.argsort(readings.time_s[here], kind="stable")]
    if is_log(readings.time_s[order]):
        return fit_log(ground, runs, readings, known_s, habit)
    return _fit_notes(ground, runs, readings, known_s, habit, order)


def _fit_notes(
    ground: GroundSpeed,
    runs: SteadyRuns,
    readings: Readings,
    known_s: float | None,
    habit: Habit,
    order: IntArray,
) -> MeasuredLine:
    """Fit what a person noted; ``order`` is that of the times of the readings that can be used."""
    order, spare = _told_once(readings, order)
    time, speed = readings.time_s[order], readings.speed_mps[order]
    at = moments(readings.time_resolution_s, NOTED_U_TIME_S)
    by_hand = rounded_by_hand(time, readings.time_resolution_s, NOTED_U_TIME_S)
    known_s = on_its_day(known_s, ground, readings, time)
    shifts = shifts_of(ground, time, speed, readings, known_s, at)
    midnight = np.floor(ground.time_s[0] / DAY_S) * DAY_S
    mass = log_prior_mass(ground, time, clock=readings.clock, midnight_s=midnight, known_s=known_s)

    def clocks(offset: FloatArray) -> FloatArray:
        return log_prior(readings.clock, offset, midnight_s=midnight, known_s=known_s) - mass

    fit = partial(fit_noted, runs=runs, habit=habit, source=readings.source)

    def weighing(some: BoolArray) -> Callable[..., Weighed]:
        return partial(
            weigh_notes,
            time_s=time[some],
            indicated_mps=speed[some],
            shifts=shifts,
            at=at,
            by_hand=by_hand,
            u_rounding_mps=readings.speed_resolution_mps / np.sqrt(12),
            u_stated_mps=stated_by(readings)[order[some]],
            log_prior=clocks,
            habit=habit,
        )

    def noted(some: BoolArray) -> MeasuredLine:
        weigh = weighing(some)

        def fitted(weighed: Weighed, weigh: Callable[[GroundSpeed], Weighed]) -> MeasuredLine:
            # a time to the minute says nothing of a lag of seconds
            if at.half_width_s > LONG_STEP_S:
                return fit(weighed)
            slow = partial(with_slow_needle, weigh=weigh, fit=fit)
            hanging = partial(with_hanging_needle, weigh=weigh, fit=fit, plainly=slow)
            smoothed = partial(with_smoothed_positions, weigh=weigh, fit=hanging)
            return with_wandering_positions(weighed, weigh, smoothed)

        return with_watch_set(weigh, fitted, ground, shifts, clocks, readings.line[order[some]])

    def starts(some: BoolArray) -> list[Shift]:
        return shifts_of(ground, time[some], speed[some], readings, shifts[0].offset_s, at)

    def stopped(late_s: float, rests_mps: tuple[float, float] = (-np.inf, np.inf)) -> BoolArray:
        then, _, inside = ground.at(time + late_s)
        # who reads a needle at its stop notes one of two figures
        step_mps = 2 * readings.speed_resolution_mps
        lies = at_stops(np.where(inside, then, np.nan), speed, step_mps, fewest=FEWEST_NOTES_AT_STOP)
        lies |= inside & ((then < rests_mps[0]) | (then > rests_mps[1]))
        return np.asarray(lies & (at.half_width_s <= LONG_STEP_S) & ((~lies).sum() >= FEW_READINGS))

    roughly = stopped(shifts[0].offset_s + at.middle_s)
    line, at_end = with_scale_end(
        partial(noted, ~roughly),
        speed,
        readings.speed_resolution_mps,
        search=starts,
        weigh=partial(weighing(np.ones(len(time), bool)), ground),
        fit=fit,
    )
    if at_end.any():
        return in_their_order(line, order[~at_end], readings, {STOPPED: order[at_end], SPARE: spare})
    surely = stopped(float(np.median(line.time_s - time[~roughly])), line.rests_mps)
    if (surely != roughly).any():
        line = noted(~surely)
    return in_their_order(line, order[~surely], readings, {STOPPED: order[surely], SPARE: spare})


def _told_once(readings: Readings, order: IntArray) -> tuple[IntArray, IntArray]:
    """Return the rows of notes that are used, and those to spare; a table pasted twice holds nothing twice."""
    if readings.time_resolution_s < 30:
        both = np.stack([readings.time_s[order], readings.speed_mps[order]])
        order = order[np.sort(np.unique(both, axis=1, return_index=True)[1])]
    some = np.unique(np.linspace(0, len(order) - 1, min(len(order), MOST_NOTES)).astype(np.int64))
    return order[some], np.delete(order, some)
