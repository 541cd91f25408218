"""Fixes that come every 1.03 s while their stamps are cut to whole seconds."""

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
    return 20.0 + 8.0 * np.sin(time_s / 40)


def _way(time_s: FloatArray) -> FloatArray:
    return 20.0 * time_s - 320.0 * np.cos(time_s / 40)


def _track(taken_s: FloatArray, stamp_s: FloatArray, *, recorded: bool = False) -> Track:
    """Due north across the equator, with positions to a centimetre."""
    fixes = Fixes(
        time_s=START_S + stamp_s,
        latitude_deg=np.round((_way(taken_s) - 10_000) / DEGREE_M, 7),
        longitude_deg=np.full(len(taken_s), 12.0),
        speed_mps=_true_speed(taken_s) if recorded else None,
    )
    return build_track(Source("drawn", b"", "", TrackFormatError), "table", fixes)


def _codes(track: Track) -> set[str]:
    return {finding.code for finding in track.findings}


@pytest.mark.parametrize("interval_s", [0.93, 0.97, 0.99, 1.01, 1.03, 1.075, 1.5, 2.06])
@pytest.mark.parametrize("rounded", [np.floor, np.round])
def test_speed_is_right_nearly_everywhere(interval_s, rounded):
    """By the stamps it is 1 to 7 % off at most fixes."""
    taken = 0.4 + interval_s * np.arange(900)
    track = _track(taken, rounded(taken))
    ground = ground_speed(track)
    late = float(np.mean(track.time_s - START_S) - taken.mean())
    off = ground.speed_mps / _true_speed(ground.time_s - START_S - late) - 1
    assert np.quantile(np.abs(off[5:-5]), 0.95) < 0.004
    assert "stamps_of_a_timer" in _codes(track)
    assert track.dropped == {}


def test_a_timer_that_wanders_is_as_good():
    """Every step a hundredth of a second longer or shorter than usual."""
    taken = np.cumsum(1.03 + np.random.default_rng(4).normal(0.0, 0.01, 900))
    track = _track(taken, np.floor(taken))
    ground = ground_speed(track)
    truth = _true_speed(taken)
    assert abs(float(np.median(ground.speed_mps / truth)) - 1) < 0.004
    assert np.quantile(np.abs(ground.speed_mps / truth - 1), 0.9) < 0.03


def test_pauses_of_the_receiver_part_the_runs():
    """Each run has its own beginning, at any part of a second."""
    taken = 1.03 * np.arange(900)
    taken[300:] += 47.6
    taken[600:] += 20.3
    track = _track(taken, np.floor(taken))
    ground = ground_speed(track)
    assert abs(float(np.median(ground.speed_mps / _true_speed(taken))) - 1) < 0.003
    assert np.ptp(track.time_s - START_S - taken) < 0.1


@pytest.mark.parametrize("share", [0.02, 0.1, 0.4])
def test_fixes_that_are_missing_stay_missing(share):
    """Where a fix a second is left out the vehicle went twice as far."""
    taken = np.flatnonzero(np.random.default_rng(7).random(900) > share).astype(float)
    track = _track(taken, taken)
    np.testing.assert_array_equal(track.time_s - START_S, taken)
    assert "stamps_of_a_timer" not in _codes(track)


def test_every_twentieth_fix_missing_is_no_cadence():
    """As even as cut stamps, and told from them by the way alone."""
    taken = np.array([k for k in range(900) if k % 20], float)
    track = _track(taken, taken)
    np.testing.assert_array_equal(track.time_s - START_S, taken)


def test_recorded_speed_keeps_its_stamps():
    """Readings of the same logger have the same."""
    taken = 1.03 * np.arange(900)
    track = _track(taken, np.floor(taken), recorded=True)
    np.testing.assert_array_equal(track.time_s - START_S, np.floor(taken))
    assert track.findings == ()


def test_the_times_are_those_of_the_file_but_for_less_than_a_second():
    taken = 0.4 + 1.03 * np.arange(900)
    track = _track(taken, np.floor(taken))
    assert np.abs(track.time_s - START_S - np.floor(taken)).max() < 0.6
    (finding,) = track.findings
    assert finding.values["period_s"] == pytest.approx(1.03, abs=0.001)


def test_stamps_with_fractions_are_believed():
    """They are the receiver's own."""
    taken = np.round(1.03 * np.arange(900), 2)
    track = _track(taken, taken)
    np.testing.assert_allclose(track.time_s - START_S, taken, atol=1e-6)
    assert "stamps_of_a_timer" not in _codes(track)
