"""Fixes that a program put between those of a receiver, on straight lines, are none."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from support.roads import plateaus, track_of

from speedcal.calibration.speed.put_between import measured
from speedcal.calibration.speed.speed_of_track import ground_speed
from speedcal.interval import FloatArray
from speedcal.logs.drive.track import Track

METER_DEG = 1 / 111_200.0
ROAD = plateaus([25.0, 47.0, 32.0, 55.0, 40.0, 62.0, 36.0, 51.0, 28.0, 59.0], hold_s=45.0)
COLUMNS = ("latitude_deg", "longitude_deg", "elevation_m", "speed_mps")


def _recorded(every_s: float, noise_m: float = 0.1) -> Track:
    """Return fixes to 0.0000001 degrees on a road with bends."""
    rng = np.random.default_rng(3)
    time = np.arange(0.0, ROAD.length_s, every_s)
    track = track_of(ROAD, time_s=time, noise_mps=0.05)
    off = noise_m * METER_DEG * rng.standard_normal((2, len(time)))
    bends = 60.0 * METER_DEG * np.sin(time / 9.0)
    return _written(
        replace(track, latitude_deg=track.latitude_deg + off[0], longitude_deg=track.longitude_deg + bends + off[1])
    )


def _written(track: Track) -> Track:
    return replace(track, latitude_deg=np.round(track.latitude_deg, 7), longitude_deg=np.round(track.longitude_deg, 7))


def _made_over(track: Track, every_s: float) -> Track:
    """Return the track in even steps, as a program makes them."""
    time = np.arange(track.time_s[0], track.time_s[-1], every_s)
    columns = {name: np.interp(time, track.time_s, getattr(track, name)) for name in COLUMNS}
    return _written(replace(track, time_s=time, segment=np.zeros(len(time), int), **columns))


def _off_m(own: Track, recorded: Track) -> tuple[FloatArray, FloatArray]:
    """Return how far from the recorded track the fixes lie, and how far from the time of one of its fixes."""
    nearest = np.abs(own.time_s[:, None] - recorded.time_s).argmin(axis=1)
    north, east = (
        (getattr(own, name) - np.interp(own.time_s, recorded.time_s, getattr(recorded, name))) / METER_DEG
        for name in COLUMNS[:2]
    )
    return np.hypot(north, east), np.abs(own.time_s - recorded.time_s[nearest])


@pytest.mark.parametrize("every_s", [0.5, 1.0, 1.3, 2.0])
def test_the_fixes_of_the_receiver_are_found_again(every_s: float) -> None:
    """A fix in 5 s stands where two lines meet, on the new steps or between them: to a few centimetres and tenths."""
    recorded = _recorded(5.0)
    own, left_out = measured(_made_over(recorded, every_s))
    apart_m, apart_s = _off_m(own, recorded)
    assert left_out["put_between"] > 0.4 * (5.0 / every_s - 1) * len(recorded)
    assert 0.97 * len(recorded) < len(own) < 1.05 * len(recorded)
    assert np.quantile(apart_m, 0.95) < 0.1
    assert np.quantile(apart_s, 0.9) < 0.2


@pytest.mark.parametrize(("every_s", "noise_m"), [(1.0, 0.1), (1.0, 0.0), (0.2, 0.0), (0.2, 0.02), (5.0, 0.1)])
def test_a_track_as_recorded_stays_as_it_is(every_s: float, noise_m: float) -> None:
    """However even a vehicle goes, and however little its fixes err."""
    recorded = _recorded(every_s, noise_m)
    assert measured(recorded) == (recorded, {})


def test_a_pause_of_the_receiver_is_not_bridged() -> None:
    """Segments end where they ended."""
    made = _made_over(_recorded(5.0), 1.0)
    cut = replace(made, segment=(np.arange(len(made)) > 203).astype(int))
    own, _ = measured(cut)
    assert {203.0, 204.0} <= set(np.round(own.time_s - own.time_s[0], 6))
    assert list(np.unique(own.segment)) == [0, 1]


def test_it_is_told_what_was_put_in() -> None:
    """The speed between the fixes is that of the receiver's own, and the rest is counted."""
    made = _made_over(_recorded(5.0), 1.0)
    ground = ground_speed(made)
    assert ground.interval_s == pytest.approx(5.0, abs=0.2)
    assert ground.dropped["put_between"] == len(made) - len(ground.time_s)
