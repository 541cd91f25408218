"""The clock offset: seconds, zones, days, unknown starts; and drives on which it cannot be found."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from support.roads import START_S, Road, answer_or_refusal, plateaus, readings_of, some_fixes, some_readings, track_of

import speedcal
from speedcal.calibration.logged.pairs import make_pairs
from speedcal.calibration.readings.clock_search import search_shifts
from speedcal.calibration.readings.local_time import zone_of_drive
from speedcal.calibration.result import Calibration
from speedcal.calibration.speed.speed_of_track import ground_speed
from speedcal.conformity import history
from speedcal.errors import AlignmentError, FitError
from speedcal.interval import FloatArray
from speedcal.logs.drive.readings import Clock, Readings
from speedcal.logs.drive.track import Track
from speedcal.simulate import simulate
from speedcal.text.pages.report_for_tech import when
from speedcal.units import MPH_MPS

ROAD = plateaus([30, 55, 40, 65, 25, 50, 35, 60])
TRACK = track_of(ROAD, noise_mps=0.05)
SPREAD = np.linspace(20, ROAD.length_s - 70, 24)
NOTES = readings_of(ROAD, SPREAD, step_mph=0.5)
LOG = readings_of(ROAD, np.arange(5.0, ROAD.length_s - 5), step_mph=0.1, time_resolution_s=0.001)
DAY_S = 86400.0


def _clock(result: Calibration) -> float:
    assert result.clock_offset_s is not None
    return result.clock_offset_s.value


def _right(result: Calibration, clock_s: float, *, within_s: float) -> None:
    assert _clock(result) == pytest.approx(clock_s, abs=within_s)
    assert result.error_factor.contains(1.05)
    assert result.error_factor.value == pytest.approx(1.05, abs=0.01)


@pytest.mark.parametrize("clock", ["utc", "local"])
@pytest.mark.parametrize("off_s", [-40.0, 3.0, 600.0, -3600.0, 5.5 * 3600, -9.5 * 3600, 12.75 * 3600])
def test_a_clock_that_is_off_is_put_right(clock: Clock, off_s: float) -> None:
    """Logged to 0.05 s, noted to a second; the factor comes out as if the clock had been right."""
    _right(speedcal.calibrate(TRACK, replace(LOG, time_s=LOG.time_s - off_s, clock=clock)), off_s, within_s=0.05)
    _right(speedcal.calibrate(TRACK, replace(NOTES, time_s=NOTES.time_s - off_s, clock=clock)), off_s, within_s=1.0)


def test_the_interval_of_the_clock_offset_holds_the_truth_and_is_a_second_wide_for_notes() -> None:
    result = speedcal.calibrate(TRACK, replace(NOTES, time_s=NOTES.time_s - 17.3))
    assert result.clock_offset_s is not None
    assert result.clock_offset_s.contains(17.3)
    assert 0.2 < result.clock_offset_s.half_width < 3.0


def test_a_clock_hours_off_in_spite_of_a_zone_is_told() -> None:
    """And one that is only seconds off is not."""
    far = speedcal.calibrate(TRACK, replace(NOTES, time_s=NOTES.time_s - 3600))
    (finding,) = [finding for finding in far.findings if finding.code == "clock_far"]
    assert "1.0 h behind" in finding.text
    assert not [f for f in speedcal.calibrate(TRACK, NOTES).findings if f.code.startswith("clock")]


def test_a_clock_ten_minutes_off_is_not_called_a_zone() -> None:
    """No zone is a sixth of an hour off; the finding must not say a quarter."""
    result = speedcal.calibrate(TRACK, replace(NOTES, time_s=NOTES.time_s - 600, clock="local"))
    assert not [finding for finding in result.findings if "0.25 h" in finding.text]


def test_a_few_notes_of_a_clock_that_was_set_back_hide_no_others() -> None:
    """Most notes are of the first third; the few after an hour was put back are on no track, and made it seem long."""
    times = np.concatenate([np.linspace(20, 0.35 * ROAD.length_s, 18), np.linspace(0.5, 0.85, 4) * ROAD.length_s])
    notes = readings_of(ROAD, times, step_mph=0.5)
    moved = notes.time_s - np.where(np.arange(22) < 18, 0.0, 3600.0)
    found = search_shifts(
        ground_speed(TRACK), moved, notes.speed_mps, clock="local", middle_s=0.5, half_width_s=1.0, source="notes"
    )
    assert abs(found[0].offset_s) < 3


def test_a_date_days_off_is_no_zone() -> None:
    """It was told as the farthest zone and a clock 58 hours fast."""
    wrong = replace(NOTES, time_s=NOTES.time_s + 3 * DAY_S + 2 * 3600 + 50, clock="local")
    result = speedcal.calibrate(TRACK, wrong, clock_offset_s=-3 * DAY_S - 2 * 3600 - 45)
    (finding,) = [finding for finding in result.findings if finding.code == "clock_local"]
    assert (finding.values["days"], finding.values["zone_s"]) == (-3, 7200)
    assert finding.values["slow_s"] == pytest.approx(-50, abs=2)
    assert "3 days too late" in finding.text


@pytest.mark.parametrize("zone_h", [0.0, 1.5, -5.0, 2.0, 10.5, -9.5])
def test_a_time_of_day_passes_midnight_and_keeps_counting(zone_h: float) -> None:
    """The drive begins at 22:25 UTC and lasts eleven minutes; in the zone of 1.5 h midnight falls into it."""
    wall = NOTES.time_s + 720 + 3600 * zone_h
    midnight = float(np.floor(wall[0] / DAY_S) * DAY_S)
    passes = bool(wall[-1] - midnight >= DAY_S)
    assert passes == (zone_h == 1.5)
    readings = replace(NOTES, time_s=wall - midnight, clock="time of day")
    track = replace(TRACK, time_s=TRACK.time_s + 720)
    _right(speedcal.calibrate(track, readings), midnight - 3600 * zone_h, within_s=1.0)


@pytest.mark.parametrize("begin_s", [0.0, 123.4, -5000.0, 1e7, 1e12])
def test_times_since_an_unknown_start_are_enough(begin_s: float) -> None:
    readings = replace(NOTES, time_s=NOTES.time_s - START_S + begin_s, clock="elapsed")
    _right(speedcal.calibrate(TRACK, readings), START_S - begin_s, within_s=1.0)


def test_elapsed_times_may_cover_a_part_of_a_long_track() -> None:
    """The stopwatch ran for a third of the drive."""
    part = (SPREAD > 200) & (SPREAD < 480)
    few = some_readings(readings_of(ROAD, np.linspace(200, 480, 24), step_mph=0.5), np.ones(24, bool))
    assert part.sum() > 5
    _right(speedcal.calibrate(TRACK, replace(few, time_s=few.time_s - START_S, clock="elapsed")), START_S, within_s=1.5)


@pytest.mark.parametrize("clock", ["utc", "local", "time of day"])
def test_a_track_without_a_date_is_met_by_time_of_day(clock: Clock) -> None:
    """The track says 22:13 on the first day of 2000, the readings the true date or none."""
    midnight = float(np.floor(START_S / DAY_S) * DAY_S)
    epoch = 946_684_800.0
    dateless = replace(TRACK, time_s=TRACK.time_s - midnight + epoch, has_date=False)
    readings = replace(NOTES, clock=clock)
    if clock == "time of day":
        readings = replace(readings, time_s=NOTES.time_s - midnight)
    result = speedcal.calibrate(dateless, readings)
    assert result.error_factor.value == pytest.approx(1.05, abs=0.01)
    used = result.readings["used"].to_numpy()
    np.testing.assert_allclose(result.readings["time_s"][used], (SPREAD + START_S - midnight + epoch)[used], atol=3)


def test_wrong_readings_do_not_steer_the_clock_and_are_named() -> None:
    """Three of 24 misread by ten mph or more: the clock stays, they are left out and their lines told."""
    speed = NOTES.speed_mps.copy()
    wrong = [4, 11, 18]
    speed[wrong] += np.array([10, -15, 20]) * MPH_MPS
    result = speedcal.calibrate(TRACK, replace(NOTES, speed_mps=speed, time_s=NOTES.time_s + 20))
    _right(result, -20.0, within_s=1.5)
    assert np.flatnonzero(~result.readings["used"].to_numpy()).tolist() == wrong
    (finding,) = [finding for finding in result.findings if finding.code == "wrong_readings"]
    for index in wrong:
        assert f"line {NOTES.line[index]}" in finding.text


@pytest.fixture(scope="module")
def stop_and_go() -> tuple[Road, FloatArray]:
    """Return a drive of which more than a third stands still in queues, and 5 Hz times over it.

    Accelerations take two seconds to build up: no vehicle has them at once, and a spline with a knot a second cuts such
    corners, by 0.1 % of the factor.
    """
    speeds = [0, 30, 0, 22, 0, 35, 12, 0, 28, 0, 18, 33, 0, 25, 0, 38, 20, 0]
    time, speed = [0.0], [0.0]
    for k, level in enumerate(speeds):
        time += [time[-1] + max(abs(level * MPH_MPS - speed[-1]), 0.1), 0.0]
        speed += [level * MPH_MPS, level * MPH_MPS]
        time[-1] = time[-2] + (45 if level == 0 else 25) + 3 * (k % 4)
    at = np.arange(0.0, time[-1], 0.1)
    sharp = np.pad(np.interp(at, time, speed), 10, mode="edge")
    road = Road(at, np.convolve(sharp, np.ones(21) / 21, "valid"))
    return road, np.arange(2.0, road.length_s - 2, 0.2)


@pytest.mark.parametrize("off_s", [0.0, 25.0, -90.0])
def test_standing_for_a_third_of_the_drive_does_not_mislead_the_clock(stop_and_go, off_s: float) -> None:
    """Every shift is scored on the same readings: shedding slow ones shift by shift would win some 90 s away."""
    road, time = stop_and_go
    assert (road.speed(time) < 0.3).mean() > 1 / 3
    track = track_of(road, time_s=np.arange(0, road.length_s, 0.2), noise_mps=0.05)
    log = readings_of(road, time, step_mph=0.5, time_resolution_s=0.1, clock_offset_s=off_s)
    _right(speedcal.calibrate(track, log), off_s, within_s=0.1)
    notes = some_readings(log, np.linspace(50, len(log) - 50, 30).astype(int))
    result = speedcal.calibrate(track, replace(notes, time_resolution_s=1.0))
    assert _clock(result) == pytest.approx(off_s, abs=1.5)


@pytest.mark.parametrize("sign", [-1, 1])
def test_a_film_that_is_stamped_with_its_end_finds_its_place(sign: int) -> None:
    """Two readings a second, a length of film too late, or too early where the phone adds it; to half a second."""
    road = plateaus([30, 55, 40, 65, 25, 50, 35, 60])
    time = np.arange(20.0, road.length_s - 20, 0.5)
    log = readings_of(road, time, step_mph=0.1, time_resolution_s=0.001, clock_offset_s=sign * road.length_s)
    result = speedcal.calibrate(track_of(road, noise_mps=0.05), log)
    assert _clock(result) == pytest.approx(sign * road.length_s, abs=0.5)
    assert result.error_factor.value == pytest.approx(1.05, abs=0.003)


@pytest.mark.parametrize(("fix_s", "reading_s"), [(0.2, 10.0), (1.0, 5.0), (5.0, 0.5), (4.0, 1.0), (5.0, 5.0)])
@pytest.mark.parametrize("recorded", [True, False], ids=["recorded", "positions"])
def test_the_dense_side_is_read_at_the_times_of_the_sparse_side(fix_s: float, reading_s: float, recorded: bool) -> None:
    """Ramps of 2 m/s², so a wrong interpolation shows; the factor comes out to 0.3 %, the clock to 0.3 s."""
    road = plateaus([30, 55, 40, 65, 25, 50, 35, 60, 45, 30], hold_s=60, acceleration=2.0)
    track = track_of(road, time_s=np.arange(0, road.length_s, fix_s), recorded=recorded)
    time = np.arange(5.0, road.length_s - 5, reading_s)
    log = readings_of(road, time, step_mph=0.1, time_resolution_s=0.001, clock_offset_s=7.7)
    result = speedcal.calibrate(track, log)
    assert result.error_factor.value == pytest.approx(1.05, abs=0.003)
    assert _clock(result) == pytest.approx(7.7, abs=0.3)


@pytest.mark.parametrize("recorded", [True, False], ids=["recorded", "positions"])
@pytest.mark.parametrize("reading_s", [0.2, 1.0])
def test_no_pair_is_made_while_the_log_pauses(recorded: bool, reading_s: float) -> None:
    """A hundred seconds without a row, over a change of speed: nothing was shown then, as far as anyone knows."""
    time = np.arange(5.0, ROAD.length_s - 5, reading_s)
    time = time[(time < 200) | (time > 300)]
    shown = 1.05 * ROAD.speed(time)
    pairs = make_pairs(ground_speed(track_of(ROAD, recorded=recorded)), START_S + time, shown, 0.0)
    at = pairs.time_s - START_S
    assert not ((at > 201) & (at < 299)).any()
    assert (at < 195).sum() > 150
    assert (at > 305).sum() > 300
    steady = pairs.usable & (np.abs(pairs.acceleration) < 1e-6)
    np.testing.assert_allclose(pairs.indicated_mps[steady], 1.05 * pairs.ground_mps[steady], rtol=1e-5)


# ---- what cannot be laid on the track


def _periodic() -> Road:
    return plateaus([30, 50, 40] * 6, hold_s=40)


def _in_a_periodic_drive(*, logged: bool) -> tuple[Track, Readings]:
    """Return three plateaus again and again, and elapsed times over a part of them: any of several starts fits."""
    road = _periodic()
    time = np.arange(300.0, 700.0) if logged else np.linspace(300, 700, 24)
    readings = readings_of(road, time, step_mph=0.1, time_resolution_s=0.001 if logged else 1.0)
    elapsed = replace(readings, time_s=readings.time_s - readings.time_s[0], clock="elapsed")
    return track_of(road, noise_mps=0.05), elapsed


def test_a_log_of_a_drive_that_repeats_itself_is_refused() -> None:
    free = answer_or_refusal(*_in_a_periodic_drive(logged=True))
    assert isinstance(free, AlignmentError)
    assert "two clock offsets" in free.problem
    assert "--clock-offset" in free.remedy


def test_notes_of_a_drive_that_repeats_itself_tell_the_dial_and_not_the_clock() -> None:
    """Every start that fits gives the same line, so there is an answer; the period is 151 s at least."""
    result = speedcal.calibrate(*_in_a_periodic_drive(logged=False))
    assert result.error_factor.value == pytest.approx(1.05, abs=0.01)
    assert result.clock_offset_s is not None
    assert result.clock_offset_s.contains(START_S + 300)
    assert result.clock_offset_s.half_width > 60


@pytest.mark.parametrize("logged", [True, False])
def test_a_hint_picks_one_start_of_a_drive_that_repeats_itself(logged: bool) -> None:
    track, readings = _in_a_periodic_drive(logged=logged)
    begin = START_S + 300
    for hint in (begin - 8, begin, begin + 8):
        result = speedcal.calibrate(track, readings, clock_offset_s=hint)
        assert _clock(result) == pytest.approx(begin, abs=0.2 if logged else 1.5)
        assert result.error_factor.value == pytest.approx(1.05, abs=0.01)


@pytest.fixture(scope="module")
def twice() -> tuple[Track, Readings, float]:
    """Return a drive that has the same shape twice, once at 0.9 of the speed, notes of the first, and its begin."""
    shape = np.array([30.0, 50.0, 40.0, 60.0, 35.0])
    road = plateaus([*shape, 0, *(0.9 * shape)], hold_s=50, acceleration=1.5)
    begin = float(road.corner_s[1])
    return track_of(road, noise_mps=0.05), readings_of(road, begin + np.linspace(10, 280, 20), step_mph=1.0), begin


def test_two_starts_that_give_different_factors_are_refused_with_both_named(twice) -> None:
    """Stopwatch notes fit both; whoever knows the start gets the answer."""
    track, readings, begin = twice
    readings = replace(readings, time_s=readings.time_s - START_S - begin, clock="elapsed")
    assert speedcal.calibrate(track, readings, clock_offset_s=START_S + begin).error_factor.contains(1.05)
    free = answer_or_refusal(track, readings)
    if isinstance(free, Calibration):
        assert free.error_factor.contains(1.05)
    else:
        assert "error factor" in free.problem


@pytest.mark.parametrize("clock", ["local", "time of day"])
@pytest.mark.parametrize("zone_h", [0.0, -8.0, 14.0, -3.5, 5.75, 12.75])
def test_of_two_starts_that_fit_the_one_that_makes_a_zone_is_taken(twice, clock: Clock, zone_h: float) -> None:
    """The same notes by a wall clock 4 s off: six minutes next to a zone is no clock of this world."""
    track, readings, _ = twice
    wall = readings.time_s + 3600 * zone_h + 4.0
    midnight = float(np.floor(wall[0] / DAY_S) * DAY_S) if clock == "time of day" else 0.0
    result = speedcal.calibrate(track, replace(readings, time_s=wall - midnight, clock=clock))
    assert _clock(result) == pytest.approx(midnight - 3600 * zone_h - 4.0, abs=2.0)
    assert result.error_factor.contains(1.05)


@pytest.mark.parametrize("kind", ["noted", "logged"])
@pytest.mark.parametrize("seed", range(4))
def test_readings_of_another_drive_are_never_trusted(kind: str, seed: int) -> None:
    """Elapsed, so that they may lie anywhere; most are refused, none is called trusted."""
    track, other = simulate(kind, [31, seed]).track, simulate(kind, [32, seed]).readings
    other = replace(other, time_s=other.time_s - other.time_s[0], clock="elapsed")
    result = answer_or_refusal(track, other)
    assert isinstance(result, speedcal.SpeedcalError) or result.trust.word == "WEAK"


def test_readings_of_another_drive_are_mostly_refused() -> None:
    """More than half: speeds between 25 and 65 mph have much in common, so chance alone fits some."""
    refused = 0
    for seed in range(6):
        track, other = simulate("noted", [33, seed]).track, simulate("noted", [34, seed]).readings
        other = replace(other, time_s=other.time_s - other.time_s[0], clock="elapsed")
        refused += isinstance(answer_or_refusal(track, other), speedcal.SpeedcalError)
    assert refused > 3


@pytest.mark.parametrize("clock", ["utc", "local"])
@pytest.mark.parametrize("days", [-400.0, -2.0, 2.0, 30.0])
def test_another_day_has_no_time_in_common(clock: Clock, days: float) -> None:
    for readings in (NOTES, LOG):
        with pytest.raises(AlignmentError, match="no time in common") as caught:
            speedcal.calibrate(TRACK, replace(readings, time_s=readings.time_s + days * DAY_S, clock=clock))
        assert "--clock-offset" in caught.value.remedy
        assert ("before" if days < 0 else "after") in caught.value.problem
        assert caught.value.source == "drawn readings"


def test_a_wrong_date_is_put_right_by_the_hint() -> None:
    readings = replace(NOTES, time_s=NOTES.time_s - 2 * DAY_S)
    _right(speedcal.calibrate(TRACK, readings, clock_offset_s=2 * DAY_S + 4), 2 * DAY_S, within_s=1.0)


@pytest.mark.parametrize("hint", [9999.0, -1e9, 1e12])
def test_a_hint_that_lays_nothing_on_the_track_is_refused(hint: float) -> None:
    for readings in (NOTES, LOG):
        with pytest.raises(AlignmentError):
            speedcal.calibrate(TRACK, readings, clock_offset_s=hint)


def test_a_hint_that_is_no_number_is_a_bug_of_the_caller() -> None:
    with pytest.raises(ValueError, match="clock_offset_s"):
        speedcal.calibrate(TRACK, NOTES, clock_offset_s=float("nan"))


def _half_lost(readings: Readings) -> Calibration:
    return speedcal.calibrate(some_fixes(TRACK, TRACK.time_s < START_S + 0.7 * ROAD.length_s), readings)


def test_readings_beyond_the_end_of_the_track_are_left_out_and_the_rest_counts() -> None:
    """The receiver died at seven tenths of the drive."""
    for readings, within in ((LOG, 0.05), (NOTES, 1.0)):
        result = _half_lost(replace(readings, time_s=readings.time_s - 11))
        _right(result, 11.0, within_s=within)
        late = readings.time_s > START_S + 0.7 * ROAD.length_s + 2
        assert not result.readings["used"][late].any()
        assert set(result.readings["reason"][late]) == {"no_ground_speed"}


def test_a_vehicle_that_stands_is_refused_with_speeds_to_drive() -> None:
    standing = track_of(Road(np.array([0.0, 900.0]), np.zeros(2)))
    with pytest.raises(FitError, match="hardly moved") as caught:
        speedcal.calibrate(standing, NOTES)
    assert "mph" in caught.value.remedy


def test_a_log_that_goes_on_for_hours_around_the_track_is_laid_on_it() -> None:
    """A logger left running: ten times the length of the track, standing before and after, stamps exact."""
    log = readings_of(ROAD, np.arange(5.0, ROAD.length_s - 5.0), time_resolution_s=0.001)
    time_s = np.concatenate(
        (log.time_s[0] - np.arange(3000, 0, -1.0), log.time_s, log.time_s[-1] + np.arange(1.0, 3000))
    )
    shown = np.concatenate((np.zeros(3000), log.speed_mps, np.zeros(2999)))
    left_running = replace(
        log, time_s=time_s, speed_mps=shown, line=np.arange(len(time_s)), odometer_m=np.full(len(time_s), np.nan)
    )
    result = speedcal.calibrate(TRACK, left_running)
    plain = speedcal.calibrate(TRACK, log)
    assert result.clock_offset_s is not None
    assert result.clock_offset_s.contains(0.0)
    assert result.error_factor.value == pytest.approx(plain.error_factor.value, abs=plain.error_factor.half_width / 10)


def test_readings_share_the_clock_of_their_own_fixes_and_of_no_other_receiver() -> None:
    """A table that holds fixes too, laid on the track of another receiver half a minute away."""
    log = readings_of(ROAD, np.arange(5.0, ROAD.length_s - 5.0), time_resolution_s=0.001)
    late = replace(log, time_s=log.time_s - 30.0, clock="gps", digest="b" * 64)
    result = speedcal.calibrate(replace(TRACK, digest="a" * 64), late)
    assert result.clock_offset_s is not None
    assert result.clock_offset_s.value == pytest.approx(30.0, abs=0.5)


@pytest.mark.parametrize(
    ("longitude_deg", "clock", "offset_s", "zone_h"),
    [
        (-122.0, "local", 7 * 3600 + 22.0, -7),  # summer time there; the sun says -8
        (-122.0, "time of day", 19_000 * DAY_S + 7 * 3600 - 40, -7),
        (151.0, "time of day", -10 * 3600 + 3, 10),
        (151.0, "time of day", 14 * 3600 + 3, 10),  # the same, and not 14 h behind UTC
        (85.0, "time of day", 10 * 3600 - 3, -10),  # a watch of elsewhere: 14 h ahead would be another day
        (174.0, "utc", 0.4, 12),
        (-3.0, "elapsed", 1.7e9, 0),
        (-80.0, "none", None, -5),
    ],
)
def test_the_day_of_a_drive_is_that_of_its_clock_or_of_the_sun_there(
    longitude_deg: float, clock: Clock, offset_s: float | None, zone_h: float
) -> None:
    track = replace(TRACK, longitude_deg=np.full_like(TRACK.longitude_deg, longitude_deg))
    assert zone_of_drive(track, clock, offset_s) == zone_h * 3600


def test_an_evening_drive_has_the_day_that_the_driver_had() -> None:
    """Half past nine in the evening, seven hours behind UTC, where the next day has begun."""
    begin_s = 20_000 * DAY_S + 4.5 * 3600  # 4 October 2024, 04:30 UTC
    moved = replace(TRACK, time_s=TRACK.time_s - TRACK.time_s[0] + begin_s)
    local_s = NOTES.time_s - START_S + begin_s - 7 * 3600
    west = replace(moved, longitude_deg=TRACK.longitude_deg - np.median(TRACK.longitude_deg) - 100)
    found = speedcal.calibrate(west, replace(NOTES, time_s=local_s % DAY_S, clock="time of day"))
    assert found.zone_s == -7 * 3600
    assert when(found, has_date=True).startswith("2024-10-03,")
    assert history([found]).rows[0].date == "2024-10-03"
