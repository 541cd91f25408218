"""Readings that something else explains better than one dial: by arithmetic written out in full, and against truth."""

from __future__ import annotations

from dataclasses import replace
from itertools import product

import numpy as np
import pytest
from benchmark.outside_score import answer, outside_drive

import speedcal
from speedcal.calibration.dial.curve import deviation_covariance, deviation_sizes, driven_points
from speedcal.calibration.dial.dial_mixture import Basis, Laid, solved
from speedcal.calibration.noted.rival_odds import SECOND_READER, RivalOdds
from speedcal.calibration.noted.rivals import kinks_of, log_strays
from speedcal.calibration.noted.two_readers import OtherReaders
from speedcal.calibration.result import Calibration
from speedcal.calibration.tuning.general import FACTOR_PRIOR_U, OFFSET_SHARES, OFFSET_SIZES_MPS
from speedcal.calibration.tuning.notes import LINE_SCATTERS_MPS, PLAY_SHARES, PLAY_SIZES_MPS, RUN_SHARE_ODDS, RUN_SHARES
from speedcal.calibration.tuning.rivals import (
    RIVAL_SHARES,
    RIVALS_TO_ONE,
    STRAY_LASTS_S,
    STRAY_MPS,
    STRAY_SCATTER_LOG_SD,
    STRAY_SCATTER_MPS,
    TWO_WATCHES_SHARE,
)
from speedcal.errors import AlignmentError
from speedcal.interval import FloatArray
from speedcal.simulate import simulate
from speedcal.units import MPH_MPS


def _laid(time: FloatArray, speed: FloatArray, shown: FloatArray, run: FloatArray | None = None) -> Laid:
    alone = np.full(len(speed), -1)
    return Laid(
        weight=1.0,
        speed_mps=speed,
        shown_mps=shown,
        widening=np.ones(len(speed)),
        known_variance=np.full(len(speed), 0.01),
        run=alone if run is None else run.astype(np.int64),
        play=np.sin(np.arange(len(speed))),
        moment_s=time,
        rounding_variance=0.016,
    )


def _log_normal(rest: FloatArray, covariance: FloatArray) -> float:
    return float(-0.5 * (rest @ np.linalg.solve(covariance, rest) + np.linalg.slogdet(covariance)[1]))


def test_the_odds_of_straying_are_those_of_the_gaussian_model_written_out_in_full() -> None:
    """Dense covariances at every node; the scatters and shapes that are left out carry little: 0.03 is allowed."""
    rng = np.random.default_rng(3)
    time = np.cumsum(rng.uniform(8, 70, 12))
    speed = rng.uniform(9, 28, 12)
    run = np.array([0, 0, -1, 1, 1, 1, -1, -1, 2, 2, -1, -1])
    way = _laid(time, speed, 1.05 * speed + rng.normal(0, 0.4, 12), run)
    design = np.column_stack([np.ones(12), speed])
    curve = deviation_covariance(speed, speed, driven_points(speed))
    same = (run[:, None] == run) & (run[:, None] >= 0)
    apart = np.abs(time[:, None] - time)
    strays = [0 * apart, *(STRAY_MPS**2 * np.exp(-apart / lasts) for lasts in STRAY_LASTS_S)]
    logs: list[list[float]] = [[] for _ in strays]
    grids = (
        LINE_SCATTERS_MPS,
        zip(RUN_SHARES, RUN_SHARE_ODDS, strict=True),
        zip(*deviation_sizes(), strict=True),
        zip(PLAY_SIZES_MPS, PLAY_SHARES, strict=True),
        zip(OFFSET_SIZES_MPS, OFFSET_SHARES, strict=True),
    )
    for s, (rho, rho_share), (size, share), (hang, hang_share), (needle, needle_share) in product(*grids):
        variance = s**2 + way.rounding_variance
        own = np.where(run >= 0, (1 - rho) * variance, variance) + way.known_variance
        line = design @ np.diag([needle**2, FACTOR_PRIOR_U**2]) @ design.T
        covariance = (
            line + size**2 * curve + hang**2 * np.outer(way.play, way.play) + np.diag(own) + rho * variance * same
        )
        prior = np.log(share * hang_share * rho_share * needle_share)
        prior -= 0.5 * (np.log(s / STRAY_SCATTER_MPS) / STRAY_SCATTER_LOG_SD) ** 2
        for log, stray in zip(logs, strays, strict=True):
            log.append(_log_normal(way.shown_mps - speed, covariance + stray) + prior)
    evidence = [np.logaddexp.reduce(log) for log in logs]
    expected = np.logaddexp.reduce(evidence[1:]) - np.log(len(strays) - 1) - evidence[0]
    assert log_strays(way, Basis.driven_at(speed)) == pytest.approx(expected, abs=0.03)


def test_errors_that_last_are_told_from_errors_of_their_own() -> None:
    """30 readings 20 s apart that err by 1.2 mph, for a minute together or each by itself, and by 0.5 mph."""
    rng = np.random.default_rng(4)
    lasting, alone, usual = [], [], []
    for _ in range(20):
        time = np.cumsum(rng.uniform(10, 30, 30))
        speed = rng.uniform(10, 28, 30)
        together = np.exp(-np.abs(time[:, None] - time) / 60)
        for odds, scatter, root in (
            (lasting, 1.2, np.linalg.cholesky(together)),
            (alone, 1.2, np.eye(30)),
            (usual, 0.5, np.eye(30)),
        ):
            error = scatter * MPH_MPS * root @ rng.standard_normal(30)
            odds.append(log_strays(_laid(time, speed, 1.04 * speed + error), Basis.driven_at(speed)))
    assert np.median(lasting) > np.quantile(alone, 0.9)
    assert max(usual) < 0


def _rests(time: FloatArray, speed: FloatArray, shown: FloatArray) -> tuple[float, float]:
    way, basis = _laid(time, speed, shown), Basis.driven_at(speed)
    return kinks_of(way, basis, solved(way, basis)).rests_mps


@pytest.mark.parametrize("end", ["bottom", "top"])
def test_the_end_at_which_a_needle_rests_is_found(end: str) -> None:
    """Six of twenty readings lie up to 8 mph beyond it: to 3 mph of where it is; of a needle that never rests, none."""
    rng = np.random.default_rng(6)
    found = 0
    for _ in range(20):
        speed = rng.permutation(np.concatenate([rng.uniform(12, 20, 6), rng.uniform(21, 60, 14)])) * MPH_MPS
        ends = (20 * MPH_MPS, np.inf)
        if end == "top":
            speed, ends = 75 * MPH_MPS - speed, (-np.inf, 55 * MPH_MPS)
        error = 0.4 * MPH_MPS * rng.standard_normal(20)
        time = np.cumsum(rng.uniform(20, 60, 20))
        assert _rests(time, speed, 0.95 * speed + error) == (-np.inf, np.inf)
        found += _rests(time, speed, 0.95 * np.clip(speed, *ends) + error) == pytest.approx(ends, abs=3 * MPH_MPS)
    assert found >= 18


def test_a_speed_held_for_long_and_read_alike_is_no_end_of_a_scale() -> None:
    """Held at 70 mph it wanders by 0.7 mph to either side, as a cruise control does, and the needle shows 66 of it."""
    for seed in range(40):
        rng = np.random.default_rng(seed)
        speed = np.concatenate((rng.uniform(38, 60, 12), rng.uniform(69.3, 70.7, 10))) * MPH_MPS
        shown = np.where(speed > 69 * MPH_MPS, 66.5 * MPH_MPS, 0.95 * speed + rng.normal(0, 0.3 * MPH_MPS, 22))
        assert _rests(rng.permutation(22) * 40.0, speed, shown) == (-np.inf, np.inf)


def test_the_interval_is_that_of_one_reader_and_of_two_by_their_odds() -> None:
    """All odds written out: two watches at 2 to 1, two dials at 1 to 4, strays at 3 to 1, before their shares."""
    others = OtherReaders(watches=np.log(2.0), dials=np.log(0.25), apart_mps2=0.3)
    odds = RivalOdds({"two_readers": others.two, "large_scatter": np.log(3.0)}, others)
    share = RIVAL_SHARES["two_readers"]
    watches, dials = share * TWO_WATCHES_SHARE * 2.0, share * (1 - TWO_WATCHES_SHARE) * 0.25
    two = watches / (1 / RIVALS_TO_ONE + watches + dials + RIVAL_SHARES["large_scatter"] * 3.0)
    assert odds.covariances(np.arange(3.0))[SECOND_READER] == pytest.approx(np.full((3, 3), 0.3 * two))
    assert RivalOdds(odds.log, None).covariances(np.arange(3.0)) == {}


def _noted(seed: int, *, apart_mph: float) -> tuple[Calibration, float]:
    """Return notes of which each second is somebody else's, whose watch is 10 s late, and how far 50 mph is off."""
    drive = simulate("noted", [83, seed])
    time, speed = drive.readings.time_s.copy(), drive.readings.speed_mps.copy()
    if apart_mph:
        time[1::2] += 10.0
        speed[1::2] += apart_mph * MPH_MPS
    result = speedcal.calibrate(drive.track, replace(drive.readings, time_s=time, speed_mps=speed))
    at = 50 * MPH_MPS
    return result, float(result.indicated(at)) - drive.truth.offset_mps - drive.truth.error_factor * at


def test_what_a_second_reader_sees_otherwise_is_in_the_interval_by_half() -> None:
    """1.5 mph apart: the answer is drawn by 0.75, and the line of the budget says so to 30 %; one reader has none.

    Intervals of 95 % hold in seven of eight and more.
    """
    held, told, alone = [], [], []
    for seed in range(8):
        result, off = _noted(seed, apart_mph=1.5)
        held.append(abs(off) < float(result.half_width(50 * MPH_MPS)))
        told.append(_second_reader(result))
        alone.append(_second_reader(_noted(seed, apart_mph=0.0)[0]))
    assert sum(held) >= 7
    assert np.median(told) == pytest.approx(0.75 * MPH_MPS, rel=0.3)
    assert np.median(alone) < 0.1 * MPH_MPS


def _second_reader(result: Calibration) -> float:
    return next(line.u_indicated_mps for line in result.budget if line.component == SECOND_READER)


def test_notes_of_a_needle_that_rests_just_above_a_few_speeds_are_left_out() -> None:
    """A dial that shows 5 % less rests at 33.5 mph, on a drive from 25 mph on: its factor was 8 % too small."""
    drive = simulate("noted", [75, 4])
    true = drive.truth.reading_ground_mps
    read = np.random.default_rng(4).normal(np.maximum(0.95 * true, 33.5 * MPH_MPS), 0.4 * MPH_MPS)
    result = speedcal.calibrate(drive.track, replace(drive.readings, speed_mps=np.round(read / MPH_MPS) * MPH_MPS))
    assert "needle_at_stop" in {finding.code for finding in result.findings}
    assert result.error_factor.contains(0.95)
    assert result.readings["used"].to_numpy()[0.95 * true > 34.5 * MPH_MPS].mean() > 0.9


def test_notes_of_a_needle_at_its_top_stop_are_left_out() -> None:
    """The needle of a dial that shows 5 % more rests at 50 mph: at 45 it shows 47.25, within what is stated."""
    drive = simulate("noted", [82, 1])
    read = np.minimum(1.05 * drive.truth.reading_ground_mps, 50 * MPH_MPS)
    read = np.random.default_rng(1).normal(read, 0.3 * MPH_MPS)
    result = speedcal.calibrate(drive.track, replace(drive.readings, speed_mps=np.round(read / MPH_MPS) * MPH_MPS))
    pinned = 1.05 * drive.truth.reading_ground_mps > 51 * MPH_MPS
    assert "needle_at_stop" in {finding.code for finding in result.findings}
    assert not result.readings["used"].to_numpy()[pinned].any()
    assert result.readings["used"].to_numpy()[~pinned].mean() > 0.8
    at = 45 * MPH_MPS
    assert abs(float(result.indicated(at)) - 1.05 * at) < float(result.half_width(at))


def test_notes_beside_a_track_with_gaps_are_not_taken_for_those_of_two_watches() -> None:
    """A third of such files were; one of plain notes in forty is."""
    doubted = 0
    for number in range(8):
        try:
            doubted += "track_gaps" in answer(outside_drive("notes, track thinned", (350, number))).trust.codes
        except AlignmentError:
            continue
    assert doubted <= 1
