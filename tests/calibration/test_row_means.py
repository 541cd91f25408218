"""A log whose rows are means since the row before is held against means of the track."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from support.roads import Road, plateaus, readings_of, track_of

import speedcal
from speedcal.interval import FloatArray
from speedcal.units import MPH_MPS

FACTOR = 1.06
SPEEDS = [25.0, 45.0, 32.0, 55.0, 38.0, 62.0, 28.0, 50.0, 35.0, 58.0, 42.0, 30.0, 60.0, 48.0, 33.0, 52.0, 40.0, 27.0]
ROAD = plateaus(SPEEDS * 2, hold_s=14.0, acceleration=0.7)
TRACK = track_of(ROAD, noise_mps=0.06)
POSITIONS = track_of(ROAD, recorded=False)


def _rows(span_s: float) -> FloatArray:
    return np.arange(span_s + 15.3, ROAD.length_s - 40.0, span_s)


def _mean(road: Road, rows_s: FloatArray, span_s: float) -> FloatArray:
    return (road.distance(rows_s) - road.distance(rows_s - span_s)) / span_s


def _log(rows_s: FloatArray, speed_mps: FloatArray) -> speedcal.Readings:
    """Return a log of these speeds, shown by a dial that reads 6 % high, to a tenth of a mph."""
    log = readings_of(ROAD, rows_s, factor=FACTOR, step_mph=0.1)
    shown = np.round(FACTOR * speed_mps / MPH_MPS, 1) * MPH_MPS
    return replace(log, speed_mps=shown)


@pytest.mark.parametrize(
    ("track", "span_s", "half_width"), [(TRACK, 10.0, 0.004), (TRACK, 20.0, 0.02), (POSITIONS, 20.0, 0.02)]
)
def test_rows_that_are_means(track: speedcal.Track, span_s: float, half_width: float) -> None:
    """The factor comes out, trusted, and what the rows are is told; those of 20 s follow no speed of a moment."""
    rows = _rows(span_s)
    found = speedcal.calibrate(track, _log(rows, _mean(ROAD, rows, span_s)))
    assert found.trust.word == "TRUSTED"
    assert found.error_factor.contains(FACTOR)
    assert found.error_factor.half_width < half_width
    assert "rows_of_means" in {finding.code for finding in found.findings}


@pytest.mark.parametrize(("span_s", "off"), [(10.0, 0.004), (20.0, 0.01)])
def test_rows_of_a_moment(span_s: float, off: float) -> None:
    """As far apart, they are held against the speed of the moment."""
    rows = _rows(span_s)
    found = speedcal.calibrate(TRACK, _log(rows, ROAD.speed(rows)))
    assert "rows_of_means" not in {finding.code for finding in found.findings}
    assert found.error_factor.value == pytest.approx(FACTOR, abs=off)


def test_means_over_five_seconds_are_no_needle_that_lags() -> None:
    """They spread each moment as a needle of 1.4 s would, which is not said of one that follows at once."""
    rows = _rows(5.0)
    found = speedcal.calibrate(TRACK, _log(rows, _mean(ROAD, rows, 5.0)))
    assert found.error_factor.contains(FACTOR)
    assert "needle_damped" not in {finding.code for finding in found.findings}


def test_means_with_a_stop_in_them() -> None:
    """They are left out for the stop, which a dial need not show like a speed; the track does tell the speed there."""
    road = plateaus([0.0 if k % 4 == 3 else speed for k, speed in enumerate(SPEEDS * 2)], hold_s=14.0)
    rows = np.arange(25.3, road.length_s - 40.0, 10.0)
    found = speedcal.calibrate(track_of(road, noise_mps=0.06), _log(rows, _mean(road, rows, 10.0)))
    assert "rows_of_means" in {finding.code for finding in found.findings}
    assert "readings_beside_track" not in {finding.code for finding in found.findings}
    assert (found.readings["reason"] == "too_slow").sum() > 20


def test_means_of_another_drive() -> None:
    """Means of the same speeds in another order belong to no clock of this track."""
    rows = _rows(20.0)
    other = plateaus(SPEEDS[::-1] * 2, hold_s=19.0, acceleration=0.9)
    with pytest.raises(speedcal.SpeedcalError):
        speedcal.calibrate(TRACK, _log(rows, _mean(other, rows, 20.0)))
