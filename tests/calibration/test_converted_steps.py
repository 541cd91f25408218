"""A dial that goes in whole mph, logged in whole km/h, shows the mph it showed."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from support.roads import plateaus, readings_of, track_of

import speedcal
from speedcal.calibration.readings.converted_steps import as_it_went
from speedcal.units import KMH_MPS, MPH_MPS

FACTOR = 1.06
ROAD = plateaus([25.0, 45.0, 32.0, 55.0, 38.0, 62.0, 28.0, 50.0], hold_s=30.0, acceleration=0.5)
ROWS = np.arange(3.3, ROAD.length_s - 3.0)
MPH = np.round(FACTOR * ROAD.speed(ROWS) / MPH_MPS)
LOG = readings_of(ROAD, ROWS, factor=FACTOR, step_mph=0.1)
TWICE = replace(LOG, speed_mps=np.round(MPH * MPH_MPS / KMH_MPS) * KMH_MPS, speed_resolution_mps=KMH_MPS)


def test_whole_mph_are_found_behind_whole_kmh() -> None:
    """Every row is the mph shown, and what was done is told."""
    found = as_it_went(TWICE)
    np.testing.assert_allclose(found.speed_mps, MPH * MPH_MPS, atol=1e-9)
    assert found.speed_resolution_mps == MPH_MPS
    assert [finding.code for finding in found.findings] == ["steps_of_another_unit"]


def test_whole_kmh_of_a_dial_in_kmh_stay() -> None:
    """A third of them are no whole mph."""
    once = replace(TWICE, speed_mps=np.round(FACTOR * ROAD.speed(ROWS) / KMH_MPS) * KMH_MPS)
    assert as_it_went(once) is once


def test_the_dial_behind_them() -> None:
    """The factor is that of the dial, to what whole mph tell."""
    found = speedcal.calibrate(track_of(ROAD, noise_mps=0.06), TWICE)
    assert found.error_factor.contains(FACTOR)
    assert found.error_factor.half_width < 0.01
