"""A small run of the benchmark with fixed seeds: the statistics must stay in their bands.

Every band is the claim widened by sampling error alone, so that a method that meets its claim fails by chance about
once in a thousand seeds (and the seeds are fixed): for a share, the 0.1 % and 99.9 % points of the binomial at the ends
of the claim; for an rms error, the claim times ``sqrt(chi2_n(99.9 %) / n)``; for the width of the intervals, the mean
of ``(error / standard uncertainty)^2`` within chi-square of the number of drives.
"""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest
from benchmark.judge import Row, Score, drives_of, judge, summarise
from scipy import stats

from speedcal.simulate import KINDS

DRIVES = 16
SEED = 2
LOGGED, NOTED = ("logged", "gaps", "5 Hz"), ("noted", "elapsed", "zone unknown")
RATIO = {LOGGED: 1.15, NOTED: 1.05, ("wrong readings",): 1.15, ("needle offset",): 1.3, ("held speeds",): 1.3} | {
    ("whole minutes",): 1.3
}
"""Claimed rms error over the bound, kinds of one claim together."""
PER_CENT = {"positions only": 0.22, "odometer": 1.31}
"""Claimed rms error of the factor; beside an odometer the pointer is judged as noted."""
CLOCK_MEDIAN_S = {**dict.fromkeys(LOGGED, 0.05), "positions only": 0.1, **dict.fromkeys(NOTED, 1.0)}


@cache
def _scores(kind: str) -> tuple[Score, ...]:
    return tuple(judge(*one, with_trade=False) for one in drives_of(kind, seed=SEED, drives=DRIVES))


def _answered(kinds: tuple[str, ...]) -> list[Score]:
    return [score for kind in kinds for score in _scores(kind) if not score.refusal]


def _row(kinds: tuple[str, ...]) -> Row:
    return summarise(" and ".join(kinds), [score for kind in kinds for score in _scores(kind)])


def _widened(n: int) -> float:
    return float(np.sqrt(stats.chi2.ppf(0.999, n) / n))


@pytest.mark.parametrize("kinds", RATIO, ids=" and ".join)
def test_the_factor_is_as_close_to_the_bound_as_claimed(kinds: tuple[str, ...]) -> None:
    row = _row(kinds)
    assert row.ratio < RATIO[kinds] * _widened(row.drives - row.refused)


@pytest.mark.parametrize("kind", PER_CENT)
def test_the_factor_is_as_good_as_claimed_in_per_cent(kind: str) -> None:
    row = _row((kind,))
    assert 100 * row.rms < PER_CENT[kind] * _widened(row.drives - row.refused)


def test_intervals_of_all_kinds_together_hold_the_truth_as_often_as_they_say() -> None:
    """Claim: between 0.93 and 0.98, of the factor and of the reading at 50 mph."""
    answered = _answered(tuple(KINDS))
    low, high = stats.binom.ppf(0.001, len(answered), 0.93), stats.binom.ppf(0.999, len(answered), 0.98)
    assert low <= sum(score.held for score in answered) <= high
    assert low <= sum(score.held_at_50_mph for score in answered) <= high


@pytest.mark.parametrize("kind", KINDS)
def test_intervals_of_every_kind_are_neither_too_narrow_nor_too_wide(kind: str) -> None:
    """The mean of (error / u)^2 is 1 when u is right; a u off by a quarter is allowed on top of chance, no more."""
    answered = _answered((kind,))
    normal = np.array([1.96 * score.error / score.half_width for score in answered])
    n = len(answered)
    assert stats.chi2.ppf(0.001, n) / n / 1.25**2 < np.mean(normal**2) < stats.chi2.ppf(0.999, n) / n * 1.25**2


@pytest.mark.parametrize("kind", CLOCK_MEDIAN_S)
def test_the_clock_is_found_as_closely_as_claimed(kind: str) -> None:
    """At least half of the errors are below the claimed median, less what a binomial allows."""
    clock = np.abs([score.clock_error_s for score in _answered((kind,))])
    assert (clock <= CLOCK_MEDIAN_S[kind]).sum() >= stats.binom.ppf(0.001, len(clock), 0.5)


@pytest.mark.parametrize("kind", ["zone unknown", "held speeds", "elapsed", "noted", "wrong readings"])
def test_no_answer_stands_on_the_wrong_hour_or_the_wrong_plateaus(kind: str) -> None:
    assert not [score.seed for score in _scores(kind) if score.wrong_answer]


@pytest.mark.parametrize("kind", KINDS)
def test_a_drive_that_carries_an_answer_is_not_refused(kind: str) -> None:
    """Fewer than a tenth of such drives may be refused, one in sixteen by chance more; held speeds a fifth."""
    refused = sum(bool(score.refusal) for score in _scores(kind))
    assert refused <= stats.binom.ppf(0.999, DRIVES, 0.2 if kind == "held speeds" else 0.1)


def test_the_reading_at_50_mph_is_as_close_to_its_bound_as_chance_allows() -> None:
    """Claim for noted drives: within a tenth of the bound, the prior of the offset included.

    The bound is about 0.18 mph here. No method can be much better with 22 readings: even in the middle of the speeds
    and with no error of time, 0.6 mph and a rounding to whole mph leave sqrt(0.36 + 1/12) / sqrt(22) = 0.142 mph.
    """
    row = _row(NOTED)
    assert row.ratio_at_50_mph < 1.1 * _widened(row.drives - row.refused)


def test_the_tooth_chosen_is_the_one_that_the_truth_would_choose() -> None:
    """Claim: the same, or within 0.1 % of it in worst error, in 97 % of drives; regret in the mean below 0.1 %."""
    regret = np.array([score.regret for score in _answered(tuple(KINDS))])
    assert (regret <= 0.001).sum() >= stats.binom.ppf(0.001, len(regret), 0.97)
    assert regret.mean() < 0.001
