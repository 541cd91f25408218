"""The recorded speed given as the instrument is refused, whatever was done to it; an instrument of its own is not."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from support.logfiles import small_drive

from speedcal.logs.readings import Readings
from speedcal.logs.track import Track
from speedcal.logs.truth import kinship
from speedcal.units import KMH_MPS, MPH_MPS


def _track(n: int = 600, *, steady: bool = False) -> Track:
    drive = small_drive(n)
    rng = np.random.default_rng(5)
    speed = (np.full(n, 20.0) if steady else drive.speed_mps) + 0.05 * rng.standard_normal(n)
    nothing = np.full(n, np.nan)
    return Track(
        drive.time_s, drive.latitude_deg, drive.longitude_deg, nothing, speed, np.zeros(n, np.int64), digest="a"
    )


def _readings(time_s, speed_mps, step_mps: float) -> Readings:
    n = len(time_s)
    return Readings(
        time_s, "utc", 0.001, np.asarray(speed_mps), "km/h", step_mps, np.full(n, np.nan), np.nan, np.arange(n)
    )


COPIES = {
    "as it is": (lambda v: v, 0.001),
    "whole km/h": (lambda v: np.round(v / KMH_MPS) * KMH_MPS, KMH_MPS),
    "cut to whole km/h": (lambda v: np.floor(v / KMH_MPS) * KMH_MPS, KMH_MPS),
    "whole mph": (lambda v: np.round(v / MPH_MPS) * MPH_MPS, MPH_MPS),
}


@pytest.mark.parametrize("name", COPIES)
@pytest.mark.parametrize("shift_s", [0.0, 7200.0, -1.6e9])
def test_a_copy_is_known_in_any_unit_and_on_any_clock(name, shift_s):
    """Stamps of the same clock, of another zone, or counted from the start."""
    track = _track()
    copied, step = COPIES[name]
    time_s = track.time_s + shift_s if shift_s > -1e9 else track.time_s - track.time_s[0]
    assert kinship(track, _readings(time_s, copied(track.speed_mps), step)) == "copy"


def test_rows_between_the_fixes_do_not_hide_a_copy():
    """Each fix repeated until the next, and a line drawn between them."""
    track = _track()
    time_s = track.time_s[0] + 0.25 * np.arange(4 * (len(track) - 1))
    held = track.speed_mps[((time_s - track.time_s[0]) // 1).astype(int)]
    assert kinship(track, _readings(time_s, held, 0.001)) == "copy"
    assert kinship(track, _readings(time_s, np.interp(time_s, track.time_s, track.speed_mps), 0.001)) == "copy"


@pytest.mark.parametrize(
    ("factor", "delay_s", "step"),
    [(1.0, 0.0, KMH_MPS), (1.0, 0.0, MPH_MPS), (1.0, 0.4, KMH_MPS), (1.01, 0.0, KMH_MPS), (1.0, 0.0, 0.001)],
)
def test_an_instrument_of_its_own_is_no_copy_even_if_it_is_right(factor, delay_s, step):
    """The receiver scatters by 0.05 m/s, and a second sensor does not scatter with it."""
    track = _track()
    true = small_drive(len(track)).speed_mps
    rng = np.random.default_rng(6)
    shown = factor * np.interp(track.time_s - delay_s, track.time_s, true) + 0.02 * rng.standard_normal(len(track))
    assert kinship(track, _readings(track.time_s, np.round(shown / step) * step, step)) == "own"


def test_a_drive_at_one_speed_cannot_tell():
    """Rounded to whole km/h both show the same all the time."""
    track = replace(_track(steady=True), speed_mps=np.full(600, 72 * KMH_MPS), speed_step_mps=KMH_MPS)
    assert kinship(track, _readings(track.time_s, track.speed_mps, KMH_MPS)) == "untold"
