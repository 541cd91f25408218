"""The decision itself, and how many readings would bring one about."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from speedcal.values import FloatArray
from speedcal.verify.conformity import probability_inside, risk_of_false_fail

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
    instrument would often look this far out; see :func:`speedcal.verify.conformity.risk_of_false_fail`.
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
    limits: FloatArray, belief: Belief, confidence: float, *, speeds_mps: tuple[float, ...], u_reading_mps: float
) -> tuple[int, float] | None:
    """Return the fewest further readings, and the speed to take them at, that would settle the verdict.

    The estimate is taken to stay where it is. Since it will not, the new uncertainty must suffice when widened by
    :func:`power_margin`: then 9 road tests in 10 settle it if the instrument is as estimated.

    Returns
    -------
    tuple
        Number and speed [m/s]; None when more than :data:`MOST_READINGS` would be needed.
    """
    margin = power_margin(confidence)

    def settled(speed_mps: float, readings: int) -> bool:
        after = belief.narrowed(speed_mps, readings, u_reading_mps).widened(margin)
        return decide(limits, after, confidence)[0] != "not proven"

    best: tuple[int, float] | None = None
    for speed in speeds_mps:
        most = best[0] - 1 if best else MOST_READINGS
        if most < 1 or not settled(speed, most):
            continue
        least = 0
        while most - least > 1:
            middle = (least + most) // 2
            least, most = (least, middle) if settled(speed, middle) else (middle, most)
        best = (most, speed)
    return best
