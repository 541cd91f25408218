"""The recorded speed given as the instrument is refused, whatever was done to it; an instrument of its own is not."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from support.logfiles import small_drive

from speedcal.calibration import calibrate
from speedcal.errors import SpeedcalError
from speedcal.logs.drive.readings import Readings
from speedcal.logs.drive.track import Track
from speedcal.logs.drive.truth import kinship
from speedcal.simulate import KINDS as DRIVES
from speedcal.simulate import simulate
from speedcal.units import KMH_MPS, MPH_MPS, SPEED_UNIT_MPS


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


def _moved(track: Track, *, unit, step, down, delay_s, offset, rate, later_s, clock, named) -> Readings:
    """Return the recorded speed in another unit, cut to steps, behind by a moment, with a constant added."""
    time_s = track.time_s[20] + np.arange(0, track.time_s[-20] - track.time_s[20], 1 / rate)
    values = np.interp(time_s, track.time_s, track.speed_mps) / SPEED_UNIT_MPS[unit] + offset
    written = np.maximum((np.floor if down else np.round)(values / step) * step, 0)
    scale = SPEED_UNIT_MPS[named]
    stamps = time_s + delay_s + later_s
    if clock == "elapsed":
        stamps = stamps - stamps[0]
    return replace(_readings(stamps, written * scale, step * scale), clock=clock)


@settings(max_examples=40, deadline=None)
@given(
    unit=st.sampled_from(["km/h", "mph", "m/s", "kn"]),
    step=st.sampled_from([1.0, 0.1, 0.01]),
    down=st.booleans(),
    delay_s=st.floats(-2.5, 2.5),
    offset=st.floats(-4, 4),
    rate=st.sampled_from([1, 2, 4]),
    later_s=st.sampled_from([0.0, 7200.0, -3600.0]),
    clock=st.sampled_from(["gps", "utc", "elapsed", "local"]),
    wrong_unit=st.booleans(),
)
def test_a_copy_that_was_changed_is_never_an_instrument_of_its_own(
    unit, step, down, delay_s, offset, rate, later_s, clock, wrong_unit
):
    """Rounded or cut, in any unit, named in a wrong one, behind or ahead, with an offset, on another clock."""
    named = {"km/h": "mph", "mph": "km/h"}.get(unit, unit) if wrong_unit else unit
    readings = _moved(
        _track(1200),
        unit=unit,
        step=step,
        down=down,
        delay_s=delay_s,
        offset=offset / SPEED_UNIT_MPS[unit] / 3.6,
        rate=rate,
        later_s=later_s,
        clock=clock,
        named=named,
    )
    assert kinship(_track(1200), readings) in {"copy", "untold"}


@settings(max_examples=12, deadline=None)
@given(
    seed=st.integers(0, 1000),
    offset=st.floats(-3, 3),
    delay_s=st.floats(-1, 1),
    step=st.sampled_from([1.0, 0.1]),
    unit=st.sampled_from(["km/h", "mph"]),
)
def test_no_drive_whose_truth_and_instrument_are_one_ends_trusted(seed, offset, delay_s, step, unit):
    """Refused, or WEAK with the reason."""
    track = simulate(DRIVES["logged"], seed, minutes=20).track
    values = np.interp(track.time_s, track.time_s, np.nan_to_num(track.speed_mps)) / SPEED_UNIT_MPS[unit] + offset
    shown = np.maximum(np.round(values / step) * step, 0) * SPEED_UNIT_MPS[unit]
    readings = replace(_readings(track.time_s + delay_s, shown, step * SPEED_UNIT_MPS[unit]), clock="utc")
    try:
        found = calibrate(track, readings)
    except SpeedcalError:
        return
    assert found.trust.word != "TRUSTED"


@pytest.mark.parametrize("factor", [0.999, 1.0, 1.002])
@pytest.mark.parametrize("step", [KMH_MPS, MPH_MPS, 0.1 * KMH_MPS])
@pytest.mark.parametrize("delay_s", [0.0, 0.7])
def test_a_right_instrument_with_an_offset_and_a_delay_is_one_of_its_own(factor, step, delay_s):
    """As a copy, it follows at the ratio of a unit; its own scatter of 0.05 m/s tells."""
    track = _track(1200)
    rng = np.random.default_rng(8)
    true = small_drive(1200).speed_mps
    shown = 0.5 + factor * np.interp(track.time_s - delay_s, track.time_s, true) + 0.05 * rng.standard_normal(1200)
    assert kinship(track, _readings(track.time_s, np.floor(shown / step) * step, step)) == "own"


def _coarse(track: Track, step: float, way) -> Track:
    return replace(track, speed_mps=way(track.speed_mps / step) * step, speed_step_mps=step)


@pytest.mark.parametrize("step", [KMH_MPS, MPH_MPS])
@pytest.mark.parametrize("recorded_step", [KMH_MPS, MPH_MPS])
@pytest.mark.parametrize(("way", "recorded_way"), [(np.round, np.round), (np.floor, np.round), (np.round, np.floor)])
def test_a_copy_of_the_speed_before_the_receiver_rounded_it_leaves_a_doubt(step, recorded_step, way, recorded_way):
    """Both came from one series; a step of each may lie between them."""
    track = _track(1200)
    readings = _readings(track.time_s, way(track.speed_mps / step) * step, step)
    assert kinship(_coarse(track, recorded_step, recorded_way), readings) != "own"


@pytest.mark.parametrize("step", [KMH_MPS, MPH_MPS])
@pytest.mark.parametrize("recorded_step", [KMH_MPS, MPH_MPS])
@pytest.mark.parametrize(("factor", "offset_mps"), [(1.0, 0.3), (1.0, -0.3), (0.98, 0.0), (1.03, -0.45)])
def test_a_dial_that_is_nearly_right_is_none_though_both_show_whole_units(step, recorded_step, factor, offset_mps):
    """The usual state after the work: a step of each covers what is left of the error, which is no half step."""
    track = _track(2400)
    rng = np.random.default_rng(9)
    shown = offset_mps + factor * small_drive(2400).speed_mps + 0.02 * rng.standard_normal(2400)
    readings = _readings(track.time_s, np.round(shown / step) * step, step)
    assert kinship(_coarse(track, recorded_step, np.round), readings) == "own"
