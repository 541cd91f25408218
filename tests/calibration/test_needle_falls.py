"""Needles that fall to a share of the speed in spells and come up again, as with a gear that skips."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from benchmark.outside.dial import Dial
from benchmark.outside.drive import OutsideDrive, generator, make_drive
from benchmark.outside.faults import faulty_rig, healthy_rig, kind_of_drive
from benchmark.outside_score import in_memory

import speedcal
from speedcal.calibration.readings.looseness import how_loose, why_no_dial
from speedcal.calibration.result import Calibration
from speedcal.conformity import verify
from speedcal.errors import AlignmentError, SpeedcalError
from speedcal.interval import BoolArray, FloatArray
from speedcal.logs.drive.readings import Readings
from speedcal.logs.drive.track import Track
from speedcal.text.messages import finding, refusal
from speedcal.units import KMH_MPS
from speedcal.vehicle import Vehicle, correct


def _drive(seed: int, *, logged: bool) -> tuple[Track, Readings, Dial]:
    """Return a drive with a sound instrument, as it is read."""
    rng = generator("falls", (seed, int(logged)))
    rig = healthy_rig(rng, "cable")
    kind = replace(kind_of_drive(rng, rig, logged=logged), odometer_notes=False)
    return *in_memory(make_drive(kind, rng, rig.dial())), rig.dial()


def _spells(time_s: FloatArray, *, every_s: float, last_s: float) -> BoolArray:
    return np.asarray((time_s - time_s[0]) % every_s > every_s - last_s)


def _fallen(seed: int, *, share: float, every_s: float, last_s: float) -> tuple[Calibration, Dial, BoolArray]:
    """Return the answer to a log whose needle shows a share of the speed in spells, the dial, and those rows."""
    track, readings, dial = _drive(seed, logged=True)
    falls = _spells(readings.time_s, every_s=every_s, last_s=last_s)
    shown = np.round(np.where(falls, share * readings.speed_mps, readings.speed_mps), 3)
    return speedcal.calibrate(track, replace(readings, speed_mps=shown)), dial, falls


@pytest.mark.parametrize("seed", range(3))
@pytest.mark.parametrize(("share", "every_s", "last_s"), [(0.6, 90.0, 12.0), (0.8, 150.0, 25.0)])
def test_a_log_says_that_its_needle_falls_how_far_and_how_often(
    seed: int, share: float, every_s: float, last_s: float
) -> None:
    """By two fifths in 13 % of the time, by a fifth in 17 %: the rest tells the factor."""
    result, dial, falls = _fallen(seed, share=share, every_s=every_s, last_s=last_s)
    (told,) = (found.values for found in result.findings if found.code == "needle_falls")
    assert told["least"] - 0.05 < 1 - share < told["most"] + 0.05
    assert told["most"] - told["least"] < 0.25
    assert told["count"] / told["total"] == pytest.approx(falls.mean(), rel=0.3)
    assert told["spells"] <= (np.diff(falls.astype(int)) > 0).sum() + 1
    assert result.error_factor.value == pytest.approx(dial.factor, abs=0.01)


@pytest.mark.parametrize("logged", [True, False])
def test_no_sound_needle_is_said_to_fall(*, logged: bool) -> None:
    for seed in range(3):
        track, readings, _ = _drive(seed, logged=logged)
        assert "needle_falls" not in [found.code for found in speedcal.calibrate(track, readings).findings]


def test_rows_wrong_either_way_and_rows_alone_are_no_falls() -> None:
    """Spells of a fifth too much and too little in turn; and every fortieth row at half."""
    track, readings, _ = _drive(1, logged=True)
    time, speed = readings.time_s, readings.speed_mps
    turn = np.where((time // 180.0) % 2 > 0, 1.2, 0.8)
    both = np.where(_spells(time, every_s=90.0, last_s=10.0), turn * speed, speed)
    alone = np.where(np.arange(len(speed)) % 40 == 0, 0.5 * speed, speed)
    for shown in (both, alone):
        result = speedcal.calibrate(track, replace(readings, speed_mps=shown))
        assert "wrong" in set(result.readings["reason"])
        assert "needle_falls" not in [found.code for found in result.findings]


def test_notes_that_are_wrong_say_on_which_side_they_lie() -> None:
    """Six of some twenty notes a quarter low are told of a needle that falls; three high and three low are slips."""
    told = []
    for seed in range(6):
        track, readings, _ = _drive(seed, logged=False)
        fast = np.argsort(readings.speed_mps)[-12::2]
        for factors in (np.full(6, 0.75), np.tile([0.75, 1.25], 3)):
            speed = readings.speed_mps.copy()
            speed[fast] = np.round(speed[fast] * factors, 1)
            try:
                found = speedcal.calibrate(track, replace(readings, speed_mps=speed)).findings
            except SpeedcalError:
                continue
            told.append((factors[1] < 1, any(entry.code == "needle_falls" for entry in found)))
    assert sum(falls for low, falls in told if low) >= 4
    assert not any(falls for low, falls in told if not low)


def test_what_turns_the_needle_is_looked_at_before_a_part_is_ordered_or_a_pass_is_left_alone() -> None:
    result, _, _ = _fallen(0, share=0.6, every_s=90.0, last_s=12.0)
    first = correct(result, Vehicle.from_dict({"driven_gear": 22, "drive_gear": 8})).advice[0]
    assert (first.action, first.part) == ("check_count", "needle_drive")
    assert "spells" in str(first)
    assert "driven gear" in str(first)
    wide = {"absolute": 40, "unit": "mph"}
    passed = verify(None, result, wide, speeds=[30, 50])
    assert passed.verdict == "pass"
    assert [entry.part for entry in passed.advice] == ["needle_drive"]
    failed = verify(None, result, {"absolute": 0.001, "unit": "mph"}, speeds=[30, 50])
    assert failed.verdict != "pass"
    assert failed.advice[0].part == "needle_drive"


def _refused(drive: OutsideDrive) -> SpeedcalError | None:
    """Return why a drive gets no number; None where it gets one, which is doubted."""
    try:
        assert speedcal.calibrate(*in_memory(drive)).trust.word == "WEAK"
    except SpeedcalError as error:
        return error
    return None


def test_a_needle_that_falls_out_of_the_rule_is_no_pass() -> None:
    """By the rest of the drive it reads up to 3 % and a mph high, which passes; for 13 % of the time two fifths low."""
    track, readings, _ = _drive(0, logged=True)
    rule = {"high_percent": 6, "high_absolute": 2, "low_absolute": 2, "unit": "mph"}
    sound = verify(None, speedcal.calibrate(track, readings), rule, speeds=[30, 50])
    assert sound.verdict == "pass"
    result, _, _ = _fallen(0, share=0.6, every_s=90.0, last_s=12.0)
    fell = verify(None, result, rule, speeds=[30, 50])
    assert fell.verdict == "not proven"
    assert [(entry.action, entry.part) for entry in fell.advice] == [
        ("check_count", "needle_drive"),
        ("drive_again", "after"),
    ]
    assert "while its needle stays up" in str(fell)


@pytest.mark.parametrize("logged", [True, False])
def test_a_gear_that_skips_is_never_told_to_be_another_drive(*, logged: bool) -> None:
    """A gear that loses 8 to 12 % of its turns, unevenly: refused or doubted, and what it may be is named."""
    refused = 0
    for seed in range(40):
        rng = generator("skips", (seed, int(logged)))
        rig = faulty_rig(rng, "gear")
        if rig.skips < 0.08:
            continue
        error = _refused(make_drive(kind_of_drive(rng, rig, logged=logged), rng, rig.dial()))
        if error is None:
            continue
        refused += 1
        assert error.code == "loose_readings"
        assert error.values["near"] + error.values["low"] + error.values["high"] == error.values["count"]
        assert "driven gear" in str(error)
    assert refused >= 2


def test_readings_of_another_drive_are_not_said_to_follow() -> None:
    """Loosely is only what is small beside the speeds: a log that scatters by half their spread follows nothing."""
    shown = np.array([10.0, 14.0, 18.0, 22.0, 26.0])
    spread = float(np.std(shown))
    assert why_no_dial(np.zeros(5), shown, 0.2 * spread)[0] == "loose_readings"
    assert why_no_dial(np.zeros(5), shown, 0.4 * spread)[0] == "readings_do_not_follow"
    for seed in range(4):
        (track, _, _), (_, readings, _) = _drive(seed, logged=False), _drive(seed + 50, logged=False)
        moved = replace(readings, time_s=readings.time_s - readings.time_s[0] + track.time_s[0])
        with pytest.raises(AlignmentError) as caught:
            speedcal.calibrate(track, moved)
        assert caught.value.code != "loose_readings"


def test_the_words_name_how_many_and_the_gear_before_cable_and_sensor() -> None:
    code, values = how_loose(np.array([0.1, -0.2, -3.0, 2.0, -2.5, 0.3]), 1.2)
    assert code == "loose_readings"
    assert (values["near"], values["low"], values["high"], values["off_mps"]) == (3, 2, 1, 2.5)
    text, remedy = refusal("loose_readings", values)
    assert "3 of 6" in text
    assert "another drive" not in f"{text}{remedy}"
    spells = finding("needle_falls", {"count": 30, "total": 200, "spells": 4, "least": 0.2, "most": 0.25})
    assert "4 spells, 15 % of the rows, it showed 20 to 25 % too little" in spells
    notes = finding("needle_falls", {"count": 5, "total": 20, "spells": 0, "least": 0.2, "most": 0.2})
    assert "5 of 20 readings lie 20 % below" in notes
    for words in (remedy, spells, notes):
        assert 0 < words.index("driven gear") < words.index("cable") < words.index("sensor")


def test_readings_in_coarse_steps_lie_on_a_dial_that_is_half_a_step_away_and_finer_ones_would_tell_more() -> None:
    """In steps of 5 km/h hardly any lay within 1 mph, and only needle and cable were blamed."""
    values = how_loose(np.array([0.1, -0.6, -3.0, 2.0, -2.5, 0.3]), 1.2, half_step_mps=2.5 * KMH_MPS)[1]
    assert (values["near"], values["within_mps"]) == (3, 2.5 * KMH_MPS)
    assert how_loose(np.array([0.1, -0.6, -3.0, 2.0, -2.5, 0.3]), 1.2)[1]["near"] == 2
    for marks, said in ({"marks_mps": 5 * KMH_MPS}, True), ({}, False):
        assert ("between its marks" in refusal("loose_readings", {**values, **marks})[1]) == said
        assert ("between its marks" in finding("large_scatter", {"scatter_mps": 0.6, **marks})) == said


def test_readings_near_one_dial_are_not_called_loose() -> None:
    """Of a drive at two speeds, or of a tractor, one dial explains the readings, but it would on other drives too."""
    code, values = how_loose(np.array([0.1, -0.2, 0.3, 0.2, -0.1, 0.3]), 0.25)
    assert code == "few_changes"
    text, remedy = refusal(code, values)
    assert "6 of 6" in text
    assert "several speeds" in remedy
    assert how_loose(np.array([0.1, -0.2, 0.3, 0.2, -0.1, 0.3]), 0.6)[0] == "loose_readings"
