"""Notes beside positions whose errors last for seconds, as between high walls: no second reader, and known as said."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from benchmark.outside.drive import generator, make_drive
from benchmark.outside.kinds import KINDS, Kind
from benchmark.outside.receiver import ReceiverStyle
from benchmark.outside_score import in_memory

import speedcal
from speedcal.calibration.noted.wandering_positions import may_wander
from speedcal.calibration.result import Calibration
from speedcal.calibration.speed.ground_speed import GroundSpeed
from speedcal.calibration.speed.speed_of_track import ground_speed
from speedcal.errors import TrackFormatError
from speedcal.interval import FloatArray
from speedcal.logs.drive.track import Fixes, build_track
from speedcal.logs.source import Source
from speedcal.units import MPH_MPS

CANYONS = ReceiverStyle(recorded=False, canyon_share=0.3)
TIME_S = np.arange(400.0)
RADIUS_M, SPEED_MPS = 6378137.0, 15.0
WAVE_S, WAVE_M = 25.0, 12.0
"""Errors that go to and fro once in so long, by so much."""


def _ground(east_m: FloatArray, north_m: FloatArray) -> GroundSpeed:
    fixes = Fixes(1.6e9 + TIME_S, np.degrees(north_m / RADIUS_M), np.degrees(east_m / RADIUS_M))
    return ground_speed(build_track(Source("track.gpx", b"", "track", TrackFormatError), "gpx_1_1", fixes))


def _wave(phase: float) -> FloatArray:
    return np.asarray(WAVE_M * np.sin(2 * np.pi * TIME_S / WAVE_S + phase))


def test_what_changes_along_and_across_the_road_may_wander() -> None:
    """A sine's third derivative is (2 pi/T)^3 A, and rms 1/sqrt(2) of it; differences over 4 s leave sinc^3."""
    ground = _ground(SPEED_MPS * TIME_S + _wave(0.0), _wave(1.0))
    angle = 2 * np.pi * 2.0 / WAVE_S
    expected = WAVE_M * (2 * np.pi / WAVE_S) ** 3 * (np.sin(angle) / angle) ** 3 / np.sqrt(2)
    assert np.median(may_wander(ground)) == pytest.approx(expected, rel=0.1)


@pytest.mark.parametrize(("along", "across"), [(1.0, 0.0), (0.0, 1.0)], ids=["a driver who pushes", "a road of bends"])
def test_what_changes_only_along_or_only_across_is_driving(along: float, across: float) -> None:
    ground = _ground(SPEED_MPS * TIME_S + along * _wave(0.0), across * _wave(0.0))
    both = _ground(SPEED_MPS * TIME_S + _wave(0.0), _wave(1.0))
    assert np.median(may_wander(ground)) < 0.2 * np.median(may_wander(both))


def _answers(kind: Kind, name: str, count: int) -> list[tuple[float, Calibration]]:
    """Return how far the reading at 50 mph is off, in half widths, with the answer; a refusal is left out."""
    found = []
    for seed in range(count):
        drive = make_drive(kind, generator(name, (413, seed)))
        try:
            result = speedcal.calibrate(*in_memory(drive))
        except speedcal.SpeedcalError:
            continue
        speed = 50.0 * MPH_MPS
        found.append(((result.indicated(speed) - drive.truth.reading(speed)) / result.half_width(speed), result))
    return found


def test_notes_between_high_walls_are_of_one_reader() -> None:
    """A third of the positions err by 12 m for 8 s; by what they say of themselves two in five are TRUSTED."""
    found = _answers(replace(KINDS["notes"], receiver=CANYONS), "N canyon", 12)
    assert len(found) == 12
    trusted = [off for off, result in found if result.trust.word == "TRUSTED"]
    assert len(trusted) >= 7
    assert np.mean(np.abs(trusted) <= 1.0) >= 0.8


def test_two_people_beside_good_positions_stay_two() -> None:
    kind = replace(KINDS["two passengers"], receiver=ReceiverStyle(recorded=False))
    assert sum(result.trust.word == "TRUSTED" for _, result in _answers(kind, "two", 5)) == 0
