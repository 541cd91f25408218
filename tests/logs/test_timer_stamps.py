"""Stamps in whole seconds of rows that a free-running timer wrote: their times come back, and only theirs."""

from __future__ import annotations

import numpy as np
import pytest

from speedcal.logs import read_readings, read_track
from speedcal.logs.drive.timer_stamps import of_a_timer

START_S = 1_600_000_000


def _written(period_s, n=400, phase_s=0.37):
    """Return the true times of a timer's rows, and their stamps."""
    true = START_S + phase_s + period_s * np.arange(n)
    return true, np.floor(true)


@pytest.mark.parametrize("period_s", [2.03, 4.957, 5.04, 5.11, 9.98])
def test_the_times_of_a_timer_come_back(period_s):
    """But for what all stamps lack alike, which is the clock's to find."""
    true, stamps = _written(period_s)
    times, found = of_a_timer(stamps)
    assert found == pytest.approx(period_s, abs=0.002)
    off_s = times - true
    assert np.ptp(off_s) < 0.1, "as stamped it is a second"
    assert abs(times - stamps).max() < 0.6


def test_the_times_of_a_timer_come_back_around_a_stop_of_the_logger():
    true, stamps = _written(5.04, 600)
    stamps[300:] += 61
    times, found = of_a_timer(stamps)
    assert found == pytest.approx(5.04, abs=0.002)
    assert np.ptp((times - true)[:300]) < 0.1
    assert np.ptp((times - true)[300:]) < 0.1


@pytest.mark.parametrize("seed", range(5))
def test_rows_that_jitter_or_are_missing_keep_their_stamps(seed):
    rng = np.random.default_rng(seed)
    late = START_S + np.cumsum(np.where(rng.random(400) < 0.04, 6.0, 5.0))
    missing = START_S + np.flatnonzero(rng.random(400) > 0.03).astype(float)
    apart = START_S + np.cumsum(rng.integers(2, 12, 400)).astype(float)
    for stamps in (late, missing, apart, START_S + 5.0 * np.arange(400), START_S + 0.5 * np.arange(400)):
        times, found = of_a_timer(stamps)
        assert found == 0
        np.testing.assert_array_equal(times, stamps)


def test_fixes_and_readings_of_a_table_get_the_same_times_and_it_is_said(tmp_path):
    true, stamps = _written(5.04, 300)
    rows = [f"{stamps[i]:.0f},{45 + 2e-4 * (true[i] - START_S):.6f},9.5,{50 + i % 7}" for i in range(len(true))]
    path = tmp_path / "both.csv"
    path.write_text("\n".join(("time,lat,lon,indicated mph", *rows)) + "\n", encoding="utf-8")
    track, readings = read_track(path), read_readings(path)
    assert np.ptp(track.time_s - true) < 0.1
    np.testing.assert_allclose(readings.time_s, track.time_s, atol=1e-6)
    speed_mps = np.hypot(*(np.diff(x) for x in (track.latitude_deg, track.longitude_deg))) / np.diff(track.time_s)
    assert np.ptp(speed_mps) < 0.01 * speed_mps.mean(), "the speed is that of the drive, which is even"
    for log in (track, readings):
        (finding,) = [finding for finding in log.findings if finding.code == "stamps_of_a_timer"]
        assert finding.values["period_s"] == pytest.approx(5.04, abs=0.002)
