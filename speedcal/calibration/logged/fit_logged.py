"""Fit of readings that a machine logged: many, evenly stamped, each one a little rounded.

Pairs are made at the times of the sparser side, averaged over windows of one to ten seconds, and a line with errors in
both coordinates is laid through the windows. Averaging both sides alike does not move the line; it takes the noise of
the ground speed, which would flatten the line, down to where it no longer matters. Windows are no longer than that
needs, since an instrument that lags in its own way under braking shows differently in long ones. What neighbouring
readings share is counted once, by leaving out whole minutes.
"""

from __future__ import annotations

import numpy as np

from speedcal.calibration.dial.measured import NO_GROUND, TOO_SLOW, WRONG, MeasuredLine, RoughLog
from speedcal.calibration.logged.beside_fixes import is_finer, off_between
from speedcal.calibration.logged.fit_distances import fit_distances
from speedcal.calibration.logged.fit_rounded import fit_rounded
from speedcal.calibration.logged.held_rounding import HeldRounding
from speedcal.calibration.logged.pairs import Pairs, Windows, average, make_pairs, window_length_s
from speedcal.calibration.logged.windows import fit_windows
from speedcal.calibration.readings.clock_search import OFFSET_SCALE_MPS, Shift
from speedcal.calibration.readings.looseness import why_no_dial
from speedcal.calibration.speed.ground_speed import GroundSpeed
from speedcal.calibration.speed.runs import SteadyRuns
from speedcal.calibration.tuning import logs as tuned
from speedcal.errors import AlignmentError, FitError
from speedcal.finding import Finding
from speedcal.interval import FloatArray, median, robust_scale

_SCORE_BLOCK_S = 30.0
"""Residuals within this time may be alike, as far as the clock offset is concerned."""
_ROUNDS = 20
_WIDEST_SCALE_MPS = 4.0
_LARGEST_STEP_S = 3.0
_SMALLEST_SCATTER_MPS = 0.02
_FEWEST_PAIRS, _FEWEST_WINDOWS = 12, 4
_CLOSE_CALL = 4.0
"""Difference of log likelihoods under which two clock offsets are both possible."""


def fit_logged(
    ground: GroundSpeed,
    time_s: FloatArray,
    indicated_mps: FloatArray,
    *,
    shifts: list[Shift],
    runs: SteadyRuns,
    step_mps: float,
    u_stated_mps: FloatArray,
    source: str = "",
) -> MeasuredLine:
    """Refine the clock offset by Gauss-Newton on all pairs, then fit the line through windows.

    Parameters
    ----------
    ground
        Ground speed of the drive.
    time_s, indicated_mps
        Readings, shape (n,), in order of time. [s, m/s]
    shifts
        Clock offsets to start from, best first.
    u_stated_mps
        Standard uncertainty that each reading states of itself, 0 where it states none, shape (n,). [m/s]

    Raises
    ------
    AlignmentError
        Two clock offsets explain the readings and lead to different answers, or none explains them.
    FitError
        Fewer than a dozen usable pairs, or fewer than four windows of ten seconds.
    """
    reasons: tuple[Finding, ...] = ()
    log, u_tau, residual, shown = _by_all_pairs(
        ground, time_s, indicated_mps, _best_start(shifts, source), step_mps, source
    )
    if ground.is_recorded_often:
        if log.scatter_mps > tuned.LOG_ASTRAY_MPS * max(log.factor, 1.0) + step_mps / 2:
            code, values = why_no_dial(residual, shown, log.scatter_mps)
            raise AlignmentError(code, source=source, **values)
        settled = fit_rounded(log, runs=runs, u_stated_mps=u_stated_mps)
        if settled is not None:
            return settled
        reasons = (Finding("log_unsettled"),) if min(ground.step_mps, step_mps) > 0 else ()
    elif ground.between_is_guessed or (ground.local_fit is not None and ground.local_fit.smoothing is None):
        longest_s = max(tuned.LONGEST_BETWEEN_ROWS_S, tuned.ROWS_BESIDE_FIXES * ground.interval_s)
        told = fit_distances(log) if median(np.diff(time_s)) <= longest_s else None
        if told is not None:
            return told
    return _through_windows(log, u_tau, reasons, source)


def _by_all_pairs(
    ground: GroundSpeed, time_s: FloatArray, indicated_mps: FloatArray, start: Shift, step_mps: float, source: str
) -> tuple[RoughLog, float, FloatArray, FloatArray]:
    """Return clock and line by Gauss and Newton on all pairs.

    Beside them the standard uncertainty of the clock [s], and residual and reading of every pair, shape (n,).
    """
    tau, gain, offset = start.offset_s, start.gain, start.offset_mps
    scatter, u_tau = _WIDEST_SCALE_MPS, np.nan
    residual = shown = np.zeros(0)
    # where both sides are in whole units most pairs may lie on the very line of their steps
    least_mps = max(float(np.hypot(step_mps, ground.step_mps)) / np.sqrt(12), _SMALLEST_SCATTER_MPS)
    for round_ in range(_ROUNDS):
        pairs = make_pairs(ground, time_s, indicated_mps, tau)
        speed, slope, shown = (a[pairs.usable] for a in (pairs.ground_mps, pairs.acceleration, pairs.indicated_mps))
        if len(speed) < _FEWEST_PAIRS:
            raise FitError("few_logged_moments", source=source, count=len(speed))
        residual = shown - offset - gain * speed
        scatter = max(robust_scale(residual), least_mps)
        # Away from the right clock offset only changes of speed disagree; a scale that starts wide keeps them in.
        scale = max(2.0 * scatter, _WIDEST_SCALE_MPS / 2**round_)
        far = (residual / scale) ** 2
        weight = 1 / (1 + far) ** 2
        columns = np.stack([np.ones_like(speed), speed, gain * slope], axis=1)
        prior = np.array([(scatter / OFFSET_SCALE_MPS) ** 2, 0.0, 1e-6])
        normal = columns.T @ (columns * weight[:, None]) + np.diag(prior)
        step = np.linalg.solve(normal, columns.T @ (weight * residual) - prior * [offset, 0.0, 0.0])
        offset, gain = offset + float(step[0]), gain + float(step[1])
        move = float(np.clip(step[2], -_LARGEST_STEP_S, _LARGEST_STEP_S))
        tau += move
        if round_ == _ROUNDS - 1 or (round_ > 5 and abs(move) < 1e-3):
            u_tau = _u_clock(pairs.time_s[pairs.usable], columns, far, residual, normal)
            break
    log = RoughLog(ground, time_s, indicated_mps, step_mps, tau, offset, gain, scatter)
    return log, u_tau, residual, shown


def _through_windows(log: RoughLog, u_tau: float, reasons: tuple[Finding, ...], source: str) -> MeasuredLine:
    """Return the line through windows of ten seconds, and which readings lie on it."""
    ground, tau, scatter = log.ground, log.tau_s, log.scatter_mps
    pairs = make_pairs(ground, log.time_s, log.indicated_mps, tau)
    windows = _windows(ground, pairs, log.offset_mps, log.factor, scatter, source)
    moment = log.time_s + tau
    held = HeldRounding.of(moment, log.indicated_mps, log.step_mps)
    line = fit_windows(ground, windows, gain=log.factor, scatter_mps=scatter, held=held)
    speed, slope, inside = ground.at(moment)
    limit = _limit(scatter, line.gain, slope)
    if is_finer(ground, log.time_s):
        limit = limit + off_between(ground, moment, log.indicated_mps)
    right = np.abs(log.indicated_mps - line.offset_mps - line.gain * speed) < limit
    reason = np.where(right, "", WRONG)
    reason = np.where(ground.usable_at(moment), reason, TOO_SLOW)
    reason = np.where(inside, reason, NO_GROUND)
    used = speed[reason == ""]
    return MeasuredLine(
        dial=line.dial(windows, used_mps=used if len(used) else windows.ground_mps),
        clock_offset_s=tau,
        u_clock_offset_s=u_tau,
        scatter_mps=scatter,
        time_s=moment,
        ground_mps=np.where(inside, speed, np.nan),
        reason=tuple(reason.tolist()),
        reasons=reasons,
    )


def _u_clock(time: FloatArray, columns: FloatArray, far: FloatArray, residual: FloatArray, normal: FloatArray) -> float:
    """Return the standard uncertainty of the clock offset; residuals within half a minute may be alike."""
    row = np.linalg.inv(normal)[2]
    weight = 1 / (1 + far) ** 2
    carried = float(np.sum(weight * columns[:, 2] ** 2))
    stiffness = float(np.sum((1 - 3 * far) / (1 + far) ** 3 * columns[:, 2] ** 2)) / max(carried, 1e-12)
    score = (columns @ row) * weight * residual / max(stiffness, 0.3)
    block = np.floor((time - time[0]) / _SCORE_BLOCK_S).astype(np.int64)
    together = np.bincount(block, weights=score)
    return float(np.sqrt(max(np.sum(together**2), np.sum(score**2))))


def _best_start(shifts: list[Shift], source: str) -> Shift:
    """Return the best clock offset; raise when a log fits at another one nearly as well."""
    if len(shifts) > 1 and shifts[1].score > shifts[0].score - _CLOSE_CALL:
        raise AlignmentError(
            "two_clocks_for_log",
            source=source,
            clock_offset_s=shifts[0].offset_s,
            other_clock_offset_s=shifts[1].offset_s,
        )
    return shifts[0]


def _limit(scatter: float, gain: float, acceleration: FloatArray) -> FloatArray:
    """Return how far a right reading may lie from the line; under acceleration the needle may lag. [m/s]."""
    return np.asarray(tuned.LOG_WRONG_FROM * scatter + tuned.LOG_LAG_S * gain * np.abs(acceleration))


def _windows(ground: GroundSpeed, pairs: Pairs, offset: float, gain: float, scatter: float, source: str) -> Windows:
    """Average what is not wrong over windows."""
    residual = pairs.indicated_mps - offset - gain * pairs.ground_mps
    good = pairs.usable & (np.abs(residual) < _limit(scatter, gain, pairs.acceleration))
    windows = average(pairs, good, window_length_s(ground, pairs))
    if len(windows) < _FEWEST_WINDOWS:
        raise FitError("few_logged_stretches", source=source, count=len(windows))
    return windows
