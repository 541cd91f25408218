"""The way between positions, held against roads whose length is known."""

from __future__ import annotations

import numpy as np
import pytest
from benchmark.outside_score import answer, outside_drive
from support.roads import Road, plateaus, readings_of, track_along

import speedcal
from speedcal.calibration.logged.way import windows_of_way
from speedcal.calibration.speed.grades import road_over_level
from speedcal.calibration.speed.speed_of_track import ground_speed
from speedcal.errors import AlignmentError
from speedcal.interval import FloatArray
from speedcal.units import FOOT_M, MPH_MPS


@pytest.mark.parametrize("interval_s", [1.0, 3.0, 5.0, 8.0])
def test_the_way_round_a_circle_is_its_arc_and_not_its_chords(interval_s: float) -> None:
    """At 20 m/s round a circle of 200 m; the chords alone are 2.6 % short at eight seconds."""
    time = np.arange(0.0, 900.0, interval_s)
    angle = 20.0 * time / 200.0
    windows = windows_of_way(ground_speed(track_along(time, 200 * np.sin(angle), 200 * np.cos(angle))))
    speed = windows.way_m / (windows.end_s - windows.begin_s)
    assert len(speed) > 30
    assert np.median(speed) == pytest.approx(20.0, rel=5e-4)


@pytest.mark.parametrize("interval_s", [2.0, 4.0])
def test_a_winding_road_is_as_long_as_the_uncertainty_says(interval_s: float) -> None:
    """Bends of 120 m to both sides at 15 m/s; chords alone are 0.1 and 0.4 % short, which u must not be wider than."""
    fine = np.linspace(0.0, 20_000.0, 200_001)
    sideways = 30.0 * np.sin(fine / 60.0)
    along = np.concatenate(([0.0], np.cumsum(np.hypot(np.diff(fine), np.diff(sideways)))))
    time = np.arange(0.0, along[-1] / 15.0, interval_s)
    east = np.interp(15.0 * time, along, fine)
    windows = windows_of_way(ground_speed(track_along(time, east, 30.0 * np.sin(east / 60.0))))
    truth = 15.0 * (windows.end_s - windows.begin_s).sum()
    u = float(windows.u_between_m.sum())
    assert abs(windows.way_m.sum() - truth) < 2 * u
    assert u < 0.005 * truth


def test_bends_between_fixes_are_in_the_windows_that_carry_the_answer() -> None:
    """Turns of 60 degrees within 60 m after straights of 200 to 800 m, at 20 m/s, a fix in five seconds."""
    rng = np.random.default_rng(5)
    turn = np.zeros(0)
    while len(turn) < 200_000:
        bend = np.full(60, rng.choice((-1.0, 1.0)) * np.radians(60.0) / 60)
        turn = np.concatenate((turn, np.zeros(int(rng.uniform(200, 800))), bend))
    along, course = np.arange(len(turn)), np.cumsum(turn)
    time = np.arange(0.0, len(turn) / 20.0 - 1, 5.0)
    east, north = (np.interp(20.0 * time, along, np.cumsum(f(course))) for f in (np.sin, np.cos))
    windows = windows_of_way(ground_speed(track_along(time, east, north)))
    truth = 20.0 * (windows.end_s - windows.begin_s)
    weight = truth / (windows.u_turn_m**2 + 1.0)
    off = np.sum(weight * (windows.way_m / truth - 1)) / weight.sum()
    assert abs(off) < windows.u_between_m.sum() / truth.sum()


def _hills(time: FloatArray, noise_m: float, seed: int) -> tuple[FloatArray, FloatArray, float]:
    """Return speeds, heights and the mean of road over map, for hills of 500 m and grades up to 9 %."""
    level = 22.0 * time
    grade = 0.09 * np.sin(2 * np.pi * level / 500.0)
    height = -0.09 * 500.0 / (2 * np.pi) * np.cos(2 * np.pi * level / 500.0)
    noise = noise_m * np.random.default_rng(seed).standard_normal(len(time))
    return np.full(len(time), 22.0), height + noise, float(np.mean(np.sqrt(1 + grade**2)))


@pytest.mark.parametrize("noise_m", [0.0, 10.0])
def test_hills_are_counted_and_noise_of_heights_is_not(noise_m: float) -> None:
    """Grades of 9 % make the road 0.2 % longer; 10 m of noise squared would make that 0.6 %."""
    time = np.arange(0.0, 2400.0)
    speed, height, truth = _hills(time, noise_m, 1)
    road = road_over_level(time, np.zeros(len(time), int), height, speed)
    assert not road.findings
    assert np.mean(road.ratio) == pytest.approx(truth, abs=5e-4)
    assert 0.3 < road.u / 3e-4 < 3


@pytest.mark.parametrize("unit_m", [1.0, FOOT_M])
def test_heights_steeper_than_mountains_may_be_in_feet_and_both_are_allowed_for(unit_m: float) -> None:
    """Hills of a kilometer that climb at up to 15 %, or at 4.6 % with their heights in feet."""
    time = np.arange(0.0, 2400.0)
    level = 22.0 * time
    grade = 0.15 * unit_m * np.sin(2 * np.pi * level / 1000.0)
    height = -0.15 * 1000.0 / (2 * np.pi) * np.cos(2 * np.pi * level / 1000.0)
    road = road_over_level(time, np.zeros(len(time), int), height, np.full(len(time), 22.0))
    assert [finding.code for finding in road.findings] == ["heights_steep"]
    assert abs(np.mean(road.ratio) - np.mean(np.sqrt(1 + grade**2))) < 2 * road.u < 0.0035


@pytest.mark.parametrize("seed", range(4))
def test_heights_off_a_rough_model_of_the_land_are_known_less_well(seed: int) -> None:
    """Hills of half a kilometer, up to 9 % steep; the model is off by 5 m, alike over a hundred meters."""
    time = np.arange(0.0, 2400.0)
    speed, height, truth = _hills(time, 0.0, 1)
    way = np.arange(0.0, 22.0 * 2401, 100.0)
    rough = np.interp(22.0 * time, way, np.random.default_rng(seed).normal(0, 5.0, len(way)))
    road = road_over_level(time, np.zeros(len(time), int), height + rough, speed)
    assert abs(np.mean(road.ratio) - truth) < 2 * road.u


def test_a_track_without_heights_says_how_little_it_knows_of_hills() -> None:
    time = np.arange(0.0, 100.0)
    road = road_over_level(time, np.zeros(100, int), np.full(100, np.nan), np.full(100, 20.0))
    assert np.all(road.ratio == 1.0)
    assert 0 < road.u < 1e-3


@pytest.mark.parametrize("kind", ["track thinned", "notes, track thinned"])
def test_a_track_that_an_app_thinned_out_serves_a_log_and_is_named_where_notes_fall_into_its_gaps(kind: str) -> None:
    """Each log within its interval, notes answered within theirs or told of the gaps."""
    for seed in range(4):
        drive = outside_drive(kind, (81, seed))
        try:
            found = answer(drive)
        except AlignmentError as error:
            told = (kind, error.code, 0.1 < error.values.get("covered", 0.0) < 0.75)
            assert told == ("notes, track thinned", "track_gaps", True)
            continue
        assert not {"two_readers", "large_scatter"} & set(found.trust.codes)  # the gaps are to blame, and named
        used = drive.truth.speed_mps[found.readings["line"].to_numpy(int)[found.readings["used"].to_numpy(bool)] - 2]
        assert found.error_factor.contains(drive.truth.factor(used[np.isfinite(used)]))


@pytest.mark.parametrize("seed", range(3))
def test_rows_far_apart_beside_fixes_farther_apart_are_held_against_the_way(seed: int) -> None:
    """A fix in ten seconds of a road that turns by 3 degrees a second, a row in five; chords alone are 0.4 mph off."""
    rng = np.random.default_rng(seed)
    road = plateaus(rng.uniform(20, 60, 40), hold_s=50)
    fine = np.arange(0.0, road.length_s, 0.1)
    turning = np.interp(fine, np.arange(0.0, road.length_s + 6, 6.0), rng.normal(0, 1, len(fine) // 60 + 2))
    course = np.cumsum(np.radians(3.0) / 0.8 * turning * (road.speed(fine) > 1)) * 0.1
    step = np.diff(road.distance(fine), prepend=0.0)
    time = np.arange(0.0, road.length_s - 1, 10.0)
    east, north = (np.interp(time, fine, np.cumsum(step * f(course))) for f in (np.sin, np.cos))
    rows = readings_of(road, np.arange(2.0, road.length_s, 5.0), factor=1.05, step_mph=0.5)
    result = speedcal.calibrate(track_along(time, east, north), rows)
    for speed in np.array([30.0, 40.0, 50.0]) * MPH_MPS:
        assert abs(result.indicated(speed) - 1.05 * speed) < max(2 * result.half_width(speed), 0.3 * MPH_MPS)
        assert result.half_width(speed) < 0.6 * MPH_MPS


@pytest.mark.parametrize("fixes_s", [5.0, 10.0])
def test_rows_far_apart_do_not_pull_the_factor_to_one_side(fixes_s: float) -> None:
    """A row in five seconds of a straight road, the speed never steady; rows joined by straight lines are 0.5 % off."""
    time, bell = np.arange(0.0, 1800.0), np.hanning(15) / np.hanning(15).sum()
    off = []
    for seed in range(8):
        level = np.interp(time, np.arange(0, 1830, 30.0), np.random.default_rng(seed).uniform(8, 28, 61))
        road = Road(time, np.convolve(np.pad(level, 7, mode="edge"), bell, "valid"))
        fixes = np.arange(0.0, road.length_s - 1, fixes_s)
        rows = readings_of(road, np.arange(2.0, road.length_s, 5.0), factor=1.05, step_mph=0.5)
        result = speedcal.calibrate(track_along(fixes, road.distance(fixes), np.zeros(len(fixes))), rows)
        off.append(result.error_factor.value / 1.05 - 1)
    assert abs(np.mean(off)) < 1e-3
