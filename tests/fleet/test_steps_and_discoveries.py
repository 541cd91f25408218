"""Steps, trends and false alarms, against series whose truth is known and an independent library."""

from __future__ import annotations

import numpy as np
import pytest
from statsmodels.stats.multitest import multipletests

from speedcal.fleet.discoveries import discoveries
from speedcal.fleet.steps import Course, follow

DAY_S = 86400.0
SERIES = 300


def made(rng: np.random.Generator, shape: np.ndarray, u: float, days: np.ndarray) -> Course:
    """Return what is found in a series of drives of half an hour with this truth."""
    start = days * DAY_S
    return follow(start, start + 1800, shape * np.exp(rng.normal(0, u, len(shape))), np.full(len(shape), u))


def days_of(rng: np.random.Generator, count: int, span: float = 200.0) -> np.ndarray:
    return np.sort(rng.uniform(0, span, count))


@pytest.mark.parametrize("rate", [0.05, 0.2])
@pytest.mark.published("Benjamini and Hochberg 1995, checked against statsmodels' fdr_bh")
def test_discoveries_are_those_of_an_independent_library(rate: float) -> None:
    rng = np.random.default_rng(5)
    for count in (1, 2, 30, 500):
        p = np.concatenate([rng.uniform(0, 1, count), rng.uniform(0, 0.01, count // 5)])
        np.testing.assert_array_equal(discoveries(p, rate), multipletests(p, rate, method="fdr_bh")[0])
    assert not discoveries(np.full(4, np.nan), rate).any()


@pytest.mark.parametrize("count", [2, 4, 12])
def test_steps_are_hardly_ever_seen_where_there_are_none(count: int) -> None:
    """At odds of 20 to 1 and one vehicle in ten changed, false in under 1 of 200; over 5 of 300 has chance 0.02."""
    rng = np.random.default_rng(count)
    false = sum(bool(made(rng, np.ones(count), 0.002, days_of(rng, count)).steps) for _ in range(SERIES))
    assert false <= 5


@pytest.mark.parametrize(("percent", "u"), [(2.0, 0.0025), (-3.0, 0.005), (6.0, 0.01)])
def test_a_step_is_found_and_dated(percent: float, u: float) -> None:
    """Two drives or more on either side; its true moment lies in the interval, its size too, at the stated share."""
    rng = np.random.default_rng(17)
    found = dated = sized = 0
    for _ in range(SERIES):
        days = days_of(rng, 6)
        moment = rng.uniform(days[1] + 0.1, days[3])
        steps = made(rng, np.where(days > moment, 1 + percent / 100, 1.0), u, days).steps
        found += len(steps) == 1
        if len(steps) == 1:
            dated += steps[0].earliest_s <= moment * DAY_S <= steps[0].latest_s
            sized += steps[0].percent.contains(percent)
    assert found > 0.9 * SERIES
    assert dated > 0.94 * found
    assert sized > 0.92 * found


def test_a_sharp_step_is_dated_to_the_two_drives_about_it() -> None:
    days = np.array([0.0, 10, 20, 30, 40])
    course = made(np.random.default_rng(1), np.array([1, 1, 1, 1.04, 1.04]), 0.002, days)
    (step,) = course.steps
    assert (step.earliest_s, step.latest_s) == (20 * DAY_S + 1800, 30 * DAY_S)
    assert course.last(5) == (3, 4)


def test_wear_is_a_trend_and_no_step() -> None:
    """1 % in a year over two years of monthly drives, tires off by 0.2 % from day to day."""
    rng = np.random.default_rng(8)
    days = np.arange(24) * 30.4
    held = steps = 0
    for _ in range(SERIES):
        course = made(rng, np.exp(0.01 * days / 365.25), 0.002, days)
        steps += bool(course.steps)
        trend = course.trend_percent_a_year
        assert trend is not None
        held += trend.contains(1.0)
    assert steps <= 0.02 * SERIES
    assert 0.92 * SERIES < held < 0.98 * SERIES


def test_a_trend_goes_on_beside_a_step() -> None:
    """Worn by 1 % a year, and other tires after a year."""
    days = np.arange(24) * 30.4
    shape = np.exp(0.01 * days / 365.25) * np.where(days > 365, 0.97, 1.0)
    course = made(np.random.default_rng(3), shape, 0.0015, days)
    (step,) = course.steps
    assert step.percent.contains(-3.0)
    trend = course.trend_percent_a_year
    assert trend is not None
    assert trend.low > 0.5
    assert trend.contains(1.0)


def test_winter_and_summer_tires_are_steps_both_ways() -> None:
    days = np.arange(12) * 30.0
    shape = np.where((days > 70) & (days < 250), 1.025, 1.0)
    course = made(np.random.default_rng(4), shape, 0.003, days)
    assert [step.percent.value > 0 for step in course.steps] == [True, False]
    assert not course.odd


def test_one_drive_that_stands_apart_is_no_change() -> None:
    """A drive with a trailer, or a wrong pair of files."""
    shape = np.array([1, 1, 1, 1.05, 1, 1])
    course = made(np.random.default_rng(2), shape, 0.002, np.arange(6) * 20.0)
    assert course.steps == ()
    assert course.odd == (3,)
    assert course.last(6) == (0, 1, 2, 4, 5)
