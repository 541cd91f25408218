"""Notes beside a drive: their rows in order, without those that tell nothing of the dial."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import partial

import numpy as np

from speedcal.calibration.dial.measured import SPARE, STOPPED, MeasuredLine
from speedcal.calibration.noted.clock_set import with_watch_set
from speedcal.calibration.noted.fit_noted import fit_noted
from speedcal.calibration.noted.hanging_needle import with_hanging_needle
from speedcal.calibration.noted.needle_down import with_needle_down
from speedcal.calibration.noted.scale_end import with_scale_end
from speedcal.calibration.noted.smoothed_notes import with_smoothed_positions
from speedcal.calibration.noted.wandering_positions import with_wandering_positions
from speedcal.calibration.noted.weigh_noted import Weighed, weigh_notes
from speedcal.calibration.readings.clock_search import Shift, log_prior, log_prior_mass
from speedcal.calibration.readings.end_stops import at_stops
from speedcal.calibration.readings.habits import Habit
from speedcal.calibration.readings.moments import Moments, moments, rounded_by_hand
from speedcal.calibration.readings.rows import DAY_S, in_their_order, on_its_day, shifts_of, stated_by
from speedcal.calibration.speed.ground_speed import GroundSpeed
from speedcal.calibration.speed.runs import SteadyRuns
from speedcal.calibration.tuning.general import FEW_READINGS
from speedcal.calibration.tuning.notes import FEWEST_NOTES_AT_STOP, LONG_STEP_S, MOST_NOTES
from speedcal.calibration.tuning.track import SPARSE_FROM_S
from speedcal.interval import BoolArray, FloatArray, IntArray
from speedcal.logs.drive.readings import Readings

NOTED_U_TIME_S = 1.0
"""Standard uncertainty of a stamp by hand; from memory."""


def fit_notes(
    ground: GroundSpeed, runs: SteadyRuns, readings: Readings, known_s: float | None, habit: Habit, order: IntArray
) -> MeasuredLine:
    """Fit what a person noted; ``order`` is that of the times of the readings that can be used."""

    def fit(rows: IntArray) -> MeasuredLine:
        return _fitted_rows(ground, runs, readings, known_s, habit, rows)

    return with_needle_down(fit, readings, order, ground)


def _fitted_rows(
    ground: GroundSpeed, runs: SteadyRuns, readings: Readings, known_s: float | None, habit: Habit, order: IntArray
) -> MeasuredLine:
    order, spare = _told_once(readings, order)
    notes = _Notes.of(ground, runs, readings, known_s, habit, order)
    roughly = notes.stopped(notes.shifts[0].offset_s + notes.at.middle_s)
    line, at_end = with_scale_end(
        partial(notes.noted, ~roughly),
        notes.speed_mps,
        readings.speed_resolution_mps,
        search=notes.starts,
        weigh=partial(notes.weighing(np.ones(len(order), bool)), ground),
        fit=notes.fit,
    )
    if at_end.any():
        return in_their_order(line, order[~at_end], readings, {STOPPED: order[at_end], SPARE: spare})
    surely = notes.stopped(float(np.median(line.time_s - notes.time_s[~roughly])), line.rests_mps)
    if (surely != roughly).any():
        # that some lay at a stop does not show that the rest belongs
        loose = [why for why in line.reasons if why.code == "loosely_followed"]
        line = notes.noted(~surely)
        line = replace(line, reasons=(*loose, *(why for why in line.reasons if why not in loose)))
    return in_their_order(line, order[~surely], readings, {STOPPED: order[surely], SPARE: spare})


def _told_once(readings: Readings, order: IntArray) -> tuple[IntArray, IntArray]:
    """Return the rows of notes that are used, and those to spare; a table pasted twice holds nothing twice."""
    if readings.time_resolution_s < 30:
        both = np.stack([readings.time_s[order], readings.speed_mps[order]])
        order = order[np.sort(np.unique(both, axis=1, return_index=True)[1])]
    some = np.unique(np.linspace(0, len(order) - 1, min(len(order), MOST_NOTES)).astype(np.int64))
    return order[some], np.delete(order, some)


@dataclass(frozen=True, slots=True)
class _Notes:
    """The notes of a drive, and all that it takes to weigh some of them."""

    ground: GroundSpeed
    readings: Readings
    habit: Habit
    fit: Callable[[Weighed], MeasuredLine]
    order: IntArray
    """Which readings they are, shape (n,)."""
    time_s: FloatArray
    speed_mps: FloatArray
    at: Moments
    shifts: list[Shift]
    """Clock offsets worth refining, best first."""
    clocks: Callable[[FloatArray], FloatArray]
    """Log density of clock offsets, normalised over all that were searched."""

    @classmethod
    def of(
        cls,
        ground: GroundSpeed,
        runs: SteadyRuns,
        readings: Readings,
        known_s: float | None,
        habit: Habit,
        order: IntArray,
    ) -> _Notes:
        """Return the notes of some rows, with the clock offsets to start from."""
        time, speed = readings.time_s[order], readings.speed_mps[order]
        at = moments(readings.time_resolution_s, NOTED_U_TIME_S)
        known_s = on_its_day(known_s, ground, readings, time)
        shifts = shifts_of(ground, time, speed, readings, known_s, at)
        midnight = np.floor(ground.time_s[0] / DAY_S) * DAY_S
        mass = log_prior_mass(ground, time, clock=readings.clock, midnight_s=midnight, known_s=known_s)

        def clocks(offset: FloatArray) -> FloatArray:
            return log_prior(readings.clock, offset, midnight_s=midnight, known_s=known_s) - mass

        fit = partial(fit_noted, runs=runs, habit=habit, source=readings.source)
        return cls(ground, readings, habit, fit, order, time, speed, at, shifts, clocks)

    def weighing(self, some: BoolArray) -> Callable[..., Weighed]:
        """Return what weighs some of them beside a course of the speed."""
        readings = self.readings
        return partial(
            weigh_notes,
            time_s=self.time_s[some],
            indicated_mps=self.speed_mps[some],
            shifts=self.shifts,
            at=self.at,
            by_hand=rounded_by_hand(self.time_s, readings.time_resolution_s, NOTED_U_TIME_S),
            u_rounding_mps=readings.speed_resolution_mps / np.sqrt(12),
            u_stated_mps=stated_by(readings)[self.order[some]],
            log_prior=self.clocks,
            habit=self.habit,
        )

    def noted(self, some: BoolArray) -> MeasuredLine:
        """Return the fit of some of them, of the watch, needle and positions that they ask for."""
        lines = self.readings.line[self.order[some]]
        return with_watch_set(self.weighing(some), self._fitted, self.ground, self.shifts, self.clocks, lines)

    def _fitted(self, weighed: Weighed, weigh: Callable[[GroundSpeed], Weighed]) -> MeasuredLine:
        # a time to the minute says nothing of where a needle hangs, nor do fixes that leave it open how one was driven
        if self.at.half_width_s > LONG_STEP_S or weighed.ground.interval_s > SPARSE_FROM_S:
            return self.fit(weighed)
        hanging = partial(with_hanging_needle, weigh=weigh, fit=self.fit)
        smoothed = partial(with_smoothed_positions, weigh=weigh, fit=hanging)
        return with_wandering_positions(weighed, weigh, smoothed)

    def starts(self, some: BoolArray) -> list[Shift]:
        """Return clock offsets to start from by some of them alone."""
        time, speed = self.time_s[some], self.speed_mps[some]
        return shifts_of(self.ground, time, speed, self.readings, self.shifts[0].offset_s, self.at)

    def stopped(self, late_s: float, rests_mps: tuple[float, float] = (-np.inf, np.inf)) -> BoolArray:
        """Tell which were noted while the needle lay at a stop, at a clock offset."""
        then, _, inside = self.ground.at(self.time_s + late_s)
        # who reads a needle at its stop notes one of two figures
        step_mps = 2 * self.readings.speed_resolution_mps
        lies = at_stops(np.where(inside, then, np.nan), self.speed_mps, step_mps, fewest=FEWEST_NOTES_AT_STOP)
        lies |= inside & ((then < rests_mps[0]) | (then > rests_mps[1]))
        return np.asarray(lies & (self.at.half_width_s <= LONG_STEP_S) & ((~lies).sum() >= FEW_READINGS))
