"""Notes of a needle that rests below some speed: against truth."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

import speedcal
from speedcal.simulate import simulate


@pytest.mark.parametrize("seed", [1, 7])
def test_a_needle_that_rests_at_the_slowest_notes_is_no_second_reader(seed: int) -> None:
    """Three notes of 0 are as those of a watch that stood where the vehicle did; they are left out, not doubted."""
    drive = simulate("noted", [86, seed])
    true_mps = drive.truth.reading_ground_mps
    rests = true_mps <= np.sort(true_mps)[2]
    answer = speedcal.calibrate(
        drive.track, replace(drive.readings, speed_mps=np.where(rests, 0.0, drive.readings.speed_mps))
    )
    assert answer.trust.word == "TRUSTED"
    assert not answer.readings["used"].to_numpy()[rests].any()
    assert answer.error_factor.contains(drive.truth.error_factor)
