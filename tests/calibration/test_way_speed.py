"""The speed along a way that only positions tell: right, as uncertain as it says, and of use to notes and logs."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from benchmark.outside.drive import generator, make_drive
from benchmark.outside.kinds import KINDS, Kind
from benchmark.outside.receiver import ReceiverStyle
from benchmark.outside_score import in_memory
from scipy.interpolate import make_interp_spline

import speedcal
from speedcal.calibration.result import Calibration
from speedcal.calibration.speed.ground_speed import GroundSpeed
from speedcal.calibration.speed.speed_of_track import ground_speed
from speedcal.calibration.speed.way_speed import speed_along_way
from speedcal.errors import AlignmentError, FitError, TrackFormatError
from speedcal.interval import FloatArray
from speedcal.logs.drive.track import Fixes, Track, build_track
from speedcal.logs.source import Source

LATE = ReceiverStyle(recorded=False, interval_s=(1.0, 3.0), jitter_s=0.25, stamp_step_s=1.0)
FAR = ReceiverStyle(recorded=False, interval_s=(4.0, 6.0), jitter_s=0.25, stamp_step_s=1.0)
START_S = 1_600_000_000.0
KNOTS_S = np.array([0.0, 60, 70, 160, 172, 260, 268, 350, 362, 450, 460, 560, 575, 700])
SPEEDS_MPS = np.array([12.0, 12, 20, 20, 14, 14, 22, 22, 11, 11, 25, 25, 16, 16])
_WAY = make_interp_spline(KNOTS_S, SPEEDS_MPS, k=1).antiderivative()
"""Way of a drive of plateaus and ramps, in m, at seconds since its start."""


def _drive(every_s: tuple[float, float], late_s: float, off_m: float, seed: int = 0) -> Track:
    """Return fixes of a drive of plateaus and ramps due east, stamps late by chance."""
    rng = np.random.default_rng(seed)
    time = np.cumsum(rng.uniform(*every_s, 2000))
    time = time[time < KNOTS_S[-1]]
    place = _WAY(time) + off_m * rng.standard_normal(len(time))
    stamp = START_S + time + late_s * rng.uniform(-1, 1, len(time))
    fixes = Fixes(stamp, np.full(len(time), 1e-9), np.degrees(place / 6378137.0))
    track = build_track(Source("track.gpx", b"", "track", TrackFormatError), "gpx_1_1", fixes)
    return track


def _off(ground: GroundSpeed) -> FloatArray:
    true = np.interp(ground.time_s - START_S, KNOTS_S, SPEEDS_MPS)
    inner = (ground.time_s > ground.time_s[0] + 20) & (ground.time_s < ground.time_s[-1] - 20)
    return (ground.speed_mps - true)[inner]


def _rms(x: FloatArray) -> float:
    return float(np.sqrt(np.mean(np.square(x))))


@pytest.mark.parametrize("every_s", [(1.0, 3.0), (3.0, 5.0)])
def test_late_stamps_hardly_disturb_the_speed_and_it_is_as_uncertain_as_it_says(every_s: tuple[float, float]) -> None:
    """A local fit over seconds is off by 2 m/s at 1 to 3 s, four times as much."""
    off, standard, plain = [], [], []
    for seed in range(6):
        track = _drive(every_s, 0.45, 0.3, seed)
        ground = ground_speed(track)
        smooth = speed_along_way(ground)
        inner = (smooth.time_s > smooth.time_s[0] + 20) & (smooth.time_s < smooth.time_s[-1] - 20)
        off.append(_off(smooth))
        standard.append(off[-1] / smooth.u_each_mps[inner])
        plain.append(_off(ground))
        assert smooth.u_speed_mps == pytest.approx(_rms(smooth.u_each_mps), rel=0.02)
    assert _rms(np.concatenate(off)) < 0.5 * _rms(np.concatenate(plain))
    assert _rms(np.concatenate(off)) < 0.7
    assert 0.5 < _rms(np.concatenate(standard)) < 1.3


@pytest.mark.parametrize("latitude_deg", [12.0, 36.0, 47.0, 58.0])
def test_positions_to_four_digits_tell_no_way_too_short(latitude_deg: float) -> None:
    """Laps of a kilometer's radius, on a grid of eleven meters; the way across it is no part of the road."""
    time = np.arange(0.0, 4 * KNOTS_S[-1])
    lap, since = np.divmod(time, KNOTS_S[-1])
    turned = (lap * _WAY(KNOTS_S[-1]) + _WAY(since)) / 1000.0
    north, east = 1000.0 * np.sin(turned) / 6.378e6, 1000.0 * (1 - np.cos(turned)) / 6.378e6
    latitude = latitude_deg + np.degrees(north)
    longitude = np.degrees(east) / np.cos(np.radians(latitude_deg))
    fixes = Fixes(START_S + time, np.round(latitude, 4), np.round(longitude, 4))
    along = speed_along_way(
        ground_speed(build_track(Source("t.gpx", b"", "track", TrackFormatError), "gpx_1_1", fixes))
    )
    true_mps = np.interp((along.time_s - START_S) % KNOTS_S[-1], KNOTS_S, SPEEDS_MPS)  # of repeated fixes some go
    assert abs(np.mean(along.speed_mps) / np.mean(true_mps) - 1) < 0.0015


def test_the_speed_along_a_day_of_driving_is_as_good_as_along_ten_minutes() -> None:
    """Six hundred kilometers from its first fix a way that wanders by meters is no looser than at it."""
    rng = np.random.default_rng(5)
    time = np.arange(2.0, 50 * KNOTS_S[-1], 5.0)
    lap, since = np.divmod(time, KNOTS_S[-1])
    place = lap * _WAY(KNOTS_S[-1]) + _WAY(since) + 3.0 * rng.standard_normal(len(time))
    true = np.interp(since, KNOTS_S, SPEEDS_MPS)
    shown = true + 0.1 * rng.standard_normal(len(time))
    fixes = Fixes(START_S + time, np.full(len(time), 1e-9), np.degrees(place / 6378137.0), speed_mps=shown)
    track = build_track(Source("track.gpx", b"", "track", TrackFormatError), "gpx_1_1", fixes)
    along = speed_along_way(ground_speed(track))
    at_fixes = np.interp(START_S + time, along.time_s, along.speed_mps) - true
    assert _rms(at_fixes) < _rms(shown - true)


def test_positions_that_are_right_give_speed_and_distance() -> None:
    """The ramps begin and end between the knots, two seconds apart."""
    track = _drive((1.0, 1.0), 0.0, 0.0)
    smooth = speed_along_way(ground_speed(track))
    since = smooth.time_s - START_S
    steady = (np.abs(since[:, None] - KNOTS_S).min(axis=1) > 6.0) & np.isin(np.searchsorted(KNOTS_S, since) % 2, [1])
    true = np.interp(since, KNOTS_S, SPEEDS_MPS)
    np.testing.assert_allclose(smooth.speed_mps[steady], true[steady], rtol=2e-3)
    along, _, inside = smooth.travelled_m(np.array([START_S + 100.0, START_S + 600.0]))
    assert inside.all()
    assert float(along[1] - along[0]) == pytest.approx(float(_WAY(600.0) - _WAY(100.0)), rel=5e-4)


def _answers(kind: Kind, name: str, count: int) -> list[tuple[float, Calibration]]:
    """Return the truth and the answer of drives; a refusal is left out."""
    found = []
    for seed in range(count):
        drive = make_drive(kind, generator(name, (166, seed)))
        try:
            result = speedcal.calibrate(*in_memory(drive))
        except (AlignmentError, FitError):
            continue
        used = result.readings["line"].to_numpy(int)[result.readings["used"].to_numpy(bool)] - 2
        found.append((drive.truth.factor(drive.truth.speed_mps[used]) if kind.answer else np.nan, result))
    return found


@pytest.mark.parametrize("receiver", [LATE, FAR], ids=["late", "far"])
def test_notes_beside_late_fixes_are_answered(receiver: ReceiverStyle) -> None:
    """By a local fit factors are off by 2.5 to 3 %, a quarter is refused and hardly any trusted."""
    found = _answers(replace(KINDS["notes"], receiver=receiver), "notes", 12)
    assert len(found) >= 11
    assert sum(result.trust.word == "TRUSTED" for _, result in found) >= 9
    assert _rms(np.array([result.error_factor.value / truth - 1 for truth, result in found])) < 0.02
    assert sum(result.error_factor.contains(truth) for truth, result in found) >= 10


@pytest.mark.parametrize(("interval_s", "least"), [(10.0, 10), (15.0, 7)])
def test_notes_beside_recorded_speed_far_apart_go_by_the_way_between(interval_s: float, least: int) -> None:
    """By the recorded speeds alone 8 and 5 of 12 are trusted."""
    found = _answers(replace(KINDS["notes"], receiver=ReceiverStyle(interval_s=(interval_s, interval_s))), "notes", 12)
    assert sum(result.trust.word == "TRUSTED" for _, result in found) >= least
    assert sum(result.error_factor.contains(truth) for truth, result in found) >= 11


@pytest.mark.parametrize("receiver", [LATE, ReceiverStyle(recorded=False)], ids=["late", "every second"])
def test_notes_of_the_same_road_on_another_day_are_foreign_to_positions_too(receiver: ReceiverStyle) -> None:
    """Without asking how loosely they follow, one in four to a half get a number."""
    assert len(_answers(replace(KINDS["same road"], receiver=receiver), "same road", 10)) <= 1


@pytest.mark.parametrize("receiver", [LATE, FAR], ids=["late", "far"])
def test_logs_beside_late_fixes_are_answered(receiver: ReceiverStyle) -> None:
    """On winding roads: by the fixes at the ends of windows alone, factors are off by 1.4 to 1.7 %."""
    found = _answers(replace(KINDS["log"], receiver=receiver, road=KINDS["sparse"].road), "log", 16)
    assert len(found) == 16
    assert _rms(np.array([result.error_factor.value / truth - 1 for truth, result in found])) < 0.009
    assert sum(result.error_factor.contains(truth) for truth, result in found) >= 14


def test_a_track_with_late_stamps_is_not_cut_where_two_fixes_come_late_and_soon() -> None:
    """As stamped they are a second apart and 60 m and more; a jump by 300 m is one there too."""
    kind = replace(KINDS["notes"], receiver=LATE)
    for seed in range(12):
        track, _ = in_memory(make_drive(kind, generator("late", (172, seed))))
        assert "step_of_positions" not in ground_speed(track).dropped
    latitude = track.latitude_deg.copy()
    latitude[len(track) // 2 :] += 300.0 / 111_000
    assert ground_speed(replace(track, latitude_deg=latitude)).dropped["step_of_positions"] == 1
