"""What a calibration says: contract, trust, budget, findings, table of readings, steady runs."""

from __future__ import annotations

import json
from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from scipy import stats
from support.calibrations import make_calibration
from support.roads import START_S, Road, answer_or_refusal, plateaus, readings_of, some_readings, track_of

import speedcal
from speedcal.calibration.dial.measured import MeasuredLine
from speedcal.calibration.judged.uncertainty import uncertainty_budget
from speedcal.calibration.result import ANOTHER_DAY, Calibration
from speedcal.calibration.speed.runs import steady_runs
from speedcal.calibration.speed.speed_of_track import ground_speed
from speedcal.errors import SpeedcalError
from speedcal.simulate import simulate
from speedcal.text.messages import label
from speedcal.text.results.calibration_summary import budget_text
from speedcal.units import KMH_MPS, MPH_MPS

ROAD = plateaus([30, 55, 40, 65, 25, 50, 35, 60])
TRACK = track_of(ROAD, noise_mps=0.05)
SPREAD = np.linspace(20, ROAD.length_s - 70, 24)
NOTES = readings_of(ROAD, SPREAD, step_mph=0.5)
KINDS = ("logged", "noted", "positions only", "held speeds", "odometer", "whole minutes", "gaps", "5 Hz")


@cache
def _result(kind: str) -> Calibration:
    drive = simulate(kind, [60, 1])
    return speedcal.calibrate(drive.track, drive.readings)


# ---- the contract

KEYS = (
    *("speed_unit", "error_factor", "offset", "clock_offset_s", "odometer_factor", "errors", "readings"),
    *("steady_runs", "speed_source", "findings"),
)


@pytest.mark.parametrize("kind", KINDS)
def test_the_dictionary_holds_what_other_programs_rely_on_to_the_letter(kind: str) -> None:
    """Names, kinds of value, and JSON without NaN."""
    result = _result(kind).to_dict()
    assert set(KEYS) <= set(result)
    assert result["speed_unit"] in ("mph", "km/h")
    assert set(result["error_factor"]) == {"value", "low", "high"}
    assert set(result["offset"]) == {"value", "low", "high", "unit"}
    assert result["offset"]["unit"] == result["speed_unit"]
    for name in ("clock_offset_s", "odometer_factor"):
        assert result[name] is None or set(result[name]) == {"value", "low", "high"}
    assert (result["clock_offset_s"] is None) == (kind == "held speeds")
    assert (result["odometer_factor"] is None) == (kind != "odometer")
    assert set(result["readings"]) == {"total", "used", "rejected"}
    assert result["readings"]["total"] == result["readings"]["used"] + result["readings"]["rejected"]
    assert isinstance(result["steady_runs"], int)
    assert result["speed_source"] == ("positions" if kind == "positions only" else "recorded")
    for finding in result["findings"]:
        assert set(finding) == {"code", "text", "values"}
        assert finding["text"].endswith(".")
    for row in result["errors"]:
        assert set(row) == {"ground", "indicated", "error", "low", "high", "percent"}
    assert json.loads(json.dumps(result, allow_nan=False)) == result


@pytest.mark.parametrize("kind", KINDS)
def test_intervals_hold_their_own_value_and_the_error_table_is_the_dial(kind: str) -> None:
    """Every row by hand from the dial; rounding of the output is 5e-5."""
    dial, result = _result(kind).dial, _result(kind).to_dict()
    unit = MPH_MPS if result["speed_unit"] == "mph" else KMH_MPS
    for name in ("error_factor", "offset", "clock_offset_s", "odometer_factor"):
        if result[name] is not None:
            assert result[name]["low"] < result[name]["value"] < result[name]["high"]
    assert result["errors"]
    for row in result["errors"]:
        shown = float(dial.indicated(row["ground"] * unit)) / unit
        assert row["indicated"] == pytest.approx(shown, abs=2e-4)
        assert row["error"] == pytest.approx(row["indicated"] - row["ground"], abs=2e-4)
        assert row["low"] < row["error"] < row["high"]
        assert row["percent"] == pytest.approx(100 * row["error"] / row["ground"], abs=0.01)


@pytest.mark.parametrize(("unit", "step", "factor"), [("mph", 5, MPH_MPS), ("km/h", 10, KMH_MPS)])
def test_errors_are_given_at_round_speeds_of_the_driven_range_only(unit, step: int, factor: float) -> None:
    drive = simulate("noted", [60, 1])
    result = speedcal.calibrate(drive.track, drive.readings, unit=unit)
    low, high = (speed / factor for speed in result.speed_range_mps)
    ground = [row["ground"] for row in result.to_dict()["errors"]]
    assert ground == [v for v in range(0, 200, step) if low <= v <= high]
    used = result.readings[result.readings["used"]]["ground_mps"]
    assert (used.min(), used.max()) == pytest.approx(result.speed_range_mps)


def test_a_speed_in_the_middle_is_known_better_than_factor_and_offset_make_it_look() -> None:
    """Adding both half widths as if independent gives four times as much: the covariance is what tells."""
    result = _result("noted")
    middle = float(np.mean(result.speed_range_mps))
    independent = np.hypot(result.offset_mps.half_width, middle * result.error_factor.half_width)
    assert result.coverage_factor * float(result.u_indicated(middle)) < 0.5 * independent
    assert result.covariance[0, 1] < 0


@pytest.mark.parametrize("kind", KINDS)
def test_the_coverage_factor_is_the_normals_and_makes_the_intervals(kind: str) -> None:
    """95 % of a normal distribution; few readings widen the covariance."""
    result = _result(kind)
    assert result.coverage_factor == pytest.approx(float(stats.norm.ppf(0.975)))
    u = np.sqrt(np.diag(result.covariance))
    assert result.offset_mps.half_width == pytest.approx(result.coverage_factor * u[0])
    assert result.error_factor.half_width == pytest.approx(result.coverage_factor * u[1])
    assert np.linalg.eigvalsh(result.covariance).min() > 0


@pytest.mark.parametrize("kind", KINDS)
def test_the_table_of_readings_has_a_row_for_each_with_a_reason_when_left_out(kind: str) -> None:
    drive, table = simulate(kind, [60, 1]), _result(kind).readings
    assert len(table) == len(drive.readings)
    assert table["line"].tolist() == drive.readings.line.tolist()
    np.testing.assert_array_equal(table["indicated_mps"], drive.readings.speed_mps)
    assert ((table["reason"] == "") == table["used"]).all()
    used = table[table["used"]]
    assert np.isfinite(used[["time_s", "ground_mps", "predicted_mps", "residual_mps", "u_mps"]]).all(axis=None)
    np.testing.assert_allclose(used["predicted_mps"] + used["residual_mps"], used["indicated_mps"], atol=1e-9)
    np.testing.assert_allclose(used["predicted_mps"], _result(kind).indicated(used["ground_mps"].to_numpy()))


@pytest.mark.parametrize("kind", KINDS)
def test_the_text_for_people_is_short_and_begins_with_the_word_of_trust(kind: str) -> None:
    text = str(_result(kind))
    assert text.startswith(_result(kind).trust.word)
    assert len(text.splitlines()) < 30
    assert max(len(line) for line in text.splitlines()) < 700
    assert "nan" not in text
    assert ("clock offset" in text) == (kind != "held speeds")


def test_a_clock_offset_of_zero_is_shown_like_any_other() -> None:
    """Nought is a number, not nothing."""
    result = speedcal.calibrate(TRACK, NOTES)
    assert "clock offset" in str(result)


# ---- the budget


@pytest.mark.parametrize("kind", KINDS)
def test_shares_of_the_budget_sum_to_one_and_combine_to_the_uncertainty(kind: str) -> None:
    """Root of the sum of squares of the components that belong to this drive, against the covariance."""
    result = _result(kind)
    *components, another_day = result.budget
    assert sum(line.share for line in components) == pytest.approx(1.0, abs=1e-9)
    assert another_day.share == 0.0
    assert another_day.component == ANOTHER_DAY
    u = np.sqrt(sum(line.u_indicated_mps**2 for line in components))
    assert u == pytest.approx(float(result.u_indicated(result.reference_speed_mps)), rel=1e-9)
    u_factor = np.sqrt(sum(line.u_factor**2 for line in components))
    assert u_factor == pytest.approx(np.sqrt(result.covariance[1, 1]), rel=1e-9)
    assert all(0 <= line.share <= 1 for line in result.budget)
    assert [line.share for line in components] == sorted((line.share for line in components), reverse=True)
    assert {line.evaluation for line in result.budget} == {"A", "B"}
    text = budget_text(result)
    assert all(label(line.component) in text for line in result.budget)
    assert f"k = {result.coverage_factor:.2f}" in text


@pytest.mark.parametrize("scatter_mps", [0.4, 0.01])
def test_the_variance_is_shared_as_what_makes_a_reading_scatter(scatter_mps: float) -> None:
    """Rounding 0.1 m/s and a ground speed of 0.2 m/s times the gain, of all that is seen or at least of both."""
    dial = make_calibration(factor=1.05, u_offset=0.3, u_factor=0.004).dial
    line = MeasuredLine(dial, 0.0, 0.5, scatter_mps, np.zeros(0), np.zeros(0), (), time_share=0.25)
    found = uncertainty_budget(line, dial, reference_mps=20.0, u_rounding_mps=0.1, u_ground_mps=0.2)
    rounding, ground = 0.1**2, (1.05 * 0.2) ** 2
    seen = max(scatter_mps**2, rounding + ground)
    share = {entry.component: (entry.evaluation, entry.share) for entry in found[:-1]}
    assert share == {
        "scatter": ("A", pytest.approx(0.75 * (seen - rounding - ground) / seen, abs=1e-12)),
        "resolution": ("B", pytest.approx(0.75 * rounding / seen)),
        "ground_speed": ("B", pytest.approx(0.75 * ground / seen)),
        "clock_offset": ("A", pytest.approx(0.25)),
    }
    for entry in found[:-1]:
        assert entry.u_indicated_mps == pytest.approx(np.sqrt(entry.share) * float(dial.u_indicated(20.0)))


def test_a_size_from_memory_says_so_where_it_is_shown() -> None:
    """The state of the tires on another day is 0.2 % from memory; whoever reads the budget must see that."""
    assert "not verified" in budget_text(_result("noted"))


def test_coarser_figures_give_rounding_a_larger_share() -> None:
    """Steps of 5 mph against 0.1 mph on the same drive: sd 1.44 mph of rounding against next to none."""

    def share(step_mph: float) -> float:
        result = speedcal.calibrate(TRACK, readings_of(ROAD, SPREAD, step_mph=step_mph))
        (line,) = [line for line in result.budget if line.component == "resolution"]
        return line.share

    assert share(5.0) > 0.3
    assert share(0.1) < 0.1


# ---- trust


def _level(speeds_mph: list[float], count: int, *, hold_s: float = 60.0) -> Calibration | SpeedcalError:
    road = plateaus(speeds_mph, hold_s=hold_s)
    begin, end = road.corner_s[2], road.corner_s[-3]
    return answer_or_refusal(
        track_of(road, noise_mps=0.05), readings_of(road, np.linspace(begin, end, count), step_mph=1.0)
    )


def _weak_or_refused(result: Calibration | SpeedcalError) -> str:
    """Return the reason and the remedy, having made sure that there are some."""
    if isinstance(result, SpeedcalError):
        assert result.remedy
        return f"{result.problem}. {result.remedy}"
    assert result.trust.word == "WEAK"
    assert result.trust.reasons
    assert str(result).startswith("WEAK (")
    return result.trust.reasons[0].text


def test_a_proper_drive_is_trusted_without_a_reason() -> None:
    result = speedcal.calibrate(TRACK, NOTES)
    assert (result.trust.word, result.trust.reasons) == ("TRUSTED", ())


@pytest.mark.parametrize("count", [4, 5, 6, 7])
def test_five_readings_are_weak_and_say_how_many_to_note(count: int) -> None:
    text = _weak_or_refused(answer_or_refusal(TRACK, some_readings(NOTES, np.linspace(1, 22, count).astype(int))))
    assert "twenty" in text
    assert str(count) in text


@pytest.mark.parametrize("count", [0, 1, 2, 3])
def test_fewer_than_four_readings_are_refused(count: int) -> None:
    result = answer_or_refusal(TRACK, some_readings(NOTES, np.arange(count)))
    assert isinstance(result, SpeedcalError)
    assert "twenty" in result.remedy


@pytest.mark.parametrize("logged", [True, False])
def test_one_speed_only_is_weak_and_names_speeds_to_add(logged: bool) -> None:
    """Fifty-six mph for a quarter of an hour: factor and offset cannot be told apart."""
    road = Road(np.array([0.0, 900.0]), np.full(2, 25.0))
    time = np.arange(5.0, 895.0) if logged else np.linspace(20, 880, 24)
    readings = readings_of(road, time, step_mph=1.0, time_resolution_s=0.001 if logged else 1.0)
    result = answer_or_refusal(track_of(road, noise_mps=0.05), readings)
    text = _weak_or_refused(result)
    if isinstance(result, Calibration):
        assert "mph" in text
        assert result.error_factor.contains(1.05)
        assert "offset_assumed" in {finding.code for finding in result.findings}


@pytest.mark.parametrize("count", [12, 24, 40])
def test_two_speeds_only_are_weak_and_name_speeds_to_add(count: int) -> None:
    """A line through two points has no residual that could tell anything."""
    assert "mph" in _weak_or_refused(_level([30, 50] * 4, count))


def test_a_log_of_two_speeds_at_whole_miles_is_weak_or_its_interval_holds_the_truth() -> None:
    """Cruise control and a whole-mph display: the rounding is the same at every visit, 31.5 shows as 32.

    Truth 1.05; the line through 32 and 52 has 1.00, so an interval of a few tenths of a per cent is a lie.
    """
    road = plateaus([30, 50] * 8, hold_s=40)
    log = readings_of(road, np.arange(5.0, road.length_s - 5), step_mph=1.0, time_resolution_s=0.001)
    result = answer_or_refusal(track_of(road, noise_mps=0.05), log)
    assert isinstance(result, SpeedcalError) or result.trust.word == "WEAK" or result.error_factor.contains(1.05)


def test_whole_miles_on_cruise_control_at_four_speeds_do_not_make_narrow_lies() -> None:
    """Twenty factors: 95 % of the intervals should hold, 75 % must (0.03 % of a binomial with 0.95)."""
    road = plateaus([30, 40, 50, 60])
    track = track_of(road, noise_mps=0.05)
    held = 0
    for factor in np.random.default_rng(5).uniform(0.9, 1.1, 20):
        log = readings_of(road, np.arange(5.0, road.length_s - 5), factor=factor, step_mph=1, time_resolution_s=0.001)
        held += speedcal.calibrate(track, log).error_factor.contains(factor)
    assert held >= 15


@pytest.mark.parametrize("noise_mps", [0.0, 0.15])
def test_the_noise_of_a_log_is_found_under_cruise_control(noise_mps: float) -> None:
    """Whole plateaus show one value, which says nothing of noise but near the edges of steps: half a step, or none.

    A twentieth of a step, 0.014 m/s, is the least that is believed; a tenth is let pass for what is between the fixes.
    """
    drive = simulate("cruise control", [2026, 0])
    truth, step = drive.truth, drive.readings.speed_resolution_mps
    shown = truth.offset_mps + truth.error_factor * truth.reading_ground_mps
    shown += noise_mps * np.random.default_rng(6).standard_normal(len(shown))
    log = replace(drive.readings, speed_mps=np.maximum(np.round(shown / step), 0) * step)
    found = np.sqrt(speedcal.calibrate(drive.track, log).scatter_mps ** 2 - step**2 / 12)
    assert found == pytest.approx(noise_mps, abs=0.1 * step)


def test_few_steady_runs_are_weak_and_say_how_many_speeds_to_hold() -> None:
    text = _weak_or_refused(_level([30, 50], 24))
    assert "speeds" in text or "mph" in text


def test_two_minutes_of_log_with_two_speeds_are_weak() -> None:
    """A hundred readings are not a substitute for speeds."""
    road = plateaus([30, 50], hold_s=45)
    log = readings_of(road, np.arange(3.0, road.length_s - 3), step_mph=1.0, time_resolution_s=0.001)
    _weak_or_refused(answer_or_refusal(track_of(road, noise_mps=0.05), log))


def test_many_readings_that_disagree_are_weak_and_point_to_the_file() -> None:
    """Eight of 24 are nonsense."""
    speed = NOTES.speed_mps.copy()
    speed[::3] = np.random.default_rng(1).uniform(5, 45, 8)
    _weak_or_refused(answer_or_refusal(TRACK, replace(NOTES, speed_mps=speed)))


@pytest.mark.parametrize("value", [0.0, 20.0, 29.0])
@pytest.mark.parametrize("logged", [True, False])
def test_a_needle_that_does_not_move_gives_no_calibration(value: float, logged: bool) -> None:
    """Dead at zero or stuck, while the vehicle drives 25 to 65 mph."""
    readings = readings_of(ROAD, np.arange(5.0, 600.0) if logged else SPREAD, time_resolution_s=0.001 if logged else 1)
    result = answer_or_refusal(TRACK, replace(readings, speed_mps=np.full(len(readings), value)))
    assert isinstance(result, SpeedcalError)
    assert result.remedy


@pytest.mark.parametrize(
    ("scale", "logged"), [(scale, logged) for scale in (0.2, 0.4, 3.0, 10.0) for logged in (True, False)]
)
def test_a_factor_that_no_vehicle_has_is_refused_and_the_unit_asked_about(scale: float, logged: bool) -> None:
    """A fifth or three times the speed: a unit or a column is wrong, not a gear."""
    readings = readings_of(ROAD, np.arange(5.0, 600.0) if logged else SPREAD, time_resolution_s=0.001 if logged else 1)
    result = answer_or_refusal(TRACK, replace(readings, speed_mps=readings.speed_mps * scale))
    assert isinstance(result, SpeedcalError)
    assert "unit" in result.remedy


@pytest.mark.parametrize("scale", [1.609344, 1 / 1.609344])
def test_kilometres_under_a_heading_of_miles_are_told_and_not_trusted(scale: float) -> None:
    """A factor of 1.6 or 0.62 could be real, so it may be answered, but never without a word about the unit."""
    text = _weak_or_refused(answer_or_refusal(TRACK, replace(NOTES, speed_mps=NOTES.speed_mps * scale)))
    assert "unit" in text
    assert "unit" not in str(speedcal.calibrate(TRACK, NOTES))


# ---- steady runs


@pytest.mark.parametrize("kind", ["logged", "positions only", "5-second sampling"])
@pytest.mark.parametrize("seed", range(3))
def test_steady_runs_are_the_plateaus_that_were_driven(kind: str, seed: int) -> None:
    """Nearly every plateau has its run, with its speed; nearly no run lies outside of a plateau.

    Plateaus next to one at nearly the same speed (2 m/s; 3 m/s for a fix every five seconds, which does not see a short
    ramp) may count as one with it and are not judged.
    """
    drive = simulate(kind, [61, seed])
    runs = steady_runs(ground_speed(drive.track))
    speeds = np.array([speed for _, _, speed in drive.truth.plateaus])
    step = np.abs(np.diff(speeds, prepend=-99.0, append=-99.0))
    alone = np.minimum(step[1:], step[:-1]) > (3.0 if kind == "5-second sampling" else 2.0)
    long = [plateau for plateau, lonely in zip(drive.truth.plateaus, alone, strict=True) if lonely]
    found = 0
    for begin, end, speed in long:
        number = runs.number_at(np.linspace(begin + 6, end - 6, 40))
        number = number[number >= 0]
        if len(number) > 15:
            found += 1
            main = np.bincount(number).argmax()
            assert runs.speed_mps[main] == pytest.approx(speed, abs=0.8)
    assert found >= len(long) - 2
    middle = (runs.begin_s + runs.end_s) / 2
    outside = sum(not any(begin - 3 < m < end + 3 for begin, end, _ in drive.truth.plateaus) for m in middle)
    assert outside <= 1


def test_drawn_plateaus_are_found_to_the_second_with_their_speed() -> None:
    """The drift over five seconds to each side tells a ramp of 1 m/s² within about two seconds of its begin."""
    runs = steady_runs(ground_speed(track_of(ROAD)))
    assert len(runs) == 8
    np.testing.assert_allclose(runs.begin_s - START_S, ROAD.corner_s[2:-2:2], atol=5)
    np.testing.assert_allclose(runs.end_s - START_S, ROAD.corner_s[3:-2:2], atol=5)
    np.testing.assert_allclose(runs.speed_mps, ROAD.corner_mps[2:-2:2], atol=0.1)


def test_a_ramp_and_a_stop_are_no_steady_runs() -> None:
    road = Road(np.array([0.0, 60.0, 180.0, 240.0]), np.array([0.0, 0.0, 30.0, 30.0]))
    runs = steady_runs(ground_speed(track_of(road)))
    assert len(runs) == 1
    assert runs.begin_s[0] > START_S + 175


def test_a_gap_ends_a_run() -> None:
    road = Road(np.array([0.0, 200.0]), np.full(2, 20.0))
    track = track_of(road)
    time = track.time_s - START_S
    runs = steady_runs(ground_speed(replace(track, segment=(time > 100).astype(np.int64))))
    whole = steady_runs(ground_speed(track))
    assert len(whole) == 1
    assert (runs.number_at(START_S + np.array([100.5])) == -1).all()


def test_times_outside_of_all_runs_have_no_number() -> None:
    runs = steady_runs(ground_speed(TRACK))
    assert (runs.number_at(np.array([-1e12, START_S, 1e12])) == -1).all()
    empty = steady_runs(ground_speed(track_of(Road(np.array([0.0, 100.0]), np.array([0.0, 30.0])))))
    assert len(empty) == 0
    assert (empty.number_at(np.array([0.0])) == -1).all()


# ---- the result by itself


def test_prediction_and_its_uncertainty_by_hand() -> None:
    """Shown = 0.5 + 1.05 x 20; u² = 0.04 + 2 x 20 x (-0.95 x 0.2 x 0.01) + 400 x 0.0001 = 0.004."""
    result = make_calibration(offset=0.5 / MPH_MPS, factor=1.05, u_offset=0.2 / MPH_MPS, u_factor=0.01)
    assert float(result.indicated(20.0)) == pytest.approx(21.5)
    assert float(result.u_indicated(20.0)) == pytest.approx(np.sqrt(0.004))
    shown = result.indicated(np.array([10.0, 20.0]))
    np.testing.assert_allclose(shown, [11.0, 21.5])


def test_perfectly_known_is_uncertainty_zero_and_not_nan() -> None:
    """Rounding may push the variance below zero by 1e-17; its root must not be NaN."""
    result = make_calibration(offset=0.1, factor=1.05, u_offset=0.2, u_factor=0.2 * MPH_MPS / 20.0, correlation=-1.0)
    assert float(result.u_indicated(20.0)) == pytest.approx(0.0, abs=1e-8)


@pytest.mark.parametrize(
    ("kind", "factor", "said"),
    [
        ("logged", 1.0, True),
        ("5 Hz", 1.0, True),
        ("logged", 1.02, False),
        ("logged", 0.985, False),
        ("noted", 1.0, False),
    ],
)
def test_a_log_that_shows_what_gps_shows_asks_for_a_look_at_the_dial(kind: str, factor: float, said: bool) -> None:
    """Of a dial off by 1.5 % and more it is not said, nor of notes, which somebody read off one."""
    for seed in range(3):
        drive = simulate(kind, [61, seed], error_factor=factor, offset_mps=0.0)
        found = speedcal.calibrate(drive.track, drive.readings)
        assert ("reads_as_gps" in [finding.code for finding in found.findings]) == said
        assert found.trust.word == "TRUSTED"
