"""Where to start when needle or receiver smooths by seconds: the time constant by which the other one matches it."""

from __future__ import annotations

import numpy as np

from speedcal.calibration.speed.ground_speed import GroundSpeed
from speedcal.calibration.speed.tracking_receiver import STEP_S, Tracking, passed
from speedcal.calibration.tuning import logs as tuned
from speedcal.calibration.tuning.track import SLOWEST_MPS
from speedcal.interval import BoolArray, FloatArray, median

_FEWEST, _LONGEST_S = 60, 86400.0
_MILD_DAMPING_S = (0.5, 1.0)
"""Time constants that a fit need not be started at, but that explain a log."""
_HOPELESS = 1.5
"""How much nearer than on a coarse grid no filter comes."""
_TRACKING_LATE_S, _FINER = 2.0, (1.13, 1.06, 1.03)
"""Seconds to either side in which a filter is looked for, and the steps, ever finer, by which its figures are found."""


def heavy_damping(
    ground: GroundSpeed, time_s: FloatArray, indicated_mps: FloatArray, *, tau_s: float, plain_mps: float
) -> tuple[float, float, Tracking | None]:
    """Return clock offset and damping to start a fit at, 0 where no long one explains much, or how the receiver tracks.

    Smoothing the quicker of the two, and not sharpening the slower, leaves the noise of both small.

    Parameters
    ----------
    time_s, indicated_mps
        Readings in order of time without those that are plainly wrong, at rest too, shape (n,). [s, m/s]
    tau_s
        Clock offset, as if nothing were smoothed. [s]
    plain_mps
        How far undamped readings lie off their line. [m/s]

    Returns
    -------
    tuple
        Clock offset that takes the mean delay out [s]; half the square of the time constant [s2], positive for the
        needle, negative for the receiver; and the filter of a receiver that overshoots, None where none is plainly
        better than these.
    """
    none = (tau_s, 0.0, None)
    if len(time_s) < _FEWEST or time_s[-1] - time_s[0] > _LONGEST_S:
        return none
    if max(ground.interval_s, median(np.diff(time_s))) > tuned.HEAVY_DAMPING_S[0]:
        return none  # the line between two readings would pass for smoothing
    moment = np.arange(time_s[0], time_s[-1], STEP_S)
    shown = np.interp(moment, time_s, indicated_mps)
    speed, _, inside = ground.at(moment + tau_s)
    speed = np.where(inside, speed, shown)
    plain = float(_matches(speed, shown, inside, 0)[0])
    if plain < tuned.HEAVY_DAMPING_FROM * plain_mps:
        return none
    best, late_s, damped_s = min(_damped(speed, shown, inside, constant) for constant in tuned.HEAVY_DAMPING_S)
    closest = min(plain, best, *(_damped(speed, shown, inside, constant)[0] for constant in _MILD_DAMPING_S))
    if closest > tuned.TRACKING_FROM * plain_mps:
        least = min(tuned.TRACKING_MATCH * closest, tuned.TRACKING_NEAR * plain_mps)
        tracks, tracks_late_s, match = _tracking(speed, shown, inside & (speed > SLOWEST_MPS), _HOPELESS * least)
        # one that would rather ring less than any that is tried does not overshoot: it is a damped needle
        if tracks.ratio <= tuned.TRACKING_RATIOS[-1] and match < least:
            return tau_s - tracks_late_s, 0.0, tracks
    if best >= tuned.HEAVY_DAMPING_GAIN * plain:
        return none
    return tau_s - late_s - damped_s, damped_s * abs(damped_s) / 2, None


def _damped(speed: FloatArray, shown: FloatArray, inside: BoolArray, constant_s: float) -> tuple[float, float, float]:
    """Return how near smoothing one of the two brings them, how late that is, and the constant. [m/s, s, s].

    The constant is that of the needle, and negative where the receiver smooths.
    """
    reach = int(2 * constant_s / STEP_S)
    slow, quick = _smoothed(speed, constant_s), _smoothed(shown, constant_s)
    needle, receiver = (_nearest(*pair, inside, reach) for pair in ((slow, shown), (speed, quick)))
    return min((needle[0], needle[1] * STEP_S, constant_s), (receiver[0], receiver[1] * STEP_S, -constant_s))


def _nearest(speed: FloatArray, shown: FloatArray, inside: BoolArray, reach: int) -> tuple[float, int]:
    """Return the least of :func:`_matches` within reach, and where."""
    match = _matches(speed, shown, inside, reach)
    best = int(np.argmin(match))
    return float(match[best]), best - reach


def _tracking(
    speed: FloatArray, shown: FloatArray, inside: BoolArray, hopeless_mps: float
) -> tuple[Tracking, float, float]:
    """Return the filter that brings what was shown nearest to the speed, how late it is [s], and how near it comes.

    It is found roughly where that is farther than ``hopeless_mps``.
    """
    reach = int(_TRACKING_LATE_S / STEP_S)

    def nearest(tried: list[Tracking]) -> tuple[float, int, Tracking]:
        found = [(*_nearest(speed, passed(shown, tracking.kernel()), inside, reach), tracking) for tracking in tried]
        return min(found, key=lambda one: one[0])

    coarse = [Tracking(rate, ratio) for rate in tuned.TRACKING_RATES_PER_S for ratio in tuned.TRACKING_RATIOS]
    closest, late, best = nearest(coarse)
    for step in _FINER if closest < hopeless_mps else ():
        around = [
            Tracking(best.rate_per_s * step**rate, best.ratio * step**ratio)
            for rate in (-1, 0, 1)
            for ratio in (-1, 0, 1)
        ]
        closest, late, best = nearest(around)
    return best, late * STEP_S, closest


def u_even_mean(
    ground: GroundSpeed, time_s: FloatArray, indicated_mps: FloatArray, *, clock_offset_s: float, damping_s2: float
) -> float:
    """Return the relative standard uncertainty of a factor for a receiver that gives the mean of some seconds.

    One that does matches the log better when that is averaged evenly than when it is smoothed as by an instrument of
    the first order, which the fit takes it for; its factor is off by a part of what smoothing does to it.
    """
    if damping_s2 > -tuned.EVEN_MEAN_FROM_S2 or time_s[-1] - time_s[0] > _LONGEST_S:
        return 0.0
    moment = np.arange(time_s[0], time_s[-1], STEP_S)
    shown = np.interp(moment, time_s, indicated_mps)
    speed, rate, inside = ground.at(moment + clock_offset_s)
    constant, length = np.sqrt(-2 * damping_s2), np.sqrt(-24 * damping_s2)  # of the same variance of delay
    reach = int(2 * constant / STEP_S)

    def match(quick: FloatArray) -> float:
        return _nearest(speed, quick, inside, reach)[0]

    if match(passed(shown, np.ones(round(length / STEP_S)))) > tuned.EVEN_MATCH * match(_smoothed(shown, constant)):
        return 0.0
    return tuned.EVEN_MEAN_U * -damping_s2 * float(np.mean(rate[inside] ** 2) / np.var(speed[inside]))


def u_tracking(ground: GroundSpeed, tracking: Tracking) -> float:
    """Return the relative standard uncertainty of a factor for not knowing exactly how a receiver tracks."""
    swings = float(np.mean(ground.slope**2) / np.var(ground.speed_mps))
    return tuned.TRACKING_U / tracking.rate_per_s**2 * swings


def _matches(speed: FloatArray, shown: FloatArray, inside: BoolArray, reach: int) -> FloatArray:
    """Return the rms distance from their best line, with the second course ``-reach`` to ``reach`` steps behind."""
    usual = shown.mean()
    x, y = np.where(inside, speed - usual, 0.0), np.pad(shown - usual, reach)
    counts, first = inside.astype(float), np.clip(np.arange(reach, -reach - 1, -1), -len(x), len(x))
    totals = [np.concatenate(([0.0], np.cumsum(part))) for part in (counts, x, x * x)]
    count, sum_x, sum_xx = (total[len(x) + np.minimum(first, 0)] - total[np.maximum(first, 0)] for total in totals)
    sum_y, sum_yy, sum_xy = (np.correlate(a, b, "valid") for a, b in ((y, counts), (y * y, counts), (y, x)))
    some = np.maximum(count, 1.0)
    xx, yy, xy = sum_xx - sum_x**2 / some, sum_yy - sum_y**2 / some, sum_xy - sum_x * sum_y / some
    left = np.sqrt(np.maximum(yy - xy**2 / np.maximum(xx, 1e-9), 0.0) / some)
    return np.where(count < _FEWEST, np.inf, left)


def _smoothed(course: FloatArray, constant_s: float) -> FloatArray:
    """Return a course as an instrument of the first order shows it."""
    return passed(course, np.exp(-np.arange(0.0, 6 * constant_s, STEP_S) / constant_s))
