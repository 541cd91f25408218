"""Speeds held one after the other and noted without times: missed runs, extra runs, orders that do not tell."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pytest
from support.roads import Road, answer_or_refusal, plateaus, readings_of, track_of

import speedcal
from speedcal.calibration.dial.measured import UNMATCHED
from speedcal.errors import AlignmentError, SpeedcalError
from speedcal.finding import codes_of
from speedcal.interval import FloatArray
from speedcal.logs.drive.readings import Readings
from speedcal.logs.drive.track import Track
from speedcal.simulate import simulate
from speedcal.units import MPH_MPS

MARKS = [30.0, 55.0, 40.0, 65.0, 25.0, 50.0, 35.0, 60.0]
FACTOR = 1.06


def _list(marks_mph: Sequence[float]) -> Readings:
    blank = readings_of(plateaus([30]), np.arange(float(len(marks_mph))), clock="none")
    return replace(blank, speed_mps=np.array(marks_mph) * MPH_MPS, speed_resolution_mps=5 * MPH_MPS)


def _drive(marks_mph: Sequence[float] | FloatArray, *, hold_s: float = 60.0) -> Track:
    """Return the track of a drive whose needle stood on these marks."""
    return track_of(plateaus(np.array(marks_mph) / FACTOR, hold_s=hold_s), noise_mps=0.08)


def test_a_list_in_order_gives_the_factor_and_no_clock_offset() -> None:
    result = speedcal.calibrate(_drive(MARKS), _list(MARKS))
    assert result.error_factor.value == pytest.approx(FACTOR, abs=0.002)
    assert result.error_factor.contains(FACTOR)
    assert result.clock_offset_s is None
    assert result.to_dict()["clock_offset_s"] is None
    assert result.steady_runs == len(MARKS)
    np.testing.assert_allclose(result.readings["ground_mps"], np.array(MARKS) / FACTOR * MPH_MPS, atol=0.05)


@pytest.mark.parametrize(("beside_mph", "off_mph"), [(3.0, 1.4), (2.0, 1.6)])
def test_a_list_in_fives_of_speeds_held_five_apart_by_gps_is_rounded(beside_mph: float, off_mph: float) -> None:
    """The dial shows 1.4 or 1.6 mph more than is noted: nobody said that its needle stood on the marks."""
    track = track_of(plateaus(np.array(MARKS) + beside_mph), noise_mps=0.08)
    shows = np.array(MARKS) + off_mph
    at = (np.array(MARKS) + beside_mph) * MPH_MPS
    result = speedcal.calibrate(track, _list(MARKS))
    assert (np.abs(result.indicated(at) - shows * MPH_MPS) < result.half_width(at)).all()
    assert result.trust.codes == ["wide_by_steps"]
    assert "nearest_mark_taken" in codes_of(result.findings)
    exact = speedcal.calibrate(track, _list(MARKS), rounding="exact")
    assert exact.trust.word == "TRUSTED"
    assert (np.abs(exact.indicated(at) - np.array(MARKS) * MPH_MPS) < 0.2 * MPH_MPS).all()


def test_a_list_of_a_right_dial_was_held_on_its_marks() -> None:
    """Five apart by GPS as well: a list is asked for as held by the dial, and its needle then sits right."""
    result = speedcal.calibrate(track_of(plateaus(np.array(MARKS)), noise_mps=0.08), _list(MARKS))
    assert result.trust.word == "TRUSTED"
    assert result.error_factor.contains(1.0)


def test_the_budget_of_a_list_in_whole_mph_has_their_rounding() -> None:
    """The needle stood up to half a mile an hour beside what is noted, and nothing else was wrong."""
    beside = [0.4, -0.3, 0.1, -0.5, 0.5, -0.1, 0.3, -0.4]
    noted = replace(_list(MARKS), speed_mps=(np.array(MARKS) + 1) * MPH_MPS, speed_resolution_mps=MPH_MPS)
    result = speedcal.calibrate(_drive(np.array(MARKS) + 1 + beside), noted)
    (line,) = [line for line in result.budget if line.component == "resolution"]
    assert line.share > 0.3


@pytest.mark.parametrize("gone", range(8))
def test_a_run_that_was_driven_but_not_noted_is_skipped(gone: int) -> None:
    """Whichever of the eight it is; the seven others lie on their own runs."""
    marks = [mark for k, mark in enumerate(MARKS) if k != gone]
    result = speedcal.calibrate(_drive(MARKS), _list(marks))
    assert result.error_factor.contains(FACTOR)
    np.testing.assert_allclose(result.readings["ground_mps"], np.array(marks) / FACTOR * MPH_MPS, atol=0.05)


@pytest.mark.parametrize("gone", range(8))
def test_a_noted_speed_that_was_never_steady_is_left_out(gone: int) -> None:
    """The list has it, the track does not; it is the one that is named as unmatched."""
    driven = [mark for k, mark in enumerate(MARKS) if k != gone]
    result = speedcal.calibrate(_drive(driven), _list(MARKS))
    assert result.error_factor.contains(FACTOR)
    assert np.flatnonzero(~result.readings["used"].to_numpy()).tolist() == [gone]
    assert result.readings["reason"][gone] == UNMATCHED


def test_one_missed_and_one_extra_at_once() -> None:
    driven = [30.0, 55.0, 40.0, 45.0, 25.0, 50.0, 35.0, 60.0]
    result = speedcal.calibrate(_drive(driven), _list(MARKS))
    assert result.error_factor.contains(FACTOR)
    assert not result.readings["used"][3]


def test_a_figure_misread_is_left_out() -> None:
    """65 written as 56."""
    noted = [30.0, 55.0, 40.0, 56.0, 25.0, 50.0, 35.0, 60.0]
    result = speedcal.calibrate(_drive(MARKS), _list(noted))
    assert result.error_factor.contains(FACTOR)
    assert np.flatnonzero(~result.readings["used"].to_numpy()).tolist() == [3]


def test_one_speed_driven_in_two_pieces_close_together_is_one_run() -> None:
    """A wobble of two seconds in the middle of a plateau does not make two runs of it."""
    road = plateaus(np.array(MARKS) / FACTOR)
    middle = (road.corner_s[4] + road.corner_s[5]) / 2
    time = np.insert(road.corner_s, 5, middle + np.array([0.0, 1.0, 2.0]))
    speed = np.insert(road.corner_mps, 5, road.corner_mps[4] - np.array([0.0, 1.0, 0.0]))
    result = speedcal.calibrate(track_of(Road(time, speed), noise_mps=0.08), _list(MARKS))
    assert result.error_factor.contains(FACTOR)
    assert result.readings["used"].all()


@pytest.mark.parametrize(
    ("driven", "noted"),
    [
        ([30, 35, 40, 45, 50, 55, 60], [30, 35, 40, 45, 50]),  # evenly rising: the list fits in several places
        ([20, 25, 31.25, 39.06, 48.83, 61.04], [20, 25, 31.25, 39.06, 48.83]),  # each step 1.25 times the last
        ([60, 55, 50, 45, 40, 35, 30], [60, 55, 50, 45, 40]),
    ],
)
def test_an_order_that_does_not_tell_which_run_is_which_is_unproven(driven: list[float], noted: list[float]) -> None:
    """No number where the other places are as likely; else a weak one whose interval spans them."""
    result = answer_or_refusal(_drive(driven), _list(noted))
    if isinstance(result, SpeedcalError):
        assert "more than one way" in result.problem
        assert "time of each reading" in result.remedy
    else:
        assert "association_unproven" in result.trust.codes
        assert result.error_factor.contains(FACTOR)


def test_the_same_rising_order_with_every_run_noted_is_not_ambiguous() -> None:
    rising = [30, 35, 40, 45, 50, 55, 60]
    assert speedcal.calibrate(_drive(rising), _list(rising)).error_factor.contains(FACTOR)


@pytest.mark.parametrize(
    "noted", [MARKS[::-1], [60, 30, 45, 25, 55, 40, 65, 30], [70, 70, 70, 70, 70, 70], [0, 0, 0, 0, 0, 0], [500] * 8]
)
def test_a_list_that_does_not_belong_is_never_trusted(noted: list[float]) -> None:
    result = answer_or_refusal(_drive(MARKS), _list(noted))
    if isinstance(result, SpeedcalError):
        assert result.remedy
    else:
        assert result.trust.word == "WEAK"


@pytest.mark.parametrize("count", [1, 2, 3])
def test_too_few_speeds_are_refused_with_how_many_to_hold(count: int) -> None:
    with pytest.raises(SpeedcalError) as caught:
        speedcal.calibrate(_drive(MARKS), _list(MARKS[:count]))
    assert "four" in caught.value.remedy


def test_a_drive_without_steady_runs_is_refused() -> None:
    """Up and down by 0.3 m/s² without a pause."""
    road = Road(np.arange(0.0, 1001.0, 100.0), np.array([0.0, 30.0] * 5 + [0.0]))
    with pytest.raises(AlignmentError, match="steady runs") as caught:
        speedcal.calibrate(track_of(road), _list(MARKS))
    assert "half a minute" in caught.value.remedy


@pytest.mark.parametrize("seed", range(12))
def test_simulated_lists_are_laid_on_their_own_plateaus(seed: int) -> None:
    """With up to two runs that were not noted; a wrong assignment must be refused, not reported."""
    drive = simulate("held speeds", [51, seed])
    result = answer_or_refusal(drive.track, drive.readings)
    if isinstance(result, SpeedcalError):
        assert isinstance(result, AlignmentError)
        return
    used = result.readings["used"].to_numpy()
    off = result.readings["ground_mps"].to_numpy() - drive.truth.reading_ground_mps
    assert np.abs(off[used]).max() < 1.5
    assert abs(result.error_factor.value - drive.truth.error_factor) < 4 * np.sqrt(result.covariance[1, 1])


def test_seven_marks_prove_their_drive_and_four_that_may_be_of_another_do_not() -> None:
    assert speedcal.calibrate(_drive(MARKS[:7]), _list(MARKS[:7])).trust.word == "TRUSTED"
    higher = [mark + 5 for mark in MARKS[:4]]
    assert speedcal.calibrate(_drive(MARKS[:4]), _list(higher)).trust.codes == ["association_unproven"]


def test_seven_marks_of_another_drive_are_not_trusted() -> None:
    """Two that stand twelve marks apart in the order of both, as one list in some hundred has it by chance."""
    driven, noted = [60, 65, 40, 55, 30, 25, 35, 45, 50], [40, 55, 30, 35, 45, 50, 25]
    result = answer_or_refusal(_drive(driven), _list(noted))
    assert isinstance(result, SpeedcalError) or result.trust.codes == ["association_unproven"]
