"""The odometer: its factor by hand arithmetic, over gaps, and beside the pointer's."""

from __future__ import annotations

import json
from dataclasses import replace

import numpy as np
import pytest
from support.roads import START_S, plateaus, readings_of, some_fixes, track_along, track_of

import speedcal
from speedcal.calibration.readings.odometer import odometer_factor, unit_by_speed
from speedcal.calibration.speed.speed_of_track import ground_speed
from speedcal.finding import Finding
from speedcal.interval import FloatArray
from speedcal.logs.drive.readings import Readings
from speedcal.simulate import simulate
from speedcal.units import MILE_M, MPH_MPS

ROAD = plateaus([30, 55, 40, 65, 25, 50, 35, 60, 45, 55, 65, 30], hold_s=75)
TRACK = track_of(ROAD, noise_mps=0.05)
GROUND = ground_speed(TRACK)
TIMES = np.linspace(20, ROAD.length_s - 20, 24)
TENTH_M = MILE_M / 10


def _counted(factor: float, *, start_mi: float = 42000.03, step_m: float = TENTH_M) -> FloatArray:
    """Return what the odometer shows at every reading, cut off at its last digit."""
    total = start_mi * MILE_M + factor * ROAD.distance(TIMES)
    return np.asarray(np.floor(total / step_m + 1e-9) * step_m)


def _notes(odometer_m: FloatArray, *, every: int = 1, factor: float = 1.05) -> Readings:
    noted = np.arange(24) % every == 0
    noted[-1] = True
    return replace(
        readings_of(ROAD, TIMES, factor=factor, step_mph=0.5),
        odometer_m=np.where(noted, odometer_m, np.nan),
        odometer_resolution_m=TENTH_M,
    )


@pytest.mark.parametrize(
    ("km", "stated", "factor"), [(True, False, 1.03), (False, False, 1.03), (True, True, 1.03 * 1.609)]
)
def test_an_odometer_without_a_unit_counts_what_the_speed_tells(km: bool, stated: bool, factor: float) -> None:
    """Kilometers taken for miles made a unit mix-up the likeliest cause of a dial that is 5 % high."""
    readings = _notes(_counted(1.03) * (1.609344 if km else 1.0))
    assumed = () if stated else (Finding("odometer_unit_assumed", length_unit="mi", speed_unit="mph"),)
    found = speedcal.calibrate(TRACK, replace(readings, findings=assumed))
    assert found.odometer_factor is not None
    assert found.odometer_factor.value == pytest.approx(factor, rel=0.01)
    codes = [finding.code for finding in found.findings if finding.code.startswith("odometer_unit")]
    assert codes == ([] if stated else ["odometer_unit_by_speed" if km else "odometer_unit_assumed"])


def test_an_odometer_in_miles_is_none_in_kilometers_because_the_dial_is_in_the_wrong_unit() -> None:
    """It was 'found' to be in miles, which it was taken for, and counted 1.61 times as much."""
    assumed = Finding("odometer_unit_assumed", length_unit="mi", speed_unit="mph")
    readings = replace(_notes(_counted(1.0)), findings=(assumed,))
    assert unit_by_speed(readings, 1.609344) == "km"
    assert not unit_by_speed(readings, 1 / 1.609344)
    taken_for_km = replace(readings, findings=(Finding("odometer_unit_assumed", length_unit="km", speed_unit="km/h"),))
    assert unit_by_speed(taken_for_km, 1 / 1.609344) == "mi"


# ---- the factor itself


@pytest.mark.parametrize("u_clock_s", [0.0, 4.0])
def test_two_readings_give_their_difference_over_the_distance(u_clock_s: float) -> None:
    """By hand: risen over driven, u = sqrt(2 (step²/12 + (v u_t)²)) / driven, with 0.0005 for the track's length.

    A clock off by 4 s leaves the first reading 4 s of one speed back and the last one 4 s of another.
    """
    moment = START_S + np.array([60.0, 900.0])
    driven = float(np.diff(ROAD.distance(np.array([60.0, 900.0])))[0])
    risen = 9 * TENTH_M + 1.03 * driven - (1.03 * driven) % TENTH_M
    got = odometer_factor(
        GROUND, moment, np.array([5e6, 5e6 + risen]), resolution_m=TENTH_M, u_time_s=1.0, u_clock_s=u_clock_s
    )
    assert got is not None
    assert got.value == pytest.approx(risen / driven, rel=2e-4)
    speed = ROAD.speed(np.array([60.0, 900.0]))
    end_variance = TENTH_M**2 / 12 + speed**2
    clock = got.value * (speed[1] - speed[0]) / driven * u_clock_s
    assert got.u == pytest.approx(np.linalg.norm([np.sqrt(end_variance.sum()) / driven, 0.0005, clock]), rel=0.01)


@pytest.mark.parametrize("factor", [0.87, 1.0, 1.13])
def test_the_factor_is_that_of_the_count_without_any_needle_offset(factor: float) -> None:
    """To a metre at every reading: within 0.1 %, in which the length of the recorded speeds is uncertain."""
    shown = _counted(factor, step_m=1.0)
    got = odometer_factor(GROUND, START_S + TIMES, shown, resolution_m=1.0, u_time_s=0.01, u_clock_s=0.0)
    assert got is not None
    assert got.value == pytest.approx(factor, rel=5e-4)


def test_a_tenth_of_a_mile_over_ten_miles_is_as_uncertain_as_arithmetic_says() -> None:
    """Fifty starts of the last digit: the errors scatter as the stated uncertainty, chi-square of 50 at 0.1 %."""
    z = []
    for start in np.random.default_rng(3).uniform(0, 0.1, 50):
        shown = _counted(1.05, start_mi=42000 + start)[[0, -1]]
        got = odometer_factor(
            GROUND, START_S + TIMES[[0, -1]], shown, resolution_m=TENTH_M, u_time_s=1e-3, u_clock_s=0.0
        )
        assert got is not None
        u_digits = np.sqrt(2 * TENTH_M**2 / 12) / (ROAD.distance(TIMES)[-1] - ROAD.distance(TIMES)[0])
        assert got.u == pytest.approx(np.hypot(u_digits, 0.0005), rel=0.01)
        z.append((got.value - 1.05) / u_digits)
    assert 24 / 50 < np.mean(np.square(z)) < 90 / 50


def test_readings_of_different_figures_are_as_uncertain_as_a_weighted_line() -> None:
    """By hand: every figure cut off by itself, the last one read twice; no step is coarser than it is written."""
    shown = _counted(1.05)
    got = odometer_factor(GROUND, START_S + TIMES, shown, resolution_m=TENTH_M, u_time_s=0.1, u_clock_s=0.0)
    times_read = np.sum(shown == shown[:, np.newaxis], axis=0)
    assert times_read.tolist() == [1] * 22 + [2] * 2
    weight = 1 / (times_read * TENTH_M**2 / 12 + (0.1 * ROAD.speed(TIMES)) ** 2 + 1.0)
    way = ROAD.distance(TIMES)
    spread = np.sum(weight * (way - np.average(way, weights=weight)) ** 2)
    assert got is not None
    assert got.u == pytest.approx(np.hypot(1 / np.sqrt(spread), 0.0005), rel=0.01)


def test_a_figure_that_turns_between_two_looks_is_no_leap() -> None:
    """Half a second apart, a tenth of a mile more: what the ends tell by themselves is not lost for it."""
    moment = np.array([60.0, 500.0, 500.5, 1000.0])
    total = 5e6 + 1.03 * ROAD.distance(moment)
    total += TENTH_M - 1.0 - total[1] % TENTH_M  # a metre before the turn at the second look, behind it at the third
    shown = np.floor(total / TENTH_M) * TENTH_M
    assert shown[2] - shown[1] == pytest.approx(TENTH_M)
    got, ends = (
        odometer_factor(GROUND, START_S + moment[some], shown[some], resolution_m=TENTH_M, u_time_s=0.1, u_clock_s=0.0)
        for some in ([0, 1, 2, 3], [0, 3])
    )
    assert got is not None
    assert ends is not None
    assert got.u < 1.01 * ends.u
    assert abs(got.value - 1.03) < 2.6 * got.u


@pytest.mark.parametrize("step_m", [1000.0, 5 * MILE_M, 10 * MILE_M])
def test_an_odometer_written_finer_than_it_counts_has_the_uncertainty_of_its_step(step_m: float) -> None:
    """Fifty starts of steps of a kilometre, five and ten miles, all written to the mile, a reading every 15 seconds."""
    moments = np.arange(20.0, ROAD.length_s - 20, 15.0)
    z = []
    for start in np.random.default_rng(4).uniform(0, step_m, 50):
        shown = np.floor((7e7 + start + 1.02 * ROAD.distance(moments)) / step_m) * step_m
        got = odometer_factor(GROUND, START_S + moments, shown, resolution_m=TENTH_M, u_time_s=0.1, u_clock_s=0.0)
        if got is not None:
            z.append((got.value - 1.02) / got.u)
    assert len(z) > 25
    assert np.mean(np.abs(z) < 1.96) > 0.9


def test_distance_across_a_gap_is_not_counted() -> None:
    """A minute in a tunnel at speed: the count over all that was seen would be 3 % high and more."""
    time = TRACK.time_s - START_S
    ground = ground_speed(some_fixes(TRACK, (time < 400) | (time > 460)))
    shown = _counted(1.05, step_m=1.0)
    got = odometer_factor(ground, START_S + TIMES, shown, resolution_m=1.0, u_time_s=0.01, u_clock_s=0.0)
    assert got is not None
    assert got.value == pytest.approx(1.05, rel=1e-3)
    seen = ground.distance_m[-1]
    assert (shown[-1] - shown[0]) / seen > 1.05 * 1.03


@pytest.mark.parametrize("which", [[3], [0, 2], []])
def test_too_short_a_way_or_one_reading_gives_no_factor(which: list[int]) -> None:
    shown = np.full(24, np.nan)
    shown[which] = _counted(1.05)[which]
    assert odometer_factor(GROUND, START_S + TIMES, shown, resolution_m=TENTH_M, u_time_s=1.0, u_clock_s=0.0) is None


@pytest.mark.parametrize("resolution_m", [1.0, TENTH_M])
def test_one_figure_over_too_short_a_way_tells_nothing_however_fine_it_is(resolution_m: float) -> None:
    moment = np.array([60.0, 120.0])
    assert np.diff(ROAD.distance(moment)) < 1500.0
    stands = np.full(2, 6.6e7)
    assert (
        odometer_factor(GROUND, START_S + moment, stands, resolution_m=resolution_m, u_time_s=0.01, u_clock_s=0.0)
        is None
    )


@pytest.mark.parametrize(("step_mi", "tells"), [(0.1, True), (1.0, True), (100.0, False)])
def test_one_figure_over_two_steps_and_more_stands_still(step_mi: float, tells: bool) -> None:
    """A drive of ten miles and more; in hundreds of miles it may count all the same."""
    got = odometer_factor(
        GROUND, START_S + TIMES, np.full(24, 6.6e7), resolution_m=step_mi * MILE_M, u_time_s=1.0, u_clock_s=0.0
    )
    assert (got is not None) is tells
    if got is not None:
        assert got.value == 0
        assert got.over_m == pytest.approx(np.ptp(ROAD.distance(TIMES)), rel=1e-3)


# ---- with the speeds


def test_an_odometer_that_stands_is_said_to_and_has_no_factor() -> None:
    """With the way driven; nothing is said of the pointer for it."""
    drive = simulate("odometer", np.random.default_rng(4))
    noted = drive.readings.odometer_m
    stands = replace(drive.readings, odometer_m=np.where(np.isfinite(noted), 8e7, np.nan))
    result = speedcal.calibrate(drive.track, stands)
    assert result.odometer_factor is None
    (found,) = (finding for finding in result.findings if finding.code.startswith("odometer"))
    assert found.code == "odometer_stands_still"
    assert found.values["distance_m"] == pytest.approx(np.ptp(noted[np.isfinite(noted)]), rel=0.2)


@pytest.mark.parametrize("counts", [1.0, 1.05])
def test_pointer_and_odometer_each_keep_their_factor(counts: float) -> None:
    """The pointer is 5 % high; whether the odometer is right or off alike, nothing averages them."""
    result = speedcal.calibrate(TRACK, _notes(_counted(counts)))
    plain = speedcal.calibrate(TRACK, readings_of(ROAD, TIMES, step_mph=0.5))
    assert result.odometer_factor is not None
    assert result.odometer_factor.contains(counts)
    assert (result.error_factor, result.offset_mps) == (plain.error_factor, plain.offset_mps)
    found = [finding for finding in result.findings if finding.code == "odometer_differs"]
    assert bool(found) == (counts == 1.0)
    if found:
        assert found[0].values["difference"] == pytest.approx(0.05, abs=found[0].values["high"] - 0.05 + 0.02)
        assert found[0].values["probability"] > 0.95
    assert plain.odometer_factor is None
    assert plain.to_dict()["odometer_factor"] is None


@pytest.mark.parametrize("seed", range(6))
def test_simulated_odometers_are_within_their_interval(seed: int) -> None:
    """Four standard uncertainties: one in 16,000."""
    drive = simulate("odometer", [52, seed])
    result = speedcal.calibrate(drive.track, drive.readings)
    assert result.odometer_factor is not None
    assert abs(result.odometer_factor.value - drive.truth.error_factor) < 2 * result.odometer_factor.half_width


# ---- odometers that misbehave


def _rolled_over() -> FloatArray:
    shown = _counted(1.05, start_mi=99995.0)
    return np.where(shown >= 1e5 * MILE_M, shown - 1e5 * MILE_M, shown)


def _reset() -> FloatArray:
    shown = _counted(1.05, start_mi=120.0)
    return np.where(np.arange(24) > 11, shown - shown[12], shown)


def _misread(by_mi: float, which: int = 7) -> FloatArray:
    shown = _counted(1.05)
    shown[which] += by_mi * MILE_M
    return shown


def test_fifty_metres_misread_halfway_are_left_out() -> None:
    """To a metre: neither the share of the way to the middle nor the digit explains them."""
    halfway = int(np.argmin(np.abs(ROAD.distance(TIMES) - ROAD.distance(TIMES).mean())))
    shown = _counted(1.05, step_m=1.0)
    shown[halfway] += 50.0
    got = odometer_factor(GROUND, START_S + TIMES, shown, resolution_m=1.0, u_time_s=0.01, u_clock_s=0.0)
    assert got is not None
    assert got.left_out.tolist() == [halfway]
    assert got.value == pytest.approx(1.05, rel=5e-4)


def test_what_most_of_many_readings_say_decides() -> None:
    """Of a thousand readings the first two hundred counted half of the way; the other eight hundred are right."""
    moment = np.linspace(20, ROAD.length_s - 20, 1000)
    way = ROAD.distance(moment)
    shown = np.floor(1.05 * np.where(np.arange(1000) < 200, (way + way[200]) / 2, way))
    got = odometer_factor(GROUND, START_S + moment, 7e7 + shown, resolution_m=1.0, u_time_s=0.01, u_clock_s=0.0)
    assert got is not None
    assert got.value == pytest.approx(1.05, rel=1e-3)
    assert set(got.left_out.tolist()) <= set(range(200))


@pytest.mark.parametrize(
    "shown",
    [_rolled_over(), _reset(), _misread(10.0), _misread(-1.0), _misread(1e4), _misread(1e4, -1), _misread(1e300)],
    ids=["rolled over", "trip meter put back", "ten off", "one off", "digit too many", "at the end", "absurd"],
)
def test_a_jump_of_the_odometer_does_not_make_a_factor_out_of_nothing(shown: FloatArray) -> None:
    """The factor of the other readings, or none; told when it was left out; JSON stays JSON; the speeds stay."""
    result = speedcal.calibrate(TRACK, _notes(shown))
    assert result.error_factor.contains(1.05)
    if result.odometer_factor is not None:
        assert result.odometer_factor.contains(1.05)
    assert "NaN" not in json.dumps(result.to_dict())


def test_an_odometer_that_stands_still_is_no_factor_of_zero() -> None:
    """Told, and left out of the line."""
    result = speedcal.calibrate(TRACK, _notes(_counted(0.0)))
    assert [finding for finding in result.findings if "odometer" in finding.code]
    assert result.error_factor.contains(1.05)


def test_kilometres_written_as_miles_are_told() -> None:
    result = speedcal.calibrate(TRACK, _notes(_counted(1.05) * 1.609344))
    assert [finding for finding in result.findings if "odometer" in finding.code]
    assert result.error_factor.contains(1.05)


def test_one_odd_unit_of_the_needle_is_not_blamed_on_the_odometer() -> None:
    """A needle 1 mph off at every speed: the odometer has no offset and still agrees."""
    notes = replace(_notes(_counted(1.05)), speed_mps=readings_of(ROAD, TIMES, offset_mph=1.0, step_mph=0.5).speed_mps)
    result = speedcal.calibrate(TRACK, notes)
    assert not [finding for finding in result.findings if "odometer" in finding.code]
    assert result.offset_mps.contains(1.0 * MPH_MPS)
    assert result.error_factor.contains(1.05)


@pytest.mark.parametrize("interval_s", [10.0, 30.0])
def test_where_positions_freeze_the_odometer_is_not_compared(interval_s: float) -> None:
    """Five minutes of each hour at 25 m/s stand still on the track: 4 % of the way if they were believed."""
    time = np.arange(0.0, 4 * 3600.0, interval_s)
    way = 25.0 * time
    frozen = (time % 3600 > 1500) & (time % 3600 <= 1800)
    seen = way[np.maximum.accumulate(np.where(frozen, 0, np.arange(len(time))))]
    ground = ground_speed(track_along(time, seen, np.zeros(len(time))))
    assert ground.dropped["frozen_position"] == frozen.sum()
    found = odometer_factor(ground, START_S + time, way, resolution_m=10.0, u_time_s=0.1, u_clock_s=0.0)
    assert found is not None
    assert found.value == pytest.approx(1.0, abs=0.002)
