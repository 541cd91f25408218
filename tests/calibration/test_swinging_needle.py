"""Notes of a needle that swings on a worn cable: against truth."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

import speedcal
from speedcal.calibration.result import Calibration
from speedcal.errors import SpeedcalError
from speedcal.finding import codes_of
from speedcal.simulate import simulate
from speedcal.units import MPH_MPS


def _answer(seed: int, swings_mph: float) -> Calibration | None:
    """Return the answer from notes of a dial that shows 4 % more and swings, None where there is none."""
    rng, drive = np.random.default_rng(seed), simulate("noted", [85, seed])
    shown = 1.04 * drive.truth.reading_ground_mps / MPH_MPS + rng.normal(
        0, np.hypot(0.4, swings_mph), len(drive.readings)
    )
    try:
        return speedcal.calibrate(drive.track, replace(drive.readings, speed_mps=np.round(shown) * MPH_MPS))
    except SpeedcalError:
        return None


@pytest.mark.parametrize("seed", [0, 12])
def test_a_needle_that_swings_gets_a_weak_answer_that_holds(seed: int) -> None:
    """By 1.8 mph, standard; files that were refused, though they follow their track closer than strange ones do."""
    answer = _answer(seed, 1.8)
    assert answer
    assert codes_of(answer.trust.reasons) >= {"loosely_followed"}
    assert answer.error_factor.contains(1.04)


@pytest.mark.parametrize("seed", [0, 12])
def test_without_swinging_the_same_notes_are_trusted(seed: int) -> None:
    """As one pair of eyes sees a quiet needle."""
    answer = _answer(seed, 0.0)
    assert answer
    assert answer.trust.word == "TRUSTED"
