"""Needles that stick and jump, logged finely, on drives made apart from the package."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from benchmark.outside_score import in_memory, outside_drive

import speedcal
from speedcal.calibration.readings.end_stops import sticking_step
from speedcal.calibration.result import Calibration
from speedcal.interval import FloatArray
from speedcal.units import MPH_MPS as MPH

_STEP = 0.1 / 3.6


def _sticking(needle: FloatArray, by: float) -> FloatArray:
    """Return where a needle stands that stays until it is off by more, and then jumps to its place."""
    stands = needle.copy()
    for k in range(1, len(needle)):
        stands[k] = needle[k] if abs(needle[k] - stands[k - 1]) > by else stands[k - 1]
    return stands


def _with_play(needle: FloatArray, by: float) -> FloatArray:
    """Return where a needle stands that is dragged along by so much play."""
    stands = needle.copy()
    for k in range(1, len(needle)):
        stands[k] = np.clip(stands[k - 1], needle[k] - by, needle[k] + by)
    return stands


def _answer(kind: str, seed: int) -> tuple[Calibration, float]:
    drive = outside_drive(kind, (151, seed))
    truth, motion = drive.truth, drive.truth.motion
    track, readings = in_memory(drive)
    needle = np.interp(truth.time_s, motion.time_s, truth.dial.curve(motion.speed_mps))
    shown = np.round(_sticking(needle, 1.0 * MPH) / _STEP) * _STEP
    result = speedcal.calibrate(track, replace(readings, speed_mps=shown, speed_resolution_mps=_STEP))
    return result, result.error_factor.value / truth.factor(truth.speed_mps) - 1


@pytest.mark.parametrize("kind", ["log", "cruise"])
def test_a_needle_that_sticks_by_a_mile_an_hour_is_trusted_and_its_interval_holds(kind: str) -> None:
    """Of eight drives each; taken as shown to a tenth, fits do not settle, or lie off by twice what they say."""
    answers = [_answer(kind, seed) for seed in range(8)]
    assert sum(result.trust.word == "TRUSTED" for result, _ in answers) >= 7
    assert sum(abs(off) <= result.error_factor.half_width for result, off in answers) >= 7
    far = [off for result, off in answers if abs(off) > max(2 * result.error_factor.half_width, 0.005)]
    assert not far


def _sway() -> FloatArray:
    """Return a speed each second that sways slowly about 20 m/s."""
    second = np.arange(2000.0)
    return 20 + 1.5 * np.sin(second / 40) + 0.6 * np.sin(second / 13)


def test_only_a_display_that_jumps_after_it_held_a_value_sticks() -> None:
    """Sticking by 0.4 m/s spreads the speeds of one value over as much and more; play and fine figures do not jump."""
    speed = _sway()
    shown = {
        name: np.round(needle / _STEP) * _STEP
        for name, needle in (
            ("sticks", _sticking(speed, 0.4)),
            ("play", _with_play(speed, 0.4)),
            ("held in turns", np.repeat(speed[::3], 3)[: len(speed)]),
            ("sound", speed),
        )
    }
    steps = {name: sticking_step(speed, values, _STEP) for name, values in shown.items()}
    assert 0.35 < steps["sticks"] < 0.8
    assert steps == {"sticks": steps["sticks"], "play": _STEP, "held in turns": _STEP, "sound": _STEP}


def test_figures_in_whole_units_do_not_stick() -> None:
    """They jump by their step, which is known already."""
    speed = _sway()
    step = 1 / 3.6
    assert sticking_step(speed, np.round(speed / step) * step, step) == step
