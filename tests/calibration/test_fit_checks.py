"""Checks: hand arithmetic on measured miles, and intervals that hold the truth of simulated ones."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from support.owners import Owner

import speedcal
from speedcal.calibration.checked.fit_checks import calibrate_checks
from speedcal.logs.checks.checks import Checks
from speedcal.units import MILE_M, MPH_MPS


def _checks(
    dial_mph: list[float],
    true_mph: list[float],
    *,
    u_mph: float = 0.1,
    u_common: float = 0.0,
    odometer_mi: tuple[float, float] | None = None,
) -> Checks:
    count = len(dial_mph)
    nan = np.full(count, np.nan)
    odometer, distance = nan.copy(), nan.copy()
    if odometer_mi is not None:
        odometer[0], distance[0] = odometer_mi[0] * MILE_M, odometer_mi[1] * MILE_M
    return Checks(
        dial_mps=np.array(dial_mph) * MPH_MPS,
        true_mps=np.array(true_mph) * MPH_MPS,
        u_true_mps=np.full(count, u_mph * MPH_MPS),
        odometer_m=odometer,
        distance_m=distance,
        line=np.arange(2, count + 2),
        dial_step_mps=MPH_MPS,
        odometer_step_m=0.1 * MILE_M,
        u_common=u_common,
        speed_unit="mph",
    )


def _counting(owners: int) -> float:
    """Return the standard deviation of a share that is 0.95."""
    return float(np.sqrt(0.95 * 0.05 / owners))


def test_two_runs_of_a_measured_mile_give_an_answer_with_a_wide_interval() -> None:
    """60 shown, a mile in 63.2 and 64.0 s: true 56.96 and 56.25 mph, mean ratio 1.060; weak, and said why."""
    result = calibrate_checks(_checks([60, 60], [3600 / 63.2, 3600 / 64.0]))
    at = 56.6 * MPH_MPS
    assert float(result.indicated(at)) / MPH_MPS == pytest.approx(60.0, abs=0.1)
    assert 0.5 < float(result.half_width(at)) / MPH_MPS < 2
    assert (result.trust.word, result.speed_source) == ("WEAK", "checks")
    assert {"few_checks", "one_speed"} <= set(result.trust.codes)
    assert "measured" not in str(result.trust)


def test_one_check_is_too_few() -> None:
    with pytest.raises(speedcal.SpeedcalError) as caught:
        calibrate_checks(_checks([60], [57]))
    assert (caught.value.code, caught.value.values["count"]) == ("too_few_checks", 1)
    assert "both directions" in caught.value.remedy


def test_a_dial_that_no_gear_explains_is_refused() -> None:
    """60 shown at a true 10."""
    with pytest.raises(speedcal.SpeedcalError) as caught:
        calibrate_checks(_checks([60, 50], [10, 8.5]))
    assert caught.value.code == "impossible_checks"


def test_what_the_truths_share_is_never_averaged_away() -> None:
    """A mile that is 1 % uncertain leaves at least 1 % on 30 runs at 60 mph: 0.6 mph, k = 2."""
    rng = np.random.default_rng(1)
    true = rng.uniform(30, 65, 30)
    shown = np.round(1.05 * true)
    half = float(calibrate_checks(_checks(shown.tolist(), true.tolist(), u_common=0.01)).half_width(60 * MPH_MPS))
    plain = float(calibrate_checks(_checks(shown.tolist(), true.tolist())).half_width(60 * MPH_MPS))
    assert half / MPH_MPS > 1.96 * 0.01 * 60 * 1.04
    assert plain / MPH_MPS < 0.5


def test_a_slip_of_the_pen_is_left_out_and_named() -> None:
    """46 for 64 among eight runs."""
    true = [30.0, 35, 40, 45, 50, 55, 60, 61]
    shown = [1.05 * v for v in true]
    shown[-1] = 46.0
    result = calibrate_checks(_checks(shown, true))
    assert list(result.readings["reason"])[-1] == "wrong"
    assert [f.code for f in result.findings if f.code == "wrong_readings"]
    assert float(result.indicated(50 * MPH_MPS)) / MPH_MPS == pytest.approx(52.5, abs=0.4)


@pytest.mark.parametrize("line", [0, 11])
@pytest.mark.parametrize("slip_mph", [-10.0, 10.0])
def test_one_check_at_the_end_of_the_speeds_bends_no_dial(line: int, slip_mph: float) -> None:
    """A straight dial, 1.1 times the speed, and one true speed noted 10 mph off; its neighbors stay."""
    true = [30.0, 32, 35, 38, 40, 43, 45, 48, 50, 54, 57, 60]
    shown = [float(np.round(1.1 * v)) for v in true]
    true[line] += slip_mph
    result = calibrate_checks(_checks(shown, true))
    wrong = np.flatnonzero(result.readings["reason"] == "wrong")
    assert wrong.tolist() == [line]
    assert result.error_factor.low < 1.1 < result.error_factor.high
    assert not [f.code for f in result.findings if f.code == "bent_dial"]


def test_a_bend_that_two_checks_show_is_one() -> None:
    """Straight to 50 mph, 6 and 8 mph less above."""
    true = [30.0, 33, 36, 39, 42, 45, 48, 50, 60, 65]
    shown = [1.05 * v for v in true[:-2]] + [1.05 * 60 - 6, 1.05 * 65 - 8]
    result = calibrate_checks(_checks(shown, true))
    assert "wrong" not in set(result.readings["reason"])
    at = np.array([35.0, 62.0])
    away = np.abs(result.indicated(at * MPH_MPS) / MPH_MPS - (1.05 * at - [0.0, 6.8]))
    assert (away < result.half_width(at * MPH_MPS) / MPH_MPS).all()


def test_the_trip_meter_gives_its_own_factor() -> None:
    """10.4 counted over 10.0 miles of posts: 1.04, with two roundings of a tenth: 0.041 of 10 miles, k = 2."""
    result = calibrate_checks(_checks([60, 60, 40], [57, 57, 38], odometer_mi=(10.4, 10.0)))
    assert result.odometer_factor is not None
    assert result.odometer_factor.value == pytest.approx(1.04)
    assert result.odometer_factor.half_width == pytest.approx(2 * 0.041 / 10, rel=0.02)


def test_trips_count_by_their_miles_and_the_posts_err_alike_in_all_of_them() -> None:
    """15.5 counted over 15.0 miles; four roundings of a tenth, 0.058 of 15 miles, and 0.2 % of the posts, k = 2."""
    checks = _checks([60, 60, 40], [57, 57, 38], odometer_mi=(10.4, 10.0), u_common=0.002)
    checks.odometer_m[1], checks.distance_m[1] = 5.1 * MILE_M, 5.0 * MILE_M
    found = calibrate_checks(checks).odometer_factor
    assert found is not None
    assert found.value == pytest.approx(15.5 / 15.0, rel=1e-9)
    assert found.half_width == pytest.approx(2 * np.hypot(0.1 * np.sqrt(4 / 12) / 15, 0.002 * 15.5 / 15.0), rel=0.01)


@pytest.mark.parametrize("owners", [60, pytest.param(400, marks=pytest.mark.benchmark)])
def test_intervals_of_simulated_checks_hold_the_truth(owners: int) -> None:
    """Six runs each, at fixed seeds, at a true 50 mph: 0.95, less three sigma of counting."""
    held = 0
    for seed in range(owners):
        rng = np.random.default_rng([8, seed])
        offset, factor = rng.normal(0, 1.0), rng.uniform(0.9, 1.15)
        true = np.repeat([35.0, 50.0, 60.0], 2) + rng.normal(0, 0.5, 6)
        shown = np.round(offset + factor * true + rng.normal(0, 0.5, 6))
        known = true + rng.normal(0, 0.2, 6)
        result = calibrate_checks(_checks(shown.tolist(), known.tolist(), u_mph=0.2))
        away = abs(float(result.indicated(50 * MPH_MPS)) / MPH_MPS - offset - 50 * factor)
        held += away < float(result.half_width(50 * MPH_MPS)) / MPH_MPS
    assert held / owners >= 0.95 - 3 * _counting(owners)


@pytest.mark.parametrize("way", ["stopwatch", "phone", "posts"])
@pytest.mark.parametrize("owners", [60, pytest.param(400, marks=pytest.mark.benchmark)])
def test_files_of_simulated_owners_hold_the_truth(tmp_path: Path, way: str, owners: int) -> None:
    """Straight dials and waving ones, at three speeds each: 0.93 to 0.97 give or take two sigma of counting."""
    held = []
    for seed in range(owners):
        owner = Owner.of(23, seed)
        (tmp_path / "checks.csv").write_text(getattr(owner, way)(), encoding="utf-8")
        checks = speedcal.read_checks(tmp_path / "checks.csv")
        if checks.has_speed.sum() < 2:  # two posts are one mile
            continue
        result = calibrate_checks(checks)
        low, high = result.speed_range_mps
        at = np.array([low, (low + high) / 2, high])
        away = np.abs(result.indicated(at) / MPH_MPS - owner.shown(at / MPH_MPS))
        held.append(away < result.half_width(at) / MPH_MPS)
    assert 0.93 - 2 * _counting(owners) <= np.mean(held) <= 0.97 + 2 * _counting(owners)


def test_repeats_that_agree_tell_more_than_repeats_that_scatter() -> None:
    """Four runs at 60 within 0.1 mph of each other, or 1.5: the scatter is evidence of how large the errors are."""
    marks, spread = [60.0] * 4 + [30.0] * 4, np.array([-1.0, 1.0, -0.5, 0.5] * 2)
    true = np.array([57.0] * 4 + [28.5] * 4)
    fine, rough = (
        float(calibrate_checks(_checks(marks, (true + size * spread).tolist())).half_width(57 * MPH_MPS))
        for size in (0.1, 1.5)
    )
    assert rough > 1.5 * fine


def test_six_equal_roundings_say_no_more_than_that_the_truth_lies_within_a_step() -> None:
    """A phone says 57 six times at 60: half a step is 0.29 mph standard and stays, six free roundings leave 0.12."""
    checks = replace(_checks([60.0] * 6, [57.0] * 6, u_mph=0.05), cut_mps=np.full(6, 0.5 * MPH_MPS))
    assert float(calibrate_checks(checks).half_width(57 * MPH_MPS)) / MPH_MPS > 0.45


def test_a_budget_of_checks_combines_to_its_uncertainty() -> None:
    result = calibrate_checks(_checks([42, 52, 63, 63], [40, 50, 60, 60], u_common=0.002))
    assert sum(line.share for line in result.budget) == pytest.approx(1.0)
    u = float(np.sqrt(sum(line.u_indicated_mps**2 for line in result.budget)))
    assert u == pytest.approx(float(result.u_indicated(result.reference_speed_mps)), rel=1e-9)
    u_factor = float(np.sqrt(sum(line.u_factor**2 for line in result.budget)))
    assert u_factor == pytest.approx(result.dial.line.u_factor, rel=1e-9)
    table = result.readings
    assert (table["residual_mps"] + table["predicted_mps"]).to_numpy() == pytest.approx(table["indicated_mps"])
    assert table["predicted_mps"].to_numpy() == pytest.approx(result.indicated(table["ground_mps"].to_numpy()))
    (shared,) = (line for line in result.budget if line.component == "shared_truth")
    assert shared.u_indicated_mps == pytest.approx(0.002 * 1.05 * result.reference_speed_mps, rel=0.02)
    assert result.to_dict()["speed_source"] == "checks"
    assert str(replace(result, findings=())).startswith(result.trust.word)
