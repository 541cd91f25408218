"""Verdicts, changes and pooled drives where the dial is a curve: held against independent libraries and known truth."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy import stats
from support.calibrations import make_calibration

from speedcal.calibration.dial.curve import dial_through
from speedcal.calibration.dial.dial import Dial
from speedcal.conformity import load_tolerance, pool, verify
from speedcal.conformity.probability import Box
from speedcal.units import MPH_MPS
from speedcal.vehicle import GainChange

SPEEDS = np.arange(25.0, 66.0, 5.0) * MPH_MPS


def smooth(speeds_mps: np.ndarray, size: float = 0.3) -> np.ndarray:
    """Return the covariance of a line's offset and factor and of a smooth bend, shape (n, n)."""
    apart = np.subtract.outer(speeds_mps, speeds_mps)
    line = 0.05 + 2e-4 * np.outer(speeds_mps - 20, speeds_mps - 20)
    return np.asarray(line + size**2 * np.exp(-(apart**2) / (2 * 6.0**2)))


def curved(bend_mph: float, *, sd: float = 0.15, offset: float = 0.0, factor: float = 1.0) -> Dial:
    """Return the dial that exact readings of a hump in the middle give; ``sd`` is the noise they are taken to have."""
    shape = np.exp(-(((SPEEDS / MPH_MPS - 45) / 8) ** 2))
    shown = offset * MPH_MPS + factor * SPEEDS + bend_mph * MPH_MPS * shape
    return dial_through(SPEEDS, shown, np.eye(len(SPEEDS)) * sd**2, used_mps=SPEEDS)


@pytest.mark.parametrize("count", [3, 5, 8])
def test_the_content_of_a_box_agrees_with_an_independent_library(count: int) -> None:
    """Normal distribution, some limits on one side only, against scipy's quadrature."""
    rng = np.random.default_rng(count)
    speeds = np.linspace(11.0, 30.0, count)
    covariance, mean = smooth(speeds), rng.normal(0.3, 0.2, count)
    low, high = np.full(count, -0.4), np.where(np.arange(count) % 3 == 1, np.inf, 1.0)
    oracle = stats.multivariate_normal(mean, covariance, maxpts=400_000, abseps=1e-5, releps=1e-5)
    found = Box(low, high, mean, covariance).probability()
    assert found == pytest.approx(oracle.cdf(high, lower_limit=low), abs=1e-3)


def test_one_and_two_speeds_are_exact() -> None:
    """To seven decimals: no lattice where there is a closed form or one quadrature."""
    speeds = np.array([15.0, 28.0])
    covariance, mean = smooth(speeds), np.array([0.1, 0.4])
    oracle = stats.multivariate_normal(mean, covariance)
    box = Box(np.array([-0.3, -0.3]), np.array([0.9, 0.9]), mean, covariance)
    assert box.probability() == pytest.approx(oracle.cdf([0.9, 0.9], lower_limit=[-0.3, -0.3]), abs=1e-7)


@pytest.mark.parametrize("rule", ["sae_j2976", "jp_148", "un_r39_type"])
def test_a_straight_dial_has_the_probability_of_its_line(rule: str) -> None:
    """Limits are half planes of (offset, factor): 400 000 draws of the line counted, four sigma."""
    tolerance = load_tolerance(rule)
    dial = make_calibration(offset=1.0, factor=1.005, u_offset=0.6, u_factor=0.012).dial
    rng = np.random.default_rng(3)
    line = dial.line
    draws = rng.multivariate_normal([line.offset_mps, line.error_factor], line.covariance, size=400_000)
    inside = np.ones(len(draws), bool)
    for speed in tolerance.speeds_mps:
        low, high = tolerance.band(speed)
        judged = draws[:, 0] + draws[:, 1] * speed if tolerance.given == "true" else (speed - draws[:, 0]) / draws[:, 1]
        inside &= (judged >= low) & (judged <= high)
    counted = inside.mean()
    found = tolerance.shown_limits(tolerance.speeds_mps).box(dial).probability()
    assert found == pytest.approx(counted, abs=4 * np.sqrt(counted * (1 - counted) / len(draws)) + 1e-9)


def test_a_hump_between_good_ends_fails_although_its_line_would_pass() -> None:
    """3 mph too much at 45 and right at both ends; the rule holds everywhere and allows 2."""
    drive = make_calibration(speed_range=(25, 65))
    bent = replace(drive, dial=curved(3.0))
    rule = {"absolute": 2, "unit": "mph"}
    result = verify(None, bent, rule)
    assert result.verdict == "fail"
    line = bent.dial.line
    straight = Dial.straight(line.offset_mps, line.error_factor, line.covariance, used_mps=SPEEDS)
    assert verify(None, replace(drive, dial=straight), rule).verdict == "pass"
    shown = {round(check.speed_mps / MPH_MPS): check.verdict for check in result.checks}
    assert (shown[25], shown[45], shown[65]) == ("pass", "fail", "pass")


@pytest.mark.parametrize("bends", [0, 1, 2])
def test_a_curve_on_its_limits_is_seldom_failed(bends: int) -> None:
    """Truths that touch both limits in turn, known as a dial is: at most 5 % of 200 road tests fail them."""
    low, high = np.full(len(SPEEDS), -0.5), np.full(len(SPEEDS), 0.5)
    truth = np.where((np.arange(len(SPEEDS)) * (bends + 1) // len(SPEEDS)) % 2 == 0, high, low)
    covariance = smooth(SPEEDS, size=0.15)
    rng = np.random.default_rng(5 + bends)
    failed = [
        Box(low, high, estimate, covariance).risk_of_false_fail() <= 0.05
        for estimate in rng.multivariate_normal(truth, covariance, size=200)
    ]
    assert np.mean(failed) <= 0.05 + 3 * np.sqrt(0.05 * 0.95 / 200)


def test_a_curve_far_beyond_a_limit_is_failed() -> None:
    """Four standard uncertainties beyond at one of nine speeds."""
    covariance = smooth(SPEEDS, size=0.15)
    estimate = np.zeros(len(SPEEDS))
    estimate[4] = 0.5 + 4 * np.sqrt(covariance[4, 4])
    box = Box(np.full(len(SPEEDS), -0.5), np.full(len(SPEEDS), 0.5), estimate, covariance)
    assert box.risk_of_false_fail() < 0.01


def test_a_limit_on_the_true_speed_is_judged_on_the_curve() -> None:
    """The rule of an indicated 40 km/h: true speed found where the curve shows it, one limit alone."""
    drive = replace(make_calibration(), dial=curved(2.0, sd=0.3))
    result = verify(None, drive, {"high_percent": 0, "given": "indicated", "unit": "mph", "speeds": [45]})
    (check,) = result.checks
    assert float(drive.dial.indicated(check.true)) == pytest.approx(45 * MPH_MPS, abs=1e-6)
    at_limit = 45 * MPH_MPS
    u = float(drive.dial.u_indicated(at_limit))
    expected = stats.norm.cdf((float(drive.dial.indicated(at_limit)) - 45 * MPH_MPS) / u)
    assert result.probability == pytest.approx(expected, abs=1e-6)


def test_the_change_of_a_bent_dial_is_found_where_its_lines_mislead() -> None:
    """A hump driven over other speeds after the work: the dial before, geared by 20/22, and nothing else."""
    from speedcal.conformity.change import compare_speed

    before = replace(make_calibration(), dial=curved(2.5, sd=0.1))
    after = replace(before, dial=replace(before.dial.geared(20 / 22), used_mps=SPEEDS))
    change = compare_speed(before, after, GainChange(20 / 22, 0.0))
    assert change.measured_change.value == pytest.approx(20 / 22, abs=1e-4)
    assert change.agrees
    assert change.offset_shift_mps is not None
    assert change.offset_shift_mps.contains(0.0)
    assert after.dial.line.error_factor / before.dial.line.error_factor != pytest.approx(20 / 22, abs=2e-3)


def test_pooled_curves_are_what_one_fit_to_all_readings_would_be() -> None:
    """Two halves of the readings of one bent dial: the reading within half its uncertainty, that to 15 %."""
    rng = np.random.default_rng(9)
    sd, v = 0.25, np.tile(SPEEDS, 6)
    shown = 0.3 + 1.05 * v + 1.0 * np.exp(-(((v / MPH_MPS - 45) / 8) ** 2)) + rng.normal(0, sd, len(v))

    def fitted(rows: slice) -> Dial:
        part = v[rows]
        return dial_through(part, shown[rows], np.eye(len(part)) * sd**2, used_mps=part)

    whole = fitted(slice(None))
    halves = [
        replace(make_calibration(speed_range=(25, 65)), dial=fitted(rows)) for rows in (slice(0, 27), slice(27, 54))
    ]
    pooled = pool(halves).dial
    u = whole.u_indicated(SPEEDS)
    assert np.all(np.abs(pooled.indicated(SPEEDS) - whole.indicated(SPEEDS)) < 0.5 * u)
    assert pooled.u_indicated(SPEEDS) == pytest.approx(u, rel=0.15)
