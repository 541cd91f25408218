"""Numbers with their interval, how they are written, and exact factors of units."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from speedcal.interval import Interval, decimals_for, reached, robust_scale, tidy
from speedcal.units import LENGTH_UNIT_M, SpeedUnit, display_unit_of, parse_speed_unit, speed_from_mps


@pytest.mark.parametrize(("x", "inside"), [(1.99, False), (2.0, True), (3.0, True), (5.0, True), (5.01, False)])
def test_an_interval_contains_its_ends_and_nothing_beyond(x: float, inside: bool) -> None:
    assert Interval(3.0, 2.0, 5.0).contains(x) is inside


def test_another_unit_scales_all_three_numbers_and_a_negative_one_swaps_the_ends() -> None:
    assert Interval(3.0, 2.0, 5.0).scaled(2.0) == Interval(6.0, 4.0, 10.0)
    assert Interval(3.0, 2.0, 5.0).scaled(-2.0) == Interval(-6.0, -10.0, -4.0)
    assert Interval(3.0, 2.0, 5.0).half_width == 1.5


@pytest.mark.parametrize(
    ("u", "decimals"),
    [(0.0172, 3), (0.17, 2), (1.7, 1), (17.0, 0), (1700.0, 0), (0.0, 4), (np.inf, 4), (np.nan, 4), (1e-30, 9)],
)
def test_two_digits_of_the_uncertainty_are_written(u: float, decimals: int) -> None:
    assert decimals_for(u) == decimals


def test_an_interval_is_written_to_two_digits_of_its_standard_uncertainty() -> None:
    """A quarter of 0.3, which is 0.075; minus signs are those of a printer."""
    assert str(Interval(-1.23456, -1.38456, -1.08456)) == "−1.235 (−1.385 to −1.085)"


def test_what_rounds_to_nothing_is_written_without_a_sign() -> None:
    assert [str(tidy(x, 3)) for x in (-1e-9, -0.0, 0.0, -0.0016)] == ["0.0", "0.0", "0.0", "-0.002"]


def test_the_robust_scale_of_normal_residuals_is_their_standard_deviation() -> None:
    """Against the quantile of an independent library, and with one wild residual among ten."""
    normal_quantiles = stats.norm.ppf((np.arange(10_001) + 0.5) / 10_001)
    assert robust_scale(3.0 * normal_quantiles) == pytest.approx(3.0, rel=1e-3)
    wild = np.where(np.arange(10_001) % 10 == 0, 1e6, normal_quantiles)
    assert 1.0 < robust_scale(wild) < 1.3


def test_what_was_driven_reaches_a_little_beyond_its_ends_in_any_unit() -> None:
    """What a foot wanders is a share of the speed, not a number of some unit; a tenth more was not driven."""
    speeds = np.array([8.0, 9.7, 10.0, 20.0, 30.0, 30.3, 33.0])
    driven = [False, True, True, True, True, True, False]
    assert reached((10.0, 30.0), speeds).tolist() == driven
    assert reached((36.0, 108.0), 3.6 * speeds).tolist() == driven
    assert reached((1.0, 3.0), speeds / 10).tolist() == driven


@pytest.mark.published(
    "NIST Special Publication 811 (2008), B.8: mile per hour 0.44704 m/s, knot 1852/3600 m/s (from memory)"
)
@pytest.mark.parametrize(
    ("word", "unit", "mps", "shown_in"),
    [
        ("Mi/h", "mph", 0.44704, "mph"),
        (" km/h ", "km/h", 1 / 3.6, "km/h"),
        ("kts", "kn", 1852 / 3600, "km/h"),
        ("metres  per second", "m/s", 1.0, "km/h"),
    ],
)
def test_a_unit_of_speed_is_known_by_its_words(word: str, unit: SpeedUnit, mps: float, shown_in: str) -> None:
    assert parse_speed_unit(word) == unit
    assert speed_from_mps(60 * mps, unit) == pytest.approx(60.0, rel=1e-12)
    assert display_unit_of(unit) == shown_in


def test_a_word_that_is_no_speed_has_no_unit() -> None:
    assert parse_speed_unit("furlongs") is None


@pytest.mark.published(
    "NIST Special Publication 811 (2008), B.8: mile 1609.344 m, foot 0.3048 m, inch 0.0254 m (from memory)"
)
def test_lengths_are_exact() -> None:
    assert (LENGTH_UNIT_M["mile"], LENGTH_UNIT_M["ft"], LENGTH_UNIT_M["in"]) == (1609.344, 0.3048, 0.0254)
