"""When a noted reading may have been taken: stamps as people round them, by arithmetic and against truth."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

import speedcal
from speedcal.calibration.readings.moments import rounded_by_hand
from speedcal.calibration.result import Calibration
from speedcal.simulate import simulate
from speedcal.units import MPH_MPS


@pytest.mark.parametrize("step_s", [5.0, 10.0, 15.0, 30.0])
def test_stamps_that_all_lie_on_a_step_are_spread_evenly_about_it(step_s: float) -> None:
    """A step h and a hand of 1 s: variance h^2/12 + 1, nothing on the mean; to 6 %, for 41 points a step."""
    time = 1.5e9 + step_s * np.array([0.0, 1, 3, 4, 7, 8, 12, 13])
    at = rounded_by_hand(time, 1.0, 1.0)
    assert at is not None
    assert at.middle_s == pytest.approx(0, abs=1e-9)
    assert at.weight @ at.delay_s**2 == pytest.approx(step_s**2 / 12 + 1, rel=0.06)
    assert rounded_by_hand(time + (np.arange(8) == 3), 1.0, 1.0) is None
    assert rounded_by_hand(time, step_s, 1.0) is None  # what the file writes is known already
    assert rounded_by_hand(time[:5], 1.0, 1.0) is None


def _stamped(seed: int, step_s: float) -> tuple[Calibration, float]:
    """Return notes whose times were rounded, and what is true at 50 mph."""
    drive = simulate("noted", [84, seed])
    time = step_s * np.round(drive.readings.time_s / step_s)
    result = speedcal.calibrate(drive.track, replace(drive.readings, time_s=time))
    return result, drive.truth.offset_mps + drive.truth.error_factor * 50 * MPH_MPS


def test_notes_to_the_half_minute_are_trusted_and_hold_the_truth() -> None:
    """Times off by up to 15 s are no second watch: seven in eight are trusted, and as many hold."""
    at, trusted, held = 50 * MPH_MPS, 0, 0
    for seed in range(5):
        result, true = _stamped(seed, 30.0)
        trusted += str(result.trust) == "TRUSTED"
        held += abs(float(result.indicated(at)) - true) < float(result.half_width(at))
    assert trusted == 5
    assert held == 5


def test_notes_taken_as_the_second_hand_stands_there_lose_nothing() -> None:
    """The same speeds read at the stamps themselves: as narrow as notes whose stamps are a second beside each."""
    narrow = []
    for seed in range(4):
        drive = simulate("noted", [85, seed])
        clock, speed = drive.truth.time_s, drive.truth.ground_mps
        at = 30.0 * np.arange(np.ceil(clock[30] / 30), np.floor(clock[-30] / 30))
        at = at[np.interp(at, clock, speed) > 5]
        width = []
        for beside_s in (0.0, 1.0):
            beside = beside_s * (np.arange(len(at)) % 2)
            shown = 1.05 * np.interp(at + beside, clock, speed)
            noise = np.random.default_rng(seed).normal(0, 0.4 * MPH_MPS, len(at))
            rounded = MPH_MPS * np.round((shown + noise) / MPH_MPS)
            blank = np.full(len(at), np.nan)
            readings = replace(
                drive.readings, time_s=at + beside, speed_mps=rounded, odometer_m=blank, line=np.arange(2, len(at) + 2)
            )
            result = speedcal.calibrate(drive.track, readings)
            width.append(float(result.half_width(50 * MPH_MPS)))
        narrow.append(width[0] / width[1])
    assert np.median(narrow) == pytest.approx(1.0, abs=0.05)
