"""Axle ratio from counted turns and from engine speed."""

from __future__ import annotations

import math
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest
from support.roads import START_S, Road, plateaus, readings_of, track_of

from speedcal.errors import ReadingsFormatError, VehicleError
from speedcal.simulate import simulate
from speedcal.units import KMH_MPS, MPH_MPS
from speedcal.vehicle import AxleRatio, roll_out
from speedcal.vehicle.tires.rolling_circumference import RolledTire
from speedcal.vehicle.train.axle_ratio import (
    U_SHAFT_TURNS,
    U_WHEEL_TURNS,
    AxleEstimate,
    TurnCount,
    axle_from_counts,
    axle_from_engine_speed,
    known_pairs,
    parse_turns,
    plausible_pairs,
)
from speedcal.vehicle.train.engine_speed import axle_from_drive, read_engine_speed

RING_AND_PINION = {
    "35/10": 3.500000, "37/12": 3.083333, "39/12": 3.250000, "40/13": 3.076923, "41/13": 3.153846, "43/13": 3.307692,
    "41/12": 3.416667, "38/11": 3.454545, "39/11": 3.545455, "43/12": 3.583333, "47/13": 3.615385, "40/11": 3.636364,
    "41/11": 3.727273, "39/10": 3.900000, "43/11": 3.909091, "45/11": 4.090909, "41/10": 4.100000, "37/9": 4.111111,
    "46/11": 4.181818, "41/9": 4.555556, "37/8": 4.625000, "39/8": 4.875000, "41/15": 2.733333,
}  # fmt: skip


@pytest.mark.published("ring-and-pinion arithmetic, exact rationals")
@pytest.mark.parametrize(("teeth", "ratio"), RING_AND_PINION.items())
def test_ring_and_pinion_ratios_are_exact(teeth: str, ratio: float) -> None:
    axle = AxleRatio.parse(teeth)
    ring, pinion = map(int, teeth.split("/"))
    assert axle.ratio == Fraction(ring, pinion)
    assert float(axle) == pytest.approx(ratio, abs=5e-7)
    assert axle.u_relative == 0
    assert (ring, pinion) in known_pairs()


def test_a_printed_ratio_carries_its_rounding() -> None:
    axle = AxleRatio.parse(3.73)
    assert axle.ratio == Fraction(373, 100)
    assert not axle.has_teeth
    assert axle.u_relative == pytest.approx(0.005 / math.sqrt(3) / 3.73)
    assert abs(float(AxleRatio.parse("41/11")) / 3.73 - 1) < 2 * axle.u_relative


@pytest.mark.parametrize("value", ["41", 0.9, "11/41", "axle", "41/0", True, "4/1/2", 20.0])
def test_what_is_no_axle_ratio_is_refused(value: object) -> None:
    with pytest.raises(ValueError, match="41/11"):
        AxleRatio.parse(value)


@pytest.mark.published("common practice, no source")
def test_just_short_of_four_turns_is_373() -> None:
    turns, u = parse_turns("just short of 4")
    estimate = axle_from_counts([TurnCount(1, 1, turns, u)])
    assert (estimate.pairs[0].ring, estimate.pairs[0].pinion) == (41, 11)
    assert estimate.ratio.contains(41 / 11)


@pytest.mark.published("US Army TM 10-3930-623-12 paragraph 4-47: one side gear stopped, the other goes twice as fast")
def test_one_wheel_held_moves_the_shaft_half_as_far() -> None:
    # 20 turns of one wheel, 37.2727 of the shaft: 2 x 37.2727 / 20 = 3.72727; one turn alone gives 1.863636
    estimate = axle_from_counts([TurnCount(20, 0, 37.2727, 0.03)])
    assert estimate.ratio.value == pytest.approx(3.72727, abs=1e-9)
    assert [(p.ring, p.pinion) for p in estimate.pairs] == [(41, 11)]
    assert TurnCount(1, 0, 41 / 11 / 2, 0.03).ratio == pytest.approx(41 / 11)


def test_the_shaft_turns_with_the_mean_of_the_wheels() -> None:
    assert TurnCount(3, 1, 7.4, 0.03).ratio == pytest.approx(3.7)


@pytest.mark.parametrize(
    ("text", "turns", "u"),
    [
        ("37.25", 37.25, 0.03),
        ("37,25", 37.25, 0.03),
        ("37 1/4", 37.25, 0.25 / math.sqrt(12)),
        ("3/4", 0.75, 0.25 / math.sqrt(12)),
        ("4", 4.0, 0.5 / math.sqrt(12)),
        ("Just short of 4", 3.75, 0.1),
        ("a little over 3 1/2", 3.75, 0.1),
        ("about 3.7", 3.7, 0.2),
    ],
)
def test_turns_are_read_as_people_write_them(text: str, turns: float, u: float) -> None:
    assert parse_turns(text) == pytest.approx((turns, u))


@pytest.mark.parametrize("text", ["", "four", "1/0", "-3", "0", "3 3", "just short of"])
def test_what_is_no_number_of_turns_is_refused(text: str) -> None:
    with pytest.raises(VehicleError, match="just short of 4"):
        parse_turns(text)


def test_the_interval_of_a_count_holds_the_truth_in_95_of_100_counts() -> None:
    rng = np.random.default_rng(11)
    n, held = 4000, 0
    for _ in range(n):
        wheels = rng.normal(5, U_WHEEL_TURNS, 2)
        shaft = 41 / 11 * wheels.mean() + rng.normal(0, U_SHAFT_TURNS)
        held += axle_from_counts([TurnCount(5, 5, shaft, U_SHAFT_TURNS)]).ratio.contains(41 / 11)
    assert 0.94 < held / n < 0.96


def test_repeated_counts_narrow_the_interval() -> None:
    one = TurnCount(10, 10, 37.27, 0.03)
    single, four = axle_from_counts([one]), axle_from_counts([one] * 4)
    assert four.ratio.half_width == pytest.approx(single.ratio.half_width / 2)


def test_counts_that_contradict_each_other_are_said_to() -> None:
    estimate = axle_from_counts([TurnCount(10, 10, 37.3, 0.03), TurnCount(10, 10, 36.3, 0.03)])
    assert estimate.findings[0].code == "counts_disagree"
    assert estimate.ratio.half_width > 0.05


def test_a_count_with_the_wrong_wheels_is_noticed() -> None:
    estimate = axle_from_counts([TurnCount(10, 10, 18.6, 0.03)])
    assert "one wheel held" in estimate.findings[0].text


def test_after_the_turns_asked_for_the_two_pairs_no_longer_look_alike() -> None:
    first = axle_from_counts([TurnCount(1, 1, 3.7, 0.03)])
    (a, b), turns = first.pairs[:2], first.turns_to_separate
    assert turns is not None
    for truth, other in ((a, b), (b, a)):
        n = float(turns)
        again = axle_from_counts([TurnCount(n, n, n * float(truth.ratio), U_SHAFT_TURNS)])
        assert not again.ratio.contains(float(other.ratio))


def test_pairs_are_ranked_by_a_plain_normal_likelihood() -> None:
    pairs = plausible_pairs(4.1, 0.05)
    weight = {p: math.exp(-0.5 * ((p[0] / p[1] - 4.1) / 0.05) ** 2) for p in known_pairs()}
    for pair in pairs:
        assert pair.probability == pytest.approx(weight[pair.ring, pair.pinion] / sum(weight.values()))
    assert {(p.ring, p.pinion) for p in pairs} == {(41, 10), (45, 11), (37, 9), (46, 11)}


@pytest.mark.published("km/h = rpm x RC x 60 / (1000 i): 3000 rpm, 2.0 m, 3.6 give 100 km/h, arithmetic")
def test_engine_speed_and_road_speed_give_the_axle_ratio() -> None:
    estimate = axle_from_engine_speed(3000, 100 * KMH_MPS, 1.0, roll_out(20.0, 10))
    assert estimate.ratio.value == pytest.approx(3.6, rel=1e-12)


@pytest.mark.parametrize("u_rpm", [10.0, 60.0])
def test_the_interval_of_one_engine_speed_adds_its_parts_in_squares(u_rpm: float) -> None:
    """1.96 times tachometer, tire and the ground speed's 0.15 m/s, each as a share of itself."""
    rolled = roll_out(20.0, 10)
    found = axle_from_engine_speed(3000, 30.0, 1.0, rolled, u_rpm=u_rpm).ratio
    share = math.sqrt((u_rpm / 3000) ** 2 + (0.15 / 30) ** 2 + rolled.u_relative**2)
    assert found.half_width / found.value == pytest.approx(1.96 * share, rel=1e-9)


def test_turns_told_in_words_are_said_to_be() -> None:
    def codes(text: str) -> set[str]:
        turns, u = parse_turns(text)
        return {finding.code for finding in axle_from_counts([TurnCount(1, 1, turns, u)]).findings}

    for text in ("just short of 4", "about 3.7"):
        assert "words_for_turns" in codes(text)
    assert "words_for_turns" not in codes("3.73")


@pytest.mark.published("63 360 / (60 pi) = 336.135240; the trade's 336 overstates by 0.0402 %, arithmetic")
def test_the_constant_of_the_trade_is_met_exactly_and_not_as_336() -> None:
    diameter_in, rpm, ratio = 30.0, 2500.0, 3.5
    mph = rpm * diameter_in / (336.13524 * ratio)
    rolled = roll_out(math.pi * diameter_in * 0.0254 * 10, 10)
    found = axle_from_engine_speed(rpm, mph * MPH_MPS, 1.0, rolled).ratio.value
    assert found == pytest.approx(3.5, rel=1e-8)
    assert found != pytest.approx(rpm * diameter_in / (336 * mph), rel=1e-4)


@pytest.mark.parametrize("seed", range(5))
def test_a_drive_with_logged_engine_speed_gives_the_axle_even_when_gears_were_changed(seed: int) -> None:
    drive = simulate("logged", seed, error_factor=1.0, offset_mps=0.0)
    true = drive.truth.reading_ground_mps
    gear = np.where(true > 13, 0.73, np.where(true > 8, 1.0, 1.5))
    rng = np.random.default_rng(seed)
    rpm = np.maximum(np.round(true * 60 * gear * (41 / 11) / 2.4 + rng.normal(0, 5, len(true))), 800)
    engine = replace(drive.readings, speed_mps=rpm, speed_resolution_mps=1.0)
    estimate = axle_from_drive(drive.track, engine, gear_ratio=0.73, rolled=roll_out(24.0, 10))
    assert estimate.ratio.contains(41 / 11)
    assert estimate.ratio.half_width < 0.015
    assert [(p.ring, p.pinion) for p in estimate.pairs] == [(41, 11)]


def test_two_speeds_held_in_gear_are_too_few() -> None:
    """Of two ratios that differ nobody knows the wrong one; three are enough."""
    rolled = roll_out(24.0, 10)
    with pytest.raises(VehicleError) as refused:
        _axle_of_road(plateaus([35, 60], hold_s=120), rolled)
    assert refused.value.code == "few_runs_in_gear"
    assert _axle_of_road(plateaus([35, 60, 45, 55], hold_s=60), rolled).ratio.contains(41 / 11)


def _axle_of_road(road: Road, rolled: RolledTire) -> AxleEstimate:
    noted = readings_of(road, np.arange(20, road.length_s - 20, 2.0), step_mph=0.1, factor=1.0)
    rpm = np.round(road.speed(noted.time_s - START_S) * 60 * 0.73 * (41 / 11) / 2.4)
    engine = replace(noted, speed_mps=rpm, speed_unit="m/s", speed_resolution_mps=1.0)
    return axle_from_drive(track_of(road, noise_mps=0.05), engine, gear_ratio=0.73, rolled=rolled)


def test_engine_speed_in_another_unit_is_refused() -> None:
    drive = simulate("logged", 1, error_factor=1.0, offset_mps=0.0)
    with pytest.raises(VehicleError, match="turns per minute"):
        axle_from_drive(drive.track, drive.readings, gear_ratio=0.73, rolled=roll_out(24.0, 10))


def test_the_engine_column_is_found_by_its_name_or_asked_for(tmp_path: Path) -> None:
    log = tmp_path / "log.csv"
    log.write_text("time;Engine RPM;speed km/h\n10:00:01;2150,5;60\n10:00:02;2160,0;60\n10:00:03;;61\n")
    engine = read_engine_speed(log)
    assert engine.speed_mps == pytest.approx([2150.5, 2160.0])
    log.write_text("time,n,speed km/h\n10:00:01,2150,60\n10:00:02,2160,60\n")
    with pytest.raises(
        ReadingsFormatError, match=r"log.csv:1: it is not clear which column holds the engine speed.*--column"
    ):
        read_engine_speed(log)
    assert read_engine_speed(log, column="N").speed_mps == pytest.approx([2150, 2160])
