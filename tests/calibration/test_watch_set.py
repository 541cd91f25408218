"""Notes whose watch was set on the way, on drives made apart from the package; the search against enumeration."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from benchmark.outside.drive import Truth
from benchmark.outside_score import in_memory, outside_drive
from scipy import stats

import speedcal
from speedcal.calibration.noted.association import stray_density
from speedcal.calibration.noted.note_lines import Notes
from speedcal.calibration.noted.watch_steps import likeliest_step
from speedcal.calibration.readings.clock_search import Shift
from speedcal.calibration.readings.moments import moments
from speedcal.calibration.result import Calibration
from speedcal.calibration.speed.ground_speed import GroundSpeed
from speedcal.calibration.speed.speed_of_track import ground_speed
from speedcal.calibration.tuning.notes import SCATTER_MPS
from speedcal.calibration.tuning.rivals import FEWEST_ON_A_SIDE, WATCH_SET_SHARE, WATCH_STEPS_S
from speedcal.errors import AlignmentError, FitError
from speedcal.interval import FloatArray
from speedcal.simulate import simulate
from speedcal.units import MILE_M, MPH_MPS


def _set_at_the_middle(seed: int, forward_s: float, *, aside_mph: float = 0.0) -> tuple[Calibration, Truth, int]:
    """Return the answer, the truth, and the line of the first note after the watch was set."""
    drive = outside_drive("notes", (73, seed))
    track, readings = in_memory(drive)
    after = np.arange(len(readings)) >= len(readings) // 2
    time, speed = readings.time_s + forward_s * after, readings.speed_mps + aside_mph * MPH_MPS * after
    result = speedcal.calibrate(track, replace(readings, time_s=time, speed_mps=speed))
    return result, drive.truth, int(readings.line[after][0])


def _steps(result: Calibration) -> list[dict[str, float]]:
    return [row for finding in result.findings if finding.code == "clock_stepped" for row in finding.values["rows"]]


@pytest.mark.parametrize("forward_s", [20.0, 60.0, -60.0, 300.0, 3600.0])
def test_a_watch_that_is_set_on_the_way_is_found_and_all_of_the_notes_are_used(forward_s: float) -> None:
    """Told to 8 s and within two notes of the place in two of three drives and more, which are trusted.

    In one of them a clock that is 60 s off all the way lays five of six notes on the track. The factor is held in all.
    """
    found = trusted = 0
    for seed in range(3):
        result, truth, line = _set_at_the_middle(seed, forward_s)
        trusted += result.trust.word == "TRUSTED"
        for step in _steps(result):
            found += 1
            assert step["forward_s"] == pytest.approx(forward_s, abs=8.0)
            assert step["line"] == pytest.approx(line, abs=2)
            assert result.readings["used"].mean() > 0.85
        factor = truth.factor(truth.speed_mps)
        assert result.error_factor.value == pytest.approx(factor, abs=1.5 * result.error_factor.half_width)
    assert found >= 2
    assert trusted >= 3


def test_who_takes_over_with_another_watch_and_sees_the_needle_otherwise_is_not_trusted() -> None:
    """Two mph aside, and nobody knows who is right: the interval holds what either of them reads."""
    for seed in range(4):
        result, truth, _ = _set_at_the_middle(seed, 60.0, aside_mph=2.0)
        assert len(_steps(result)) == 1
        assert result.trust.word == "WEAK"
        middle = float(np.nanmedian(result.readings["ground_mps"]))
        for aside_mps in (0.0, 2 * MPH_MPS):
            away = float(result.indicated(middle)) - truth.reading(middle) - aside_mps
            assert abs(away) < float(result.half_width(middle))


@pytest.mark.parametrize("kind", ["notes", "notes, 30 % wrong", "whole minutes", "notes, sticking", "convoy"])
def test_a_watch_that_is_not_set_shows_no_step(kind: str) -> None:
    for seed in range(2):
        try:
            result = speedcal.calibrate(*in_memory(outside_drive(kind, (74, seed))))
        except AlignmentError:
            continue
        assert not _steps(result)


@pytest.mark.parametrize("kind", ["same road", "other drive", "shuffled"])
def test_foreign_notes_are_not_laid_on_the_track_by_a_step(kind: str) -> None:
    for seed in range(4):
        with pytest.raises(AlignmentError):
            speedcal.calibrate(*in_memory(outside_drive(kind, (75, seed))))


def _log_densities(ground: GroundSpeed, notes: Notes, clock_s: float, line: Shift) -> FloatArray:
    """Return the log density of each note at a clock offset by hand, one in nine being wrong."""
    second = np.rint(notes.time_s - ground.time_s[0]) + clock_s
    reach = round(notes.at.half_width_s)
    around, _, inside = ground.at(ground.time_s[0] + second[:, None] + np.arange(-reach, reach + 1))
    speed, spread = around.mean(axis=1), around.var(axis=1)
    u = np.sqrt(SCATTER_MPS**2 + notes.own_variance + line.gain**2 * spread)
    right = stats.norm.pdf(notes.indicated_mps, line.offset_mps + line.gain * speed, u)
    right = np.where(speed < 2.8, stats.norm.pdf(notes.indicated_mps, speed, 2.0), right)
    return np.asarray(np.log((8 * np.where(inside[:, reach], right, notes.stray) + notes.stray) / 9))


def test_the_price_of_a_step_is_what_counting_all_places_and_sizes_comes_to() -> None:
    """Sixteen notes, clock offsets within 100 s: every place and every pair of offsets, by enumeration.

    What the evidence of the step that was found must pay is the mean over all of them against that one alone, each
    summed over the offset before it.
    """
    drive = simulate("noted", [75, 1])
    ground = ground_speed(drive.track)
    shown, true_s = drive.readings.speed_mps[:16], drive.truth.clock_offset_s
    time = drive.readings.time_s[:16] - 40.0 * (np.arange(16) >= 7)
    at = moments(1.0, 0.2)
    u = drive.readings.speed_resolution_mps / np.sqrt(12)
    notes = Notes(time, shown, stray_density(ground, shown), at, u, np.zeros(16))

    def near(offset: FloatArray) -> FloatArray:
        return np.asarray(np.where(np.abs(offset - true_s) < 100.0, -np.log(200.0), -np.inf))

    step = likeliest_step(ground, notes, [Shift(true_s, 0.0, drive.truth.offset_mps, drive.truth.error_factor)], near)
    assert step is not None
    assert step.first == 7
    assert step.forward_s == pytest.approx(-40.0, abs=3.0)
    clocks = step.shift.offset_s + np.arange(-220.0, 221.0)
    log = np.array([_log_densities(ground, notes, clock, step.shift) for clock in clocks])
    log_prior = near(clocks)
    apart = clocks[:, None] - clocks
    size = np.abs(apart)
    least, most = WATCH_STEPS_S
    density = np.where((size >= least) & (size <= most), 1 / (2 * np.log(most / least) * np.maximum(size, 1.0)), 0.0)
    prior = (np.exp(log_prior)[:, None] + np.exp(log_prior)) / 2
    places = range(FEWEST_ON_A_SIDE, 17 - FEWEST_ON_A_SIDE)
    mass = [np.exp(log[:, :k].sum(axis=1)[:, None] + log[:, k:].sum(axis=1) + 40.0) * prior for k in places]
    every = sum((one * density).sum() for one in mass) / len(places)
    alone = mass[step.first - FEWEST_ON_A_SIDE][apart == step.forward_s].sum()
    assert step.log_paid == pytest.approx(np.log(WATCH_SET_SHARE * every / alone), abs=0.3)


@pytest.mark.parametrize("begins", [0.3, 0.5, 0.7])
@pytest.mark.parametrize("otherwise", [1.15, 1.3, MILE_M / 1000])
def test_a_dial_that_changes_on_the_way_is_not_taken_for_a_watch_that_was_set(begins: float, otherwise: float) -> None:
    """Gears in another range, another unit from a page on: no part is laid where the track tells nothing of it.

    What is in another unit tells the dial as well, once it is converted; nothing else that changes does.
    """
    for seed in range(3):
        drive = outside_drive("notes", (74, seed))
        track, readings = in_memory(drive)
        later = np.arange(len(readings)) >= begins * len(readings)
        changed = replace(readings, speed_mps=readings.speed_mps * np.where(later, otherwise, 1.0))
        try:
            result = speedcal.calibrate(track, changed)
        except (AlignmentError, FitError):
            continue
        if otherwise == MILE_M / 1000:
            told = [found.code for found in (*result.findings, *result.trust.reasons)]
            assert "two_scales" in told
            true_mps = drive.truth.speed_mps
            assert result.error_factor.contains(drive.truth.factor(true_mps[np.isfinite(true_mps)]))
        else:
            assert result.trust.word == "WEAK"
        assert not _steps(result)
