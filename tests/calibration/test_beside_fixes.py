"""Logs beside recorded fixes 5 to 15 s apart: what is known at the fixes, and what is guessed between them."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from benchmark.outside.wander import wander
from benchmark.outside_score import in_memory, outside_drive

import speedcal
from speedcal.calibration.logged.beside_fixes import BesideFixes, is_finer, off_between
from speedcal.calibration.result import Calibration
from speedcal.calibration.speed.ground_speed import GroundSpeed
from speedcal.calibration.speed.speed_of_track import ground_speed
from speedcal.interval import FloatArray
from speedcal.logs.drive.track import Track

SECONDS = np.arange(0.0, 1200.0)


def _thinned(track: Track, every: int) -> Track:
    arrays = ("time_s", "latitude_deg", "longitude_deg", "elevation_m", "speed_mps", "segment")
    return replace(track, **{name: getattr(track, name)[::every] for name in arrays})


def _answer(kind: str, seed: tuple[int, int], every: int) -> tuple[Calibration, float]:
    """Return the calibration beside every so many fixes, and the true factor."""
    drive = outside_drive(kind, seed)
    track, readings = in_memory(drive)
    result = speedcal.calibrate(_thinned(track, every), readings, **drive.kind.told)
    return result, drive.truth.factor(drive.truth.speed_mps)


def _drive(every: int) -> tuple[GroundSpeed, FloatArray]:
    """Return the ground speed of fixes so far apart, and the true speed at each second."""
    track, _ = in_memory(outside_drive("log", (211, 0)))
    speed = 18.0 + 6.0 * np.clip(wander(np.random.default_rng(3), SECONDS, 12.0), -2, 2)
    some = SECONDS[::every].astype(int)
    fixes = {name: getattr(track, name)[some] for name in ("latitude_deg", "longitude_deg", "elevation_m", "segment")}
    way = np.cumsum(speed) / 111_195.0
    fixes["latitude_deg"], fixes["longitude_deg"] = way[some], np.zeros(len(some))
    return ground_speed(replace(track, time_s=SECONDS[some], speed_mps=speed[some], **fixes)), speed


@pytest.mark.parametrize("every", [10, 15])
def test_what_a_log_shows_beside_fixes_is_free_of_the_guess_between_them(every: int) -> None:
    """Off the dial by a known course: to 0.15 m/s at nearly every fix, where the guess is off by twice that."""
    ground, speed = _drive(every)
    truly = 0.4 * np.sin(SECONDS / 60)
    shown = 1.05 * speed + 1.0 + truly
    guess, _, inside = ground.at(SECONDS)
    off = shown - 1.0 - 1.05 * guess
    beside = BesideFixes.of(ground, SECONDS[inside], off[inside], shown[inside], 1.05)
    assert len(beside.time_s) == len(ground.time_s)
    error = beside.off_mps - np.interp(beside.time_s, SECONDS, truly)
    assert np.quantile(np.abs(error), 0.9) < 0.15
    assert np.quantile(np.abs(off - truly)[inside], 0.9) > 2 * np.quantile(np.abs(error), 0.9)
    rate = np.gradient(speed)[beside.time_s.astype(int)]
    assert np.corrcoef(beside.acceleration_mps2, rate)[0, 1] > 0.9


def test_the_doubt_of_a_row_follows_what_the_log_did_between_the_fixes() -> None:
    """None where speed keeps on, some where it swings, and one broken row in it changes nothing."""
    ground, _ = _drive(10)
    assert is_finer(ground, SECONDS)
    assert not is_finer(ground, SECONDS[::5])
    swings = 20.0 + np.where(SECONDS >= 600, 2.0 * np.sin(2 * np.pi * SECONDS / 10), 0.0)
    doubt = off_between(ground, SECONDS, swings)
    assert doubt[:590].max() < 1e-9
    assert doubt[610:1190].min() > 1.0
    broken = swings.copy()
    broken[305] = 70.0
    assert off_between(ground, SECONDS, broken)[305] < 1e-9


@pytest.mark.parametrize("every", [10, 15])
def test_a_sound_log_beside_fixes_far_apart_is_trusted_and_held(every: int) -> None:
    """All of eight, whose rows stray from what is guessed between the fixes."""
    for seed in range(5):
        result, factor = _answer("log", (212, seed), every)
        assert result.trust.word == "TRUSTED", result.trust.codes
        assert result.error_factor.contains(factor) or abs(result.error_factor.value / factor - 1) < 0.004


@pytest.mark.parametrize(("kind", "reason"), [("convoy, log", "log_strays"), ("log of two dials", "dial_changes")])
@pytest.mark.parametrize("every", [5, 15])
def test_beside_fixes_far_apart_the_car_behind_and_a_second_dial_are_still_seen(
    kind: str, reason: str, every: int
) -> None:
    for seed in range(3):
        result, _ = _answer(kind, (213, seed), every)
        assert reason in result.trust.codes
