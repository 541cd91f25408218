"""A reading that the slope rests on may be the wrong one: by the Gaussian model in full, and against truth."""

from __future__ import annotations

from dataclasses import replace
from itertools import product

import numpy as np
import pytest
from support.roads import plateaus, readings_of, track_of

import speedcal
from speedcal.calibration.checked.fit_checks import calibrate_checks
from speedcal.calibration.dial.curve import deviation_covariance, deviation_sizes, driven_points
from speedcal.calibration.dial.dial_mixture import Basis, Laid
from speedcal.calibration.noted.slips import with_slips
from speedcal.calibration.result import Calibration
from speedcal.calibration.tuning.general import FACTOR_PRIOR_U, OFFSET_SHARES, OFFSET_SIZES_MPS, SLIP_MPS
from speedcal.calibration.tuning.notes import LINE_SCATTERS_MPS, SCATTER_LOG_SD, SCATTER_MPS
from speedcal.interval import FloatArray
from speedcal.logs.checks.checks import Checks
from speedcal.units import MPH_MPS

FAST = np.array([24.0, 24.6, 25.3, 25.9, 26.4, 27.1, 27.8, 28.2])
WRONG_SHARE = 0.05


def _laid(slow_mps: float, off_mps: float) -> Laid:
    """Return eight readings at highway speeds and one at a slow speed, which is off besides; no runs, no play."""
    speed = np.append(FAST, slow_mps)
    shown = 1.03 * speed + 0.2 * np.sin(7.0 * np.arange(9))
    shown[-1] += off_mps
    nothing = np.zeros(9)
    return Laid(1.0, speed, shown, np.ones(9), np.full(9, 0.02), np.full(9, -1), nothing, nothing)


def _log_joint(speed: FloatArray, rest: FloatArray, driven: FloatArray, *, slip: bool) -> float:
    """Return the log density of readings over all nodes of the prior, the last of them off by a slip or right."""
    design = np.column_stack([np.ones(len(speed)), speed])
    curve = deviation_covariance(speed, speed, driven)
    sizes, shares = deviation_sizes()
    scatters = np.array(LINE_SCATTERS_MPS)
    scatter_share = np.exp(-0.5 * (np.log(scatters / SCATTER_MPS) / SCATTER_LOG_SD) ** 2)
    scatter_share /= scatter_share.sum()
    slipped = slip & (np.arange(len(speed)) == 8)
    logs = []
    for (size, share), (offset, of_offset), (scatter, of_scatter) in product(
        zip(sizes, shares, strict=True),
        zip(OFFSET_SIZES_MPS, OFFSET_SHARES, strict=True),
        zip(scatters, scatter_share, strict=True),
    ):
        own = np.where(slipped, SLIP_MPS**2, 0.02 + scatter**2)
        line = design @ np.diag([offset**2, FACTOR_PRIOR_U**2]) @ design.T
        covariance = line + size**2 * curve + np.diag(own)
        log = -0.5 * (rest @ np.linalg.solve(covariance, rest) + np.linalg.slogdet(covariance)[1])
        logs.append(log + np.log(share * of_offset * of_scatter))
    return float(np.logaddexp.reduce(logs))


@pytest.mark.parametrize("off_mph", [0.0, 5.0, -10.0])
def test_the_odds_of_a_slip_are_those_of_the_gaussian_model_written_out_in_full(off_mph: float) -> None:
    """Shapes of the curve that are left out carry little: of odds that go from 0.01 to 400, 5 % is allowed."""
    way = _laid(11.0, off_mph * MPH_MPS)
    basis = Basis.driven_at(way.speed_mps)
    kept, without = with_slips([way], basis, WRONG_SHARE)
    driven, rest = driven_points(way.speed_mps), way.shown_mps - way.speed_mps
    right, slip = (_log_joint(way.speed_mps, rest, driven, slip=slip) for slip in (False, True))
    odds = WRONG_SHARE / (1 - WRONG_SHARE) * np.exp(slip - right)
    assert without.weight / kept.weight == pytest.approx(odds, rel=0.05)
    assert kept.weight + without.weight == pytest.approx(1.0)
    assert len(without.speed_mps) == 8
    assert len(kept.speed_mps) == 9


def test_readings_that_share_the_slope_are_left_as_they_are() -> None:
    way = replace(_laid(11.0, 0.0), speed_mps=np.linspace(10.0, 28.0, 9))
    assert with_slips([way], Basis.driven_at(way.speed_mps), WRONG_SHARE) == [way]


@pytest.mark.parametrize("slip_mph", [-10.0, -5.0, 0.0, 5.0, 10.0])
def test_a_slow_note_that_was_a_slip_makes_no_sure_and_wrong_dial(slip_mph: float) -> None:
    """One note at 30 mph beside sixteen from 54 to 64: held at both, and as narrow as ever where it is right."""
    fast = [56.0, 64.0, 54.0, 61.0, 58.0, 63.0, 55.0, 60.0]
    road = plateaus([30.0, *fast])
    middles = (road.corner_s[2:-1:2] + road.corner_s[3::2])[:9] / 2
    times = np.append(np.concatenate([middles[1:] - 12.0, middles[1:] + 9.0]), middles[0])
    scatter = np.random.default_rng(2).normal(0.0, 0.4 * MPH_MPS, len(times))
    readings = readings_of(road, times, factor=1.05)
    shown = readings.speed_mps + scatter
    shown[np.argmin(readings.speed_mps)] += slip_mph * MPH_MPS
    result = speedcal.calibrate(track_of(road, noise_mps=0.05), replace(readings, speed_mps=shown))
    for speed in (30 * MPH_MPS, 58 * MPH_MPS):
        off = abs(float(result.indicated(speed)) - 1.05 * speed)
        assert off < float(result.half_width(speed))
    told = [finding.values["line"] for finding in result.findings if finding.code == "rests_on_one"]
    used = result.readings[result.readings["used"]].set_index("line")["ground_mps"]
    assert told == ([used.idxmin()] if used.min() < 40 * MPH_MPS else [])
    if not slip_mph:
        assert result.trust.word == "TRUSTED"
        assert float(result.half_width(30 * MPH_MPS)) < 1.3 * MPH_MPS


def _checked(slip_mph: float, seed: int) -> tuple[Calibration, float]:
    """Return the dial through ten checks at highway speeds and one at 30 mph, and what it truly shows there. [m/s]."""
    rng = np.random.default_rng([seed, 31])
    offset, factor = rng.uniform(-1, 1), rng.uniform(0.95, 1.1)
    true = np.append(rng.uniform(54, 62, 10), 30.0)
    shown = np.round(offset + factor * true + rng.normal(0, 0.4, 11))
    shown[-1] += slip_mph
    nothing = np.full(11, np.nan)
    checks = Checks(
        dial_mps=shown * MPH_MPS,
        true_mps=true * MPH_MPS,
        u_true_mps=np.full(11, 0.1 * MPH_MPS),
        odometer_m=nothing,
        distance_m=nothing,
        line=np.arange(2, 13),
        dial_step_mps=MPH_MPS,
        odometer_step_m=np.nan,
        u_common=0.0,
        speed_unit="mph",
    )
    return calibrate_checks(checks), (offset + factor * 30.0) * MPH_MPS


@pytest.mark.parametrize("slip_mph", [-5.0, 0.0, 5.0, 7.0])
def test_one_check_far_from_all_others_makes_no_sure_and_wrong_dial(slip_mph: float) -> None:
    """Taken to be right whatever it says, five mph of a slip are TRUSTED in half of the owners and held in none."""
    answers = [_checked(slip_mph, seed) for seed in range(8)]
    at = 30 * MPH_MPS
    off = [abs(float(result.indicated(at)) - truth) / float(result.half_width(at)) for result, truth in answers]
    trusted = [result.trust.word == "TRUSTED" for result, _ in answers]
    assert np.mean(np.array(off) < 1) >= 0.75
    if slip_mph:
        assert sum(trusted) <= 2
    else:
        assert sum(trusted) >= 7
        assert np.median([float(result.half_width(at)) for result, _ in answers]) < 1.1 * MPH_MPS
