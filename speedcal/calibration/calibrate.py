"""The measurement: a track and readings in, a calibration out."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from functools import partial

import numpy as np

from speedcal.calibration.dial.dial import Dial
from speedcal.calibration.dial.measured import MeasuredLine, with_shared
from speedcal.calibration.fit_drive import fit_drive
from speedcal.calibration.judged.falls import falls_in_spells
from speedcal.calibration.judged.noticed import beside_track, hanging, heights_missing, left_out, rounded_by_reader
from speedcal.calibration.judged.quality import judge
from speedcal.calibration.logged.bends import in_bends
from speedcal.calibration.logged.one_dial import LoggedDial
from speedcal.calibration.logged.row_means import RowMeans
from speedcal.calibration.logged.smoothed_positions import u_of_bends, unsmoothed, with_smoothing_left
from speedcal.calibration.logged.standstill import minutes_apart
from speedcal.calibration.noted.note_rows import NOTED_U_TIME_S
from speedcal.calibration.noted.other_scale import with_other_scale
from speedcal.calibration.readings.converted_steps import as_it_went
from speedcal.calibration.readings.habits import ReadFrom, Rounding, habit_of, shared_beside
from speedcal.calibration.readings.kind import is_log
from speedcal.calibration.readings.odometer import OdometerFactor, counted_in, odometer_factor, unit_by_speed
from speedcal.calibration.readings.refusals import (
    refuse_hopeless,
    refuse_nonsense,
    refuse_too_few,
    unless_it_stands,
    usable_readings,
)
from speedcal.calibration.readings.rows import DAY_S
from speedcal.calibration.result import HILLS, RECEIVER, Calibration
from speedcal.calibration.speed.ground_speed import GroundSpeed
from speedcal.calibration.speed.runs import steady_runs
from speedcal.calibration.speed.speed_of_track import ground_speed
from speedcal.calibration.speed.track_part import days_of
from speedcal.calibration.speed.way_speed import speed_along_way
from speedcal.calibration.speed.week_count import counted_on
from speedcal.calibration.unjudged import readings_table, unjudged
from speedcal.errors import FitError, SpeedcalError, check_kind
from speedcal.finding import Finding
from speedcal.logs.drive.readings import Readings, Terrain
from speedcal.logs.drive.track import Track
from speedcal.logs.drive.truth import kinship
from speedcal.units import DisplayUnit, check_display_unit, display_unit_of


def calibrate(
    track: Track,
    readings: Readings,
    *,
    unit: DisplayUnit | None = None,
    clock_offset_s: float | None = None,
    read_from: ReadFrom | None = None,
    rounding: Rounding | None = None,
    terrain: Terrain | None = None,
    range_gains: Sequence[float] = (),
) -> Calibration:
    """Find out how an instrument reads, from one drive.

    The clocks of track and readings need not agree: seconds, zones, days and unknown starts are searched. Wrong
    readings are found and left out. Offset and error factor are estimated together, the offset with the prior
    that pointers sit within about one mph; intervals hold the truth in 95 % of drives.

    Parameters
    ----------
    track
        Where the vehicle was.
    readings
        What the instrument showed.
    unit
        Unit for people; None takes that of the readings.
    clock_offset_s
        What must be added to the clock of the readings, if it is known to about ten seconds; for times of day
        whole days do not matter. [s]
    read_from
        How a person saw the dial: ``square`` on, from the ``side``, on ``film``; ``logged`` for a display of figures.
        None takes what the readings say, ``square`` where they say nothing.
    rounding
        Whether a person noted the ``nearest`` step or the one ``down``, or is ``exact``, the needle held on its marks;
        None as above, ``nearest``.
    terrain
        How hilly the country was, where the track has no heights: ``level``, ``rolling`` or ``mountainous``. None takes
        what the readings say, and level to rolling country where they say nothing.
    range_gains
        By how much more the instrument is turned in each other range of axle or transfer case that the vehicle has:
        what is driven there is no nonsense.

    Raises
    ------
    AlignmentError
        The readings cannot be laid on the track, or in more than one way.
    FitError
        The drive does not carry a calibration.
    ValueError
        ``clock_offset_s`` is not finite, or ``unit``, ``read_from``, ``rounding`` or ``terrain`` is another word.

    References
    ----------
    .. [1] A. C. Cameron and D. L. Miller, "A practitioner's guide to cluster-robust inference," J. Human Resources,
       vol. 50, pp. 317-372, 2015: the jackknife over minutes of a log (:mod:`speedcal.calibration.logged.windows`).
    .. [2] JCGM 100:2008, clause 8: the uncertainty budget.

    Examples
    --------
    >>> import speedcal
    >>> track = speedcal.read_track("data_demo/before.gpx")
    >>> readings = speedcal.read_readings("data_demo/before_notes.csv")
    >>> result = speedcal.calibrate(track, readings, unit="km/h")
    >>> 1.11 < result.error_factor.low < 1.153 < result.error_factor.high < 1.19  # the truth is 1.1526
    True
    >>> str(result.trust)
    'TRUSTED'
    """
    check_kind("track", track, Track)
    check_kind("readings", readings, Readings)
    check_display_unit(unit)
    if clock_offset_s is not None and not np.isfinite(clock_offset_s):
        raise ValueError(f"clock_offset_s must be a number of seconds, not {clock_offset_s}")
    track = counted_on(track, readings) if clock_offset_s is None else track
    track = days_of(track, readings, clock_offset_s)
    ground = _ground(track, readings, terrain)
    kin = kinship(track, readings)
    if kin == "copy":
        raise FitError("truth_as_instrument", source=readings.source)
    runs = steady_runs(ground)
    readings = as_it_went(_on_day_of(track, readings))
    habit = habit_of(readings, read_from, rounding)

    def fit(some: Readings) -> tuple[GroundSpeed, MeasuredLine]:
        fit_it = partial(fit_drive, runs=runs, readings=some, known_s=clock_offset_s, habit=habit)
        return _fitted(ground, some, fit_it)

    try:
        readings, ground, line = with_other_scale(fit, ground, readings, clock_offset_s)
    except SpeedcalError as refused:
        raise unless_it_stands(refused, ground, readings) from None
    told = habit if read_from or readings.read_from else None
    line = with_shared(line, shared_beside(line, readings, told))
    odometer = _odometer(ground, line, readings)
    line, dial = _with_shared_ratios(line, ground)
    if odometer and (counted := unit_by_speed(readings, odometer.value / dial.line.error_factor)):
        readings = counted_in(readings, counted)
        odometer = _odometer(ground, line, readings)
    table = readings_table(readings, line, dial, runs.number_at(line.time_s))
    log = LoggedDial.of(table, ground, line, dial, readings.speed_resolution_mps)
    if log is not None:
        line, dial = log.widened(line, dial)
    refuse_too_few(int(table["used"].sum()), readings)
    shown_in = unit or display_unit_of(readings.speed_unit)
    calibration = unjudged(track, readings, ground, line, dial, table, unit=shown_in, odometer=odometer)
    doubts = () if log is None else log.doubts(calibration.scatter_mps, calibration.unit)
    seen = (*doubts, *line.findings) if ground.is_recorded_often else ()
    refuse_nonsense(calibration, readings, seen, range_gains)
    coarse, asked = ((), ()) if rounding or readings.rounding else rounded_by_reader(calibration, readings)
    findings = (
        *track.findings,
        *readings.findings,
        *ground.findings,
        *heights_missing(calibration, track),
        *hanging(calibration, line.hangs_mps),
        *(() if log is None else log.moves()),
        *line.findings,
        *falls_in_spells(calibration),
        *minutes_apart(table, ground, calibration.unit),
        *left_out(track, ground, readings, odometer),
        *beside_track(calibration),
        *asked,
    )
    reasons = (*((Finding("may_be_truth"),) if kin == "untold" else ()), *line.reasons, *coarse, *doubts)
    return judge(calibration, readings, findings=findings, odometer=odometer, fit_reasons=reasons)


def _ground(track: Track, readings: Readings, terrain: Terrain | None) -> GroundSpeed:
    """Return the true speed of a drive: along its way where few fixes tell it and few readings ask for it."""
    ground = ground_speed(track, terrain or readings.terrain)
    refuse_hopeless(ground, readings)
    if ground.is_recorded_often or is_log(np.sort(readings.time_s[usable_readings(readings)])):
        return ground
    return speed_along_way(ground)


def _fitted(
    ground: GroundSpeed, readings: Readings, fit: Callable[[GroundSpeed], MeasuredLine]
) -> tuple[GroundSpeed, MeasuredLine]:
    """Return the speed that the dial went by, and the fit of the readings to it.

    It differs from that of the track where a log tells that the receiver smoothed it, that the vehicle leans, or that
    its rows are means.
    """
    means = RowMeans.of(ground, readings)
    try:
        line = fit(ground)
    except SpeedcalError:
        averaged = None if means is None else means.fitted(fit, readings.speed_mps, None)
        if averaged is None:
            raise
        return averaged
    averaged = None if means is None else means.fitted(fit, readings.speed_mps, line)
    if averaged is not None:
        return averaged
    smoothed = unsmoothed(ground, line, readings.speed_mps)
    if smoothed is not None:
        ground, line = smoothed, with_smoothing_left(fit(smoothed), line, u_bends=u_of_bends(ground, smoothed))
    bent = in_bends(ground, line, readings.speed_mps)
    return (
        (ground, line)
        if bent is None
        else (bent, with_smoothing_left(fit(bent), line, u_bends=u_of_bends(ground, bent)))
    )


def _on_day_of(track: Track, readings: Readings) -> Readings:
    """Return the readings with the clock they have for this track.

    Readings share the clock of the fixes they were logged with, and not that of another receiver. When the track has
    no date, that of the readings is dropped, so that the two can be compared by time of day.
    """
    if readings.clock == "gps" and readings.digest != track.digest:
        readings = replace(readings, clock="utc")
    if track.has_date or readings.clock not in ("utc", "local"):
        return readings
    midnight = np.floor(np.nanmin(readings.time_s) / DAY_S) * DAY_S
    return replace(readings, time_s=readings.time_s - midnight, clock="time of day")


def _with_shared_ratios(line: MeasuredLine, ground: GroundSpeed) -> tuple[MeasuredLine, Dial]:
    """Return the dial with what all ground speeds may be off by in one ratio, as lines of the budget.

    That is how much longer the road is than its map, and what a receiver contradicts itself by.
    """
    dial = line.dial
    habits = dict(line.habits)
    hills = dial.geared(1.0, u_ln_factor=ground.u_road_over_level)
    hills = hills.geared(1.0, u_ln_factor=ground.u_by_climbing(dial.knots_mps))
    habits[HILLS] = hills.knot_covariance - dial.knot_covariance
    if not ground.u_receiver:
        return replace(line, habits=habits), hills
    wider = hills.geared(1.0, u_ln_factor=ground.u_receiver)
    habits[RECEIVER] = wider.knot_covariance - hills.knot_covariance
    return replace(line, habits=habits), wider


def _odometer(ground: GroundSpeed, line: MeasuredLine, readings: Readings) -> OdometerFactor | None:
    if line.clock_offset_s is None or not np.isfinite(readings.odometer_m).any():
        return None
    return odometer_factor(
        ground,
        line.time_s,
        readings.odometer_m,
        resolution_m=readings.odometer_resolution_m,
        u_time_s=float(np.hypot(NOTED_U_TIME_S, readings.time_resolution_s / np.sqrt(12))),
        u_clock_s=line.u_clock_offset_s,
    )
