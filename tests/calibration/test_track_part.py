"""Tracks with fixes of other days, on drives made apart from the package."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from benchmark.outside_score import in_memory, outside_drive

import speedcal
from speedcal.errors import AlignmentError, FitError
from speedcal.interval import BoolArray
from speedcal.logs.drive.readings import Readings
from speedcal.logs.drive.track import Track

YEARS_S = 1024 * 7 * 86400.0
"""A week number of ten bits comes round again after so long (IS-GPS-200; from memory)."""


def _drive(kind: str) -> tuple[Track, Readings]:
    return in_memory(outside_drive(kind, (7, 0)))


def _earlier(track: Track, some: BoolArray) -> Track:
    return replace(track, time_s=np.where(some, track.time_s - YEARS_S, track.time_s))


@pytest.mark.parametrize("kind", ["log", "notes", "stopwatch", "zone unknown"])
def test_fixes_stamped_before_the_week_was_known_are_left_out_and_counted(kind: str) -> None:
    """The first twenty, with readings of any clock: the answer is that of the track without them."""
    track, readings = _drive(kind)
    first = np.arange(len(track)) < 20
    plain = speedcal.calibrate(_later(track, ~first), readings)
    result = speedcal.calibrate(_earlier(track, first), readings)
    assert result.error_factor.value == pytest.approx(plain.error_factor.value, rel=1e-6)
    told = {finding.code: finding.values for finding in result.findings}
    assert told["fixes_of_other_days"]["count"] == 20


def _later(track: Track, keep: BoolArray) -> Track:
    names = ("time_s", "latitude_deg", "longitude_deg", "elevation_m", "speed_mps", "segment")
    return replace(track, **{name: getattr(track, name)[keep] for name in names})


def test_a_track_of_two_times_is_not_guessed_at() -> None:
    """A third lies years before: elapsed times may be of either, dated ones are of one; none may be of neither."""
    track, readings = _drive("stopwatch")
    with pytest.raises(FitError, match="do not state the date"):
        speedcal.calibrate(_earlier(track, np.arange(len(track)) < 400), readings)
    track, readings = _drive("log")
    both = _earlier(track, np.arange(len(track)) < 400)
    assert speedcal.calibrate(both, readings).trust.word == "TRUSTED"
    with pytest.raises(AlignmentError) as refused:
        speedcal.calibrate(both, replace(readings, time_s=readings.time_s - YEARS_S / 2))
    assert refused.value.code == "no_common_time"


@pytest.mark.parametrize("rounds", [1, 2])
def test_a_receiver_that_counts_its_weeks_anew_is_dated_by_the_readings(rounds: int) -> None:
    """The answer is that of the right date, clock and all, and is said."""
    track, readings = _drive("log")
    plain = speedcal.calibrate(track, readings)
    result = speedcal.calibrate(replace(track, time_s=track.time_s - rounds * YEARS_S), readings)
    assert result.error_factor == plain.error_factor
    assert result.clock_offset_s == plain.clock_offset_s
    told = {finding.code: finding.values for finding in result.findings}
    assert told["weeks_counted_anew"]["weeks"] == 1024 * rounds


@pytest.mark.parametrize("earlier_s", [YEARS_S - 7 * 86400.0, YEARS_S / 2, -YEARS_S])
def test_a_track_of_another_year_is_not_moved_to_the_readings(earlier_s: float) -> None:
    """Only a whole count before them is one."""
    track, readings = _drive("log")
    with pytest.raises(AlignmentError) as refused:
        speedcal.calibrate(replace(track, time_s=track.time_s - earlier_s), readings)
    assert refused.value.code == "no_common_time"


def test_an_offset_that_is_told_stands_above_the_count_of_weeks() -> None:
    """Who says that the readings are to be moved is believed."""
    track, readings = _drive("log")
    told_s = speedcal.calibrate(track, readings).clock_offset_s
    assert told_s is not None
    early = replace(track, time_s=track.time_s - YEARS_S)
    result = speedcal.calibrate(early, readings, clock_offset_s=told_s.value - YEARS_S)
    assert result.clock_offset_s is not None
    assert result.clock_offset_s.value == pytest.approx(told_s.value - YEARS_S, abs=1.0)
