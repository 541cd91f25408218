"""Notes of a needle that fell on the way and stayed down, as when a cable breaks."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

import speedcal
from speedcal.errors import SpeedcalError
from speedcal.logs.drive.readings import Readings
from speedcal.logs.drive.track import Track
from speedcal.simulate import simulate
from speedcal.vehicle import Vehicle, correct

FACTOR = 1.12


@cache
def _drive(seed: int) -> tuple[Track, Readings]:
    drive = simulate("noted", seed, error_factor=FACTOR, offset_mps=0.0)
    return drive.track, drive.readings


def _falls_after(readings: Readings, count: int, *, shows: float = 0.0) -> Readings:
    """Return readings of a needle that fell after so many of them."""
    order = np.argsort(readings.time_s)
    shown = readings.speed_mps.copy()
    shown[order[count:]] = shows
    return replace(readings, speed_mps=shown)


@pytest.mark.parametrize("seed", range(120, 123))
@pytest.mark.parametrize("shows", [0.0, 2.0])
def test_the_readings_before_it_fell_tell_the_dial(seed: int, shows: float) -> None:
    """At the peg or a little above it: the factor is the truth's, the answer WEAK, the needle is looked at first."""
    track, readings = _drive(seed)
    result = speedcal.calibrate(track, _falls_after(readings, 13, shows=shows))
    assert result.trust.word == "WEAK"
    told = {reason.code: reason.values for reason in result.trust.reasons}["needle_down"]
    table = result.readings
    assert told["count"] == (table["reason"] == "needle_down").sum() > 3
    assert table["used"].sum() > 8
    assert not table[table["reason"] == "needle_down"]["used"].any()
    assert result.error_factor.value == pytest.approx(FACTOR, abs=2.5 * result.error_factor.half_width)
    first = correct(result, Vehicle.from_dict({"driven_gear": 19})).advice[0]
    assert (first.action, first.part) == ("check_count", "needle_drive")


@pytest.mark.parametrize("seed", range(120, 122))
def test_readings_of_another_drive_are_not_saved_by_it(seed: int) -> None:
    track, _ = _drive(seed)
    _, foreign = _drive(seed + 20)
    late = track.time_s[0] - foreign.time_s[0]
    with pytest.raises(SpeedcalError):
        speedcal.calibrate(track, _falls_after(replace(foreign, time_s=foreign.time_s + late), 13))


def test_a_needle_at_rest_in_a_parked_vehicle_did_not_fall() -> None:
    """Ten readings after the track has come to its stop: the vehicle does not go on."""
    track, readings = _drive(120)
    end = track.time_s[-1]
    still = np.concatenate([track.time_s, end + np.arange(1.0, 400.0)])
    held = {
        name: np.concatenate([getattr(track, name), np.full(399, getattr(track, name)[-1])])
        for name in ("latitude_deg", "longitude_deg", "elevation_m", "segment")
    }
    parked = replace(track, time_s=still, speed_mps=np.concatenate([track.speed_mps, np.zeros(399)]), **held)
    before = len(readings)
    grown = {"time_s": end + np.linspace(60.0, 360.0, 10), "speed_mps": np.zeros(10)}
    more = {
        name: np.concatenate([getattr(readings, name), grown.get(name, np.full(10, np.nan))])
        for name in ("time_s", "speed_mps", "odometer_m")
    }
    noted = replace(readings, line=np.arange(2, before + 12), **more)
    result = speedcal.calibrate(parked, noted)
    assert "needle_down" not in [reason.code for reason in result.trust.reasons]
