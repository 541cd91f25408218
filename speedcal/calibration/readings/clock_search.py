"""Search for the clock offset: which shift of the readings lays them on the ground speed of the drive."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from speedcal.calibration.speed.ground_speed import GroundSpeed
from speedcal.calibration.tuning.general import LARGEST_FACTOR, SMALLEST_FACTOR, WRONG_SPREAD_MPS
from speedcal.errors import AlignmentError
from speedcal.interval import BoolArray, FloatArray, median
from speedcal.logs.drive.readings import Clock
from speedcal.units import MPH_MPS

_WRONG_SHARE = 0.08
"""Share of readings taken to be wrong before seeing any."""
OFFSET_SCALE_MPS, OFFSET_FREEDOM = 1.5 * MPH_MPS, 4.0
"""Scale and degrees of freedom of needle offsets before seeing any reading. Pointers sit within about one mph (common
practice, no source); the scale is wider and the tails long, so that a needle that is further off is believed. On
simulated drives with needles 1 to 2.5 mph off a normal prior of one mph left only 89 % of the truths in the 95 %
interval."""
_MOST_SHIFTS_AT_ONCE = 400_000
_SCALES_MPS = (3.0, 1.5, 0.8, 0.8)
_MOST_PEAKS = 6
_MOST_BEYOND_S = 86400.0
"""Readings may go on for this much longer than the track and still be searched from end to end."""
_FEW, _FEW_STEP_S, _MANY_STEP_S = 60, 2.0, 3.0
_WORTH_REFINING = 15.0
"""Peaks whose score is this much below the best are not worth a second look."""

_ZONES_S = 900.0 * np.array([4 * h for h in range(-12, 15)] + [-38, -14, -10, 14, 18, 22, 26, 38, 42, 23, 35, 51, 55])
"""Offsets of local from universal time that are in use (IANA time zone database): whole hours, the halves -9:30, -3:30,
-2:30, 3:30, 4:30, 5:30, 6:30, 9:30, 10:30, and 5:45, 8:45, 12:45, 13:45."""


@dataclass(frozen=True, slots=True)
class Shift:
    """A clock offset that fits: reading clock + ``offset_s`` = GPS clock; ``score`` is a log posterior density."""

    offset_s: float
    score: float
    offset_mps: float
    gain: float


def log_prior(clock: Clock, offset_s: FloatArray, *, midnight_s: float, known_s: float | None = None) -> FloatArray:
    """Return how plausible clock offsets are before looking at any speed, as a log density up to a constant.

    Parameters
    ----------
    clock
        What the times of the readings are.
    offset_s
        Reading clock + this = GPS clock. [s]
    midnight_s
        Start of the day, UTC, on which the track begins; a clock without a date counts from a midnight. [s]
    known_s
        The offset as the user knows it, to about ten seconds.
    """
    if known_s is not None:
        return -0.5 * ((offset_s - known_s) / 10.0) ** 2
    if clock == "gps":
        return -0.5 * (offset_s / 1.0) ** 2
    if clock == "elapsed":
        return np.zeros_like(offset_s)
    if clock == "utc":
        return np.asarray(np.logaddexp(_near(offset_s), np.log(1e-3) + _near_zone(offset_s)))
    if clock == "local":
        return _near_zone(offset_s)
    day = 86400.0
    turn = (offset_s - midnight_s + day / 2) % day - day / 2
    return np.asarray(np.logaddexp.reduce([_near_zone(turn + k * day) for k in (-1, 0, 1)], axis=0))


def _near(error_s: FloatArray) -> FloatArray:
    """Log density of the error of a clock: mostly below a minute, sometimes minutes (Student t, 2 degrees, 20 s)."""
    return np.asarray(-1.5 * np.log1p((error_s / 20.0) ** 2 / 2))


def zone_near(offset_s: float) -> float:
    """Return the zone in use, in seconds ahead of UTC, that a clock offset is nearest to."""
    return float(_ZONES_S[np.argmin(np.abs(offset_s + _ZONES_S))])


def _near_zone(offset_s: FloatArray) -> FloatArray:
    """Log density of a clock that shows the local time of an unknown zone."""
    clocks = np.sort(-_ZONES_S)
    after = np.clip(np.searchsorted(clocks, offset_s), 1, len(clocks) - 1)
    return _near(np.minimum(np.abs(offset_s - clocks[after - 1]), np.abs(offset_s - clocks[after])))


def log_prior_mass(
    ground: GroundSpeed, time_s: FloatArray, *, clock: Clock, midnight_s: float, known_s: float | None = None
) -> float:
    """Return the log of the integral of the density of :func:`log_prior` over the offsets that are searched."""
    if known_s is not None:
        return float(np.log(10.0 * np.sqrt(2 * np.pi)))
    if clock == "gps":
        return float(np.log(np.sqrt(2 * np.pi)))
    shifts = _range_of_shifts(ground, time_s, clock=clock, step_s=_FEW_STEP_S, known_s=None)
    density = log_prior(clock, shifts, midnight_s=midnight_s)
    return float(np.logaddexp.reduce(density) + np.log(_FEW_STEP_S))


def search_shifts(
    ground: GroundSpeed,
    time_s: FloatArray,
    indicated_mps: FloatArray,
    *,
    clock: Clock,
    middle_s: float,
    half_width_s: float,
    known_s: float | None = None,
    source: str = "",
) -> list[Shift]:
    """Return the clock offsets worth refining, best first.

    Every offset that leaves half of the readings on the track is tried, in steps of two or three seconds. The score of
    each is the likelihood of *all* readings under the best line through them, each reading being good, or wrong with a
    small probability; a reading that falls off the track or into a gap counts as wrong. So all offsets are judged on
    the same readings, standing ones included, and a few wrong readings cannot steer the choice.

    Parameters
    ----------
    time_s, indicated_mps
        Readings, shape (n,), finite. [s, m/s]
    clock, known_s
        As for :func:`log_prior`.
    middle_s, half_width_s
        A reading was taken this long after its stamp, give or take the half width; ground speed is averaged over it.

    Raises
    ------
    AlignmentError
        No offset lays at least half of the readings on the track.
    """
    step = _FEW_STEP_S if len(time_s) < _FEW else _MANY_STEP_S
    shifts = _range_of_shifts(ground, time_s, clock=clock, step_s=step, known_s=known_s)
    mean, variance = (course.astype(np.float32) for course in averaged(ground, half_width_s))
    start = ground.time_s[0]
    offset = np.rint(time_s + middle_s - start).astype(np.int64)
    score, line = np.full(len(shifts), -np.inf), np.zeros((len(shifts), 2))
    rows = max(1, _MOST_SHIFTS_AT_ONCE // len(time_s))
    # half of the readings lie on the track, or, where they go on for longer or it has gaps, readings on half of it
    least = 0.5 * min(1.0, float((ground.time_s[-1] - start) / max(np.ptp(time_s), 1.0))) * ground.covered
    for first in range(0, len(shifts), rows):
        part = shifts[first : first + rows]
        index = offset[None, :] + np.rint(part).astype(np.int64)[:, None]
        on_track = (index >= 0) & (index < len(mean))
        index = np.where(on_track, index, 0)
        speed, spread = mean.take(index), variance.take(index)
        on_track &= np.isfinite(speed)
        overlapping = on_track.mean(axis=1) >= least
        if not overlapping.any():
            continue
        here = first + np.flatnonzero(overlapping)
        score[here], line[here] = _score(
            np.where(on_track, speed, np.float32(0.0))[overlapping],
            spread[overlapping],
            on_track[overlapping],
            indicated_mps.astype(np.float32),
        )
    if not np.isfinite(score).any():
        if known_s is not None:
            raise AlignmentError("clock_said_wrong", source=source)
        dated = clock in ("utc", "local")
        raise AlignmentError(
            "no_common_time",
            source=source,
            clock=clock,
            ends_before_s=max(0.0, float(ground.time_s[0] - time_s.max())) if dated else 0.0,
            begins_after_s=max(0.0, float(time_s.min() - ground.time_s[-1])) if dated else 0.0,
        )
    score += log_prior(clock, shifts, midnight_s=86400.0 * np.floor(start / 86400.0), known_s=known_s)
    best = _peaks(shifts, score, apart_s=max(8.0, 2 * half_width_s))
    return [Shift(float(shifts[i]), float(score[i]), float(line[i, 0]), float(line[i, 1])) for i in best]


def _range_of_shifts(
    ground: GroundSpeed, time_s: FloatArray, *, clock: Clock, step_s: float, known_s: float | None
) -> FloatArray:
    """Return the offsets to try: those that lay half of the readings or half of the track on the other."""
    begin, end = float(ground.time_s[0]), float(ground.time_s[-1])
    longer = float(np.clip(np.ptp(time_s) - (end - begin), 0.0, _MOST_BEYOND_S))
    # of readings that go on for longer most may be those of another drive, or a few of a clock that was set
    between = 0.0 < longer < _MOST_BEYOND_S
    usual = median(time_s)
    middle = float((time_s.min() + time_s.max()) / 2 if between else usual)
    low = min(begin - middle - longer / 2, begin - usual)
    high = max(end - middle + longer / 2, end - usual)
    if known_s is not None:
        low, high = max(low, known_s - 60.0), min(high, known_s + 60.0)
    elif clock == "gps":
        low, high = max(low, -5.0), min(high, 5.0)
    elif clock in ("utc", "local"):
        low, high = max(low, -15.0 * 3600), min(high, 15.0 * 3600)
    return np.arange(np.floor(low), np.ceil(high) + step_s, step_s) if high >= low else np.empty(0)


def averaged(ground: GroundSpeed, half_width_s: float) -> tuple[FloatArray, FloatArray]:
    """Return mean and variance of the ground speed over ± half width, once a second from the first fix on."""
    seconds = np.arange(int(ground.time_s[-1] - ground.time_s[0]) + 1, dtype=float)
    speed, _, inside = ground.at(ground.time_s[0] + seconds)
    reach = max(1, round(half_width_s))
    known = np.concatenate(([0.0], np.cumsum(inside)))
    first = np.concatenate(([0.0], np.cumsum(np.where(inside, speed, 0.0))))
    second = np.concatenate(([0.0], np.cumsum(np.where(inside, speed**2, 0.0))))
    low, high = np.maximum(seconds.astype(int) - reach, 0), np.minimum(seconds.astype(int) + reach + 1, len(seconds))
    count = known[high] - known[low]
    count_or_one = np.maximum(count, 1.0)
    mean = (first[high] - first[low]) / count_or_one
    variance = np.maximum((second[high] - second[low]) / count_or_one - mean**2, 0.0)
    return np.where(inside, mean, np.nan), variance


def _score(
    speed: NDArray[np.float32], spread: NDArray[np.float32], on_track: BoolArray, indicated: NDArray[np.float32]
) -> tuple[FloatArray, FloatArray]:
    """Return the log likelihood of all readings for each shift (row), and the offset and gain it is reached at.

    Iteratively reweighted least squares, one line a row, from a wide scale down to the real one, so that the
    start does not decide which readings count.
    """
    a = np.zeros((len(speed), 1), np.float32)
    b = np.ones((len(speed), 1), np.float32)
    every, prior = np.ones(len(indicated), np.float32), np.float32(1 / OFFSET_SCALE_MPS**2)
    for scale in _SCALES_MPS:
        variance = np.float32(scale**2) + spread
        residual = indicated - a - b * speed
        weight = on_track / variance / (1 + residual**2 / (4 * variance)) ** 2
        wv = weight * speed
        s0, s1, s2 = weight @ every, wv @ every, (wv * speed) @ every
        t0, t1 = weight @ indicated, wv @ indicated
        s0 = s0 + prior
        s2 = s2 + np.float32(1e-3)
        t1 = t1 + np.float32(1e-3)  # a faint pull to a gain of one, for drives that stand still
        determinant = np.maximum(s0 * s2 - s1 * s1, np.float32(1e-9))
        b = np.clip((s0 * t1 - s1 * t0) / determinant, SMALLEST_FACTOR, LARGEST_FACTOR)[:, None]
        a = ((t0[:, None] - b * s1[:, None]) / s0[:, None]).astype(np.float32)
    variance = np.float32(_SCALES_MPS[-1] ** 2) + spread
    residual = indicated - a - b * speed
    good = (1 - _WRONG_SHARE) / np.sqrt(2 * np.pi * variance) * np.exp(-0.5 * residual**2 / variance)
    wrong = _WRONG_SHARE / WRONG_SPREAD_MPS
    likelihood = np.log(np.where(on_track, good, 0.0) + wrong).sum(axis=1)
    return np.asarray(likelihood - 0.5 * a[:, 0] ** 2 / OFFSET_SCALE_MPS**2, float), np.hstack((a, b)).astype(float)


def _peaks(shifts: FloatArray, score: FloatArray, *, apart_s: float) -> list[int]:
    """Return the indices of the highest scores that are at least ``apart_s`` from a higher one, best first."""
    order = np.argsort(-score, kind="stable")
    peaks: list[int] = []
    for i in order:
        if len(peaks) == _MOST_PEAKS or score[i] < score[order[0]] - _WORTH_REFINING:
            break
        if all(abs(shifts[i] - shifts[peak]) >= apart_s for peak in peaks):
            peaks.append(int(i))
    return peaks
