"""Guards against mixed-up drives: one given twice, readings of another drive, dates in the wrong order, two watches."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from itertools import combinations
from typing import TYPE_CHECKING, Any, Protocol

import numpy as np

from speedcal.calibration.readings.kind import is_log
from speedcal.errors import JobError
from speedcal.interval import BoolArray, FloatArray

if TYPE_CHECKING:
    from speedcal.calibration.result import Calibration

_DAY_S, _HOUR_S, _QUARTER_S = 86400.0, 3600.0, 900.0
_ZONES = 14 * 4
"""Quarters of an hour either way by which a copy with another time zone may be shifted."""
_LEAST_COMMON_S, _LEAST_SPREAD_MPS = 60.0, 1.0
"""With less in common, or at one speed, two tracks cannot be told to be one."""
_SAME_SPEED_MPS, _SAME_SHARE = 0.4, 0.9
"""Two tracks are one when nine tenths of their speeds differ by less: even the same plan driven twice is seconds off in
every acceleration."""
_COPY_MPS = 0.03
"""The same of tracks with dates more than a zone apart, which a machine may have driven alike: receivers have noise,
copies have none."""
_PROFILE_STEP_S, _PROFILE_S = 2.0, 8.0
"""Step at which two drives are laid on each other, and the seconds over which their speeds and accelerations are taken:
two receivers differ in a second by more than they do over these."""
_LEAST_PROFILE_S, _LEAST_SHARED_PART = 480.0, 0.5
"""Shorter drives of one plan may look alike; and so much of the shorter one must lie on the other."""
_ALIKE, _ALIKE_MPS = 0.85, 1.2
"""Correlation of the accelerations, and difference of the speeds, rms, from which on two tracks are of one drive: two
receivers come to 0.89 and more (with positions every ten seconds)."""
_ALIKE_HELD, _HELD_MPS, _LEAST_HELD = 0.3, 0.5, 60
"""The same correlation where the speed hardly changes, what that is over the seconds above, and how many of such steps
tell it. One plan driven twice by a stopwatch comes to 0.97 of the first and to 0.2 of this; two receivers that tell the
speed every few seconds come to 0.5 and more, every ten to 0.1 to 0.6."""
_ROLLOVER_S, _SAME_MOMENT_S = 1024 * 7 * _DAY_S, 5.0
"""An old receiver dates a drive 1024 weeks early, when the count of weeks starts again (from
memory); its time of day is right to this."""
_LEAST_READINGS, _SHARED_READINGS, _SAME_TIME_S = 5, 0.5, 1.5
"""Two lists of readings are one when half of the shorter agree in their own clock and in what they show."""
_STOPWATCH_S = 2 * _HOUR_S
"""Times that start earlier than this may be those of a stopwatch, which has no zone to be wrong by."""
_CLOCKS_AGREE_S, _SUMMER_TIME_DAYS = 1800.0, 7.0
"""A watch may be set anew by so much between two drives, and by an hour when a week and more lies between them."""


class SeenDrive(Protocol):
    """A measured drive with its name in the job."""

    @property
    def name(self) -> str:
        """What messages call it."""

    @property
    def calibration(self) -> Calibration:
        """What was measured."""

    @property
    def has_date(self) -> bool:
        """Whether the track carries dates."""


def check_drives(
    before: Sequence[SeenDrive], after: Sequence[SeenDrive], *, clock_stated: Collection[str] = ()
) -> None:
    """Refuse drives that cannot be what they are given for, and ask about watches that do not agree.

    Parameters
    ----------
    before, after
        The drives before and after the work.
    clock_stated
        Names of the drives whose clock offset the user stated: these are not asked about.

    Raises
    ------
    JobError
        ``duplicate_drive``: two of them are one drive, whatever its name or packing; ``drives_at_once``: two were made
        at the same time by their dates and are not one; ``readings_used_twice``: the readings of one drive are given
        for another; ``order_reversed``: the drive after the work was made before the one before it; ``clocks_apart``:
        the watch went hours otherwise in two drives.
    """
    every = [*before, *after]
    for one, other in combinations(every, 2):
        pair, dated = (one.calibration, other.calibration), one.has_date and other.has_date
        if is_same_drive(*pair, dated=dated):
            is_one = not (dated and overlap(*pair)) or is_same_drive(*pair, dated=False)
            raise JobError("duplicate_drive" if is_one else "drives_at_once", first=one.name, second=other.name)
        if _share_readings(one.calibration, other.calibration):
            raise JobError("readings_used_twice", first=one.name, second=other.name)
    for one in before:
        for other in after:
            if one.has_date and other.has_date and _start(other) < _start(one):
                dates: dict[str, Any] = {"before_s": _start(one), "after_s": _start(other)}
                raise JobError("order_reversed", before=one.name, after=other.name, **dates)
    for one, other in combinations([drive for drive in every if drive.name not in clock_stated], 2):
        apart_s = _clocks_apart_s(one, other)
        if apart_s:
            raise JobError("clocks_apart", first=one.name, second=other.name, apart_s=apart_s)


def _start(drive: SeenDrive) -> float:
    return float(moments(drive.calibration)[0])


def moments(calibration: Calibration) -> FloatArray:
    """Return first and last moment of the drive, by its readings where they have times, else by its track. [s]."""
    used = calibration.readings["used"].to_numpy(bool)
    times = calibration.readings["time_s"].to_numpy(float)[used]
    times = times[np.isfinite(times)]
    if len(times) < 2:
        times = calibration.ground["time_s"].to_numpy(float)
    return np.array([times.min(), times.max()])


def overlap(one: Calibration, other: Calibration) -> bool:
    """Tell whether two drives were made at the same time, by their clocks."""
    (first, last), (first_other, last_other) = moments(one), moments(other)
    return bool(min(last, last_other) > max(first, first_other))


def is_same_drive(one: Calibration, other: Calibration, *, dated: bool) -> bool:
    """Tell whether two drives are one, whatever its name, packing or zone; ``dated`` when both tracks carry dates."""
    if "checks" in (one.speed_source, other.speed_source):  # no track to compare
        digests = [{digest for _, digest in drive.sources} for drive in (one, other)]
        return bool(digests[0] & digests[1])
    if dated and overlap(one, other):
        return True  # a vehicle makes one drive at a time
    spans = first, second = moments(one), moments(other)
    starts = [float(drive.ground["time_s"].iloc[0]) for drive in (one, other)]
    zones = np.arange(-_ZONES, _ZONES + 1) * _QUARTER_S
    shifts = [second[0] - first[0], starts[1] - starts[0], *zones]
    redated = dated and abs(starts[1] - starts[0]) > _ZONES * _QUARTER_S
    within = _COPY_MPS if redated else _SAME_SPEED_MPS
    if _same_profile((one, other), spans, rolled_over=redated):
        return True
    return any(_same_speeds((one, other), spans, float(shift), within) for shift in shifts)


def _same_speeds(
    drives: tuple[Calibration, Calibration], spans: tuple[FloatArray, FloatArray], shift_s: float, within_mps: float
) -> bool:
    """Tell whether two drives went at the same speeds when the first is shifted in time."""
    (first, last), (first_other, last_other) = spans
    low, high = max(first, first_other - shift_s), min(last, last_other - shift_s)
    if high - low < _LEAST_COMMON_S:
        return False
    at = np.arange(low, high)
    speeds = [_speeds_at(drives[0], at), _speeds_at(drives[1], at + shift_s)]
    known = np.isfinite(speeds[0]) & np.isfinite(speeds[1])
    if known.sum() < _LEAST_COMMON_S or np.std(speeds[0][known]) < _LEAST_SPREAD_MPS:
        return False
    return float(np.mean(np.abs(speeds[0] - speeds[1])[known] < within_mps)) > _SAME_SHARE


def _same_profile(
    drives: tuple[Calibration, Calibration], spans: tuple[FloatArray, FloatArray], *, rolled_over: bool
) -> bool:
    """Tell whether two receivers recorded one drive, by how its speed went, whatever their clocks say.

    With ``rolled_over`` they may differ by what a count of weeks that starts again leaves, and by no other date.
    """
    starts, means = zip(*map(_profile, drives, spans), strict=True)
    lag = round(_PROFILE_S / 2 / _PROFILE_STEP_S)
    changes = [np.nan_to_num(mean[2 * lag :] - mean[: -2 * lag]) for mean in means]
    if min(map(len, changes)) * _PROFILE_STEP_S < _LEAST_PROFILE_S:
        return False
    shift = int(np.argmax(np.correlate(changes[0], changes[1], "full"))) - len(changes[1]) + 1
    apart_s = starts[1] - shift * _PROFILE_STEP_S - starts[0]
    if rolled_over and abs((apart_s + _ROLLOVER_S / 2) % _ROLLOVER_S - _ROLLOVER_S / 2) > _SAME_MOMENT_S:
        return False
    first, last = max(0, shift), min(len(means[0]), len(means[1]) + shift)
    shared = [means[0][first:last], means[1][first - shift : last - shift]]
    known = np.isfinite(shared[0] - shared[1])
    if known.sum() < _LEAST_SHARED_PART * min(map(len, means)):
        return False
    moves = [part[2 * lag :] - part[: -2 * lag] for part in shared]
    moving = np.isfinite(moves[0] - moves[1])
    held = moving & (np.abs(moves[0] + moves[1]) < 2 * _HELD_MPS)
    if held.sum() >= _LEAST_HELD and _correlation(moves, held) < _ALIKE_HELD:
        return False
    apart = (shared[0] - shared[1])[known]
    return _correlation(moves, moving) > _ALIKE and float(np.sqrt(np.mean(apart**2))) < _ALIKE_MPS


def _correlation(pair: Sequence[FloatArray], where: BoolArray) -> float:
    """Return the correlation of two series at some places, 0 where one of them stays the same."""
    one, other = (part[where] - part[where].mean() for part in pair)
    size = float(np.sqrt((one @ one) * (other @ other)))
    return float(one @ other) / size if size else 0.0


def _profile(calibration: Calibration, span: FloatArray) -> tuple[float, FloatArray]:
    """Return when readings begin, and the mean speed over some seconds at even steps; NaN where the track has gaps."""
    at = np.arange(span[0], span[1] + 1.0)
    width = round(_PROFILE_S)
    means = np.convolve(_speeds_at(calibration, at), np.full(width, 1 / width), mode="valid")
    return float(span[0]), np.asarray(means[:: round(_PROFILE_STEP_S)])


def _speeds_at(calibration: Calibration, at_s: FloatArray) -> FloatArray:
    """Return the true speed at some moments, NaN where the track has a gap. [m/s]."""
    time, speed, piece = (calibration.ground[name].to_numpy(float) for name in ("time_s", "speed_mps", "piece"))
    behind = np.clip(np.searchsorted(time, at_s, side="right") - 1, 0, len(time) - 2)
    return np.where(piece[behind] == piece[behind + 1], np.interp(at_s, time, speed), np.nan)


def _own_clock(calibration: Calibration) -> tuple[FloatArray, FloatArray]:
    """Return the used readings by the clock they were noted with, as time of day, and what they show; maybe none."""
    if calibration.clock_offset_s is None:
        return np.empty(0), np.empty(0)
    table = calibration.readings[calibration.readings["used"].to_numpy(bool)]
    times = table["time_s"].to_numpy(float) - calibration.clock_offset_s.value
    known = np.isfinite(times)
    return times[known], table["indicated_mps"].to_numpy(float)[known]


def _share_readings(one: Calibration, other: Calibration) -> bool:
    (times, shown), (times_other, shown_other) = _own_clock(one), _own_clock(other)
    if min(len(times), len(times_other)) < _LEAST_READINGS:
        return False
    if len(times) > len(times_other):
        times, shown, times_other, shown_other = times_other, shown_other, times, shown
    order = np.argsort(times_other % _DAY_S)
    there = (times_other % _DAY_S)[order]
    at = np.clip(np.searchsorted(there, times % _DAY_S), 1, max(len(there) - 1, 1))
    nearest = np.where(times % _DAY_S - there[at - 1] < there[at] - times % _DAY_S, at - 1, at)
    together = np.abs(there[nearest] - times % _DAY_S) < _SAME_TIME_S
    same = together & (np.abs(shown_other[order][nearest] - shown) < 1e-6)
    return bool(same.sum() >= _LEAST_READINGS and same.mean() > _SHARED_READINGS)


def _clocks_apart_s(one: SeenDrive, other: SeenDrive) -> float:
    """Return by how much the watch was set otherwise, zero when it was not or nothing can be said. [s]."""
    offsets = [drive.calibration.clock_offset_s for drive in (one, other)]
    times = [_own_clock(drive.calibration)[0] for drive in (one, other)]
    if offsets[0] is None or offsets[1] is None or min(part.min(initial=np.inf) for part in times) < _STOPWATCH_S:
        return 0.0
    if is_log(times[0]) != is_log(times[1]):  # a logger has a clock of its own, and is no watch
        return 0.0
    apart = (offsets[1].value - offsets[0].value + _DAY_S / 2) % _DAY_S - _DAY_S / 2
    days = abs(_start(other) - _start(one)) / _DAY_S
    summer_time = abs(abs(apart) - _HOUR_S) < _CLOCKS_AGREE_S / 3 and days > _SUMMER_TIME_DAYS
    return 0.0 if abs(apart) < _CLOCKS_AGREE_S or summer_time else float(apart)
