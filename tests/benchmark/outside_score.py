"""Drives made apart from :mod:`speedcal.simulate`, held against their truth."""

from __future__ import annotations

import tempfile
import time
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from benchmark.outside.drive import Kind, OutsideDrive, generator, make_drive
from benchmark.outside.files import write_files
from benchmark.outside.kinds import GROUPS, KINDS
from benchmark.outside.several import JOINT, joined

import speedcal
from speedcal.calibration.result import Calibration
from speedcal.errors import ReadingsFormatError, TrackFormatError
from speedcal.logs.drive.readings import Readings
from speedcal.logs.drive.readings_built import Shown, Stamps, build_readings
from speedcal.logs.drive.track import Fixes, Track, build_track
from speedcal.logs.source import Source
from speedcal.units import MILE_M, MPH_MPS, SPEED_UNIT_MPS

SPEEDS_MPH = (30.0, 50.0, 60.0)
FAR_FACTOR, FAR_MPH = 0.005, 0.3
"""An error below this is no wrong answer, however narrow the interval."""
FAR_HALF_WIDTHS = 2.0
LINE_FROM_MPS = 3.0
_TUKEY = 4.685
"""Of the robust line: 95 % efficient for normal errors."""


@dataclass(frozen=True)
class Mark:
    """How one drive went; NaN where there is no answer, or a speed was not driven."""

    kind: str
    seed: tuple[int, ...]
    seconds: float
    word: str
    """``TRUSTED``, ``WEAK``, or empty for a refusal."""
    refusal: str = ""
    reasons: tuple[str, ...] = ()
    error: float = np.nan
    """Of the factor, relative. [1]"""
    half_width: float = np.nan
    """Of the factor, relative. [1]"""
    line_error: float = np.nan
    """Of the factor of a robust line that was told the clock, relative. [1]"""
    odometer_error: float = np.nan
    odometer_half_width: float = np.nan
    clock_error_s: float = np.nan
    off_mph: tuple[float, ...] = (np.nan,) * len(SPEEDS_MPH)
    """Reading at each speed, less the truth."""
    half_mph: tuple[float, ...] = (np.nan,) * len(SPEEDS_MPH)

    @property
    def far(self) -> bool:
        """Factor or a reading is beyond twice its half width and beyond what matters."""
        off, half = np.abs(self.off_mph), np.array(self.half_mph)
        reading = bool(np.any((off > FAR_HALF_WIDTHS * half) & (off > FAR_MPH)))
        return reading or abs(self.error) > max(FAR_HALF_WIDTHS * self.half_width, FAR_FACTOR)

    @property
    def wrong(self) -> bool:
        """Sure and wrong: TRUSTED and far off, or TRUSTED where there is no answer."""
        answer = kind_of(self.kind, self.seed).answer
        return self.word == "TRUSTED" and (self.far or not answer)


def kind_of(name: str, seed: Sequence[int]) -> Kind:
    """Return the kind of one drive; a mixed kind draws its parts, and ``a + b`` is both."""
    if JOINT in name:
        return joined(name)
    kind = KINDS[name]
    return kind(generator(name, (*seed, 1))) if callable(kind) else kind


def outside_drive(name: str, seed: Sequence[int]) -> OutsideDrive:
    """Return one drive of a kind."""
    return make_drive(kind_of(name, seed), generator(name, tuple(seed)))


def in_memory(drive: OutsideDrive) -> tuple[Track, Readings]:
    """Return what reading the files of a drive gives, without the files."""
    fixes, notes = drive.fixes, drive.notes
    track = build_track(Source("track.gpx", b"", "track", TrackFormatError), "gpx_1_1", Fixes(**vars(fixes)))
    odometer = notes.odometer_mi * MILE_M
    shown = Shown(
        Stamps(notes.stamp_s, notes.clock, notes.step_s),
        notes.value,
        notes.unit,
        range(2, len(notes.value) + 2),
        odometer_m=odometer,
        odometer_resolution_m=MILE_M / 10 if np.isfinite(odometer).any() else np.nan,
    )
    return track, build_readings(Source("readings.csv", b"", "readings", ReadingsFormatError), "table_commas", shown)


def from_files(drive: OutsideDrive) -> tuple[Track, Readings]:
    """Return track and readings as read from the files of a drive."""
    with tempfile.TemporaryDirectory() as folder:
        track, readings = write_files(drive, Path(folder))
        return speedcal.read_track(track), speedcal.read_readings(readings)


def answer(drive: OutsideDrive, *, told: bool = True) -> Calibration:
    """Return the calibration of a drive; ``told`` passes on what somebody would say when asked."""
    track, readings = in_memory(drive)
    return speedcal.calibrate(track, readings, **(drive.kind.told if told else {}))


def mark(name: str, seed: Sequence[int], *, told: bool = True) -> Mark:
    """Make one drive, calibrate it, and hold the result against the truth."""
    drive = outside_drive(name, seed)
    line = robust_factor(drive) if drive.kind.answer else np.nan
    start = time.process_time()
    try:
        result = answer(drive, told=told)
    except speedcal.SpeedcalError as error:
        return Mark(
            name, tuple(seed), time.process_time() - start, "", refusal=getattr(error, "code", "") or str(error)
        )
    seconds = time.process_time() - start
    base = Mark(name, tuple(seed), seconds, result.trust.word, reasons=tuple(result.trust.codes))
    return _compare(base, drive, result, line) if drive.kind.answer else base


def _compare(base: Mark, drive: OutsideDrive, result: Calibration, line: float) -> Mark:
    truth = drive.truth
    used = result.readings["line"].to_numpy(int)[result.readings["used"].to_numpy(bool)] - 2
    speeds = truth.speed_mps[used]
    speeds = speeds[np.isfinite(speeds)]
    factor = truth.factor(speeds)
    everywhere = truth.speed_mps[np.isfinite(truth.speed_mps) & ~truth.wrong]
    told = truth.factor(everywhere[everywhere > LINE_FROM_MPS])
    off, half = [], []
    for at in np.array(SPEEDS_MPH) * MPH_MPS:
        driven = speeds.min() <= at <= speeds.max()
        off.append(float(result.indicated(at) - truth.reading(at)) / MPH_MPS if driven else np.nan)
        half.append(float(result.half_width(at)) / MPH_MPS if driven else np.nan)
    odometer, sound = result.odometer_factor, truth.dial.odometer_factor
    clock = result.clock_offset_s
    return replace(
        base,
        error=result.error_factor.value / factor - 1,
        half_width=result.error_factor.half_width / factor,
        line_error=line / told - 1,
        odometer_error=odometer.value / sound - 1 if odometer else np.nan,
        odometer_half_width=odometer.half_width / sound if odometer else np.nan,
        clock_error_s=clock.value - truth.clock_offset_s if clock else np.nan,
        off_mph=tuple(off),
        half_mph=tuple(half),
    )


def robust_factor(drive: OutsideDrive) -> float:
    """Return the slope of a plain robust line (Tukey's biweight) by somebody who is told the clock.

    For listed marks the holds are told in place of the clock.
    """
    notes, truth = drive.notes, drive.truth
    shown = notes.value * SPEED_UNIT_MPS[notes.unit]
    if notes.clock == "none":
        x, keep = truth.speed_mps, np.isfinite(truth.speed_mps)
    else:
        at = notes.stamp_s + truth.clock_offset_s + (notes.step_s / 2 if notes.step_s >= 1 else 0.0)
        when, speed = _ground(drive)
        x = np.interp(at, when, speed)
        keep = (at > when[0]) & (at < when[-1]) & (x > LINE_FROM_MPS)
    return float(_biweight_line(x[keep], shown[keep])[1])


def _ground(drive: OutsideDrive) -> tuple[np.ndarray, np.ndarray]:
    """Return recorded speed, or the lengths of chords over their times at their middles."""
    fixes = drive.fixes
    if np.isfinite(fixes.speed_mps).any():
        return fixes.time_s, fixes.speed_mps
    latitude = np.radians(fixes.latitude_deg)
    bulge = 1 - 0.00669438 * np.sin(latitude[0]) ** 2
    north = np.diff(latitude) * 6378137.0 * (1 - 0.00669438) / bulge**1.5
    east = np.diff(np.radians(fixes.longitude_deg)) * 6378137.0 / np.sqrt(bulge) * np.cos(latitude[:-1])
    span = np.diff(fixes.time_s)
    return fixes.time_s[:-1] + span / 2, np.hypot(east, north) / span


def _biweight_line(x: np.ndarray, y: np.ndarray) -> np.ndarray:
    """Return offset and slope by iteratively reweighted least squares, started from the absolute deviations."""
    design = np.column_stack([np.ones(len(x)), x])
    weight = np.ones(len(x))
    line = np.zeros(2)
    for turn in range(40):
        root = np.sqrt(weight)
        line = np.linalg.lstsq(design * root[:, None], y * root, rcond=None)[0]
        off = np.abs(y - design @ line)
        scale = max(float(np.median(off)) / 0.6745, 0.05)
        if turn < 15:
            weight = 1 / np.maximum(off, 0.1 * scale)
        else:
            weight = np.maximum(1 - (off / (_TUKEY * scale)) ** 2, 0.0) ** 2 + 1e-12
    return line


@dataclass(frozen=True)
class Row:
    """Many drives together."""

    name: str
    drives: int
    refused: int
    weak: int
    trusted: int
    bias: float
    rms: float
    line_ratio: float
    """Paired rms over that of the robust line."""
    coverage: float
    """Of the factor, TRUSTED answers."""
    readings: tuple[float, ...]
    """Coverage of the reading at each speed, TRUSTED answers."""
    weak_coverage: float
    weak_readings: float
    half_width: float
    """Median, of the factor. [1]"""
    half_mph: tuple[float, ...]
    """Medians, of the reading at each speed."""
    wrong: int
    milliseconds: float

    @property
    def cells(self) -> list[str]:
        """The row of a Markdown table."""
        ratio = _cell(self.line_ratio, 2)
        return [
            *(self.name, str(self.drives), str(self.refused), str(self.weak), str(self.trusted), str(self.wrong)),
            *(_cell(100 * self.bias, 3), _cell(100 * self.rms, 3), ratio, _cell(self.coverage, 3)),
            *(_cell(x, 3) for x in self.readings),
            *(_cell(self.weak_coverage, 2), _cell(self.weak_readings, 2), _cell(100 * self.half_width, 2)),
            *(_cell(x, 2) for x in self.half_mph),
            f"{self.milliseconds:.0f}",
        ]


COLUMNS = (
    *("kind", "drives", "refused", "WEAK", "TRUSTED", "sure and wrong", "bias %", "rms %", "/ robust line"),
    *("factor held", *(f"{v:.0f} mph held" for v in SPEEDS_MPH), "WEAK: factor", "WEAK: readings"),
    *("half width %", *(f"half width {v:.0f}" for v in SPEEDS_MPH), "ms"),
)


def summarise(name: str, marks: Sequence[Mark]) -> Row:
    """Return one row of some drives."""
    trusted = [m for m in marks if m.word == "TRUSTED"]
    weak = [m for m in marks if m.word == "WEAK"]
    answered = [*trusted, *weak]
    error = np.array([m.error for m in answered])
    line = np.array([m.line_error for m in answered])
    paired = np.isfinite(error) & np.isfinite(line)
    return Row(
        name=name,
        drives=len(marks),
        refused=len(marks) - len(answered),
        weak=len(weak),
        trusted=len(trusted),
        bias=_mean(error),
        rms=_rms(error),
        line_ratio=_rms(error[paired]) / _rms(line[paired]) if paired.any() else np.nan,
        coverage=_held([m.error for m in trusted], [m.half_width for m in trusted]),
        readings=tuple(
            _held([m.off_mph[k] for m in trusted], [m.half_mph[k] for m in trusted]) for k in range(len(SPEEDS_MPH))
        ),
        weak_coverage=_held([m.error for m in weak], [m.half_width for m in weak]),
        weak_readings=_held([x for m in weak for x in m.off_mph], [x for m in weak for x in m.half_mph]),
        half_width=_median([m.half_width for m in answered]),
        half_mph=tuple(_median([m.half_mph[k] for m in answered]) for k in range(len(SPEEDS_MPH))),
        wrong=sum(m.wrong for m in marks),
        milliseconds=1000 * float(np.mean([m.seconds for m in marks])) if marks else np.nan,
    )


def rows_of(marks: Sequence[Mark]) -> list[Row]:
    """Return a row for every kind, then for every group of kinds with an answer, then for all of them."""
    names = list(dict.fromkeys(m.kind for m in marks))
    rows = [summarise(name, [m for m in marks if m.kind == name]) for name in names]
    for group, kinds in GROUPS.items():
        rows += [summarise(f"*{group}*", some)] if (some := [m for m in marks if m.kind in kinds]) else []
    answerable = [m for m in marks if any(m.kind in kinds for kinds in GROUPS.values())]
    return [*rows, summarise("**all with an answer**", answerable), summarise("**all**", marks)]


def rows_of_parts(marks: Sequence[Mark]) -> list[Row]:
    """Return a row for each kind, over all that it was joined with, then for all of them."""
    parts = dict.fromkeys(part for m in marks for part in m.kind.split(JOINT))
    rows = [summarise(part, [m for m in marks if part in m.kind.split(JOINT)]) for part in parts]
    return [*rows, summarise("**all**", marks)]


def render_table(rows: Sequence[Row]) -> str:
    """Return the rows as a Markdown table."""
    lines = ["| " + " | ".join(COLUMNS) + " |", "|---" + "|---:" * (len(COLUMNS) - 1) + "|"]
    return "\n".join(lines + ["| " + " | ".join(row.cells) + " |" for row in rows])


def _held(off: Sequence[float], half: Sequence[float]) -> float:
    off_, half_ = np.abs(np.array(off, float)), np.array(half, float)
    known = np.isfinite(off_)
    return float(np.mean(off_[known] <= half_[known])) if known.any() else np.nan


def _mean(x: np.ndarray) -> float:
    x = x[np.isfinite(x)]
    return float(x.mean()) if len(x) else np.nan


def _rms(x: np.ndarray) -> float:
    x = x[np.isfinite(x)]
    return float(np.sqrt(np.mean(x**2))) if len(x) else np.nan


def _median(x: Sequence[float]) -> float:
    known = [value for value in x if np.isfinite(value)]
    return float(np.median(known)) if known else np.nan


def _cell(x: float, digits: int) -> str:
    return f"{x:.{digits}f}" if np.isfinite(x) else "-"


def seeds_of(seed: int, drives: int) -> list[tuple[int, int]]:
    """Return the seed of every drive of a run."""
    return [(seed, i) for i in range(drives)]
