"""How a dial was looked at and rounded: a shift, and an uncertainty that no number of readings averages away."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from benchmark.outside_score import answer, mark, outside_drive

import speedcal
from speedcal.calibration.readings.habits import PARALLAX, ROUNDING_HABIT, reading_habit, u_of_heaps, u_of_heaps_above
from speedcal.calibration.tuning.notes import HEAPS_ABOVE
from speedcal.errors import SpeedcalError
from speedcal.logs.drive.readings import Rounding
from speedcal.simulate import Plateau, simulate
from speedcal.units import MPH_MPS


def test_the_mark_below_is_half_a_step_low_on_average() -> None:
    """Mean of an even distribution over one step."""
    assert reading_habit("square", "down", step_mps=2.0).shift_mps == pytest.approx(1.0)
    assert reading_habit("square", "nearest", step_mps=2.0).shift_mps == 0.0


def test_parallax_is_the_gap_times_the_tangent_of_the_angle() -> None:
    """2.5 mm at 25 degrees is 1.166 mm, on a scale of 1.2 mm a mph 0.97 mph; a logger has none."""
    assert reading_habit("side", "nearest", step_mps=1.0).u_parallax_mps == pytest.approx(0.9715 * MPH_MPS, rel=1e-3)
    assert reading_habit("logged", "nearest", step_mps=1.0).u_parallax_mps == 0.0


def test_parallax_is_that_of_one_line_of_sight() -> None:
    """A fixed direction gives sin(angle + phase): two sines and cosines, so the covariance has rank two."""
    speeds = np.linspace(5, 35, 20)
    parallax = reading_habit("side", "nearest", step_mps=1.0).covariances(speeds)[PARALLAX]
    values = np.linalg.eigvalsh(parallax)
    assert values[-3] < 1e-9 * values[-1] < values[-2]


@pytest.mark.parametrize(("key", "value"), [("read_from", "above"), ("rounding", "up")])
def test_another_word_is_refused(key: str, value: str) -> None:
    drive = simulate("noted", [40, 0])
    with pytest.raises(ValueError, match=key):
        speedcal.calibrate(drive.track, drive.readings, **{key: value})  # type: ignore[arg-type]


def test_marks_below_are_put_right_when_told() -> None:
    """Whole mph cut to fives lose 0 to 4, 2 on average: told, 2.5 are added; untold, the dial is 2 low.

    The mean of nine drives of some 22 notes, each known to 1.4 mph after cutting, is known to 0.1 mph.
    """
    told_less_whole, untold_less_whole = [], []
    for seed in range(9):
        drive = simulate("noted", [41, seed])
        low = np.floor(drive.readings.speed_mps / (5 * MPH_MPS) + 1e-6) * 5 * MPH_MPS
        cut = replace(drive.readings, speed_mps=low, speed_resolution_mps=5 * MPH_MPS)
        whole, told, untold = (
            speedcal.calibrate(drive.track, readings, rounding=rounding)  # type: ignore[arg-type]
            for readings, rounding in ((drive.readings, "nearest"), (cut, "down"), (cut, "nearest"))
        )
        middle = float(np.mean(whole.speed_range_mps))
        told_less_whole.append(float(told.indicated(middle) - whole.indicated(middle)) / MPH_MPS)
        untold_less_whole.append(float(untold.indicated(middle) - whole.indicated(middle)) / MPH_MPS)
    assert np.mean(told_less_whole) == pytest.approx(0.5, abs=0.25)
    assert np.mean(untold_less_whole) == pytest.approx(-2.0, abs=0.25)


def test_the_angle_of_view_has_its_line_in_the_budget_and_is_not_averaged_away() -> None:
    """From the side: 0.97 mph in the combined uncertainty however many notes there are; shares sum to one."""
    drive = simulate("noted", [40, 2])
    result = speedcal.calibrate(drive.track, drive.readings, read_from="side")
    line = {entry.component: entry for entry in result.budget}
    assert line[PARALLAX].u_indicated_mps == pytest.approx(0.9715 * MPH_MPS, rel=0.02)
    assert line[ROUNDING_HABIT].evaluation == "B"
    assert float(result.u_indicated(result.reference_speed_mps)) > 0.9715 * MPH_MPS
    assert sum(entry.share for entry in result.budget) == pytest.approx(1.0, abs=1e-6)


def test_more_readings_are_not_asked_for_where_the_angle_of_view_makes_the_interval() -> None:
    """Twice as many of them leave it as wide, as the test above shows; seen square on there is nothing to say."""
    drive = simulate("noted", [40, 2])
    aside, square = (
        speedcal.calibrate(drive.track, drive.readings, read_from=seen)  # type: ignore[arg-type]
        for seen in ("side", "square")
    )
    assert aside.trust.codes == ["wide_by_view"]
    assert "square on" in str(aside.trust)
    assert "more steady runs" not in str(aside)
    assert square.trust.codes == []


@pytest.mark.parametrize(
    ("factor", "beside_mph", "told", "exact"),
    [(1.07, 0.0, None, True), (1.07, 2.2, None, False), (1.0, 0.0, None, False), (1.0, 0.0, "exact", True)],
)
def test_notes_of_a_needle_on_its_marks_are_not_taken_for_rounded_ones(
    factor: float, beside_mph: float, told: Rounding | None, exact: bool
) -> None:
    """Held on marks of 5 mph, notes in fives are good to half a mph; held between them, to 5/sqrt(12).

    Of a dial that is right only the driver knows whether he went by it or by the receiver: noted in fives at a true 40
    it may as well show 42.
    """
    marks = [25.0, 60.0, 35.0, 50.0, 30.0, 65.0, 40.0, 55.0, 45.0]
    off = [beside_mph * (-1) ** (k // 2) for k in range(len(marks))]
    plan = [Plateau((mark + away) / factor * MPH_MPS, 60.0, 2) for mark, away in zip(marks, off, strict=True)]
    drive = simulate("noted", [43, 2], error_factor=factor, offset_mps=0.0, plan=plan)
    fives = 5 * np.round(factor * drive.truth.reading_ground_mps / (5 * MPH_MPS)) * MPH_MPS
    noted = replace(drive.readings, speed_mps=fives, speed_resolution_mps=5 * MPH_MPS)
    result = speedcal.calibrate(drive.track, noted, rounding=told)
    half_mph = float(result.half_width(45 * MPH_MPS)) / MPH_MPS
    assert abs(float(result.indicated(45 * MPH_MPS)) / MPH_MPS - 45 * factor) < half_mph
    assert (half_mph < 0.7) == exact


@pytest.mark.parametrize(("held_mph", "offset_mph"), [(0.0, 1.4), (2.0, 1.4), (3.0, -1.4)])
def test_a_dial_noted_in_fives_beside_speeds_held_five_apart_by_gps_is_not_taken_for_exact(
    held_mph: float, offset_mph: float
) -> None:
    """Held at 25, 30, ... or as far beside, each reading is 1.4 to 1.6 mph off, and all lie on one line."""
    fives = (25.0, 60.0, 35.0, 50.0, 30.0, 65.0, 40.0, 55.0, 45.0)
    plan = [Plateau((speed + held_mph) * MPH_MPS, 60.0, 3) for speed in fives]
    drive = simulate("noted", [45, 0], error_factor=1.0, offset_mps=offset_mph * MPH_MPS, plan=plan)
    noted = 5 * np.round(drive.readings.speed_mps / (5 * MPH_MPS)) * MPH_MPS
    off = noted - drive.truth.reading_ground_mps - offset_mph * MPH_MPS
    assert np.median(np.abs(off)) == pytest.approx(1.5 * MPH_MPS, abs=0.4 * MPH_MPS)
    result = speedcal.calibrate(drive.track, replace(drive.readings, speed_mps=noted, speed_resolution_mps=5 * MPH_MPS))
    plan_mps = np.array([30.0, 45.0, 60.0]) * MPH_MPS
    away_mph = np.abs(result.indicated(plan_mps) - plan_mps - offset_mph * MPH_MPS) / MPH_MPS
    assert (away_mph < result.half_width(plan_mps) / MPH_MPS).all()
    assert "nearest_mark_taken" in [finding.code for finding in result.findings]


def test_no_needle_is_thought_to_hang_so_that_fives_lie_on_its_marks() -> None:
    """The course of a needle that hangs by 2.4 mph is no round speed any more; the drive was held at fives."""
    assert not mark("fives by GPS", (297, 18)).wrong


@pytest.mark.parametrize("seed", range(3))
def test_notes_of_a_needle_held_on_tens_are_those_of_its_marks(seed: int) -> None:
    """Hardly anybody rounds to tens: two in three such drives were refused, their readings good to 3 mph.

    Held 1.2 mph beside the marks, and noted as these, they are not taken for exact; nor are they where the true speeds
    are tens, which the driver may have held by GPS, and the dial a little off.
    """
    marks, middle = [30.0, 60.0, 40.0, 50.0, 30.0, 60.0], 45 * MPH_MPS
    for factor, beside_mph in ((1.07, 0.0), (1.07, 1.2), (1.0, 0.0)):
        plan = [
            Plateau((mark + beside_mph * (-1) ** (k // 2)) / factor * MPH_MPS, 60.0, 2) for k, mark in enumerate(marks)
        ]
        drive = simulate("noted", [43, seed], error_factor=factor, offset_mps=0.0, plan=plan)
        tens = 10 * np.round(factor * drive.truth.reading_ground_mps / (10 * MPH_MPS)) * MPH_MPS
        noted = replace(drive.readings, speed_mps=tens, speed_resolution_mps=10 * MPH_MPS)
        result = speedcal.calibrate(drive.track, noted)
        assert abs(float(result.indicated(middle)) - factor * middle) < float(result.half_width(middle))
        assert (result.trust.word == "TRUSTED") == (factor > 1 and beside_mph == 0)
        asked = "nearest_mark_taken" in [finding.code for finding in result.findings]
        assert asked or factor > 1
        assert ("wide_by_steps" in result.trust.codes) == (result.trust.word == "WEAK")
        assert not asked or factor == 1 or beside_mph  # of those held on their marks there is nothing to ask


def test_two_tens_are_not_known_to_be_held_on_their_marks() -> None:
    """Any two speeds lie on a line, and two of three readings to fives may be tens by chance."""
    plan = [Plateau((32.0, 48.5)[k % 2] * MPH_MPS, 60.0, 2) for k in range(6)]
    drive = simulate("noted", [43, 0], error_factor=1.0, offset_mps=0.0, plan=plan)
    tens = 10 * np.round(drive.truth.reading_ground_mps / (10 * MPH_MPS)) * MPH_MPS
    assert set(tens / MPH_MPS) == {30.0, 50.0}
    with pytest.raises(SpeedcalError, match="Steps of 10 mph hardly tell one speed from the next"):
        speedcal.calibrate(drive.track, replace(drive.readings, speed_mps=tens, speed_resolution_mps=10 * MPH_MPS))


def test_notes_rounded_to_fives_now_and_then_are_as_wide_as_they_scatter() -> None:
    """Each second reading of a dial that shows 4 % more, to fives: at 40 mph 41.6, held by 4 intervals of 5.

    Those of the same readings to the mph are narrower.
    """
    held, half, exact = [], [], []
    for seed in range(5):
        drive = simulate("noted", [83, seed])
        rng = np.random.default_rng(seed)
        read = 1.04 * drive.truth.reading_ground_mps / MPH_MPS + rng.normal(0, 0.4, len(drive.readings))
        some = rng.random(len(read)) < 0.5
        at = 40 * MPH_MPS
        for shown, found in ((np.where(some, 5 * np.round(read / 5), np.round(read)), half), (np.round(read), exact)):
            result = speedcal.calibrate(drive.track, replace(drive.readings, speed_mps=shown * MPH_MPS))
            found.append(float(result.half_width(at)))
            if found is half:
                held.append(abs(float(result.indicated(at)) - 1.04 * at) < half[-1])
    assert sum(held) >= 4
    assert np.median(half) > np.median(exact)


def test_notes_of_which_most_are_rounded_to_fives_get_an_answer() -> None:
    """Seven in ten of them, on drives made apart: of nine none is refused; taken as noted to the mph, some are."""
    refused = 0
    for seed in range(9):
        drive = outside_drive("notes", (118, seed))
        some = np.random.default_rng(seed).random(len(drive.notes.value)) < 0.7
        value = np.where(some, 5 * np.round(drive.notes.value / 5), drive.notes.value)
        try:
            answer(replace(drive, notes=replace(drive.notes, value=value)))
        except SpeedcalError:
            refused += 1
    assert refused == 0


def test_fives_by_chance_are_not_taken_as_rounded() -> None:
    """Of 20 readings 4 are multiples of five by chance, and 7 not by more than two standard deviations (1.8 each)."""
    step = MPH_MPS
    speeds = np.array([30, 35, 40, 45, 50, 55, 60, *(k for k in range(20, 50) if k % 5)][:20]) * step
    assert u_of_heaps(speeds, step) is None
    speeds[7:11] = np.array([25, 65, 20, 70]) * step
    heaps = u_of_heaps(speeds, step)
    assert heaps is not None
    # 11 of 20: of those 55 %, (0.55 - 0.2) / 0.8 are rounded
    assert heaps[0] == pytest.approx(np.sqrt(0.35 / 0.8 / 0.55 / 12) * 5 * step)
    assert heaps[-1] == 0
    assert u_of_heaps(np.array([30.0, 35.0, 40.0]) * step, step) is None  # the step is five


@pytest.mark.parametrize("seed", [0, 3])
def test_the_fastest_readings_may_be_rounded_to_tens_and_the_others_not(seed: int) -> None:
    """They were refused as loose: from 50 mph on somebody looked no longer than it takes."""
    drive = simulate("noted", [613, seed])
    speed = drive.readings.speed_mps / MPH_MPS
    rounded = np.where(speed > 50, 10 * np.round(speed / 10), speed) * MPH_MPS
    result = speedcal.calibrate(drive.track, replace(drive.readings, speed_mps=rounded))
    assert result.error_factor.contains(drive.truth.error_factor)
    assert result.trust.word == "TRUSTED"


@pytest.mark.parametrize(("factor", "seed"), [(1.05, [47, 1]), (1.08, [48, 7])])
def test_fast_readings_to_fives_of_speeds_held_at_fives_by_gps_are_rounded(factor: float, seed: list[int]) -> None:
    """A dial that shows 8 % more, to the mph below 42: 48.6 is noted as 50, 54 as 55, on a line that bends."""
    plan = [Plateau(speed * MPH_MPS, 60.0, 3) for speed in (25.0, 60.0, 35.0, 50.0, 30.0, 65.0, 40.0, 55.0, 45.0)]
    drive = simulate("noted", seed, error_factor=factor, offset_mps=0.0, plan=plan)
    speed = drive.readings.speed_mps / MPH_MPS
    rounded = np.where(speed > 42, 5 * np.round(speed / 5), speed) * MPH_MPS
    result = speedcal.calibrate(drive.track, replace(drive.readings, speed_mps=rounded))
    fast_mps = np.array([45.0, 55.0, 65.0]) * MPH_MPS
    assert (np.abs(result.indicated(fast_mps) - factor * fast_mps) < result.half_width(fast_mps)).all()


def test_a_few_fast_fives_by_chance_are_not_asked_after() -> None:
    """Four fives on top of 20 happen by chance once in 625 files, times 20 speeds to begin from; tens once in 500."""
    speeds = np.array([*range(21, 45), 50, 55, 60, 65], float)
    assert u_of_heaps_above(speeds[3:-1], 1.0) == []  # 125 times for three fives, and a ten among them
    asked = u_of_heaps_above(speeds[4:], 1.0)
    assert [((u > 0).sum(), beyond) for u, beyond in asked] == [(4, pytest.approx(np.log(625 / 24) - HEAPS_ABOVE))]
    assert asked[0][0][-1] == pytest.approx(5 / np.sqrt(12))
    assert u_of_heaps_above(np.append(speeds, [67.0]), 1.0) == []
    assert u_of_heaps_above(np.append(speeds[12:], [20.0] * 12), 1.0) == []  # half of the others are fives as well
    assert u_of_heaps_above(np.array([30.0, 40.0, 50.0, 60.0]), 10.0) == []  # the step is ten
