"""Fit of readings that a machine logged: many, evenly stamped, each one a little rounded.

Pairs are made at the times of the sparser side, averaged over windows of ten seconds, and a line with errors in both
coordinates is laid through the windows. Averaging both sides alike does not move the line, takes the noise of the
ground speed (which would flatten the line) down to nothing, and leaves what neighbouring readings share to be
counted once, by a covariance that allows for correlation along the drive.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from speedcal.errors import AlignmentError, FitError
from speedcal.measure.align import OFFSET_SD_MPS, Shift
from speedcal.measure.ground import GroundSpeed
from speedcal.measure.line import fit_line_york
from speedcal.measure.measured import NO_GROUND, TOO_SLOW, WRONG, MeasuredLine
from speedcal.measure.student import student_quantile
from speedcal.values import BoolArray, FloatArray, IntArray

_WINDOW_S = 10.0
_BLOCK_S = 60.0
"""Residuals of different blocks are taken as independent."""
_ROUNDS = 12
_ROBUST_ROUNDS = 6
_LARGEST_STEP_S = 3.0
_WRONG_FROM, _LAG_S = 5.0, 0.3
_CLOSE_CALL = 4.0
"""Difference of log likelihoods under which two clock offsets are both possible."""
_SMALLEST_SCATTER_MPS = 0.02


@dataclass(frozen=True, slots=True)
class Pairs:
    """Ground speed and indicated speed at the same moments, arrays of shape (n,)."""

    time_s: FloatArray
    """Moments on the GPS clock."""
    ground_mps: FloatArray
    acceleration: FloatArray
    indicated_mps: FloatArray
    piece: IntArray
    usable: BoolArray
    """Whether the pair may carry the error factor."""


def is_log(time_s: FloatArray) -> bool:
    """Tell whether readings come from a machine: at least sixty, mostly in one step of at most fifteen seconds."""
    if len(time_s) < 60:
        return False
    step = np.diff(time_s)
    middle = float(np.median(step))
    return middle <= 15.0 and float(np.mean(np.abs(step - middle) <= 0.2 * middle + 0.02)) > 0.7


def make_pairs(ground: GroundSpeed, time_s: FloatArray, indicated_mps: FloatArray, clock_offset_s: float) -> Pairs:
    """Return pairs at the times of the sparser side; interpolating that side would invent speeds it never had."""
    spacing = float(np.median(np.diff(time_s)))
    if spacing >= ground.interval_s / 1.5:
        moment, indicated = time_s + clock_offset_s, indicated_mps
        speed, acceleration, inside = ground.at(moment)
    else:
        moment = ground.time_s
        on_reading_clock = moment - clock_offset_s
        after = np.searchsorted(time_s, on_reading_clock)
        inside = (after > 0) & (after < len(time_s))
        after = np.clip(after, 1, len(time_s) - 1)
        inside &= time_s[after] - time_s[after - 1] <= max(3.0, 3 * spacing)
        indicated = np.interp(on_reading_clock, time_s, indicated_mps)
        speed, acceleration, on_track = ground.at(moment)
        inside &= on_track
    before, _ = ground.place(moment)
    columns = (moment, speed, acceleration, indicated, ground.piece[before], ground.usable_at(moment))
    return Pairs(*(column[inside] for column in columns))


def fit_logged(
    ground: GroundSpeed, time_s: FloatArray, indicated_mps: FloatArray, *, shifts: list[Shift], source: str = ""
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
    source
        Name of the readings for messages.

    Raises
    ------
    AlignmentError
        Two clock offsets explain the readings and lead to different answers.
    FitError
        Fewer than a dozen usable pairs, or fewer than four windows of ten seconds.
    """
    start = _best_start(shifts, source)
    tau, gain, offset = start.offset_s, start.gain, start.offset_mps
    scatter, u_tau = 1.0, np.nan
    for round_ in range(_ROUNDS):
        pairs = make_pairs(ground, time_s, indicated_mps, tau)
        speed, slope, shown = (a[pairs.usable] for a in (pairs.ground_mps, pairs.acceleration, pairs.indicated_mps))
        if len(speed) < 12:
            raise FitError(
                f"only {len(speed)} moments of the drive have both a ground speed and a reading while driving steadily",
                source=source,
                remedy="Record a drive with at least five minutes above walking speed",
            )
        residual = shown - offset - gain * speed
        scatter = max(1.4826 * float(np.median(np.abs(residual))), _SMALLEST_SCATTER_MPS)
        weight = 1 / (1 + (residual / (2.0 * scatter)) ** 2) ** 2
        columns = np.stack([np.ones_like(speed), speed, gain * slope], axis=1)
        prior = np.array([(scatter / OFFSET_SD_MPS) ** 2, 0.0, 1e-6])
        normal = columns.T @ (columns * weight[:, None]) + np.diag(prior)
        step = np.linalg.solve(normal, columns.T @ (weight * residual) - prior * [offset, 0.0, 0.0])
        offset, gain = offset + float(step[0]), gain + float(step[1])
        move = float(np.clip(step[2], -_LARGEST_STEP_S, _LARGEST_STEP_S))
        tau += move
        u_tau = scatter * float(np.sqrt(np.linalg.inv(normal)[2, 2]))
        if round_ > 3 and abs(move) < 1e-3:
            break
    line = _through_windows(ground, make_pairs(ground, time_s, indicated_mps, tau), offset, gain, scatter, source)
    moment = time_s + tau
    speed, slope, inside = ground.at(moment)
    right = np.abs(indicated_mps - line.offset_mps - line.gain * speed) < _limit(scatter, line.gain, slope)
    reason = np.where(right, "", WRONG)
    reason = np.where(ground.usable_at(moment), reason, TOO_SLOW)
    reason = np.where(inside, reason, NO_GROUND)
    return MeasuredLine(
        offset_mps=line.offset_mps,
        gain=line.gain,
        covariance=line.covariance,
        coverage_factor=student_quantile(line.freedom),
        clock_offset_s=tau,
        u_clock_offset_s=u_tau,
        scatter_mps=scatter,
        time_share=0.0,
        time_s=moment,
        ground_mps=np.where(inside, speed, np.nan),
        reason=tuple(reason.tolist()),
    )


def _best_start(shifts: list[Shift], source: str) -> Shift:
    """Return the best clock offset; raise when a log fits at another one nearly as well."""
    if len(shifts) > 1 and shifts[1].score > shifts[0].score - _CLOSE_CALL:
        raise AlignmentError(
            f"two clock offsets explain the log nearly equally well: {shifts[0].offset_s:.0f} s and "
            f"{shifts[1].offset_s:.0f} s",
            source=source,
            remedy="Give the clock offset to about ten seconds (clock_offset_s), or record a drive with more changes "
            "of speed",
        )
    return shifts[0]


@dataclass(frozen=True, slots=True)
class _WindowLine:
    offset_mps: float
    gain: float
    covariance: FloatArray
    freedom: float


def _limit(scatter: float, gain: float, acceleration: FloatArray) -> FloatArray:
    """Return how far a right reading may lie from the line; under acceleration the needle may lag. [m/s]."""
    return np.asarray(_WRONG_FROM * scatter + _LAG_S * gain * np.abs(acceleration))


def _through_windows(
    ground: GroundSpeed, pairs: Pairs, offset: float, gain: float, scatter: float, source: str
) -> _WindowLine:
    """Lay a line with errors in both coordinates through window means; covariance by leaving out minutes."""
    residual = pairs.indicated_mps - offset - gain * pairs.ground_mps
    good = pairs.usable & (np.abs(residual) < _limit(scatter, gain, pairs.acceleration))
    time, x, y, count = _windows(pairs, good)
    if len(x) < 4:
        raise FitError(
            f"the readings cover only {len(x)} stretches of ten seconds of the drive",
            source=source,
            remedy="Record a drive of at least five minutes with the log running",
        )
    u_y, u_x = scatter / np.sqrt(count), ground.u_speed_mps / np.sqrt(count)
    zero = np.zeros(1)
    inflate = np.ones_like(x)
    for _ in range(_ROBUST_ROUNDS):
        line = fit_line_york(
            np.concatenate((x, zero)),
            np.concatenate((y, zero)),
            u_x=np.concatenate((u_x, zero)),
            u_y=np.concatenate((u_y * inflate, [OFFSET_SD_MPS])),
        )
        residual = y - line.intercept - line.slope * x
        size = 1.4826 * float(np.median(np.abs(residual)))
        if ground.source == "positions":  # what windows scatter beyond the readings' own noise is position noise
            u_x = np.full_like(x, np.sqrt(max(size**2 - float(np.median(u_y)) ** 2, 0.0)) / line.slope)
        spread = np.hypot(u_y, line.slope * u_x)
        ratio = residual / spread / max(1.4826 * float(np.median(np.abs(residual / spread))), 0.1)
        inflate = 1 + (ratio / 3.0) ** 2
    weight = 1 / (spread * inflate) ** 2
    # the slope is an instrument-variable estimate with York's adjusted abscissa as instrument
    adjusted = x + residual * line.slope * u_x**2 / spread**2
    covariance, freedom = _leaving_out_blocks(time, x, y, adjusted, weight)
    return _WindowLine(line.intercept, line.slope, covariance, freedom)


def _leaving_out_blocks(
    time: FloatArray, x: FloatArray, y: FloatArray, instrument: FloatArray, weight: FloatArray
) -> tuple[FloatArray, float]:
    """Return the covariance of offset and gain by the jackknife over blocks of a minute, and its degrees of freedom.

    Leaving out whole minutes counts what neighbouring windows share once, and sees the leverage of the few stretches
    at the slow and fast end (A. C. Cameron and D. L. Miller, J. Human Resources 50, 2015, 317-372, section VI). The
    degrees of freedom are those of the blocks that really move the slope (section VI.D).
    """
    _, block = np.unique(np.floor((time - time[0]) / _BLOCK_S), return_inverse=True)
    columns = (weight, weight * x, weight * instrument, weight * instrument * x, weight * y, weight * instrument * y)
    sums = np.stack([np.bincount(block, weights=column) for column in columns])
    left = sums.sum(axis=1)[:, None] - sums
    prior = 1 / OFFSET_SD_MPS**2
    s0, s1, i1, i2, t0, t1 = left
    determinant = (s0 + prior) * i2 - s1 * i1
    gain = ((s0 + prior) * t1 - i1 * t0) / determinant
    offset = (i2 * t0 - s1 * t1) / determinant
    moved = np.stack([offset - offset.mean(), gain - gain.mean()])
    blocks = len(gain)
    covariance = moved @ moved.T * (blocks - 1) / blocks
    total = sums.sum(axis=1)
    information = np.array([[total[0] + prior, total[1]], [total[1], total[3]]])
    from_prior = np.linalg.inv(information)[:, :1] @ np.linalg.inv(information)[:1, :] * prior
    middle = total[1] / total[0]
    share = np.bincount(block, weights=weight * (x - middle) ** 2)
    freedom = max(float(share.sum() ** 2 / (share**2).sum()) - 1, 1.0)
    return covariance + from_prior, freedom


def _windows(pairs: Pairs, good: BoolArray) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    """Return time, ground speed, indicated speed and number of the good pairs of each window."""
    time, piece = pairs.time_s[good], pairs.piece[good]
    key = np.floor((time - time[0]) / _WINDOW_S).astype(np.int64) + piece * 10_000_000
    _, label = np.unique(key, return_inverse=True)
    count = np.bincount(label).astype(float)
    means = [np.bincount(label, weights=a[good]) / count for a in (pairs.time_s, pairs.ground_mps, pairs.indicated_mps)]
    return means[0], means[1], means[2], count
