"""The line through the readings: against the truth, against independent libraries, and its invariances."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import hypothesis.strategies as st
import numpy as np
import odrpack
import pytest
from hypothesis import given, settings
from scipy.signal import lfilter
from support.roads import START_S, plateaus, readings_of, some_readings, track_of

import speedcal
from speedcal.calibration.dial.measured import NO_SPEED
from speedcal.calibration.result import Calibration
from speedcal.interval import FloatArray
from speedcal.logs.drive.readings import Readings
from speedcal.simulate import Drive, simulate
from speedcal.simulate.road import DOPPLER_SD_MPS
from speedcal.units import KMH_MPS, MPH_MPS

FEW = settings(max_examples=3, deadline=None, derandomize=True)
KINDS = ("logged", "noted")


@cache
def _drive(kind: str, seed: int) -> Drive:
    return simulate(kind, [40, seed])


@cache
def _result(kind: str, seed: int) -> Calibration:
    return speedcal.calibrate(_drive(kind, seed).track, _drive(kind, seed).readings)


def _u(result: Calibration) -> float:
    return float(np.sqrt(result.covariance[1, 1]))


def _pairs(result: Calibration) -> tuple[FloatArray, FloatArray, FloatArray]:
    used = result.readings[result.readings["used"]]
    return (used[name].to_numpy(float) for name in ("ground_mps", "indicated_mps", "time_s"))


# ---- truth


@pytest.mark.parametrize("factor", [0.85, 0.98, 1.05, 1.16])
@pytest.mark.parametrize("offset_mph", [-2.0, 0.0, 1.5])
def test_a_log_without_noise_gives_the_line_to_one_in_ten_thousand(factor: float, offset_mph: float) -> None:
    """Readings to 0.01 mph; the prior of the offset pulls by (0.003 / 0.67)² of it, far less than the tolerance."""
    road = plateaus([30, 55, 40, 65, 25, 50, 35, 60])
    log = readings_of(
        road, np.arange(5.0, road.length_s - 5), factor=factor, offset_mph=offset_mph, time_resolution_s=0.001
    )
    result = speedcal.calibrate(track_of(road), log)
    assert result.error_factor.value == pytest.approx(factor, abs=1e-4)
    assert result.offset_mps.value / MPH_MPS == pytest.approx(offset_mph, abs=5e-3)
    assert ("needle_offset" in {finding.code for finding in result.findings}) == (offset_mph != 0)


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("seed", range(4))
def test_speeds_at_the_readings_are_those_that_were_driven(kind: str, seed: int) -> None:
    """A logged one to the Doppler noise (5 sigma) and what the clock allows; a noted one is a second or so off."""
    result, truth = _result(kind, seed), _drive(kind, seed).truth
    used = result.readings["used"].to_numpy()
    off = np.abs(result.readings["ground_mps"].to_numpy() - truth.reading_ground_mps)[used]
    assert np.median(off) < (0.1 if kind == "logged" else 0.3)
    assert np.mean(off > (0.5 if kind == "logged" else 3.0)) < 0.01 + 1 / len(off)


@pytest.mark.parametrize("seed", range(6))
def test_misread_digits_are_found_and_right_ones_kept(seed: int) -> None:
    """Of readings wrong by ten mph or so all are left out; of the right ones at most one in a drive."""
    drive = simulate("wrong readings", [41, seed])
    result = speedcal.calibrate(drive.track, drive.readings)
    used = result.readings["used"].to_numpy()
    assert drive.truth.wrong.any()
    assert not used[drive.truth.wrong].any()
    assert (~used[~drive.truth.wrong]).sum() <= 1


def test_wrong_readings_move_the_answer_by_no_more_than_losing_them_would() -> None:
    """The same drive with three readings swapped for nonsense, and without those three: one half of an interval."""
    drive = _drive("noted", 1)
    wrong = np.array([3, 9, 15])
    speed = drive.readings.speed_mps.copy()
    speed[wrong] = [88 * MPH_MPS, 10 * MPH_MPS, 99 * MPH_MPS]
    spoilt = speedcal.calibrate(drive.track, replace(drive.readings, speed_mps=speed))
    keep = np.setdiff1d(np.arange(len(speed)), wrong)
    without = speedcal.calibrate(drive.track, some_readings(drive.readings, keep))
    assert spoilt.error_factor.value == pytest.approx(without.error_factor.value, abs=0.25 * _u(without))
    assert 0.9 < _u(spoilt) / _u(without) < 1.15


@pytest.mark.parametrize("offset_mph", [-1.5, 0.0, 1.5])
@pytest.mark.parametrize("what", ["notes", "log", "uneven log"])
def test_a_nought_noted_while_standing_says_nothing_about_the_factor(what: str, offset_mph: float) -> None:
    """An instrument shows nothing at standstill whatever its offset is; a line through that nought is 2.5 % off.

    A passenger who writes at stops too, a log, and a log of which half the rows were lost.
    """
    road = plateaus([30, 0, 55, 40, 0, 65, 25, 0, 50, 35, 60])
    time = np.linspace(20, road.length_s - 20, 30) if what == "notes" else np.arange(5.0, road.length_s - 5)
    readings = readings_of(
        road, time, offset_mph=offset_mph, step_mph=0.5, time_resolution_s=1.0 if what == "notes" else 0.001
    )
    if what == "uneven log":
        readings = some_readings(readings, np.random.default_rng(0).random(len(readings)) < 0.5)
    result = speedcal.calibrate(track_of(road, noise_mps=0.05), readings)
    standing = readings.speed_mps == 0
    assert standing.mean() > 0.2
    assert not result.readings["used"][standing].any()
    assert result.error_factor.contains(1.05)
    assert result.offset_mps.contains(offset_mph * MPH_MPS)


@pytest.mark.parametrize("seed", range(3))
@pytest.mark.parametrize("kept", [0.35, 0.6])
def test_a_log_of_which_rows_were_lost_at_random_is_still_a_log(seed: int, kept: float) -> None:
    """Within four standard uncertainties (one in 16,000), which are those of a log and not of hundreds of notes."""
    drive = simulate("logged", [72, seed])
    keep = np.random.default_rng(seed).random(len(drive.readings)) < kept
    whole = speedcal.calibrate(drive.track, drive.readings)
    result = speedcal.calibrate(drive.track, some_readings(drive.readings, keep))
    assert abs(result.error_factor.value - drive.truth.error_factor) < 4 * _u(result)
    assert 0.8 < _u(result) / _u(whole) < 3.0


@cache
def _lagging(seed: int, lag_s: float) -> tuple[float, float]:
    """Return the relative error of the factor, and how late a needle with a first-order lag is taken to be."""
    drive = simulate("logged", [70, seed], error_factor=1.05, offset_mps=0.0)
    truth = drive.truth
    share = np.exp(-(truth.time_s[1] - truth.time_s[0]) / lag_s) if lag_s else 0.0
    needle = lfilter([1 - share], [1, -share], 1.05 * truth.ground_mps)
    shown = np.round(np.interp(truth.reading_time_s, truth.time_s, needle) / KMH_MPS) * KMH_MPS
    result = speedcal.calibrate(drive.track, replace(drive.readings, speed_mps=shown))
    assert result.clock_offset_s is not None
    return result.error_factor.value / 1.05 - 1, truth.clock_offset_s - result.clock_offset_s.value


@pytest.mark.parametrize("time_constant_s", [0.5, 1.5])
def test_a_needle_that_follows_slowly_is_late_but_not_wrong(time_constant_s: float) -> None:
    """A first-order lag, mean of five logs: the lateness is in the clock offset, and 0.1 % at most in the factor.

    The mean of five is known to 0.04 %; without a lag the same drives come out within 0.05 %.
    """
    plain = np.mean([_lagging(seed, 0.0) for seed in range(5)], axis=0)
    slow = np.mean([_lagging(seed, time_constant_s) for seed in range(5)], axis=0)
    assert abs(plain[0]) < 5e-4
    assert abs(slow[0]) < 1e-3
    assert slow[1] == pytest.approx(time_constant_s, rel=0.15)


def test_what_happens_between_fixes_five_seconds_apart_does_not_bend_the_line() -> None:
    """Chords cut the feet and tops of ramps, which squeezes ground speeds together: +0.14 % with straight lines.

    Mean of twenty-four drives, known to 0.05 %.
    """
    errors = []
    for seed in range(24):
        drive = simulate("5-second sampling", [80, seed])
        result = speedcal.calibrate(drive.track, drive.readings)
        errors.append(result.error_factor.value / drive.truth.error_factor - 1)
    assert abs(np.mean(errors)) < 1e-3


@pytest.mark.parametrize("rounded", ["down", "to the nearest", "to the nearest two"])
def test_how_a_display_rounds_moves_the_offset_and_not_the_factor(rounded: str) -> None:
    """A floored figure is half a unit low at every speed; mean of eight logs, known to 0.05 % and 0.05 km/h."""
    step = 2 * KMH_MPS if "two" in rounded else KMH_MPS
    factors, offsets = [], []
    for seed in range(8):
        drive = simulate("logged", [71, seed], error_factor=1.05, offset_mps=0.0)
        pointer = 1.05 * drive.truth.reading_ground_mps / step
        shown = (np.floor(pointer) if rounded == "down" else np.round(pointer)) * step
        readings = replace(drive.readings, speed_mps=shown, speed_resolution_mps=step)
        result = speedcal.calibrate(drive.track, readings)
        factors.append(result.error_factor.value)
        offsets.append(result.offset_mps.value / KMH_MPS)
    assert np.mean(factors) == pytest.approx(1.05, rel=1.2e-3)
    assert np.mean(offsets) == pytest.approx(-0.5 if rounded == "down" else 0.0, abs=0.15)


def test_a_display_that_shows_nothing_when_slow_does_not_bend_the_line() -> None:
    """Zero below 5 m/s, as many speed sensors do; mean of five logs."""
    factors = []
    for seed in range(5):
        drive = simulate("logged", [71, seed], error_factor=1.05, offset_mps=0.0)
        pointer = 1.05 * drive.truth.reading_ground_mps
        shown = np.where(pointer < 5.0, 0.0, np.round(pointer / KMH_MPS) * KMH_MPS)
        factors.append(speedcal.calibrate(drive.track, replace(drive.readings, speed_mps=shown)).error_factor.value)
    assert np.mean(factors) == pytest.approx(1.05, rel=1e-3)


# ---- independent libraries on the same pairs


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("seed", range(4))
def test_odrpack_finds_the_same_line_through_the_same_pairs(kind: str, seed: int) -> None:
    """Errors in both variables, weights from the simulation's noise: slopes within half a standard uncertainty.

    Of logs within one, since they are read as rounded. It knows neither the prior nor the errors of time, which is what
    is left of the difference on noted drives; in the
    middle of the speeds the two lines agree to a quarter of their uncertainty.
    """
    drive, result = _drive(kind, seed), _result(kind, seed)
    ground, shown, _ = _pairs(result)
    u_shown = np.hypot(drive.readings.speed_resolution_mps / np.sqrt(12), drive.kind.sd_mps)
    fit = odrpack.odr_fit(
        lambda x, beta: beta[0] + beta[1] * x, ground, shown, np.array([0.0, 1.0]),
        weight_x=DOPPLER_SD_MPS**-2, weight_y=u_shown**-2,
    )  # fmt: skip
    assert fit.beta[1] == pytest.approx(result.error_factor.value, abs=(1.0 if kind == "logged" else 0.5) * _u(result))
    middle = float(ground.mean())
    tolerance = (1.0 if kind == "logged" else 0.4) * float(result.u_indicated(middle))
    assert fit.beta[0] + fit.beta[1] * middle == pytest.approx(float(result.indicated(middle)), abs=tolerance)


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("seed", range(4))
def test_statsmodels_robust_regression_finds_the_same_line(kind: str, seed: int) -> None:
    """Huber's weights, no errors in the ground speed: 0.08 m/s flattens by (0.08 / 5)² at most, 0.03 %."""
    import statsmodels.api as sm

    result = _result(kind, seed)
    ground, shown, _ = _pairs(result)
    fit = sm.RLM(shown, sm.add_constant(ground)).fit()
    assert fit.params[1] == pytest.approx(
        result.error_factor.value, abs=(1.0 if kind == "logged" else 0.5) * _u(result) + 3e-4
    )


@pytest.mark.parametrize("seed", range(4))
def test_statsmodels_cluster_robust_uncertainty_is_that_of_the_interval(seed: int) -> None:
    """Logs: least squares with standard errors clustered by minute.

    Each is an estimate from twenty minutes, so they differ by a quarter; neglecting the clusters makes a factor of two.
    """
    import statsmodels.api as sm

    result = _result("logged", seed)
    ground, shown, time = _pairs(result)
    groups = ((time - time[0]) // 60).astype(int)
    fit = sm.OLS(shown, sm.add_constant(ground)).fit(cov_type="cluster", cov_kwds={"groups": groups})
    assert 0.6 < _u(result) / fit.bse[1] < 1.7


def test_noise_of_positions_flattens_a_plain_regression_but_not_this_one() -> None:
    """Positions with independent 2 m from fix to fix, mean of eight drives, which is known to 0.05 %.

    Five-fix speeds have u = 2 / sqrt(10) m/s, variance 0.4; that of the driven speeds is about 35, so a plain line is
    flat by one per cent.
    """
    road = plateaus([30, 55, 40, 65, 25, 50, 35, 60, 45, 30])
    clean = track_of(road, recorded=False)
    log = readings_of(road, np.arange(5.0, road.length_s - 5), step_mph=0.1, time_resolution_s=0.001)
    ours, plain = [], []
    for seed in range(8):
        rng = np.random.default_rng(seed)
        north, east = rng.normal(0, 2.0, (2, len(clean)))
        track = replace(
            clean, latitude_deg=clean.latitude_deg + north / 111_060, longitude_deg=clean.longitude_deg + east / 84_140
        )
        result = speedcal.calibrate(track, log)
        ours.append(result.error_factor.value / 1.05 - 1)
        ground = result.ground
        moving = ground["speed_mps"].to_numpy() > 6
        shown = np.interp(ground["time_s"], log.time_s, log.speed_mps)
        plain.append(np.polyfit(ground["speed_mps"].to_numpy()[moving], shown[moving], 1)[0] / 1.05 - 1)
    assert np.mean(plain) < -0.005
    assert abs(np.mean(ours)) < 0.0025


# ---- invariances


def _same(one: Calibration, other: Calibration, *, share: float = 1e-6) -> None:
    """Both lines and their intervals agree to a share of the interval."""
    for name in ("error_factor", "offset_mps"):
        a, b = getattr(one, name), getattr(other, name)
        tolerance = share * a.half_width
        assert (b.value, b.low, b.high) == pytest.approx((a.value, a.low, a.high), abs=tolerance)


def _later(readings: Readings, seconds: float) -> Readings:
    return replace(readings, time_s=readings.time_s + seconds)


@pytest.mark.parametrize("kind", KINDS)
@FEW
@given(seconds=st.integers(-500_000_000, 500_000_000))
def test_another_date_of_both_files_changes_nothing(kind: str, seconds: int) -> None:
    """Whole seconds, so that no rounding of stamps comes in; doubles at 2e9 s hold 2e-7 s."""
    drive = _drive(kind, 0)
    track = replace(drive.track, time_s=drive.track.time_s + seconds)
    result = speedcal.calibrate(track, _later(drive.readings, seconds))
    _same(_result(kind, 0), result, share=0.02)


@pytest.mark.parametrize("kind", KINDS)
@FEW
@given(seconds=st.floats(-20, 20))
def test_another_clock_error_changes_the_clock_offset_and_nothing_else(kind: str, seconds: float) -> None:
    """Given as elapsed times, so that no clock offset is more plausible than another."""
    drive = _drive(kind, 0)
    base = replace(drive.readings, time_s=drive.readings.time_s - START_S, clock="elapsed")
    one, other = (speedcal.calibrate(drive.track, readings) for readings in (base, _later(base, seconds)))
    _same(one, other, share=0.05)
    assert one.clock_offset_s is not None
    assert other.clock_offset_s is not None
    moved = one.clock_offset_s.value - other.clock_offset_s.value
    assert moved == pytest.approx(seconds, abs=0.05 * one.clock_offset_s.half_width + 1e-3)


@pytest.mark.parametrize("kind", KINDS)
def test_the_unit_for_people_changes_nothing_but_what_is_shown(kind: str) -> None:
    drive = _drive(kind, 0)
    mph, kmh = (speedcal.calibrate(drive.track, drive.readings, unit=unit) for unit in ("mph", "km/h"))
    _same(mph, kmh, share=1e-12)
    one, other = mph.to_dict(), kmh.to_dict()
    assert (one["speed_unit"], other["speed_unit"]) == ("mph", "km/h")
    assert one["error_factor"] == other["error_factor"]
    assert other["offset"]["value"] * KMH_MPS == pytest.approx(one["offset"]["value"] * MPH_MPS, abs=1e-4)


@pytest.mark.parametrize("kind", KINDS)
def test_readings_labelled_in_another_unit_give_the_same_factor(kind: str) -> None:
    """The speeds are the same metres per second; only the label differs."""
    drive = _drive(kind, 0)
    other = speedcal.calibrate(drive.track, replace(drive.readings, speed_unit="m/s"))
    _same(_result(kind, 0), other, share=1e-12)
    assert other.unit == "km/h"


@pytest.mark.parametrize(("kind", "share"), [("logged", 0.1), ("noted", 0.35)])
@FEW
@given(scale=st.floats(0.85, 1.15))
def test_scaling_the_readings_scales_factor_and_offset(kind: str, share: float, scale: float) -> None:
    """Apart from the priors of offset and reading error, which are in absolute units: a share of the interval."""
    drive, one = _drive(kind, 0), _result(kind, 0)
    scaled = replace(
        drive.readings,
        speed_mps=drive.readings.speed_mps * scale,
        speed_resolution_mps=drive.readings.speed_resolution_mps * scale,
    )
    other = speedcal.calibrate(drive.track, scaled)
    assert other.error_factor.value / scale == pytest.approx(
        one.error_factor.value, abs=share * one.error_factor.half_width
    )
    assert other.offset_mps.value / scale == pytest.approx(one.offset_mps.value, abs=share * one.offset_mps.half_width)
    middle = np.median(one.readings["ground_mps"][one.readings["used"]])
    assert float(other.indicated(middle)) / scale == pytest.approx(
        float(one.indicated(middle)), abs=share * 2 * float(one.u_indicated(middle))
    )


@pytest.mark.parametrize("kind", KINDS)
@FEW
@given(seed=st.integers(0, 10_000))
def test_the_order_of_the_rows_does_not_matter(kind: str, seed: int) -> None:
    """Every row keeps its own verdict, and the file's order is kept in the table."""
    drive, one = _drive(kind, 0), _result(kind, 0)
    order = np.random.default_rng(seed).permutation(len(drive.readings))
    other = speedcal.calibrate(drive.track, some_readings(drive.readings, order))
    _same(one, other)
    assert other.readings["line"].tolist() == drive.readings.line[order].tolist()
    assert other.readings["used"].tolist() == one.readings["used"].to_numpy()[order].tolist()


@FEW
@given(add_mph=st.floats(-0.8, 0.8))
def test_adding_a_constant_to_a_log_moves_only_the_offset(add_mph: float) -> None:
    """The prior pulls by (u_offset / 0.67 m/s)², here below one in a hundred; below walking pace nothing is used."""
    drive, one = _drive("logged", 1), _result("logged", 1)
    speed = np.where(drive.readings.speed_mps > 0, drive.readings.speed_mps + add_mph * MPH_MPS, 0.0)
    other = speedcal.calibrate(drive.track, replace(drive.readings, speed_mps=speed))
    tolerance = 0.15
    assert other.error_factor.value == pytest.approx(
        one.error_factor.value, abs=tolerance * one.error_factor.half_width
    )
    moved = (other.offset_mps.value - one.offset_mps.value) / MPH_MPS
    assert moved == pytest.approx(add_mph, abs=tolerance * one.offset_mps.half_width / MPH_MPS)


@pytest.mark.parametrize("add_mph", [-0.5, 0.5])
def test_adding_a_constant_to_notes_moves_the_offset_less_by_what_the_prior_holds_back(add_mph: float) -> None:
    """In the middle of the speeds all of it arrives; of offset and factor part of it is traded, as the prior says."""
    drive, one = _drive("noted", 0), _result("noted", 0)
    speed = drive.readings.speed_mps + add_mph * MPH_MPS
    other = speedcal.calibrate(drive.track, replace(drive.readings, speed_mps=speed))
    middle = float(np.median(one.readings["ground_mps"][one.readings["used"]]))
    moved = (float(other.indicated(middle)) - float(one.indicated(middle))) / MPH_MPS
    assert moved == pytest.approx(add_mph, abs=0.05)
    assert 0.1 < (other.offset_mps.value - one.offset_mps.value) / MPH_MPS / add_mph < 1.05


@pytest.mark.parametrize("kind", KINDS)
def test_rows_without_a_speed_might_as_well_not_be_there(kind: str) -> None:
    drive = _drive(kind, 2)
    empty = np.zeros(len(drive.readings), bool)
    empty[5::7] = True
    speed = np.where(empty, np.nan, drive.readings.speed_mps)
    with_rows = speedcal.calibrate(drive.track, replace(drive.readings, speed_mps=speed))
    without = speedcal.calibrate(drive.track, some_readings(drive.readings, ~empty))
    _same(with_rows, without)
    assert set(with_rows.readings["reason"][empty]) == {NO_SPEED}


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("times", [2, 5])
def test_the_same_readings_twice_are_not_more_readings(kind: str, times: int) -> None:
    """A table pasted twice: independent readings would narrow the interval by 0.71 (twice) and 0.45 (five times)."""
    drive, one = _drive(kind, 0), _result(kind, 0)
    often = np.repeat(np.arange(len(drive.readings)), times)
    other = speedcal.calibrate(drive.track, some_readings(drive.readings, often))
    assert other.error_factor.value == pytest.approx(one.error_factor.value, abs=0.25 * one.error_factor.half_width)
    assert other.error_factor.half_width > 0.85 * one.error_factor.half_width


@pytest.mark.parametrize("kind", KINDS)
def test_the_same_input_gives_the_same_bytes(kind: str) -> None:
    drive, one = _drive(kind, 0), _result(kind, 0)
    other = speedcal.calibrate(drive.track, drive.readings)
    assert repr(one.to_dict()) == repr(other.to_dict())
    assert str(one) == str(other)
    assert one.readings.equals(other.readings)
    assert one.covariance.tobytes() == other.covariance.tobytes()


@pytest.mark.parametrize("kind", KINDS)
def test_the_input_is_left_as_it_was(kind: str) -> None:
    """Arrays of track and readings are the caller's."""
    drive = simulate(kind, [40, 5])
    before = [a.copy() for a in (drive.track.speed_mps, drive.track.time_s, drive.readings.speed_mps)]
    speedcal.calibrate(drive.track, drive.readings)
    for kept, now in zip(before, (drive.track.speed_mps, drive.track.time_s, drive.readings.speed_mps), strict=True):
        np.testing.assert_array_equal(kept, now)
