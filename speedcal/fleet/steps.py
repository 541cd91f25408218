"""The drives of a vehicle in order of time: steps where something was changed, apart from the slow way of wear."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from itertools import pairwise

import numpy as np

from speedcal.interval import FloatArray, IntArray, Interval

_YEAR_S = 365.25 * 86400
_LEVEL_U = 0.5
"""Standard deviation of a factor's logarithm before anything is known; too wide to matter."""
_WEAR_A_YEAR = 0.01
"""Standard deviation of what wear moves a factor by in a year: 2.5 % in the two to three years of a set of tires (8 mm
of tread off a small tire, arithmetic; the years are common practice, no source). Doubled, a step between two drives a
year apart has to be larger by half."""
_STEP_SIZE = 0.03
"""Standard deviation of a step: another size of tires or a gear's tooth moves a factor by some per cent."""
_STEP_CHANCE = 0.1
"""Chance that a vehicle was changed at all within the drives looked at. Doubled, the odds asked for halve."""
_STEP_ODDS = 20.0
"""Odds for a step, against none, from which on there is one (Kass and Raftery 1995)."""
_MOST_STEPS = 12
_SURE = 0.95
_LEVELS_AGREE = 3.0
"""Standard uncertainties within which the levels on both sides of one odd drive are one."""
_TREND_FROM_S = 30 * 86400.0


@dataclass(frozen=True, slots=True)
class Step:
    """A change between two drives."""

    first: int
    """Index of the first drive after it, at its likeliest."""
    earliest_s: float
    latest_s: float
    """Times between which it happened, with 95 % probability; seconds since 1970. [s]"""
    percent: Interval
    """What it changed the reading by. [%]"""

    @property
    def days(self) -> dict[str, str]:
        """The days between which it happened, ISO 8601, in UTC."""
        return {"earliest": iso_date(self.earliest_s), "latest": iso_date(self.latest_s)}


@dataclass(frozen=True)
class Course:
    """What happened over the drives of a vehicle."""

    steps: tuple[Step, ...] = ()
    odd: tuple[int, ...] = ()
    """Drives that stand apart from those before and after them."""
    trend_percent_a_year: Interval | None = None
    """Change besides the steps; None with fewer than three drives or less than a month."""

    @property
    def creep_percent_a_year(self) -> Interval | None:
        """The trend where it is clear that there is one."""
        trend = self.trend_percent_a_year
        return trend if trend is not None and not trend.contains(0.0) else None

    def last(self, count: int) -> tuple[int, ...]:
        """Return the indices of the drives, of so many, that show the vehicle as it is now."""
        first = self.steps[-1].first if self.steps else 0
        return tuple(i for i in range(first, count) if i not in self.odd)


def iso_date(time_s: float) -> str:
    """Return the day of a time, in UTC."""
    return datetime.fromtimestamp(time_s, UTC).date().isoformat()


def follow(start_s: FloatArray, end_s: FloatArray, factor: FloatArray, u: FloatArray) -> Course:
    """Return the steps and the trend of a vehicle's factor.

    A level, a slope as wear makes it, and a step before any drive are weighed against each other by their evidence,
    normal priors integrated; steps are added one by one as long as the odds for one more are 20 to 1.

    Parameters
    ----------
    start_s, end_s
        When each drive was made, in order, shape (n,). [s]
    factor
        What the instrument showed over the truth, shape (n,).
    u
        Its relative standard uncertainty, that of the tires from day to day with it, shape (n,).

    References
    ----------
    .. [1] R. E. Kass and A. E. Raftery, "Bayes factors," J. Am. Stat. Assoc., vol. 90, pp. 773-795, 1995.
    """
    n = len(factor)
    if n < 2:
        return Course()
    model = _Model((start_s + end_s) / 2, np.log(factor), np.asarray(u, float))
    found: list[int] = []
    base = float(model.evidence([found])[0])
    while len(found) < min(_MOST_STEPS, n - 1):
        rest = [k for k in range(1, n) if k not in found]
        trial = model.evidence([[*found, k] for k in rest])
        odds = float(np.logaddexp.reduce(trial)) + np.log(_STEP_CHANCE / (n - 1)) - base
        if odds < np.log(_STEP_ODDS):
            break
        found = model.settled([*found, rest[int(np.argmax(trial))]])
        base = float(model.evidence([found])[0])
    kept, odd = _without_odd(model, found)
    steps = tuple(_step(model, kept, i, start_s, end_s) for i in range(len(kept)))
    return Course(steps, odd, model.trend(kept, odd))


class _Model:
    """Evidence of a level, a slope and some steps for what was measured; all in logarithms of the factor."""

    def __init__(self, time_s: FloatArray, value: FloatArray, u: FloatArray) -> None:
        self.count = len(value)
        self.years = (time_s - time_s.mean()) / _YEAR_S
        self.value = (value - float(np.average(value, weights=1 / u**2))) / u
        before = np.tri(self.count)[:, 1:]
        self.rows = np.column_stack([np.ones(self.count), self.years, before]) / u[:, None]
        """Level, slope, and a step before the drive k in column k + 1; over the uncertainties, as the values are."""
        self.prior = np.array([_LEVEL_U, _WEAR_A_YEAR, *[_STEP_SIZE] * (self.count - 1)])
        scaled = self.rows * self.prior
        self.information = np.eye(len(self.prior)) + scaled.T @ scaled
        self.moment = scaled.T @ self.value

    def evidence(self, several: Sequence[Sequence[int]]) -> FloatArray:
        """Return the logarithms of the evidence of equally many steps each."""
        at = np.array([_columns(steps) for steps in several])
        information, moment = self.information[at[:, :, None], at[:, None, :]], self.moment[at]
        best = np.linalg.solve(information, moment[:, :, None])[:, :, 0]
        misfit = float(self.value @ self.value) - (moment * best).sum(axis=1)
        found: FloatArray = -0.5 * (misfit + np.linalg.slogdet(information)[1])
        return found

    def solved(self, steps: Sequence[int]) -> tuple[FloatArray, FloatArray]:
        """Return level, slope and steps at their likeliest, and their covariance."""
        at = _columns(steps)
        covariance = np.linalg.inv(self.information[np.ix_(at, at)])
        prior = self.prior[at]
        return covariance @ self.moment[at] * prior, covariance * np.outer(prior, prior)

    def settled(self, steps: Sequence[int]) -> list[int]:
        """Return the steps after each was moved to where it is likeliest between its neighbours."""
        found = sorted(steps)
        for i in range(len(found)):
            places = self.places(found, i)
            found[i] = places[int(np.argmax(self.evidence([_with(found, i, k) for k in places])))]
        return found

    def places(self, steps: Sequence[int], i: int) -> range:
        return range(steps[i - 1] + 1 if i else 1, steps[i + 1] if i + 1 < len(steps) else self.count)

    def trend(self, steps: Sequence[int], odd: Sequence[int]) -> Interval | None:
        """Return the slope besides the steps, without any belief about it. [% a year]."""
        keep = np.setdiff1d(np.arange(self.count), odd)
        if len(keep) < 3 + len(steps) or np.ptp(self.years[keep]) * _YEAR_S < _TREND_FROM_S:
            return None
        rows = self.rows[np.ix_(keep, _columns(steps))]
        covariance = np.linalg.pinv(rows.T @ rows)
        slope = float((covariance @ rows.T @ self.value[keep])[1])
        return Interval.around(100 * slope, 196.0 * float(np.sqrt(covariance[1, 1])))


def _columns(steps: Sequence[int]) -> IntArray:
    return np.array([0, 1, *(k + 1 for k in steps)])


def _with(steps: Sequence[int], i: int, k: int) -> list[int]:
    return [*steps[:i], k, *steps[i + 1 :]]


def _without_odd(model: _Model, steps: list[int]) -> tuple[list[int], tuple[int, ...]]:
    """Take one drive between two equal levels for an odd one, not for two changes."""
    odd: list[int] = []
    kept = list(steps)
    for first, second in pairwise(steps):
        if second - first != 1 or first not in kept:
            continue
        best, covariance = model.solved(steps)
        i = 2 + steps.index(first)
        both = float(best[i] + best[i + 1])
        u = float(np.sqrt(covariance[i : i + 2, i : i + 2].sum()))
        if abs(both) < _LEVELS_AGREE * u:
            odd.append(first)
            kept = [k for k in kept if k not in (first, second)]
    return kept, tuple(odd)


def _step(model: _Model, steps: Sequence[int], i: int, start_s: FloatArray, end_s: FloatArray) -> Step:
    places = model.places(steps, i)
    log = model.evidence([_with(steps, i, k) for k in places])
    share = np.exp(log - np.logaddexp.reduce(log))
    first = last = steps[i] - places[0]
    while share[first : last + 1].sum() < _SURE:
        before = share[first - 1] if first else -1.0
        after = share[last + 1] if last + 1 < len(share) else -1.0
        first, last = (first - 1, last) if before >= after else (first, last + 1)
    best, covariance = model.solved(steps)
    size, u = float(best[2 + i]), float(np.sqrt(covariance[2 + i, 2 + i]))
    ends = [100 * float(np.expm1(size + z * u)) for z in (0.0, -1.96, 1.96)]
    return Step(steps[i], float(end_s[places[first] - 1]), float(start_s[places[last]]), Interval(*ends))
