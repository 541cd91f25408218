"""The decision itself, and how many readings would bring one about."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Literal

import numpy as np

from speedcal.calibration.dial.dial import Dial
from speedcal.conformity.probability import Box
from speedcal.conformity.tolerance import ShownLimits
from speedcal.interval import FloatArray

Word = Literal["pass", "fail", "not proven"]

MOST_READINGS = 400
"""More readings than this are not worth naming: the instrument sits on the limit."""
MOST_DRIVES = 4
"""More further drives are not worth naming."""
_ABOUT = 20
"""The number is found to one part in so many."""
POWER = 0.9
"""How often the number of readings named will do, if the instrument is as estimated."""


def decide(box: Box, confidence: float) -> tuple[Word, float]:
    """Return the verdict on what is known and its limits, and the probability of conformance.

    A wrong pass and a wrong fail both stay at or under ``1 - confidence``, whatever the instrument: a pass needs the
    joint probability of conformance (JCGM 106:2012, 9.5.2, specific risk), a fail needs that no conforming
    instrument would often look this far out; see :meth:`speedcal.conformity.probability.Box.risk_of_false_fail`.
    """
    probability = box.probability()
    if probability >= confidence:
        return "pass", probability
    return ("fail" if box.risk_of_false_fail() <= 1 - confidence else "not proven"), probability


def power_margin(confidence: float) -> float:
    """Return (k_confidence + k_power)/k_confidence, the widening an uncertainty must bear for :data:`POWER`."""
    from scipy.special import ndtri

    return 1 + float(ndtri(POWER) / ndtri(confidence))


def narrowed(dial: Dial, speed_mps: float, readings: int, u_reading_mps: float) -> Dial:
    """Return what would be known after further readings at one true speed, the estimate unchanged."""
    shared = dial.covariance(dial.knots_mps, speed_mps)[:, 0]
    variance = float(dial.u_indicated(speed_mps)) ** 2 + u_reading_mps**2 / readings
    return replace(dial, knot_covariance=dial.knot_covariance - np.outer(shared, shared) / variance)


def readings_to_settle(
    limits: ShownLimits,
    dial: Dial,
    confidence: float,
    *,
    places: Sequence[tuple[float, ...]],
    u_reading_mps: float,
    shared: FloatArray,
) -> tuple[int, tuple[float, ...]] | None:
    """Return the fewest further readings, and the speeds to take them at, that would settle the verdict.

    The estimate is taken to stay where it is. Since it will not, the new uncertainty must suffice when widened by
    :func:`power_margin`: then 9 road tests in 10 settle it if the instrument is as estimated.

    Parameters
    ----------
    places
        Speeds to choose from; the readings are shared evenly among the speeds of one place. [m/s]
    shared
        Covariance at the dial's knots of what the further readings have in common with those made; it stays. [m2/s2]

    Returns
    -------
    tuple
        Number, and speeds [m/s]; None when more than :data:`MOST_READINGS` would be needed.
    """

    def settled(speeds_mps: tuple[float, ...], shares: int) -> bool:
        own = _with_covariance(dial, dial.knot_covariance - shared)
        for speed_mps in speeds_mps:
            own = narrowed(own, speed_mps, shares, u_reading_mps)
        return _settles(limits, _with_covariance(own, own.knot_covariance + shared), confidence)

    best: tuple[int, tuple[float, ...]] | None = None
    for speeds in places:
        most = ((best[0] if best else MOST_READINGS + 1) - 1) // len(speeds)
        if most < 1 or not settled(speeds, most):
            continue
        least = 0
        while most - least > max(1, most // _ABOUT):
            middle = (least + most) // 2
            least, most = (least, middle) if settled(speeds, middle) else (middle, most)
        best = (most * len(speeds), speeds)
    return best


def drives_to_settle(limits: ShownLimits, dial: Dial, confidence: float, *, shared: FloatArray) -> int | None:
    """Return the fewest further drives like the one made that would settle the verdict; None for more than a few.

    As in :func:`readings_to_settle`, nine times in ten if the instrument is as estimated, and ``shared`` stays.
    """
    for drives in range(1, MOST_DRIVES + 1):
        own = (dial.knot_covariance - shared) / (1 + drives)
        if _settles(limits, _with_covariance(dial, own + shared), confidence):
            return drives
    return None


def _settles(limits: ShownLimits, dial: Dial, confidence: float) -> bool:
    return decide(limits.box(dial).widened(power_margin(confidence)), confidence)[0] != "not proven"


def _with_covariance(dial: Dial, covariance: FloatArray) -> Dial:
    return replace(dial, knot_covariance=covariance)
