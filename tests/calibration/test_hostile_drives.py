"""Whatever is brought: a calibration with finite numbers, or a refusal that says what to do; never a traceback.

Warnings are errors in this test run, so a division by zero or an overflow fails here too.
"""

from __future__ import annotations

import json
import time
from dataclasses import replace
from typing import get_args

import hypothesis.strategies as st
import numpy as np
import pytest
from hypothesis import given, settings
from support.roads import START_S, Road, answer_or_refusal, plateaus, readings_of, some_fixes, some_readings, track_of

import speedcal
from speedcal.calibration.result import Calibration
from speedcal.errors import SpeedcalError
from speedcal.interval import FloatArray
from speedcal.logs.drive.readings import Clock, Readings
from speedcal.logs.drive.track import Track
from speedcal.simulate import simulate
from speedcal.text.results.calibration_summary import budget_text

ROAD = plateaus([30, 55, 40, 65, 25, 50, 35, 60])
RECORDED = track_of(ROAD, noise_mps=0.05)
POSITIONS = track_of(ROAD, recorded=False)
NOTES = readings_of(ROAD, np.linspace(20, ROAD.length_s - 70, 24), step_mph=1)
LOG = readings_of(ROAD, np.arange(5.0, ROAD.length_s - 5), step_mph=1, time_resolution_s=0.001)
N, M = len(RECORDED), len(LOG)
BOTH = pytest.mark.parametrize("readings", [NOTES, LOG], ids=["notes", "log"])
TRACKS = pytest.mark.parametrize("track", [RECORDED, POSITIONS], ids=["recorded", "positions"])


def _sound(track: Track, readings: Readings, *, clock_offset_s: float | None = None) -> Calibration | SpeedcalError:
    """Calibrate, and check that what comes out can be shown and saved."""
    result = answer_or_refusal(track, readings, clock_offset_s=clock_offset_s)
    if isinstance(result, SpeedcalError):
        assert result.problem
        assert result.remedy
        assert "nan" not in str(result).lower().split()
        return result
    json.dumps(result.to_dict(), allow_nan=False)
    assert str(result)
    assert budget_text(result)
    assert np.isfinite(result.covariance).all()
    assert np.linalg.eigvalsh(result.covariance).min() > -1e-12
    assert 0.3 < result.error_factor.value < 3.0
    assert result.error_factor.low < result.error_factor.value < result.error_factor.high
    assert result.offset_mps.low < result.offset_mps.value < result.offset_mps.high
    assert len(result.readings) == len(readings)
    used = result.readings[result.readings["used"]]
    assert len(used) >= 4
    assert np.isfinite(used[["time_s", "ground_mps", "indicated_mps", "predicted_mps"]]).all(axis=None)
    return result


def _with(readings: Readings, index: object, value: float, *, name: str = "speed_mps") -> Readings:
    column = getattr(readings, name).astype(float).copy()
    column[index] = value
    return replace(readings, **{name: column})


def _true(result: Calibration | SpeedcalError) -> None:
    """Check that there is an answer and that it holds the truth: the damage was small."""
    assert isinstance(result, Calibration)
    assert result.error_factor.contains(1.05)


# ---- readings


@BOTH
@pytest.mark.parametrize("value", [np.nan, np.inf, -np.inf, -5.0, 0.0, 300.0, 1e6, 1e300])
def test_a_few_absurd_speeds_do_not_matter(readings: Readings, value: float) -> None:
    _true(_sound(RECORDED, _with(readings, slice(3, None, 11), value)))


@BOTH
@pytest.mark.parametrize("value", [np.nan, np.inf, -5.0, 0.0, 1e-9, 20.0, 300.0, 1e6, 1e300])
def test_nothing_but_one_absurd_speed_is_refused(readings: Readings, value: float) -> None:
    assert isinstance(_sound(RECORDED, _with(readings, slice(None), value)), SpeedcalError)


@BOTH
@pytest.mark.parametrize("share", [2, 3, 10])
def test_gaps_in_the_column_of_speeds_do_not_matter(readings: Readings, share: int) -> None:
    _true(_sound(RECORDED, _with(readings, slice(0, None, share), np.nan)))


@BOTH
def test_readings_without_a_time_among_others_do_not_matter(readings: Readings) -> None:
    """Missing numbers are NaN; such a reading cannot be used and says so."""
    result = _sound(RECORDED, _with(readings, 5, np.nan, name="time_s"))
    _true(result)
    assert isinstance(result, Calibration)
    assert not result.readings["used"][5]


@BOTH
def test_readings_that_should_have_times_and_have_none_are_refused(readings: Readings) -> None:
    assert isinstance(_sound(RECORDED, _with(readings, slice(None), np.nan, name="time_s")), SpeedcalError)


@BOTH
def test_every_stamp_twice_does_not_matter(readings: Readings) -> None:
    """A clock that shows only every other step."""
    stamps = np.repeat(readings.time_s[::2], 2)[: len(readings)]
    _true(_sound(RECORDED, replace(readings, time_s=stamps)))


@BOTH
def test_all_stamps_alike_are_refused_or_weak(readings: Readings) -> None:
    result = _sound(RECORDED, _with(readings, slice(None), readings.time_s[10], name="time_s"))
    assert isinstance(result, SpeedcalError) or result.trust.word == "WEAK"


@BOTH
def test_rows_in_any_order_do_not_matter(readings: Readings) -> None:
    order = np.random.default_rng(0).permutation(len(readings))
    _true(_sound(RECORDED, some_readings(readings, order)))
    _true(_sound(RECORDED, some_readings(readings, np.arange(len(readings))[::-1])))


@BOTH
@pytest.mark.parametrize("count", range(9))
def test_few_readings_end_well(readings: Readings, count: int) -> None:
    which = np.linspace(1, len(readings) - 2, count).astype(int)
    result = _sound(RECORDED, some_readings(readings, which))
    assert isinstance(result, SpeedcalError) or count >= 4


@pytest.mark.parametrize("clock", [clock for clock in get_args(Clock) if clock != "none"])
@pytest.mark.parametrize("offset_s", [86400.0, -1e7, 1.7e9, 1e15])
def test_extreme_clocks_end_well(clock: Clock, offset_s: float) -> None:
    for readings in (NOTES, LOG):
        _sound(RECORDED, replace(readings, time_s=readings.time_s + offset_s, clock=clock))


def test_a_log_that_lost_its_times_is_refused_in_a_moment() -> None:
    """Seven hundred speeds cannot be held speeds of eight steady runs."""
    begin = time.process_time()
    lost = replace(LOG, time_s=np.full(M, np.nan), clock="none")
    assert isinstance(_sound(RECORDED, lost), SpeedcalError)
    assert time.process_time() - begin < 1.0


@BOTH
def test_resolutions_of_zero_end_well(readings: Readings) -> None:
    _sound(RECORDED, replace(readings, speed_resolution_mps=0.0, time_resolution_s=0.0))


def test_the_log_of_two_minutes_ends_well() -> None:
    """Two minutes from the start, and two from the middle."""
    for first in (0, 200, 330):
        part = (np.arange(N) >= first) & (np.arange(N) < first + 120)
        for track in (RECORDED, POSITIONS):
            _sound(some_fixes(track, part), some_readings(LOG, np.arange(first, first + 110)))


def test_a_log_whose_step_changes_in_the_middle_ends_well() -> None:
    """A second, then five."""
    which = np.concatenate((np.arange(300), np.arange(300, M, 5)))
    _true(_sound(RECORDED, some_readings(LOG, which)))


def test_a_log_that_pauses_for_minutes_does_not_bridge_the_pause() -> None:
    """Two hundred seconds without readings, over three plateaus and their ramps."""
    which = np.concatenate((np.arange(200), np.arange(400, M)))
    for track in (RECORDED, POSITIONS):
        result = _sound(track, some_readings(LOG, which))
        _true(result)


# ---- track


@TRACKS
@BOTH
@pytest.mark.parametrize("count", [0, 1, 2, 9, 11, 30])
def test_few_fixes_end_well(track: Track, readings: Readings, count: int) -> None:
    which = np.zeros(N, bool)
    which[np.linspace(0, N - 1, count).astype(int)] = True
    result = _sound(some_fixes(track, which), readings)
    assert isinstance(result, SpeedcalError) or (count >= 10 and (count >= 30 or result.trust.word == "WEAK"))


@TRACKS
@BOTH
@pytest.mark.parametrize("length", [1, 2, 12, 60])
def test_a_track_in_many_tiny_pieces_ends_well(track: Track, readings: Readings, length: int) -> None:
    """No reading is used whose moment lies between two pieces."""
    broken = replace(track, segment=np.arange(N) // length)
    result = _sound(broken, readings)
    if isinstance(result, Calibration):
        moment = result.readings["time_s"][result.readings["used"]].to_numpy() - START_S
        before = np.floor(moment).astype(int)
        if length > 1:
            assert (broken.segment[before] == broken.segment[np.minimum(before + 1, N - 1)]).all()


@TRACKS
@BOTH
def test_a_track_with_every_other_ten_seconds_missing_ends_well(track: Track, readings: Readings) -> None:
    result = _sound(some_fixes(track, np.arange(N) // 10 % 2 == 0), readings)
    if isinstance(result, Calibration):
        assert result.error_factor.contains(1.05)


def test_a_log_beside_a_receiver_that_sleeps_needs_no_held_speed() -> None:
    """Awake for 20 s of each minute no run of one speed is seen; at five speeds and between them rows are many."""
    drive = simulate("logged", [5, 1])
    awake = some_fixes(drive.track, (drive.track.time_s - drive.track.time_s[0]) % 60 < 20)
    result = speedcal.calibrate(awake, drive.readings)
    assert (result.steady_runs, str(result.trust)) == (0, "TRUSTED")
    assert result.error_factor.contains(drive.truth.error_factor)


@BOTH
@pytest.mark.parametrize("value", [0.0, 1e-3, 1e6, 1e300, np.nan])
def test_a_recorded_speed_that_is_one_absurd_number_ends_well(readings: Readings, value: float) -> None:
    _sound(replace(RECORDED, speed_mps=np.full(N, value)), readings)


@BOTH
@pytest.mark.parametrize("value", [0.0, 60.0, 1e6, 1e300])
def test_single_absurd_recorded_speeds_do_not_matter(readings: Readings, value: float) -> None:
    speed = RECORDED.speed_mps.copy()
    speed[37::97] = value
    _true(_sound(replace(RECORDED, speed_mps=speed), readings))


@TRACKS
@BOTH
@pytest.mark.parametrize("value", [-400.0, 1e6, np.nan])
def test_absurd_heights_end_well(track: Track, readings: Readings, value: float) -> None:
    _sound(replace(track, elevation_m=np.full(N, value)), readings)
    heights = np.full(N, 100.0)
    heights[50::70] = value
    _true(_sound(replace(track, elevation_m=heights), readings))


@BOTH
@pytest.mark.parametrize("latitude_deg", [89.9999, -89.9999, 0.0])
def test_a_drive_at_the_pole_or_on_the_equator_ends_well(readings: Readings, latitude_deg: float) -> None:
    _sound(replace(POSITIONS, latitude_deg=np.full(N, latitude_deg)), readings)


@TRACKS
@BOTH
def test_a_vehicle_whose_positions_stand_still_ends_well(track: Track, readings: Readings) -> None:
    """A roller test stand: the recorded speed is of standing still as well, or there is none."""
    still = replace(track, latitude_deg=np.full(N, 45.0), longitude_deg=np.full(N, 7.0))
    result = _sound(still, readings)
    if track is POSITIONS:
        assert isinstance(result, SpeedcalError)
    else:
        assert isinstance(result, SpeedcalError) or result.findings


@pytest.mark.parametrize("speed_mps", [0.0, 1.4, 4.9])
def test_standing_and_walking_are_refused(speed_mps: float) -> None:
    road = Road(np.array([0.0, 900.0]), np.full(2, speed_mps))
    for recorded in (True, False):
        for readings in (NOTES, LOG):
            assert isinstance(_sound(track_of(road, recorded=recorded), readings), SpeedcalError)


@TRACKS
def test_a_million_times_the_same_second_is_not_needed_to_end_in_time(track: Track) -> None:
    """Elapsed notes against a day of track: every shift is tried, in seconds not minutes."""
    long = plateaus([30, 55, 40, 65, 25, 50, 35, 60] * 60)
    day = track_of(long, time_s=np.arange(0, long.length_s, 5.0), recorded=track is RECORDED)
    readings = replace(NOTES, time_s=NOTES.time_s - NOTES.time_s[0], clock="elapsed")
    begin = time.process_time()
    _sound(day, readings)
    assert time.process_time() - begin < 20


# ---- everything at once

_SPEED = st.one_of(
    st.floats(0, 45), st.sampled_from([0.0, np.nan, np.inf, -1.0, 1e-300, 1e9, 1e300, 20.0]), st.floats(width=64)
)
_TIME = st.one_of(st.floats(0, 700), st.sampled_from([0.0, 300.0, np.nan, -1e9, 1e9]))


@settings(max_examples=12, deadline=None, derandomize=True)
@given(
    rows=st.lists(st.tuples(_TIME, _SPEED), max_size=40),
    clock=st.sampled_from(get_args(Clock)),
    resolution_s=st.sampled_from([0.001, 1.0, 60.0]),
    positions=st.booleans(),
)
def test_any_readings_end_well(
    rows: list[tuple[float, float]], clock: Clock, resolution_s: float, positions: bool
) -> None:
    columns = np.array(rows, float).reshape(-1, 2)
    n = len(columns)
    stamps: FloatArray = np.full(n, np.nan) if clock == "none" else START_S + columns[:, 0]
    readings = replace(
        NOTES,
        time_s=stamps,
        clock=clock,
        time_resolution_s=resolution_s,
        speed_mps=columns[:, 1],
        odometer_m=np.full(n, np.nan),
        line=np.arange(2, n + 2),
    )
    _sound(POSITIONS if positions else RECORDED, readings)


@settings(max_examples=8, deadline=None, derandomize=True)
@given(
    seed=st.integers(0, 10_000),
    keep=st.floats(0.0, 1.0),
    pieces=st.integers(1, 200),
    noise_m=st.sampled_from([0.0, 3.0, 300.0, 1e5]),
    spikes=st.integers(0, 30),
    logged=st.booleans(),
    positions=st.booleans(),
)
def test_any_track_ends_well(
    seed: int, keep: float, pieces: int, noise_m: float, spikes: int, logged: bool, positions: bool
) -> None:
    """Fixes missing, pieces, positions thrown about, spikes of the recorded speed, all mixed."""
    rng = np.random.default_rng(seed)
    track = POSITIONS if positions else RECORDED
    speed = track.speed_mps.copy()
    speed[rng.integers(0, N, spikes)] = rng.choice([0.0, 50.0, 500.0, 1e7])
    track = replace(
        track,
        latitude_deg=track.latitude_deg + noise_m / 1.1e5 * rng.standard_normal(N) * (rng.random(N) < 0.2),
        segment=np.sort(rng.integers(0, pieces, N)),
        speed_mps=speed,
    )
    _sound(some_fixes(track, rng.random(N) < keep), LOG if logged else NOTES)


@settings(max_examples=6, deadline=None, derandomize=True)
@given(
    odometer=st.lists(
        st.one_of(st.floats(0, 1e9), st.sampled_from([np.nan, np.inf, 0.0, 1e300, -5.0])), min_size=24, max_size=24
    ),
    resolution=st.sampled_from([0.0, 1.0, 160.9344, 1609.344, np.nan]),
)
def test_any_odometer_ends_well(odometer: list[float], resolution: float) -> None:
    """And never spoils what the speeds say without a word."""
    result = _sound(RECORDED, replace(NOTES, odometer_m=np.array(odometer), odometer_resolution_m=resolution))
    assert isinstance(result, Calibration)
    told = [finding for finding in result.findings if "odometer" in finding.code]
    assert result.error_factor.contains(1.05) or told
