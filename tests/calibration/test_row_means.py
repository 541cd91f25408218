"""A log whose rows are means since the row before is held against means of the track."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from support.roads import plateaus, readings_of, track_of

import speedcal
from speedcal.interval import FloatArray
from speedcal.units import MPH_MPS

FACTOR, SPAN_S = 1.06, 10.0
SPEEDS = [25.0, 45.0, 32.0, 55.0, 38.0, 62.0, 28.0, 50.0, 35.0, 58.0, 42.0, 30.0, 60.0, 48.0, 33.0, 52.0, 40.0, 27.0]
ROAD = plateaus(SPEEDS * 2, hold_s=14.0, acceleration=0.7)
TRACK = track_of(ROAD, noise_mps=0.06)
ROWS = np.arange(25.3, ROAD.length_s - 40.0, SPAN_S)


def _log(speed_mps: FloatArray) -> speedcal.Readings:
    """Return a log of these speeds, shown by a dial that reads 6 % high, to a tenth of a mph."""
    log = readings_of(ROAD, ROWS, factor=FACTOR, step_mph=0.1)
    shown = np.round(FACTOR * speed_mps / MPH_MPS, 1) * MPH_MPS
    return replace(log, speed_mps=shown)


def test_rows_that_are_means() -> None:
    """The factor comes out to a few thousandths, trusted, and what the rows are is told."""
    means = (ROAD.distance(ROWS) - ROAD.distance(ROWS - SPAN_S)) / SPAN_S
    found = speedcal.calibrate(TRACK, _log(means))
    assert found.trust.word == "TRUSTED"
    assert found.error_factor.contains(FACTOR)
    assert found.error_factor.half_width < 0.004
    assert "rows_of_means" in {finding.code for finding in found.findings}


def test_rows_of_a_moment() -> None:
    """As far apart, they are held against the speed of the moment."""
    found = speedcal.calibrate(TRACK, _log(ROAD.speed(ROWS)))
    assert "rows_of_means" not in {finding.code for finding in found.findings}
    assert found.error_factor.value == pytest.approx(FACTOR, abs=0.004)
