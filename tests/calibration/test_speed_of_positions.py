"""A recorded speed that an app worked out of the positions is none: they are asked themselves."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest
from support.roads import plateaus, readings_of, track_of

import speedcal
from speedcal.calibration.speed.speed_of_track import ground_speed
from speedcal.interval import FloatArray
from speedcal.logs.drive.track import Track

METER_DEG = 1 / 111_200.0
FACTOR = 1.06


def _steps(track: Track) -> FloatArray:
    """Return the way from fix to fix on a ball, as an app takes it. [m]."""
    north = np.diff(np.radians(track.latitude_deg)) * 6_371_000.0
    east = np.diff(np.radians(track.longitude_deg)) * 6_371_000.0 * np.cos(np.radians(track.latitude_deg[1:]))
    return np.hypot(north, east)


def _last(count: int) -> Callable[[Track], FloatArray]:
    """Return the speed over so many steps."""

    def speed(track: Track) -> FloatArray:
        way = np.concatenate(([0.0], np.cumsum(_steps(track))))
        time = track.time_s
        first = np.maximum(np.arange(len(way)) - count, 0)
        return (way - way[first]) / np.maximum(time - time[first], 0.5)

    return speed


def _filtered(track: Track) -> FloatArray:
    """Return six tenths of the speed before and four tenths of that of the last step."""
    now = _last(1)(track)
    out = now.copy()
    for k in range(1, len(now)):
        out[k] = 0.6 * out[k - 1] + 0.4 * now[k]
    return out


def _drive(seed: int, every_s: float, noise_m: float) -> tuple[Track, speedcal.Readings]:
    """Return fixes that err by a normal error each, with a receiver's own speed, and a log of the dial."""
    rng = np.random.default_rng(seed)
    road = plateaus(rng.permutation([25.0, 32.0, 40.0, 47.0, 55.0, 62.0, 36.0, 51.0, 28.0, 59.0]), hold_s=70.0)
    time = np.arange(0.0, road.length_s, every_s)
    track = track_of(road, time_s=time, noise_mps=0.08)
    off = noise_m * METER_DEG * rng.standard_normal((2, len(time)))
    track = replace(track, latitude_deg=track.latitude_deg + off[0], longitude_deg=track.longitude_deg + off[1] / 0.75)
    return track, readings_of(road, np.arange(0.5, road.length_s - 1), factor=FACTOR, step_mph=0.1)


@pytest.mark.parametrize(
    ("speed", "every_s"), [(_last(5), 1.0), (_last(2), 1.0), (_last(1), 1.0), (_filtered, 1.0), (_last(1), 3.0)]
)
def test_the_positions_are_asked_in_place_of_a_speed_that_comes_of_them(
    speed: Callable[[Track], FloatArray], every_s: float
) -> None:
    """As such a speed stands it comes late and is a mean: logs beside it were doubted, and off where trusted."""
    for seed in range(3):
        track, log = _drive(seed, every_s, 0.4)
        result = speedcal.calibrate(replace(track, speed_mps=speed(track)), log)
        assert result.speed_source == "positions"
        assert "speed_of_positions" in {finding.code for finding in result.findings}
        assert str(result.trust) == "TRUSTED"
        half = (result.error_factor.high - result.error_factor.low) / 2
        assert abs(result.error_factor.value - FACTOR) < 1.5 * half < 0.01


@pytest.mark.parametrize("noise_m", [0.0, 0.4, 3.0])
@pytest.mark.parametrize("every_s", [1.0, 3.0])
def test_a_receivers_own_speed_stays(noise_m: float, every_s: float) -> None:
    for seed in range(3):
        assert ground_speed(_drive(seed, every_s, noise_m)[0]).source == "recorded"


def test_places_that_a_receiver_makes_of_its_speed_leave_it_as_it_is() -> None:
    """The way of each second is the speed at its end: as good as any, and with no more noise than it has."""
    track, _ = _drive(4, 1.0, 0.0)
    way = np.cumsum(track.speed_mps)
    coasted = replace(track, latitude_deg=-41.0 + way * METER_DEG, longitude_deg=np.full(len(way), -160.0))
    assert ground_speed(coasted).source == "recorded"
