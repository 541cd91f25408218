"""What a log shows more in bends than recorded speed: a vehicle that leans, or a receiver that cuts them.

A receiver that smooths its positions, or filters its speed as a velocity, records the length of a mean of velocities:
in a bend less than the mean of their lengths, or more where its filter swings out. By how much can be made from the
course itself, and the log tells whether it was so.

A motorcycle rolls in a bend on the shoulders of its tires, which are smaller, and shows more: at a lean of t to the
upright a tire with a round section of radius c rolls on a radius smaller by c (1 - cos t), and a bend at speed v and
turning rate w asks for tan t = v w / g. The share that is lost is a few sigma in cars, of any sign, and twenty in
motorcycles, a third of 1 - cos t.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from speedcal.calibration.dial.measured import MeasuredLine
from speedcal.calibration.logged.smoothed_shown import as_smoothed
from speedcal.calibration.readings.kind import is_log
from speedcal.calibration.speed.ground_speed import GroundSpeed
from speedcal.calibration.speed.positions import Smoothing
from speedcal.calibration.speed.tracking_receiver import Tracking, passed
from speedcal.calibration.tuning import logs as tuned
from speedcal.calibration.tuning.general import SMALLEST_FACTOR
from speedcal.calibration.tuning.track import POSITION_WINDOW_S, SLOWEST_MPS
from speedcal.finding import Finding
from speedcal.interval import FloatArray, median, robust_scale

_FEWEST_ROWS, _G_MPS2 = 60, 9.80665
_REACH, _ROUNDS, _LEAST_SCALE_MPS, _HINGES_MPS = 5.0, 6, 0.05, (10.0, 20.0)
"""Time constants that count; rounds of the robust fit, its least scale, the speeds at which the dial may bend in it."""


@dataclass(frozen=True, slots=True)
class _Told:
    """How much of what a bend may do a log shows, and how plainly."""

    share: float
    sigmas: float


def in_bends(ground: GroundSpeed, line: MeasuredLine, indicated_mps: FloatArray) -> GroundSpeed | None:
    """Return the speed that the dial goes by in bends, None where no log tells that it is another than recorded."""
    if not ground.is_recorded_often or line.gain < SMALLEST_FACTOR:
        return None
    known = np.flatnonzero(np.array(line.reason) == "")
    known = known[np.argsort(line.time_s[known], kind="stable")]
    if len(known) < _FEWEST_ROWS or not is_log(line.time_s[known]):
        return None
    log = line.time_s[known], as_smoothed(ground, line, line.time_s[known], indicated_mps[known])
    upright = _upright_share(ground)
    leans, hint = _told(ground, *log, upright), _told(ground, *log, _cut(ground, _smoothing(tuned.CUT_HINT_S, ground)))
    tried = _filters(ground, line.tracking) if max(abs(leans.sigmas), abs(hint.sigmas)) > tuned.CUT_SIGMAS else []
    cuts = [(_told(ground, *log, cut), cut) for cut in (_cut(ground, kernel) for kernel in tried)]
    likely = [
        one for one in cuts if tuned.CUT_LEAST < one[0].share < tuned.CUT_MOST and one[0].sigmas > tuned.CUT_SIGMAS
    ]
    told, cut = max(likely, key=lambda one: one[0].sigmas, default=(_Told(0.0, 0.0), upright))
    if tuned.LEAN_LEAST < leans.share < tuned.LEAN_MOST and leans.sigmas > max(tuned.LEAN_SIGMAS, told.sigmas):
        return _leaning(ground, leans.share * upright)
    if likely and line.needle_lag_s:
        left = _told(ground, *log, cut, late_mps=_late(ground, line.needle_lag_s))
        if left.share < tuned.CUT_LEAST or left.sigmas < tuned.CUT_SIGMAS:
            return None
    return _with_bends(ground, told.share * cut) if likely else None


def _late(ground: GroundSpeed, lag_s: float) -> FloatArray:
    """Return what a needle that lags shows more at each fix: before bends, where vehicles slow, much as a cut would."""
    lags = Smoothing(lag_s, one_sided=True)
    return lags.mean(ground.speed_mps, ground.piece, ground.interval_s) - ground.speed_mps


def _with_bends(ground: GroundSpeed, cut: FloatArray) -> GroundSpeed:
    """Return the speed with the share that the receiver cut of it put back."""
    return replace(
        ground.shown_as(ground.speed_mps * (1 + cut)),
        usable=ground.usable & (np.abs(cut) < tuned.MOST_CUT),
        findings=(
            *ground.findings,
            Finding("receiver_in_bends", most=float(np.quantile(np.abs(cut[ground.usable]), 0.99))),
        ),
    )


def _smoothing(constant_s: float, ground: GroundSpeed) -> FloatArray:
    return np.exp(-np.arange(0.0, _REACH * constant_s, ground.interval_s) / constant_s)


def _filters(ground: GroundSpeed, tracking: Tracking | None) -> list[FloatArray]:
    """Return the weights, from now back in time, by which a receiver may have smoothed its velocity."""
    kalman = [Tracking(1 / constant_s, tuned.KALMAN_RATIO, overshoots=False) for constant_s in tuned.CUT_FILTERED_S]
    known = kalman if tracking is None else [tracking, *kalman]
    return [_smoothing(constant_s, ground) for constant_s in tuned.CUT_DAMPED_S] + [
        one.kernel(ground.interval_s) for one in known
    ]


def _cut(ground: GroundSpeed, kernel: FloatArray) -> FloatArray:
    """Return which share of the speed at each fix such weights take, below zero where they swing out of a bend."""
    east, north = (np.gradient(place, ground.time_s) for place in (ground.east_m, ground.north_m))
    mean_east, mean_north, mean = (passed(course, kernel) for course in (east, north, np.hypot(east, north)))
    return np.asarray(np.clip(mean / np.maximum(np.hypot(mean_east, mean_north), SLOWEST_MPS / 2), 0.5, 2.0) - 1)


def _told(
    ground: GroundSpeed,
    time_s: FloatArray,
    shown_mps: FloatArray,
    more: FloatArray,
    late_mps: FloatArray | None = None,
) -> _Told:
    """Return which part of a share that may be shown more at each fix a log does show.

    Beside it a dial that bends, a lag of its own and a share of what a needle may show more are fitted. What lies in
    one block of time errs alike.
    """
    speed, slope, _ = ground.at(time_s)
    hinges = [np.maximum(speed - hinge, 0.0) for hinge in _HINGES_MPS]
    bends = speed * np.interp(time_s, ground.time_s, more)
    late = [] if late_mps is None else [np.interp(time_s, ground.time_s, late_mps)]
    columns = np.column_stack([bends, speed, np.ones_like(speed), *hinges, slope, slope * speed, *late])
    weight, fit, off = np.ones_like(speed), np.zeros(columns.shape[1]), shown_mps
    inverse = np.eye(len(fit))
    for _ in range(_ROUNDS):
        inverse = np.asarray(np.linalg.pinv(columns.T @ (columns * weight[:, None]), hermitian=True), float)
        fit = inverse @ (columns.T @ (weight * shown_mps))
        off = shown_mps - columns @ fit
        weight = 1 / (1 + (off / max(2.5 * robust_scale(off), _LEAST_SCALE_MPS)) ** 2)
    block = np.unique(np.floor(time_s / tuned.LEAN_BLOCK_S), return_inverse=True)[1]
    pull = np.stack([np.bincount(block, weights=weight * off * column) for column in columns.T])
    spread = inverse @ pull
    gain = median(shown_mps / speed)
    return _Told(float(fit[0]) / gain, float(fit[0] / np.sqrt(max(spread[0] @ spread[0], 1e-12))))


def _leaning(ground: GroundSpeed, lost: FloatArray) -> GroundSpeed:
    """Return the speed that the dial of a leaning vehicle goes by, by the share of its radius that is lost."""
    most = float(np.quantile(lost[ground.usable], 0.99))
    return replace(
        ground.shown_as(ground.speed_mps / (1 - lost)),
        usable=ground.usable & (lost < tuned.MOST_LEAN),
        findings=(*ground.findings, Finding("vehicle_leans", most=most)),
    )


def _upright_share(ground: GroundSpeed) -> FloatArray:
    """Return 1 - cos of the lean that each fix asks for, shape (n,)."""
    reach = max(1, round(POSITION_WINDOW_S / ground.interval_s))
    index = np.arange(len(ground.time_s))
    first, last = np.maximum(index - reach, 0), np.minimum(index + reach, len(index) - 1)
    before, after = (
        np.arctan2(ground.east_m[to] - ground.east_m[at], ground.north_m[to] - ground.north_m[at])
        for at, to in ((first, index), (index, last))
    )
    turned = np.abs((after - before + np.pi) % (2 * np.pi) - np.pi)
    turned[(ground.piece[first] != ground.piece[last]) | (first == index) | (last == index)] = 0.0
    turning = 2 * turned / (ground.time_s[last] - ground.time_s[first])
    sideways = np.minimum(turning * ground.speed_mps, tuned.MOST_LEAN_MPS2) / _G_MPS2
    return np.asarray(1 - 1 / np.sqrt(1 + sideways**2))
