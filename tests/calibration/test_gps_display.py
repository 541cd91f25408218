"""Readings of a GPS display among those of the dial: the odds by quadrature, and against truth."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pytest
from benchmark.outside.dial import DialStyle
from benchmark.outside.drive import generator, make_drive
from benchmark.outside.kinds import KINDS
from benchmark.outside_score import answer
from scipy import integrate, stats

import speedcal
from speedcal.calibration.noted.association import stray_density
from speedcal.calibration.noted.clock_posterior import Cells, clock_cells
from speedcal.calibration.noted.gps_display import gps_display
from speedcal.calibration.noted.note_lines import Notes
from speedcal.calibration.readings.clock_search import OFFSET_SCALE_MPS, Shift
from speedcal.calibration.readings.moments import moments
from speedcal.calibration.speed.ground_speed import GroundSpeed
from speedcal.calibration.speed.speed_of_track import ground_speed
from speedcal.calibration.tuning import rivals as tuned
from speedcal.calibration.tuning.notes import LN_FACTOR_SCALE, SCATTER_LOG_SD, SCATTER_MPS
from speedcal.calibration.tuning.rivals import GPS_IN_STRETCHES, GPS_SCATTER_MPS, GPS_SCATTERS_MPS, GPS_SHARES
from speedcal.errors import SpeedcalError
from speedcal.interval import FloatArray
from speedcal.simulate import simulate
from speedcal.units import MPH_MPS


def _to_the_second(ground: GroundSpeed, time_s: FloatArray, shown_mps: FloatArray) -> Notes:
    """Return notes of whole mph."""
    stray, u = stray_density(ground, shown_mps), MPH_MPS / np.sqrt(12)
    return Notes(time_s, shown_mps, stray, moments(1.0, 1.0), u, np.zeros(len(shown_mps)))


def _log_evidences(
    ground: GroundSpeed, notes: Notes, cells: Cells, shares: Sequence[float], scatter: float
) -> FloatArray:
    """Return the log evidence of a dial beside a display of each share at the likeliest clock offset.

    By a grid over the lines of the dial.
    """
    best = int(np.argmax(cells.log_mass))
    delay, weight = notes.at.delay_s[::2], notes.at.weight[::2] / notes.at.weight[::2].sum()
    moment = notes.time_s[:, None] + cells.clock_s[best] + delay
    speed, rate, inside = ground.at(moment)
    assert inside.all()
    own = notes.own_variance[:, None] + ground.variance_at(moment) + (0.5 * rate) ** 2 / 12
    shown = notes.indicated_mps[:, None]
    display = stats.norm.pdf(shown, speed, np.where(speed < 2.8, 2.0, np.sqrt(GPS_SCATTER_MPS**2 + own))) @ weight
    wrong = float(cells.weight @ cells.wrong_share)
    offset = cells.offset_mps[best] + np.linspace(-2.5, 2.5, 81)
    gain = cells.gain[best] + np.linspace(-0.25, 0.25, 101)
    a, b = (part[:, None, None] for part in (part.ravel() for part in np.meshgrid(offset, gain, indexing="ij")))
    variance = scatter**2 + notes.own_variance[:, None] + b**2 * (own - notes.own_variance[:, None])
    dial = stats.norm.pdf(
        shown, np.where(speed < 2.8, speed, a + b * speed), np.where(speed < 2.8, 2.0, np.sqrt(variance))
    )
    dial = dial @ weight
    prior = stats.norm.logpdf(a[:, 0, 0], scale=OFFSET_SCALE_MPS) + stats.norm.logpdf(b[:, 0, 0], 1, LN_FACTOR_SCALE)
    found = []
    for share in shares:
        either = (1 - share) * dial + share * display
        log = np.log((1 - wrong) * either + wrong * notes.stray).sum(axis=1) + prior
        density = np.exp(log - log.max()).reshape(len(offset), len(gain))
        found.append(np.log(integrate.trapezoid(integrate.trapezoid(density, gain), offset)) + log.max())
    return np.array(found)


@pytest.mark.parametrize("every", [0, 2, 4])
def test_the_odds_are_those_of_a_quadrature_over_all_lines(every: int, monkeypatch: pytest.MonkeyPatch) -> None:
    """Twenty notes, of which none, each second or each fourth is the track's speed: to 0.5 of the log."""
    drive = simulate("noted", [82, 3])
    ground, true = ground_speed(drive.track), drive.truth.reading_ground_mps
    read = np.random.default_rng(3).normal(1.06 * true, 0.4 * MPH_MPS)
    if every:
        read[::every] = true[::every]
    shown = np.round(read / MPH_MPS) * MPH_MPS
    notes = _to_the_second(ground, drive.readings.time_s, shown)
    cells = clock_cells(ground, notes, [Shift(drive.truth.clock_offset_s, 0.0, 0.0, 1.05)], np.zeros_like)

    def evidence(scatter: float) -> FloatArray:
        prior = -0.5 * (np.log(scatter / SCATTER_MPS) / SCATTER_LOG_SD) ** 2
        return _log_evidences(ground, notes, cells, [0.0, *GPS_SHARES], scatter) + prior

    alone, *both = np.transpose([evidence(scatter) for scatter in GPS_SCATTERS_MPS])
    odds = np.logaddexp.reduce(both, axis=None) - np.log(np.size(both))
    odds += np.log(len(alone)) - np.logaddexp.reduce(alone)
    assert gps_display(ground, notes, cells) >= odds + np.log(1 - GPS_IN_STRETCHES) - 0.5
    monkeypatch.setattr(tuned, "GPS_IN_STRETCHES", 1e-9)
    assert gps_display(ground, notes, cells) == pytest.approx(odds, abs=0.5)


def _doubts(seed: int, off_display: slice | None) -> set[str]:
    """Return the doubts about notes of a dial that shows 8 % more, of which some are the track's speed."""
    drive = simulate("noted", [81, seed])
    true = drive.truth.reading_ground_mps
    read = np.random.default_rng(seed).normal(1.08 * true, 0.4 * MPH_MPS)
    if off_display:
        read[off_display] = true[off_display]
    readings = replace(drive.readings, speed_mps=np.round(read / MPH_MPS) * MPH_MPS)
    try:
        return set(speedcal.calibrate(drive.track, readings).trust.codes)
    except SpeedcalError:
        return {"refused"}


@pytest.mark.parametrize("off_display", [slice(None, None, 3), slice(None, None, 5), slice(7)])
def test_readings_off_a_gps_display_among_those_of_the_dial_are_found(off_display: slice) -> None:
    """Each third or fifth, or the first seven: told wherever there is an answer, in three drives of five and more."""
    doubts = [_doubts(seed, off_display) for seed in range(5)]
    assert all({"gps_among_readings", "refused"} & codes for codes in doubts)
    assert sum("gps_among_readings" in codes for codes in doubts) >= 3


def test_each_second_reading_off_a_gps_display_is_never_trusted() -> None:
    assert all(_doubts(seed, slice(None, None, 2)) for seed in range(5))


def test_readings_of_the_dial_alone_are_not_doubted() -> None:
    assert not any(_doubts(seed, None) for seed in range(5))


@pytest.mark.parametrize(("careless_mph", "every"), [(0.05, 2), (1.2, 3)])
def test_readings_of_a_dial_that_is_right_are_off_no_display(careless_mph: float, every: int) -> None:
    """A display in whole mph, and a needle at which each third look is careless: as likely as the dial's own."""
    least = -np.log(tuned.RIVALS_TO_ONE * tuned.RIVAL_SHARES["gps_among_readings"])
    for seed in range(8):
        drive = simulate("noted", [84, seed])
        ground, rng = ground_speed(drive.track), np.random.default_rng(seed)
        true, time = (np.repeat(part, 3) for part in (drive.truth.reading_ground_mps, drive.readings.time_s))
        scatter = np.where(np.arange(len(true)) % every, min(careless_mph, 0.1), careless_mph)
        shown = np.round(rng.normal(true, scatter * MPH_MPS) / MPH_MPS) * MPH_MPS
        notes = _to_the_second(ground, time, shown)
        shift = [Shift(drive.truth.clock_offset_s, 0.0, 0.0, 1.0)]
        assert gps_display(ground, notes, clock_cells(ground, notes, shift, np.zeros_like)) < least


@pytest.mark.parametrize("seed", range(4))
def test_what_a_dial_shows_at_a_crawl_is_no_sign_of_a_display(seed: int) -> None:
    """Ten of the notes are taken in a queue, where nearly every dial shows what GPS does."""
    drive = simulate("noted", [83, seed])
    rng = np.random.default_rng(seed)
    ground, time = ground_speed(drive.track), drive.readings.time_s
    crawls = ground.time_s[(ground.speed_mps > 0.3) & (ground.speed_mps < 2.5)]
    queued = rng.choice(crawls, 10)
    moment = np.concatenate([time + drive.truth.clock_offset_s, queued])
    true = np.concatenate([drive.truth.reading_ground_mps, ground.at(queued)[0]])
    shown = np.round(rng.normal(1.02 * true, 0.3 * MPH_MPS) / MPH_MPS) * MPH_MPS
    notes = _to_the_second(ground, moment - drive.truth.clock_offset_s, shown)
    shift = [Shift(drive.truth.clock_offset_s, 0.0, 0.0, 1.02)]

    def odds(some: Notes) -> float:
        return gps_display(ground, some, clock_cells(ground, some, shift, np.zeros_like))

    assert odds(notes) == pytest.approx(odds(notes.only(np.arange(len(time)))), abs=1.5)


@pytest.mark.parametrize("kind", ["notes", "log"])
@pytest.mark.parametrize("factor", [0.5, 2.0, 4.0])
def test_a_dial_that_counts_other_pulses_is_no_display_and_no_other_vehicle(kind: str, factor: float) -> None:
    """By half, twice and four times on three drives: neither a GPS display nor a log that strays."""
    for seed in range(3):
        drive = make_drive(replace(KINDS[kind], dial=DialStyle(factor=(factor, factor))), generator(kind, (61, seed)))
        result = answer(drive)
        assert not {"gps_among_readings", "log_strays"} & set(result.trust.codes)
        assert result.error_factor.value == pytest.approx(factor, rel=0.06)
