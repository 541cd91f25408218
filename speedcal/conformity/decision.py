"""The decision itself, and how many readings would bring one about."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from speedcal.conformity.probability import probability_inside, risk_of_false_fail
from speedcal.interval import FloatArray

Word = Literal["pass", "fail", "not proven"]

MOST_READINGS = 400
"""More readings than this are not worth naming: the instrument sits on the limit."""
POWER = 0.9
"""How often the number of readings named will do, if the instrument is as estimated."""


@dataclass(frozen=True, slots=True)
class Belief:
    """What is known of (offset, error factor): estimate, covariance, degrees of freedom."""

    mean: FloatArray
    covariance: FloatArray
    dof: float

    def narrowed(self, speed_mps: float, readings: int, u_reading_mps: float) -> Belief:
        """Return what would be known after further readings at one speed, the estimate unchanged."""
        row = np.array([1.0, speed_mps])
        u = self.covariance @ row
        gain = u / (row @ u + u_reading_mps**2 / readings)
        return Belief(self.mean, self.covariance - np.outer(gain, u), self.dof)

    def widened(self, factor: float) -> Belief:
        """Return the same estimate with every standard uncertainty times ``factor``."""
        return Belief(self.mean, self.covariance * factor**2, self.dof)


def decide(limits: FloatArray, belief: Belief, confidence: float) -> tuple[Word, float]:
    """Return the verdict on half planes of (offset, error factor), and the probability of conformance.

    A wrong pass and a wrong fail both stay at or under ``1 - confidence``, whatever the instrument: a pass needs the
    joint probability of conformance (JCGM 106:2012, 9.5.2, specific risk), a fail needs that no conforming
    instrument would often look this far out; see :func:`speedcal.conformity.probability.risk_of_false_fail`.
    """
    probability = probability_inside(limits, belief.mean, belief.covariance, dof=belief.dof)
    if probability >= confidence:
        return "pass", probability
    risk = risk_of_false_fail(limits, belief.mean, belief.covariance, dof=belief.dof)
    return ("fail" if risk <= 1 - confidence else "not proven"), probability


def power_margin(confidence: float) -> float:
    """Return (k_confidence + k_power)/k_confidence, the widening an uncertainty must bear for :data:`POWER`."""
    from scipy.stats import norm

    return 1 + float(norm.ppf(POWER) / norm.ppf(confidence))


def readings_to_settle(
    limits: FloatArray,
    belief: Belief,
    confidence: float,
    *,
    places: Sequence[tuple[float, ...]],
    u_reading_mps: float,
) -> tuple[int, tuple[float, ...]] | None:
    """Return the fewest further readings, and the speeds to take them at, that would settle the verdict.

    The estimate is taken to stay where it is. Since it will not, the new uncertainty must suffice when widened by
    :func:`power_margin`: then 9 road tests in 10 settle it if the instrument is as estimated.

    Parameters
    ----------
    places
        Speeds to choose from; the readings are shared evenly among the speeds of one place. [m/s]

    Returns
    -------
    tuple
        Number, and speeds [m/s]; None when more than :data:`MOST_READINGS` would be needed.
    """
    margin = power_margin(confidence)

    def settled(speeds_mps: tuple[float, ...], shares: int) -> bool:
        after = belief
        for speed_mps in speeds_mps:
            after = after.narrowed(speed_mps, shares, u_reading_mps)
        return decide(limits, after.widened(margin), confidence)[0] != "not proven"

    best: tuple[int, tuple[float, ...]] | None = None
    for speeds in places:
        most = ((best[0] if best else MOST_READINGS + 1) - 1) // len(speeds)
        if most < 1 or not settled(speeds, most):
            continue
        least = 0
        while most - least > 1:
            middle = (least + most) // 2
            least, most = (least, middle) if settled(speeds, middle) else (middle, most)
        best = (most * len(speeds), speeds)
    return best
