"""Notes of a needle that jumps at low speed: against truth."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

import speedcal
from speedcal.calibration.result import Calibration
from speedcal.errors import AlignmentError
from speedcal.simulate import Drive, simulate
from speedcal.units import MPH_MPS


def _answer(drive: Drive, seed: int, jump_mph: float) -> Calibration | None:
    """Return the answer from notes of a dial that shows 4 % more and jumps below 40 mph, None where there is none."""
    rng, true = np.random.default_rng(seed), drive.truth.reading_ground_mps
    jumps = jump_mph * rng.choice((-1, 1), len(true)) * (true < 40 * MPH_MPS)
    read = 1.04 * true / MPH_MPS + jumps + rng.normal(0, 0.4, len(true))
    try:
        return speedcal.calibrate(drive.track, replace(drive.readings, speed_mps=np.round(read) * MPH_MPS))
    except AlignmentError:
        return None


def test_a_needle_that_jumps_at_low_speed_does_not_turn_the_factor() -> None:
    """By 2.5 mph, at 4 to 12 of the notes of 16 drives: the factor is held in 14 and more.

    The slow notes, which jump by six times what the others scatter, are used with the weight that leaves them.
    """
    answers = [_answer(simulate("noted", [84, seed]), seed, 2.5) for seed in range(10)]
    told = [answer for answer in answers if answer]
    assert len(told) == 10
    assert sum(answer.error_factor.contains(1.04) for answer in told) >= 9
    assert np.mean([answer.trust.word == "TRUSTED" for answer in told]) > 0.7
    assert np.mean([answer.readings["used"].mean() for answer in told]) > 0.85


def test_the_needle_that_does_not_jump_is_read_as_before() -> None:
    """At the fastest note, where nothing jumps, the interval is at most 1.6 times that of the steady needle."""
    drive = simulate("noted", [84, 3])
    steady, jumping = _answer(drive, 3, 0.0), _answer(drive, 3, 2.5)
    assert steady
    assert jumping
    fast = float(np.nanmax(steady.readings["ground_mps"]))
    ratio = float(jumping.half_width(fast)) / float(steady.half_width(fast))
    assert 0.8 < ratio < 1.6
