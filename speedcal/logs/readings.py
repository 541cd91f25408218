"""From what a file says was shown, and when, to readings."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from speedcal.errors import raise_problems
from speedcal.finding import Finding
from speedcal.interval import BoolArray, FloatArray
from speedcal.logs import limits
from speedcal.logs.model import Clock, Readings
from speedcal.logs.resolution import speed_step
from speedcal.logs.source import Source
from speedcal.logs.stamps import Stamps
from speedcal.units import KMH_MPS, SPEED_UNIT_MPS, SpeedUnit

REMEDY = "Write one reading a line: a time such as 10:32:15 and the speed shown"


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
    problems: list[tuple[int | None, str]] = field(default_factory=list)
    """Line and what is wrong with it."""
    dropped: Counter[str] = field(default_factory=Counter)
    findings: list[Finding] = field(default_factory=list)


def build_readings(source: Source, kind: str, shown: Shown) -> Readings:
    """Return the readings, or raise the error of the source that lists every bad line.

    Lines without a speed, and lines without a time where others have one, are left out and counted; a line with a time
    and the odometer stays, its speed is NaN (the odometer is noted while standing). A log that
    holds every row twice is halved; readings that share a stamp in a log finer than its stamps are spread over the
    step of the stamps.
    """
    speed_mps = shown.speed * SPEED_UNIT_MPS[shown.unit]
    stamps, line = shown.stamps, np.asarray(shown.line, np.int64)
    problems = shown.problems + [(int(line[i]), text) for i, text in stamps.problems]
    for i in np.flatnonzero((speed_mps < 0) | (speed_mps > limits.FASTEST_MPS)):
        problems.append((int(line[i]), f"{shown.speed[i]:g} {shown.unit} is no speed of a road vehicle"))
    if problems:
        raise_problems(sorted(problems, key=_by_line), source=source.name, remedy=REMEDY, kind=source.error)

    odometer = np.full(len(line), np.nan) if shown.odometer_m is None else shown.odometer_m
    dropped, findings = Counter(shown.dropped), [*shown.findings, *stamps.findings]
    keep = np.isfinite(speed_mps) | (np.isfinite(odometer) & (stamps.clock != "none"))
    dropped["missing speed"] += int((~keep).sum())
    if stamps.clock != "none":
        timeless = keep & ~np.isfinite(stamps.time_s)
        dropped["missing time"] += int(timeless.sum())
        keep &= ~timeless
    keep &= ~_doubled(stamps, keep, speed_mps, odometer, dropped)
    known = keep & np.isfinite(speed_mps)
    if not known.any():
        source.fail("the file holds no readings", remedy=REMEDY)
    time_s = stamps.time_s[keep]
    clock: Clock = stamps.clock
    if clock in {"utc", "local"} and ((time_s < limits.EARLIEST_S) | (time_s > limits.LATEST_S)).any():
        source.fail(
            "the dates lie before 1990 or after 2090", remedy="Set the clock of the logger or leave the date out"
        )
    time_s = _spread(time_s, stamps.resolution_s, findings)
    _note_dead_band(speed_mps[known], findings)
    return Readings(
        time_s=time_s,
        clock=clock,
        time_resolution_s=stamps.resolution_s,
        speed_mps=speed_mps[keep],
        speed_unit=shown.unit,
        speed_resolution_mps=speed_step(shown.speed[known], shown.unit, held=clock == "none"),
        odometer_m=odometer[keep],
        odometer_resolution_m=shown.odometer_resolution_m,
        line=line[keep],
        kind=kind,
        source=source.name,
        digest=source.digest,
        dropped={reason: count for reason, count in sorted(dropped.items()) if count},
        findings=tuple(findings),
    )


def _by_line(problem: tuple[int | None, str]) -> tuple[int, str]:
    return problem[0] or 0, problem[1]


def _doubled(
    stamps: Stamps, keep: BoolArray, speed: FloatArray, odometer: FloatArray, dropped: Counter[str]
) -> BoolArray:
    """Find the second rows of a log that holds (nearly) every row twice."""
    nothing = np.zeros(len(keep), bool)
    at = np.flatnonzero(keep)
    if stamps.clock == "none" or stamps.resolution_s >= 60 or len(at) < 8:
        return nothing
    same = np.zeros(len(at), bool)
    columns = (stamps.time_s[at], speed[at], np.nan_to_num(odometer[at], nan=-1.0))
    same[1:] = np.logical_and.reduce([column[1:] == column[:-1] for column in columns])
    if same.sum() < 0.45 * len(at):
        return nothing
    dropped["repeated row"] += int(same.sum())
    nothing[at[same]] = True
    return nothing


def _spread(time_s: FloatArray, step_s: float, findings: list[Finding]) -> FloatArray:
    """Spread readings that share a stamp over its step, in a log that writes several for (nearly) every stamp."""
    if not 0 < step_s <= 1 or len(time_s) < 20 or (np.diff(time_s) < 0).any():
        return time_s
    _, start, count = np.unique(time_s, return_index=True, return_counts=True)
    usual = int(np.median(count))
    if usual < 2 or (np.abs(count - usual) <= 1).mean() < 0.8:
        return time_s
    place = np.arange(len(time_s)) - np.repeat(start, count)
    text = f"{usual} readings share each stamp; they were spread evenly over its step of {step_s:g} s"
    findings.append(Finding("stamps_shared", text))
    return np.asarray(time_s + step_s * place / np.repeat(count, count))


def _note_dead_band(speed_mps: FloatArray, findings: list[Finding]) -> None:
    """Say so when a log knows no speed between zero and a walk."""
    moving = speed_mps[speed_mps > 0]
    if len(moving) < 200 or (speed_mps == 0).mean() < 0.02:
        return
    slowest = float(np.quantile(moving, 0.001))
    if slowest > 2.5 * KMH_MPS:
        text = f"no speed between 0 and {slowest / KMH_MPS:.1f} km/h occurs: zeros may stand for slow driving"
        findings.append(Finding("dead_band", text))
