"""Readings from what a file says: rows in order, what cannot be one left out and counted."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from speedcal.errors import Problem
from speedcal.finding import Finding
from speedcal.interval import BoolArray, FloatArray, IntArray
from speedcal.logs import limits
from speedcal.logs.drive.bad_rows import sort_out
from speedcal.logs.drive.readings import Clock, Readings, with_dial_unit
from speedcal.logs.drive.repeated_rows import doubled, not_renewed, said_again, shown_between, told_at
from speedcal.logs.drive.shared_stamps import are_even, are_in_proportion, cut_to, evenly, in_bundles, written
from speedcal.logs.drive.timer_stamps import of_a_timer
from speedcal.logs.drive.track import BASE_S
from speedcal.logs.drive.unset_clock import since_begin
from speedcal.logs.source import Source
from speedcal.logs.writing.numbers import speed_step
from speedcal.units import KMH_MPS, SPEED_UNIT_MPS, SpeedUnit, display_unit_of

_FEWEST_STAMPS = 4
"""Stamps that tell how many rows share one."""
FASTEST_HAND_S = 5.0
"""No hand notes readings faster than this, one after the other. Our own judgment."""
_AS_SLOW = 15
"""Rows below twice the slowest speed from which on it is no chance that none is slower: about as many would be."""


@dataclass(slots=True)
class Stamps:
    """Times of a column; NaN where a cell is empty or no time (then it is among the problems)."""

    time_s: FloatArray
    clock: Clock
    resolution_s: float
    problems: list[tuple[int, Problem]] = field(default_factory=list)
    """Index of a bad cell and what is wrong with it."""
    findings: list[Finding] = field(default_factory=list)


@dataclass(slots=True)
class Shown:
    """What the instrument showed, as a file lists it; arrays of one length, NaN where nothing is written."""

    stamps: Stamps
    speed: FloatArray
    """In ``unit``."""
    unit: SpeedUnit
    line: Sequence[int]
    odometer_m: FloatArray | None = None
    odometer_resolution_m: float = float("nan")
    u_mps: FloatArray | None = None
    u_common_mps: FloatArray | None = None
    column: str = ""
    """Header of the speeds."""
    problems: list[Problem] = field(default_factory=list)
    dropped: Counter[str] = field(default_factory=Counter)
    findings: list[Finding] = field(default_factory=list)


def build_readings(source: Source, kind: str, shown: Shown) -> Readings:
    """Return the readings, or raise the error of the source, which lists the bad lines where they are many.

    Lines without a speed, and lines without a time where others have one, are left out and counted, and so are a
    few that cannot be read; of many the file is refused. A line with a time and the odometer stays, its speed is
    NaN (the odometer is noted while standing). A log that holds every row twice is halved, and of one that asks
    oftener than its display is renewed the first row of each figure counts; readings that share a stamp in a log
    finer than its stamps are spread over the step of the stamps; rows of a timer get their times back.
    """
    speed_mps = shown.speed * SPEED_UNIT_MPS[shown.unit]
    stamps, line = _on_track_clock(shown.stamps), np.asarray(shown.line, np.int64)
    problems = shown.problems + [at_line(problem, int(line[i])) for i, problem in stamps.problems]
    for i in np.flatnonzero((speed_mps < 0) | (speed_mps > limits.FASTEST_MPS)):
        problems.append(Problem("impossible_speed", line=int(line[i]), speed_mps=float(speed_mps[i]), unit=shown.unit))
    dropped = Counter(shown.dropped)
    of_times = 2 * len(stamps.problems) > len(problems)  # another column of speeds would not mend them
    bad, told = sort_out(source, problems, line, dropped, column="" if of_times else shown.column)
    findings = [*shown.findings, *stamps.findings, *told]

    odometer = np.full(len(line), np.nan) if shown.odometer_m is None else shown.odometer_m
    keep = _kept(stamps, speed_mps, odometer, bad, dropped)
    known = keep & np.isfinite(speed_mps)
    if not known.any():
        source.fail("readings_missing")
    clock, time_s = _as_set(stamps.clock, stamps.time_s[keep], findings)
    if clock in {"utc", "local"} and ((time_s < limits.EARLIEST_S) | (time_s > limits.LATEST_S)).any():
        source.fail("impossible_dates")
    time_s, resolution_s = _spread(time_s, speed_mps[keep], stamps.resolution_s, findings)
    time_s, period_s = of_a_timer(time_s)
    if period_s:
        findings.append(Finding("stamps_of_a_timer", of="readings", period_s=period_s))
    _note_dead_band(speed_mps[known], shown.unit, findings)
    step_mps = speed_step(shown.speed[known], shown.unit, held=False)
    stale = not_renewed(time_s, speed_mps[keep], step_mps)
    dropped["not_renewed"] += int(stale.sum())
    keep[keep] = ~stale
    time_s = time_s[~stale]
    times = shown_between(time_s, speed_mps[keep], step_mps)
    rows = np.repeat(np.flatnonzero(keep), times)
    if len(rows) > len(times):
        findings.append(Finding("rows_on_change", count=len(times)))
        time_s = told_at(time_s, times)
    readings = Readings(
        time_s=time_s,
        clock=clock,
        time_resolution_s=resolution_s,
        speed_mps=speed_mps[rows],
        speed_unit=shown.unit,
        speed_resolution_mps=step_mps,
        odometer_m=np.where(np.diff(rows, prepend=-1) > 0, odometer[rows], np.nan),
        odometer_resolution_m=shown.odometer_resolution_m,
        line=line[rows],
        kind=kind,
        source=source.name,
        digest=source.digest,
        dropped={reason: count for reason, count in sorted(dropped.items()) if count},
        findings=tuple(findings),
        u_speed_mps=_stated(shown.u_mps, rows),
        u_common_mps=_stated(shown.u_common_mps, rows),
        read_from=source.said("read_from"),  # type: ignore[arg-type]
        rounding=source.said("rounding"),  # type: ignore[arg-type]
        terrain=source.said("terrain"),  # type: ignore[arg-type]
    )
    return with_dial_unit(readings, source.said("dial_unit"))


def _kept(
    stamps: Stamps, speed_mps: FloatArray, odometer: FloatArray, bad: BoolArray, dropped: Counter[str]
) -> BoolArray:
    """Return which lines are readings, or notes of the odometer; the others are counted."""
    said = np.isfinite(speed_mps) | (np.isfinite(odometer) & (stamps.clock != "none"))
    dropped["speed_missing"] += int((~said & ~bad).sum())
    keep = said & ~bad
    if stamps.clock != "none":
        timeless = keep & ~np.isfinite(stamps.time_s)
        dropped["time_missing"] += int(timeless.sum())
        keep &= ~timeless
    if stamps.clock == "gps":  # as the fixes of these rows are
        with np.errstate(invalid="ignore"):
            ages_off = keep & ((stamps.time_s < limits.EARLIEST_S) | (stamps.time_s > limits.LATEST_S))
        dropped["impossible_date"] += int(ages_off.sum())
        keep &= ~ages_off
    again = said_again(stamps.time_s, keep, speed_mps, odometer)
    dropped["repeated_row"] += int(again.sum())
    keep &= ~again
    if stamps.clock != "none" and not stamps.resolution_s >= 60:  # NaN where it is not known
        keep &= ~doubled(stamps.time_s, keep, speed_mps, odometer, dropped)
    return keep


def _stated(values: FloatArray | None, rows: IntArray) -> FloatArray | None:
    return None if values is None or not np.isfinite(values).any() else values[rows]


def at_line(problem: Problem, line: int) -> Problem:
    """Return a problem with the line it stands in."""
    return Problem(problem.code, line=line, **problem.values)


def _spread(time_s: FloatArray, speed: FloatArray, step_s: float, findings: list[Finding]) -> tuple[FloatArray, float]:
    """Spread readings that share a stamp over its step, in a log that writes several for (nearly) every stamp.

    Stamps that are farther apart than their step, and not whole steps of another, are those of bundles.

    Returns the times and how finely they are known then. A hand does not write several every few seconds.
    """
    if not step_s > 0 or len(time_s) < 20 or (np.diff(time_s) < 0).any():
        return time_s, step_s
    sent_s = written(time_s)
    stamps, first, count = np.unique(sent_s, return_index=True, return_counts=True)
    if len(stamps) < _FEWEST_STAMPS:
        return time_s, step_s
    usual, finest_s, apart_s = int(np.median(count)), step_s, float(np.median(np.diff(stamps)))
    step_s = cut_to(stamps, usual, step_s)
    even = are_even(count, usual)
    if usual < 2 or step_s > FASTEST_HAND_S * usual or not (even or are_in_proportion(stamps, count)):
        return time_s, step_s
    if step_s == finest_s < apart_s <= FASTEST_HAND_S * usual:
        times, period_s = in_bundles(time_s, speed, first, usual)
        if period_s:
            findings.append(Finding("readings_in_bundles", count=usual, period_s=period_s))
            return times, period_s
    if not even or (sent_s != time_s).any():
        return time_s, step_s
    findings.append(Finding("readings_share_stamps", count=usual, step_s=step_s))
    return evenly(time_s, first, usual, step_s), step_s / usual


def _on_track_clock(stamps: Stamps) -> Stamps:
    """Return stamps of the track's own clock as the track has them where it was never set."""
    unset = since_begin(stamps.time_s) if stamps.clock == "gps" else None
    return stamps if unset is None else replace(stamps, time_s=BASE_S + unset[1])


def _as_set(clock: Clock, time_s: FloatArray, findings: list[Finding]) -> tuple[Clock, FloatArray]:
    """Return clock and times; those of a clock that was never set count from an unknown start."""
    unset = since_begin(time_s) if clock in {"utc", "local"} else None
    if unset is None:
        return clock, time_s
    findings.append(Finding("clock_never_set", of="readings", year=unset[0]))
    return "elapsed", unset[1]


def _note_dead_band(speed_mps: FloatArray, unit: SpeedUnit, findings: list[Finding]) -> None:
    """Say so when a log knows no speed between zero and a walk, but many a little faster."""
    moving = speed_mps[speed_mps > 0]
    if len(moving) < 200 or (speed_mps == 0).mean() < 0.02:
        return
    slowest = float(moving.min())
    if slowest > 2.5 * KMH_MPS and (moving < 2 * slowest).sum() >= _AS_SLOW:
        findings.append(Finding("dead_band", slowest_mps=slowest, unit=display_unit_of(unit)))
