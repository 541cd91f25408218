"""What the method is measured with: the bound is what an analyst who knows everything reaches, no more and no less."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from benchmark.bound import factor_bound, told
from benchmark.judge import TEETH, worst_errors
from benchmark.steady import edge_likelihood
from benchmark.trade import WAYS, trade_factors
from scipy.stats import norm

from speedcal.simulate import KINDS, Plateau, simulate
from speedcal.units import KMH_MPS, MPH_MPS

SIMPLE = ("logged", "gaps", "5 Hz", "noted", "held speeds")
SLOW = ("wrong readings", "whole minutes", "cruise control")
"""On request: the likelihood of a rounded time and of an edge are tested by themselves below."""


@pytest.mark.parametrize(
    ("kind", "drives"),
    [
        *((kind, 16) for kind in SIMPLE),
        *(pytest.param(kind, 200, marks=pytest.mark.benchmark) for kind in (*SIMPLE, *SLOW)),
    ],
)
def test_an_analyst_who_is_told_clock_and_noise_reaches_the_bound(kind: str, drives: int) -> None:
    """The sum of squares of error over bound is a chi-square: three sigma of its root are 53 % for 16 drives.

    For 200 they are 15 %. The analyst may lose a further tenth by straight lines between fixes. Fixes 5 s apart cut the
    corners of every ramp and are left out.
    """
    ratio = []
    for i in range(drives):
        drive = simulate(kind, [12, i])
        mean, covariance = told(drive)
        ratio.append((mean[1] - drive.truth.error_factor) / np.sqrt(covariance[1, 1]))
    chance = 3 / np.sqrt(2 * drives)
    assert 1 - chance < np.sqrt(np.mean(np.square(ratio))) < 1.1 * (1 + chance)


def test_the_bound_of_steady_plateaus_is_the_textbook_formula() -> None:
    """Held at 30 and 60 mph, ten readings each: u = 0.666 mph and 1 s of wander, and a needle within 1 mph.

    By hand: misreading and rounding 0.36 + 1/12 = 0.443 mph²; the wander changes by 0.8 t s of 0.4²/20 in a second
    (mean of |t| for 1.04 s is 0.83): 2 x 0.016/2 x 0.83 = 0.0133 (m/s)² = 0.067 mph², half of that about its own mean
    over the stamp. With N = 20 / 0.7² = 41 per mph², middle 45, half distance 15 mph and 1 per mph² from the needle
    the variance is (N + 1) / (N (45² + 15² + 15² N)), so u = 0.0095 (0.0103 were the needle free).
    """
    plan = [Plateau(v * MPH_MPS, 200, 10) for v in (30, 60)]
    drive = simulate("noted", 2, plan=plan, error_factor=1.0, offset_mps=0.0)
    assert factor_bound(drive) == pytest.approx(0.0095, rel=0.06)


Timed = tuple[list[float], list[float]]


def _edges(edge: np.ndarray, level: np.ndarray, fixes: Timed, readings: Timed) -> np.ndarray:
    return np.exp(
        edge_likelihood(
            edge,
            level_mps=level,
            width_mps=0.3,
            fixes=(np.array(fixes[0]), np.array(fixes[1])),
            readings=(np.array(readings[0]), np.array(readings[1])),
            noise_mps=0.08,
            wander_mps=0.05,
            scale_s=20.0,
        )
    )


def test_the_likelihood_of_an_edge_is_that_of_the_normal_distribution() -> None:
    """A value says that a normal speed lies between two edges; another much later says it again, on its own.

    A fix at the same moment first narrows the normal speed to 0.0424 m/s about 0.281 of what it measured.
    """
    edge, zero = np.linspace(-0.2, 0.1, 7), np.zeros(1)
    alone = norm.cdf((edge + 0.3) / 0.05) - norm.cdf(edge / 0.05)
    np.testing.assert_allclose(_edges(edge, zero, ([], []), ([0.0], [0])), alone, atol=0.01)
    np.testing.assert_allclose(_edges(edge, zero, ([], []), ([0.0, 400.0], [0, 0])), alone**2, atol=0.01)
    both = _edges(edge, zero, ([0.0], [0.06]), ([0.0], [0])) / _edges(
        np.array([-0.15]), zero, ([0.0], [0.06]), ([], [])
    )
    share = 0.05**2 / (0.05**2 + 0.08**2)
    middle, spread = share * 0.06, 0.05 * np.sqrt(1 - share)
    expected = norm.cdf((edge + 0.3 - middle) / spread) - norm.cdf((edge - middle) / spread)
    np.testing.assert_allclose(both, expected, atol=0.015)
    level = np.linspace(-0.09, 0.09, 7)
    unknown = np.mean([norm.cdf((edge + 0.3 - x) / 0.05) - norm.cdf((edge - x) / 0.05) for x in level], axis=0)
    np.testing.assert_allclose(_edges(edge, level, ([], []), ([0.0], [0])), unknown, atol=0.01)


def test_whole_minutes_cost_what_the_minute_hides() -> None:
    """Steady for the whole drive a minute tells as much as a second; on a busy drive it tells less."""
    plan = [Plateau(v * MPH_MPS, 300, 10) for v in (30, 45, 60)]
    steady = [factor_bound(simulate(kind, 3, plan=plan)) for kind in ("whole minutes", "noted")]
    assert steady[0] == pytest.approx(steady[1], rel=0.15)
    busy = [np.mean([factor_bound(simulate(kind, [4, i])) for i in range(10)]) for kind in ("whole minutes", "noted")]
    assert busy[0] > 1.1 * busy[1]


def test_a_position_track_is_bound_by_its_wander_and_not_by_its_many_fixes() -> None:
    """Four times the fixes leave the wander of the position what it was; Doppler would halve."""
    ratios = {}
    for kind in ("positions only", "logged"):
        ratios[kind] = np.mean([factor_bound(simulate(kind, [2, i])) for i in range(10)])
    assert ratios["positions only"] > 1.3 * ratios["logged"]


def test_usual_ways_work_on_an_easy_drive_and_fail_on_a_clock_that_is_off() -> None:
    """With the clock right the nearest-time join is good to 3 %; with the clock off by tens of seconds it is not."""
    easy = simulate(replace(KINDS["logged"], clock_range_s=0.0), 3)
    good = trade_factors(easy)
    assert all(abs(good[way] / easy.truth.error_factor - 1) < 0.03 for way in WAYS)
    hard = simulate("logged", 5)
    assert abs(hard.truth.clock_offset_s) > 10
    assert abs(trade_factors(hard)[WAYS[0]] / hard.truth.error_factor - 1) > 0.05


def test_the_best_tooth_is_found_by_trying_all() -> None:
    """Hand arithmetic: a factor of 30/29 with 29 teeth fitted is cancelled by 30 teeth exactly; nothing else is."""
    worst = worst_errors(0.0, 30 / 29)
    assert TEETH[np.argmin(worst)] == 30
    assert worst.min() == pytest.approx(0.0, abs=1e-12)
    assert worst_errors(1.0 * KMH_MPS, 1.0)[list(TEETH).index(29)] == pytest.approx(1 / 3.6 / (30 * MPH_MPS))
