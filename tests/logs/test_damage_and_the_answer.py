"""A few lines lost, doubled or swapped move the error factor within its interval, or the drive is refused."""

from __future__ import annotations

import random

import pytest
from support.mutations import STRUCTURAL, mutate

from speedcal.calibration import calibrate
from speedcal.errors import SpeedcalError
from speedcal.logs import read_readings, read_track
from speedcal.simulate import simulate, write_drive

NOTED, LOGGED = "noted", "logged"


def _answer(track, readings):
    try:
        return calibrate(read_track(track), read_readings(readings)).error_factor
    except SpeedcalError:
        return None


def _check(tmp_path, drive_kind, seeds):
    track, readings = write_drive(simulate(drive_kind, 11), tmp_path)
    whole = _answer(track, readings)
    originals = {path: path.read_bytes() for path in (track, readings)}
    answered = 0
    for seed in seeds:
        chance = random.Random(f"{drive_kind} {seed}")  # noqa: S311 - damage, no secrets
        path = chance.choice((track, readings))
        path.write_bytes(mutate(originals[path], chance.choice((*STRUCTURAL, "blank")), chance))
        answer = _answer(track, readings)
        path.write_bytes(originals[path])
        if answer is not None:
            answered += 1
            assert abs(answer.value - whole.value) <= whole.half_width, f"seed {seed}"
    return answered


@pytest.mark.parametrize("drive_kind", [NOTED, LOGGED])
def test_damaged_lines_do_not_change_the_answer_silently(tmp_path, drive_kind):
    """Eight damaged pairs of files of each kind."""
    assert _check(tmp_path, drive_kind, range(8)) >= 4


@pytest.mark.benchmark
@pytest.mark.parametrize("drive_kind", [NOTED, LOGGED])
def test_many_damaged_lines_do_not_change_the_answer_silently(tmp_path, drive_kind):
    """A hundred and fifty of each."""
    assert _check(tmp_path, drive_kind, range(100, 250)) >= 75
