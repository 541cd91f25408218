"""Fixes of a receiver's whole seconds that an app took by a timer of its own, and fixes that were taken twice."""

from __future__ import annotations

import numpy as np
import pytest

from speedcal.calibration.speed.speed_of_track import ground_speed
from speedcal.errors import TrackFormatError
from speedcal.interval import FloatArray
from speedcal.logs.drive.track import Fixes, Track, build_track
from speedcal.logs.source import Source

START_S = 1_900_000_000.0
DEGREE_M = 110_574.4
"""Of latitude, at the equator, by the ellipsoid."""


def _true_speed(time_s: FloatArray) -> FloatArray:
    return 15.0 + 8.0 * np.sin(time_s / 60)


def _way(time_s: FloatArray) -> FloatArray:
    return 15.0 * time_s - 480.0 * np.cos(time_s / 60)


def _track(stamp_s: FloatArray, place_m: FloatArray, speed_mps: FloatArray | None = None) -> Track:
    """Due north across the equator, with positions to a centimetre."""
    fixes = Fixes(
        time_s=START_S + stamp_s,
        latitude_deg=np.round((place_m - 10_000) / DEGREE_M, 7),
        longitude_deg=np.full(len(stamp_s), 12.0),
        speed_mps=speed_mps,
    )
    return build_track(Source("drawn", b"", "", TrackFormatError), "table", fixes)


def _by_a_timer(period_s: float, *, wander_s: float = 0.0) -> FloatArray:
    count = int(1500 / period_s)
    return 0.4 + np.cumsum(period_s + wander_s * np.random.default_rng(3).standard_normal(count))


def _codes(track: Track) -> set[str]:
    return {finding.code for finding in track.findings}


@pytest.mark.parametrize("period_s", [0.8, 0.93, 0.985, 0.995, 1.005, 1.015, 1.3, 2.01, 3.02, 5.03])
def test_fixes_get_the_seconds_of_the_receiver(period_s):
    """By the stamps speed is off by as much as the timer nearly everywhere, 0.5 to 20 %."""
    taken = _by_a_timer(period_s, wander_s=0.005)
    track = _track(taken, _way(np.floor(taken)))
    given = np.unique(np.floor(taken))
    late = float(np.median((track.time_s - START_S) % 1))  # how long a fix waits on the mean, which is the clock's
    assert len(track) == len(given)
    assert np.quantile(np.abs(track.time_s - START_S - late - given), 0.98) < 0.01
    assert "fixes_of_a_timer" in _codes(track)


@pytest.mark.parametrize("period_s", [1.03, 2.01, 5.03])
def test_stamps_of_such_a_timer_may_be_cut_to_whole_seconds(period_s):
    """What a second was skipped for on paper is then not what it was skipped for on the road."""
    taken = _by_a_timer(period_s) + 0.2
    given = np.floor(taken - 0.45)
    track = _track(np.floor(taken), _way(given))
    assert np.ptp(np.quantile(track.time_s - START_S - given, (0.1, 0.9))) < 0.01
    assert "fixes_of_a_timer" in _codes(track)


def test_without_it_the_speed_is_off_by_the_timer():
    """The same fixes with a recorded speed keep their stamps: it is right whatever they are."""
    taken = _by_a_timer(0.985)
    track = _track(taken, _way(np.floor(taken)), _true_speed(np.floor(taken)))
    assert track.time_s - START_S == pytest.approx(taken, abs=1e-6)
    assert _codes(track) == set()
    by_stamps = np.median(np.diff(_way(np.floor(taken))) / np.diff(taken) / _true_speed(taken[1:]))
    assert by_stamps == pytest.approx(1 / 0.985, abs=0.003)


def test_a_fix_that_was_held_is_left_out_and_the_next_one_counts_for_both():
    """A receiver that missed a second repeats its place, and goes twice as far in the next one."""
    taken = np.arange(900.0)
    of = taken.copy()
    missed = np.flatnonzero(np.random.default_rng(5).random(900) < 0.02)
    missed = missed[(missed > 10) & (missed < 890)]
    for place in missed:
        of[place] = of[place - 1]
    track = _track(taken, _way(of))
    assert track.dropped == {"fix_not_renewed": len(missed)}
    assert (np.isin(track.time_s - START_S, taken[missed])).sum() == 0
    ground = ground_speed(track)
    assert np.max(np.abs(ground.speed_mps / _true_speed(ground.time_s - START_S) - 1)[3:-3]) < 0.01
    assert _codes(track) == set()


def test_a_vehicle_that_stands_keeps_its_fixes():
    """Braked and pulled away at 2.5 m/s2, for 3 s in between the receiver holds its place."""
    time = np.arange(400.0)
    phase = time % 50
    speed = np.clip(2.5 * np.abs(phase - 25) - 3.75, 0.0, 15.0)
    track = _track(time, np.concatenate(([0.0], np.cumsum((speed[1:] + speed[:-1]) / 2))))
    assert (speed == 0).sum() == 24
    assert track.dropped == {}
    assert len(track) == 400


@pytest.mark.parametrize(("period_s", "wander_s"), [(1.0, 0.02), (1.0, 0.1), (0.985, 0.01), (2.01, 0.02), (5.04, 0.1)])
def test_stamps_of_the_receiver_itself_stay(period_s, wander_s):
    """Fixes taken when they say, unevenly, some of them missing."""
    rng = np.random.default_rng(8)
    taken = np.cumsum(rng.normal(period_s, wander_s, 900))[rng.random(900) > 0.03]
    track = _track(taken, _way(taken))
    assert track.time_s - START_S == pytest.approx(taken, abs=1e-6)
    assert track.dropped == {}


@pytest.mark.parametrize("seed", range(4))
def test_stamps_that_are_late_by_chance_are_of_no_timer(seed):
    """A fix every 1 to 3 s, and its stamp up to half a second early or late."""
    rng = np.random.default_rng(seed)
    taken = np.cumsum(rng.uniform(1.0, 3.0, 700))
    stamp = taken + rng.uniform(-0.45, 0.45, len(taken))
    track = _track(stamp, _way(taken))
    assert track.time_s - START_S == pytest.approx(stamp, abs=1e-6)
    assert _codes(track) == set()
