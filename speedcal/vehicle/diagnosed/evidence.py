"""What a drive says of the causes of a wrong reading: line, odometer, bend, scatter, and how the needle moves."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from speedcal.calibration.dial.dial import Dial
from speedcal.calibration.dial.measured import WRONG
from speedcal.calibration.judged.needle_belief import belief_of, is_logged, line_alone
from speedcal.calibration.readings.kind import is_log
from speedcal.calibration.result import Calibration
from speedcal.calibration.tuning.logs import SLOW_NEEDLE_S
from speedcal.finding import codes_of
from speedcal.interval import FloatArray, IntArray
from speedcal.units import MPH_MPS

if TYPE_CHECKING:
    import pandas as pd

MOST_EVIDENCE = 15.0
"""Logarithm of the likelihood ratio that one kind of evidence may bring at the most; no model is that good."""
_LEAST_KNOWN = np.diag([1e-4, 1e-7])
"""Added to what is known of a line, in variances, so that dials without uncertainty can be weighed. [m2/s2, 1]"""
_LEAST_FACTOR = 0.05
"""No dial shows a smaller part of the speed: what comes to that tells of no needle."""
_APART_S = 5.0
"""Readings of a log nearer than this err alike; one is taken of those."""
_FEWEST = 10
"""Fewer readings tell nothing of a needle that sticks. Our own judgment."""
_MOMENT_S, _GAP_S = 0.5, 60.0
"""Step in which the speed between readings is followed, and the gap over which it is not."""
_STRAY_MPS = 6 * MPH_MPS
"""A reading further off than this is a slip of the pen, and says nothing of the needle."""
_STICKS_MPS = tuple(size * MPH_MPS for size in (0.7, 1.0, 1.5, 2.0, 2.5, 3.0, 4.0))
"""By how much the speed has to change before a needle that sticks moves."""
_LEAST_STEPS, _LEAST_STEPS_NOTED = 2.0, 1.0
"""Steps of a log's display, and of notes, that a needle has to stick by: what is rounded, or held on a mark, stays and
then jumps as well. Our own judgment."""
_LEAST_SHARE = 0.4
"""Least part of a movement, as it would be for a needle that sticks so, that must show."""
_LAG_EVIDENCE = 6.0
"""Logarithm of the likelihood ratio that a slow needle in a log brings. Our own judgment."""
_HANGS_MPS, _HANGING_EVIDENCE = 0.6 * MPH_MPS, 6.0
"""By how much a needle has to hang behind to be no sound one's play, and what that brings for one that sticks. Our own
judgment."""
_LEAST_SCATTER_MPS, _MOST_A_READING = 0.1 * MPH_MPS, 4.0
"""A dial is not taken to be read more finely, and a pattern brings at most so many
times the square of the farthest reading. Our own judgment."""


@dataclass(frozen=True, slots=True)
class Evidence:
    """What the drive says: offset, logarithm of the pointer's factor, of the odometer's, and the rest."""

    value: FloatArray
    covariance: FloatArray
    has_odometer: bool
    bend: float
    """Log likelihood ratio of a bent dial against a straight one."""
    sticking: float
    """The same of a needle that sticks."""
    lag: float
    """The same of a needle that lags; zero where the drive does not tell."""
    ln_scatter: float
    """Logarithm of the scatter of the readings beside rounding, in mph."""
    is_log: bool
    codes: frozenset[str]


def evidence_of(calibration: Calibration) -> Evidence:
    """Return what a drive says of the causes of a wrong reading."""
    value, covariance = _by_the_readings_alone(calibration)
    scale = np.array([1.0, 1 / value[1]])
    value, covariance = np.array([value[0], np.log(value[1])]), covariance * np.outer(scale, scale)
    odometer = calibration.odometer_factor
    if odometer is not None:
        u = odometer.half_width / 1.96 / odometer.value
        value = np.append(value, np.log(odometer.value))
        covariance = np.block([[covariance, np.zeros((2, 1))], [np.zeros((1, 2)), np.array([[u**2]])]])
    return Evidence(
        value,
        covariance,
        odometer is not None,
        _bend_evidence(calibration),
        max(_sticking_evidence(calibration), _hanging_evidence(calibration)),
        _lag_evidence(calibration.needle_lag_s),
        _ln_scatter(calibration),
        is_logged(calibration),
        frozenset(codes_of(calibration.findings) | set(calibration.trust.codes)),
    )


def _by_the_readings_alone(calibration: Calibration) -> tuple[FloatArray, FloatArray]:
    """Return offset and factor, and their covariance.

    The calibration believes beforehand that most needles sit right; what is wrong is weighed with a belief of its own.
    """
    line = calibration.dial.line
    value, covariance = np.array([line.offset_mps, line.error_factor]), line.covariance + _LEAST_KNOWN
    taken, alone = line_alone(value, covariance, belief_of(calibration))
    if taken[1] <= _LEAST_FACTOR:
        taken, alone = value, covariance
    return taken, alone


def with_needle_off(calibration: Calibration) -> Calibration:
    """Return the drive of a straight dial whose needle is known to be off: nothing is believed of the offset."""
    if calibration.dial.shape != "straight":
        return calibration
    value, covariance = _by_the_readings_alone(calibration)
    return replace(
        calibration,
        dial=Dial.straight(float(value[0]), float(value[1]), covariance, used_mps=calibration.dial.used_mps),
    )


def _bend_evidence(calibration: Calibration) -> float:
    """Return how much the curve speaks for a bend: its largest departure from the line, in its own uncertainty."""
    dial = calibration.dial
    if dial.shape == "straight" and len(dial.knots_mps) < 3:
        return 0.0
    used = dial.used_mps
    design = np.column_stack([np.ones(len(used)), used])
    off_line = np.eye(len(used)) - design @ np.linalg.pinv(design)
    away = off_line @ dial.indicated(used)
    spread = np.sqrt(np.maximum(np.diag(off_line @ dial.covariance(used, used) @ off_line.T), 1e-8))
    strength = float(np.max(np.abs(away) / spread)) ** 2 / 2
    # what is no larger than the scatter of single readings is no bend, however often it was read
    scatter = max(calibration.scatter_mps, _LEAST_SCATTER_MPS)
    strength = min(strength, _MOST_A_READING * float(np.max(np.abs(away)) / scatter) ** 2)
    return min(strength + 2.0, MOST_EVIDENCE) if dial.shape == "bent" else min(strength - 2.0, 1.0)


def _sticking_evidence(calibration: Calibration) -> float:
    """Return how much the readings speak for a needle that stays where it is until the speed is off by some mph.

    The needle is followed over the track for several sizes of sticking; what it would be off by at each reading is
    laid on the residuals, beside a line of its own and a shift of the clock. Each of several drives that were pooled
    has its own clock.
    """
    rows = calibration.readings
    drives = [rows[rows["drive"] == drive] for drive in rows["drive"].unique()] if "drive" in rows else [rows]
    found = sum(_sticking_of(calibration, drive) for drive in drives)
    return float(np.clip(found, -2.0, MOST_EVIDENCE))


def _sticking_of(calibration: Calibration, rows: pd.DataFrame) -> float:
    """Return the evidence of one drive for a needle that sticks."""
    ground = calibration.ground.sort_values("time_s", kind="stable")
    piece = ground["piece"].to_numpy()
    if not len(rows) or len(ground) < 30 or (np.diff(piece) != 0).sum() >= len(np.unique(piece)):  # two drives at once
        return 0.0
    residual, time = rows["residual_mps"].to_numpy(float), rows["time_s"].to_numpy(float)
    keep = rows["used"].to_numpy(bool) | ((rows["reason"] == WRONG).to_numpy(bool) & (np.abs(residual) < _STRAY_MPS))
    keep &= np.isfinite(residual) & np.isfinite(time)
    order = np.flatnonzero(keep)[np.argsort(time[keep], kind="stable")]
    order = order[_spaced(time[order])] if is_log(time[order]) else order
    if len(order) < _FEWEST:
        return 0.0
    grid = _driven_moments(ground["time_s"].to_numpy(float))
    speed = np.interp(grid, ground["time_s"].to_numpy(float), ground["speed_mps"].to_numpy(float))
    at, rest = time[order], residual[order]
    shown = calibration.dial.indicated(speed)
    plain = np.column_stack(
        [np.ones(len(at)), np.interp(at, grid, speed), np.interp(at, grid, np.gradient(speed, grid))]
    )
    before = rest - plain @ np.linalg.lstsq(plain, rest, rcond=None)[0]
    found = 0.0
    least = _step_mps(rows) * (_LEAST_STEPS if is_log(at) else _LEAST_STEPS_NOTED)
    sizes = [size for size in _STICKS_MPS if size >= least]
    if not sizes:
        return 0.0
    for size in sizes:
        off = np.interp(at, grid, _stuck(shown, size) - shown)
        fitted, *_ = np.linalg.lstsq(np.column_stack([plain, off]), rest, rcond=None)
        left = rest - plain @ fitted[:3] - off * fitted[3]
        if fitted[3] > _LEAST_SHARE:
            found = max(found, len(at) / 2 * float(np.log(np.mean(before**2) / np.mean(left**2))))
    cost = 0.5 * np.log(len(at)) + np.log(len(_STICKS_MPS))
    return float(max(found - cost, -2.0))


def _hanging_evidence(calibration: Calibration) -> float:
    """Return how much a needle that was found to hang behind speaks for one that sticks; what hangs is no scatter."""
    hangs = (finding.values["play_mps"] for finding in calibration.findings if finding.code == "needle_hangs")
    least = max(_HANGS_MPS, _step_mps(calibration.readings) / 2)  # within its step a needle on its mark hangs too
    return _HANGING_EVIDENCE if max(hangs, default=0.0) > least else -np.inf


def _driven_moments(time_s: FloatArray) -> FloatArray:
    """Return a moment every half second of the drive, or of each of several that may lie months apart."""
    parts = np.split(time_s, np.flatnonzero(np.diff(time_s) > _GAP_S) + 1)
    return np.concatenate([np.arange(part[0], part[-1] + _MOMENT_S / 2, _MOMENT_S) for part in parts])


def _spaced(time_s: FloatArray) -> IntArray:
    """Return the indices of moments that are some seconds apart."""
    cell = np.floor((time_s - time_s[0]) / _APART_S)
    return np.flatnonzero(np.diff(cell, prepend=-1) > 0)


def _stuck(shown_mps: FloatArray, size_mps: float) -> FloatArray:
    """Return where a needle stands that moves only when it is off by more than this."""
    out, at = [], float(shown_mps[0])
    for value in shown_mps.tolist():
        if abs(value - at) > size_mps:
            at = value
        out.append(at)
    return np.array(out)


def _lag_evidence(lag_s: float | None) -> float:
    """Return how much the lag of the needle speaks for one that is damped too much."""
    if lag_s is None:
        return 0.0
    return _LAG_EVIDENCE if lag_s >= SLOW_NEEDLE_S else _LAG_EVIDENCE * (lag_s / SLOW_NEEDLE_S - 1)


def _ln_scatter(calibration: Calibration) -> float:
    """Return the logarithm of the scatter of the readings beside rounding. [ln mph]."""
    rounding = _step_mps(calibration.readings) ** 2 / 12
    return float(np.log(np.sqrt(max(calibration.scatter_mps**2 - rounding, (0.05 * MPH_MPS) ** 2)) / MPH_MPS))


def _step_mps(rows: pd.DataFrame) -> float:
    """Return the smallest step between readings. [m/s]."""
    steps = np.diff(np.unique(rows["indicated_mps"].dropna().round(4)))
    return float(steps.min()) if len(steps) else 0.0
