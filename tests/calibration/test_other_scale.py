"""Notes of which some were read off the other scale of a dial that has one in miles and one in kilometers an hour."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

import speedcal
from speedcal.calibration.result import Calibration
from speedcal.errors import AlignmentError
from speedcal.finding import Finding
from speedcal.interval import BoolArray
from speedcal.logs.drive.readings import Readings
from speedcal.simulate import simulate
from speedcal.units import MILE_M

TIMES = MILE_M / 1000


def _noted(readings: Readings, rows: BoolArray, times: float = TIMES) -> Readings:
    return replace(readings, speed_mps=np.where(rows, times * readings.speed_mps, readings.speed_mps))


def _told(result: Calibration) -> Finding:
    return next(told for told in (*result.findings, *result.trust.reasons) if told.code == "two_scales")


@pytest.mark.parametrize("share", [0.2, 0.5])
def test_readings_off_the_other_scale_are_named_and_tell_the_dial_as_well(share: float) -> None:
    """Half of them were refused as of another drive; a few, strewn over the drive, looked like other tires there."""
    drive = simulate("noted", [612, 1])
    rows = np.random.default_rng(3).random(len(drive.readings)) < share
    result = speedcal.calibrate(drive.track, _noted(drive.readings, rows))
    told = _told(result)
    assert told.values["lines"] == drive.readings.line[rows][:8].tolist()
    assert (told.values["count"], told.values["noted"]) == (rows.sum(), "km/h")
    assert result.error_factor.contains(drive.truth.error_factor)
    assert result.trust.word == ("TRUSTED" if share == 0.2 else "WEAK")


def test_a_dial_in_kilometers_has_its_miles_lower() -> None:
    """What is too low by the factor was read off the scale of the miles."""
    drive = simulate("noted", [612, 2])
    rows = np.arange(len(drive.readings)) % 3 == 0
    in_km = replace(drive.readings, speed_unit="km/h", speed_resolution_mps=drive.readings.speed_resolution_mps)
    assert _told(speedcal.calibrate(drive.track, _noted(in_km, rows, 1 / TIMES))).values["noted"] == "mph"


def test_readings_that_are_wrong_otherwise_are_none_of_another_scale() -> None:
    """Of other tires, or a digit that slipped."""
    drive = simulate("noted", [612, 1])
    rows = np.arange(len(drive.readings)) % 5 == 0
    result = speedcal.calibrate(drive.track, _noted(drive.readings, rows, 1.3))
    assert "two_scales" not in [told.code for told in (*result.findings, *result.trust.reasons)]


def test_foreign_readings_do_not_belong_for_having_two_scales() -> None:
    """Each is given the scale that fits it better, and that must not make them fit."""
    track, readings = simulate("noted", [612, 1]).track, simulate("noted", [612, 3]).readings
    rows = np.random.default_rng(4).random(len(readings)) < 0.5
    with pytest.raises(AlignmentError):
        speedcal.calibrate(track, _noted(readings, rows))
