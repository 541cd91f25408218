"""The drives made apart from our simulator are what they say they are, and they are scored as they should be."""

from __future__ import annotations

import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from benchmark.outside.clock import ClockStyle, draw_clock
from benchmark.outside.dial import DialStyle, draw_dial
from benchmark.outside.drive import HeldStyle, Kind
from benchmark.outside.driver import STEP_S, DriverStyle, Motion, drive_road
from benchmark.outside.kinds import KINDS
from benchmark.outside.passenger import PassengerStyle, note
from benchmark.outside.receiver import ReceiverStyle, receive
from benchmark.outside.road import SIDEWAYS_MPS2, RoadStyle, draw_road
from benchmark.outside.several import joined
from benchmark.outside.wander import KMH, MPH, lagged, wander
from benchmark.outside_score import Mark, _biweight_line, from_files, in_memory, outside_drive, robust_factor, summarise
from geographiclib.geodesic import Geodesic

STRAIGHT = RoadStyle(straight_m=1e6, grade=0.0, stop_share=0.0)
CLEAR = ReceiverStyle(
    jitter_s=0.0, doppler_mps=0.0, doppler_slow_mps=0.0, speed_step_mps=0.0, position_m=0.0, missing=0
)
CLEAR = replace(CLEAR, position_fast_m=0.0)


def _rng(seed: int = 1) -> np.random.Generator:
    return np.random.default_rng(seed)


def _ramp(accel: float, seconds: float = 60.0) -> Motion:
    """Return a motion that gains speed evenly after ten seconds at rest."""
    time = np.arange(0, seconds, STEP_S)
    speed = accel * np.maximum(time - 10, 0)
    return Motion(time, speed, np.concatenate(([0], np.cumsum((speed[1:] + speed[:-1]) / 2 * STEP_S))))


def test_the_drives_are_made_without_the_package() -> None:
    code = "import sys, benchmark.outside.kinds, benchmark.outside.files; sys.exit('speedcal' in sys.modules)"
    path = {"PYTHONPATH": str(Path(__file__).parents[1])}
    assert subprocess.run([sys.executable, "-c", code], env=path, check=False).returncode == 0


@pytest.mark.parametrize("name", ["log", "zone unknown", "everyday notes", "held"])
def test_kind_and_seed_make_the_drive(name: str) -> None:
    one, two, other = outside_drive(name, (3, 0)), outside_drive(name, (3, 0)), outside_drive(name, (3, 1))
    np.testing.assert_array_equal(one.fixes.latitude_deg, two.fixes.latitude_deg)
    np.testing.assert_array_equal(one.notes.value, two.notes.value)
    assert one.truth.dial == two.truth.dial != other.truth.dial


def test_a_joined_kind_is_like_the_plain_one_but_for_what_either_changes() -> None:
    both = joined("log, both mph + needle damped")
    assert (both.receiver, both.reader) == (KINDS["log, both mph"].receiver, KINDS["log, both mph"].reader)
    assert both.dial == replace(KINDS["log, both mph"].dial, damping_s=(1.5, 1.5))
    assert joined("steep + log, cut").told == {"terrain": "mountainous", "rounding": "down"}
    assert joined("drift + log, 10 Hz").clock == KINDS["drift"].clock


def test_wander_has_variance_one_and_forgets() -> None:
    """200,000 scales: variance within 2 %, the spline's own correlation at one scale, none at five.

    The overlap integrals of cubic B-splines are 2416, 1191, 120 and 1 of 5040: one cell away 1191/2416 = 0.493.
    """
    x = wander(_rng(), np.arange(0, 200_000, 0.25), 1.0)
    assert x.var() == pytest.approx(1, rel=0.02)
    assert np.mean(x[4:] * x[:-4]) == pytest.approx(1191 / 2416, abs=0.01)
    assert np.mean(x[20:] * x[:-20]) == pytest.approx(0, abs=0.01)


def test_a_lag_of_the_first_order_trails_a_ramp_by_itself() -> None:
    """Behind a ramp by lag times slope (less half a step of the grid), and at 1 - 1/e after one lag of a step."""
    time = np.arange(0, 60, 0.1)
    assert (time - lagged(time, 0.1, 1.5))[-1] == pytest.approx(1.5, abs=0.06)
    step = lagged((time > 5).astype(float), 0.1, 2.0)
    assert np.interp(7.0, time, step) == pytest.approx(1 - np.exp(-1), abs=0.02)


def test_pulling_away_and_braking_are_those_of_the_driver() -> None:
    """Without sway: no stronger than the driver's, and from rest v = sqrt(2 a s) until the drag is felt."""
    style = DriverStyle(pull_mps2=(1.5, 1.5), brake_mps2=(1.8, 1.8), sway_mps=(0, 0), dips_per_minute=0, keeps=(1, 1))
    road = draw_road(_rng(), replace(STRAIGHT, stop_share=1.0))
    motion = drive_road(_rng(), road, style, 0.0)
    change = np.diff(motion.speed_mps) / STEP_S
    assert change.max() == pytest.approx(1.5, rel=0.05)
    assert change.min() == pytest.approx(-1.8, rel=0.05)
    assert (motion.speed_mps[-1], motion.speed_mps[0]) == (0, 0)
    leg = np.minimum(np.searchsorted(road.leg_m, motion.place_m), len(road.limit_mps) - 1)
    near = np.abs(motion.place_m[:, None] - road.leg_m).min(axis=1) < 60
    assert (motion.speed_mps <= road.limit_mps[leg] + 0.01)[~near].all()
    assert motion.place_m[-1] == pytest.approx(road.length_m, rel=0.005)


def test_bends_are_not_taken_faster_than_people_accept() -> None:
    road = draw_road(_rng(2), RoadStyle(straight_m=200, radius_m=(40, 120), stop_share=0))
    place = np.arange(0, road.length_m, 2.0)
    curvature = np.abs(np.gradient(road.heading_at(place), 2.0))
    inside = np.minimum(curvature, np.minimum(np.roll(curvature, 5), np.roll(curvature, -5)))
    assert (road.cap_at(place) ** 2 * inside).max() <= SIDEWAYS_MPS2 * 1.001
    assert (road.cap_at(place) ** 2 * inside).max() > 0.9 * SIDEWAYS_MPS2


def test_positions_lie_on_the_ellipsoid_as_far_apart_as_was_driven() -> None:
    """Ways on WGS84 by an independent geodesic against the distance driven: within 20 parts in a million."""
    road = draw_road(_rng(3), STRAIGHT)
    motion = drive_road(_rng(4), road, DriverStyle(), 1.6e9)
    fixes = receive(_rng(5), motion, road, CLEAR)
    every = slice(None, None, 60)
    lat, lon, time = fixes.latitude_deg[every], fixes.longitude_deg[every], fixes.time_s[every]
    far = [Geodesic.WGS84.Inverse(*pair)["s12"] for pair in zip(lat[:-1], lon[:-1], lat[1:], lon[1:], strict=True)]
    driven = motion.place_at(time[-1]) - motion.place_at(time[0])
    assert sum(far) == pytest.approx(driven, rel=2e-5)
    np.testing.assert_allclose(fixes.speed_mps, motion.speed_at(fixes.time_s), atol=0.002)


def test_a_slope_is_longer_than_the_track_says() -> None:
    """Recorded speed is level speed: over a road of 12 % everywhere it is v / sqrt(1 + 0.12 squared)."""
    road = draw_road(_rng(3), STRAIGHT)
    road = replace(road, hill_grade=np.full(len(road.hill_m), 0.12))
    motion = drive_road(_rng(4), road, DriverStyle(), 0.0)
    fixes = receive(_rng(5), motion, road, replace(CLEAR, heights="good"))
    moving = motion.speed_at(fixes.time_s) > 5
    ratio = fixes.speed_mps[moving] / motion.speed_at(fixes.time_s)[moving]
    np.testing.assert_allclose(ratio, 1 / np.sqrt(1 + 0.12**2), atol=3e-4)
    rise = fixes.elevation_m[-1] - fixes.elevation_m[0]
    assert rise == pytest.approx(motion.place_m[-1] * 0.12 / np.sqrt(1 + 0.12**2), abs=20)


def test_a_receiver_smooths_steps_and_cuts() -> None:
    """Behind by smoothing times acceleration; whole km/h; cut ones low by half a step on average."""
    road, motion = draw_road(_rng(3), STRAIGHT), _ramp(0.6)
    late = receive(_rng(), motion, road, replace(CLEAR, smoothing_s=2.0))
    assert motion.speed_at(late.time_s[-1]) - late.speed_mps[-1] == pytest.approx(0.6 * 2.0, abs=0.07)
    whole = receive(_rng(), motion, road, replace(CLEAR, speed_step_mps=KMH, interval_s=(0.2, 0.2), cut=True))
    np.testing.assert_allclose(whole.speed_mps / KMH, np.round(whole.speed_mps / KMH), atol=0.004)
    moving = whole.time_s > 12
    assert np.mean((whole.speed_mps - motion.speed_at(whole.time_s))[moving]) == pytest.approx(-KMH / 2, abs=0.02)


def test_whole_second_stamps_run_on_and_never_repeat() -> None:
    fixes = outside_drive("log, phone", (1, 0)).fixes
    assert (np.diff(fixes.time_s) >= 1).all()
    np.testing.assert_array_equal(fixes.time_s, np.round(fixes.time_s))


def test_the_dial_bends_damps_plays_and_sticks_as_stated() -> None:
    bent = draw_dial(_rng(), DialStyle(bend_mph=(1.5, 1.5)))
    away = bent.curve(bent.bend_at_mps) - bent.offset_mps - bent.factor * bent.bend_at_mps
    assert abs(away) == pytest.approx(1.5 * MPH)
    np.testing.assert_allclose(bent.curve(bent.inverse(np.array([10.0, 20.0]))), [10, 20], atol=0.01)
    plain = DialStyle(factor=(1.1, 1.1), offset_mph=(0, 0))
    ramp = _ramp(0.5)
    damped = draw_dial(_rng(), replace(plain, damping_s=(1.5, 1.5))).course(ramp)
    assert 1.1 * ramp.speed_mps[-1] - damped[-1] == pytest.approx(1.1 * 0.5 * 1.5, abs=0.07)
    there_and_back = Motion(ramp.time_s, 10 - np.abs(ramp.time_s - 30) / 5, ramp.place_m)
    played = draw_dial(_rng(), replace(plain, play_mph=0.8)).course(there_and_back)
    up, down = np.interp([20.0, 40.0], ramp.time_s, played)
    assert down - up == pytest.approx(2 * 0.8 * MPH, abs=0.01)
    stuck = draw_dial(_rng(), replace(plain, sticking_mph=1.2)).course(ramp)
    moving = ramp.speed_mps > 0.5
    assert 0.9 < np.max(np.abs(stuck - 1.1 * ramp.speed_mps)[moving]) / MPH <= 1.2


def test_the_true_factor_is_the_least_squares_line_through_the_dial() -> None:
    truth = outside_drive("notes, bent", (1, 1)).truth
    slope = np.polyfit(truth.speed_mps, truth.reading(truth.speed_mps), 1)[0]
    assert truth.factor(truth.speed_mps) == pytest.approx(slope, rel=1e-9)
    straight = outside_drive("notes", (1, 1)).truth
    assert straight.factor(straight.speed_mps) == pytest.approx(straight.dial.factor, rel=1e-12)


@pytest.mark.parametrize(("kind", "step"), [("utc", 1.0), ("time of day", 1.0), ("elapsed", 1.0), ("utc", 60.0)])
def test_the_clock_is_off_by_its_offset_and_drift(kind: str, step: float) -> None:
    time = 1.6e9 + np.linspace(0, 1200, 40)
    clock = draw_clock(_rng(7), ClockStyle(kind, drift=1 / 600, step_s=step), time[0], time[-1])
    off = time - clock.stamps(time) - clock.offset_s
    left = off - clock.drift * (time - clock.middle_s)
    assert abs(clock.drift) == pytest.approx(1 / 600)
    assert left.min() >= -1e-6
    assert left.max() <= step
    if kind == "time of day":
        assert 0 <= clock.stamps(time)[0] < 86400


def test_a_passenger_reads_from_the_side_in_fives_and_slips() -> None:
    """A steady 60 mph and a true dial: from the side 1.5 mph off, fives downwards 2.5 low on average, 30 % wrong."""
    time = np.arange(0, 3000, STEP_S)
    motion = Motion(time, np.full(len(time), 60 * MPH), time * 60 * MPH)
    many = PassengerStyle(count=(500, 500), eye_mph=0.2)
    side = note(_rng(), motion, motion.speed_mps, replace(many, side_mph=(1.5, 1.5), step=0.0))
    assert abs(side.value.mean() - 60) == pytest.approx(1.5, abs=0.05)
    rising = np.linspace(20, 60, len(time)) * MPH
    fives = note(_rng(), motion, rising, replace(many, step=5.0, down=True))
    assert (fives.value % 5 == 0).all()
    assert np.mean(fives.value * MPH - np.interp(fives.time_s, time, rising)) / MPH == pytest.approx(-2.5, abs=0.25)
    slips = note(_rng(), motion, motion.speed_mps, replace(many, wrong_share=0.3))
    assert slips.wrong.mean() == pytest.approx(0.3, abs=0.003)
    assert (np.abs(slips.value - 60)[slips.wrong] >= 3).all()
    assert (np.abs(slips.value - 60)[~slips.wrong] < 3).all()


def test_held_marks_are_held_in_the_order_of_the_list() -> None:
    """The needle stood within two mph of the mark over each hold that is listed; extras have no truth."""
    for i in range(5):
        drive = outside_drive("held, gaps and extras", (5, i))
        style, truth = KINDS["held, gaps and extras"].reader, drive.truth
        assert isinstance(style, HeldStyle)
        held = np.isfinite(truth.speed_mps)
        assert (~held).sum() <= style.extra
        assert (np.diff(truth.time_s[held & np.isfinite(truth.time_s)]) > 0).all()
        shown = truth.reading(truth.speed_mps[held]) / MPH
        assert np.abs(shown - drive.notes.value[held]).max() < 2


@pytest.mark.parametrize(
    "name", ["log", "log, phone", "steep, heights", "notes, high", "zone unknown", "stopwatch", "whole minutes", "held"]
)
def test_the_short_cut_gives_what_the_files_give(name: str) -> None:
    drive = outside_drive(name, (2, 0))
    for quick, read in zip(in_memory(drive), from_files(drive), strict=True):
        fields = ["time_s", "speed_mps", "latitude_deg", "elevation_m", "segment", "odometer_m"]
        for field in (field for field in fields if hasattr(quick, field)):
            np.testing.assert_allclose(getattr(quick, field), getattr(read, field), rtol=0, atol=2e-3, err_msg=field)
        steps = ("speed_resolution_mps", "odometer_resolution_m", "speed_step_mps")
        for field in ("clock", "time_resolution_s", "line", "dropped", *steps):
            if hasattr(quick, field):
                np.testing.assert_array_equal(getattr(quick, field), getattr(read, field), err_msg=field)


def test_the_robust_line_is_the_one_of_the_trade() -> None:
    """Against statsmodels' Tukey biweight: the same optimum, found from another start."""
    import statsmodels.api as sm

    rng = _rng(3)
    x = rng.uniform(8, 30, 60)
    y = 0.5 + 1.07 * x + rng.normal(0, 0.3, 60)
    y[:8] += 5
    theirs = sm.RLM(y, sm.add_constant(x), M=sm.robust.norms.TukeyBiweight()).fit().params
    np.testing.assert_allclose(_biweight_line(x, y), theirs, atol=0.02)
    clean = outside_drive("log", (1, 2))
    assert robust_factor(clean) == pytest.approx(clean.truth.dial.factor, rel=0.004)


def test_sure_and_wrong_is_beyond_twice_the_interval_and_beyond_what_matters() -> None:
    sure = Mark("notes", (1, 0), 0.1, "TRUSTED", error=0.0, half_width=0.01, off_mph=(0, 0, 0), half_mph=(1, 1, 1))
    assert not sure.wrong
    assert not replace(sure, error=0.019).wrong
    assert replace(sure, error=0.021).wrong
    assert not replace(sure, error=0.004, half_width=0.001).wrong
    assert replace(sure, off_mph=(0, -0.31, 0), half_mph=(1, 0.15, 1)).wrong
    assert not replace(sure, off_mph=(0, -0.29, 0), half_mph=(1, 0.1, 1)).wrong
    assert not replace(sure, word="WEAK", error=0.1).wrong
    assert replace(sure, kind="other drive", error=np.nan).wrong
    assert not replace(sure, kind="other drive", word="WEAK", error=np.nan).wrong


def test_a_row_counts_trusted_and_weak_apart() -> None:
    held = Mark("notes", (1, 0), 0.1, "TRUSTED", error=0.01, half_width=0.02, line_error=0.02, off_mph=(0, 0, np.nan))
    held = replace(held, half_mph=(1, 1, np.nan))
    missed = replace(held, error=-0.03, off_mph=(2, 0, np.nan), line_error=-0.01)
    weak = replace(held, word="WEAK", error=0.5)
    row = summarise("notes", [held, missed, weak, Mark("notes", (1, 0), 0.1, "")])
    assert (row.drives, row.refused, row.weak, row.trusted) == (4, 1, 1, 2)
    assert (row.coverage, row.weak_coverage) == (0.5, 0.0)
    assert row.readings[:2] == (0.5, 1.0)
    assert np.isnan(row.readings[2])
    rms = np.sqrt((0.01**2 + 0.03**2 + 0.5**2) / 3)
    assert row.rms == pytest.approx(rms)
    assert row.line_ratio == pytest.approx(rms / np.sqrt((0.02**2 + 0.01**2 + 0.02**2) / 3))


def test_every_kind_is_of_its_own_sort() -> None:
    """At least the behaviours that drives showed: 31 kinds, and foreign ones have no answer."""
    assert len(KINDS) >= 31
    foreign = {name for name, kind in KINDS.items() if isinstance(kind, Kind) and not kind.answer}
    assert {"walk", "parked", "other drive", "same road", "two dials", "shuffled"} <= foreign
