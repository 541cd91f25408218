"""Damaged files of every kind give a result or one of our errors, never a traceback, a hang or an invented fix."""

from __future__ import annotations

import itertools
import random
import time

import numpy as np
import pytest
from support.logfiles import READINGS, TRACKS, small_drive
from support.mutations import KINDS, STRUCTURAL, mutate

from speedcal.errors import SpeedcalError
from speedcal.logs import Readings, Track, read_readings, read_track

DRIVE = small_drive()
FILES = {f"track {name}": (read_track, write(DRIVE)) for name, write in TRACKS.items()}
FILES |= {f"readings {name}": (read_readings, write(DRIVE)) for name, write in READINGS.items()}
SLOWEST_S = 5.0


def _cases(count, seed):
    """Yield that many damaged files: every file in every way, over and over."""
    ways = itertools.cycle(itertools.product(FILES, KINDS))
    for number, (name, kind) in zip(range(count), ways, strict=False):
        yield name, kind, random.Random(f"{seed} {number}")  # noqa: S311 - damage, no secrets


def _check(tmp_path, name, kind, chance):
    read, data = FILES[name]
    damaged = mutate(data, kind, chance)
    path = tmp_path / "damaged"
    path.write_bytes(damaged)
    start = time.process_time()
    try:
        result = read(path)
    except SpeedcalError:
        result = None
    assert time.process_time() - start < SLOWEST_S, f"{name} {kind}: too slow"
    if result is None:
        return
    _check_sane(result)
    if kind in STRUCTURAL and "zip" not in name and "fit" not in name:
        _check_nothing_invented(result)


def _check_sane(result):
    if isinstance(result, Track):
        assert len(result) >= 2
        assert (np.diff(result.time_s) > 0).all()
        assert (np.abs(result.latitude_deg) <= 90).all()
        assert (np.abs(result.longitude_deg) <= 180).all()
        assert not np.isinf(result.speed_mps).any()
        assert not (result.speed_mps < 0).any()
        assert (np.diff(result.segment) >= 0).all()
    else:
        assert isinstance(result, Readings)
        assert len(result) >= 1
        assert (result.speed_mps >= 0).all()
        assert result.clock == "none" or np.isfinite(result.time_s).all()


def _check_nothing_invented(result):
    """Lines dropped, doubled or swapped leave a part of the drive, with what belongs together still together."""
    if isinstance(result, Track):
        at = np.rint(result.time_s - DRIVE.time_s[0]).astype(int)
        assert ((at >= 0) & (at < len(DRIVE.time_s))).all()
        assert len(result) >= len(DRIVE.time_s) - 6, "more fixes are missing than lines were damaged"
        if "kml" not in result.kind.lower():  # its times and positions stand in lists of their own
            np.testing.assert_allclose(result.latitude_deg, DRIVE.latitude_deg[at], rtol=0, atol=2e-7)
            if "nmea" not in result.kind.lower():
                known = np.isfinite(result.speed_mps)
                np.testing.assert_allclose(result.speed_mps[known], DRIVE.speed_mps[at][known], rtol=0, atol=1e-3)
    elif result.clock != "none":
        at = np.rint((result.time_s - DRIVE.time_s[0]) % 86400).astype(int)
        np.testing.assert_allclose(result.speed_mps / 0.44704, DRIVE.shown_mph[at % len(DRIVE.time_s)], atol=1e-6)


def test_500_damaged_files_give_a_result_or_one_of_our_errors(tmp_path):
    """The seed is fixed, so that a failure repeats."""
    for name, kind, chance in _cases(500, "small"):
        _check(tmp_path, name, kind, chance)


@pytest.mark.benchmark
def test_20000_damaged_files_give_a_result_or_one_of_our_errors(tmp_path):
    """The size for a night."""
    for name, kind, chance in _cases(20_000, "night"):
        _check(tmp_path, name, kind, chance)


def test_the_damage_is_real():
    """Nearly every mutation changes the file, and every kind of damage occurs."""
    changed = [mutate(FILES[name][1], kind, chance) != FILES[name][1] for name, kind, chance in _cases(500, "small")]
    assert np.mean(changed) > 0.95
