"""Which checks are wrong: those that the others contradict, and one that alone would bend the dial."""

from __future__ import annotations

import numpy as np

from speedcal.calibration.checked.check_dial import Pairs, dial_covariance
from speedcal.calibration.dial.curve import driven_points
from speedcal.calibration.tuning.general import CHECK_WRONG_FROM, CHECKS_ALONE, FEWEST_CHECKS_TO_DOUBT
from speedcal.interval import BoolArray, FloatArray


def right_checks(pairs: Pairs) -> BoolArray:
    """Return which checks agree with the dial through the others; with fewer than five none can be told.

    A dial that bends shows it in more than one check. Where a straight one goes through all but one or two, each of
    them by itself, these are slips: at the end of the speeds nothing else would hold the dial against them.
    """
    speed = pairs.true_mps
    if len(speed) < FEWEST_CHECKS_TO_DOUBT:
        return np.ones(len(speed), bool)
    driven = driven_points(speed)
    straight, away = _agreeing(pairs, dial_covariance(speed, driven, curve_mps=0.0))
    if (~straight).sum() <= max(CHECKS_ALONE * len(speed), 1.0) and not _in_company(speed, straight, away):
        return straight
    return _agreeing(pairs, dial_covariance(speed, driven))[0]


def _agreeing(pairs: Pairs, prior: FloatArray) -> tuple[BoolArray, FloatArray]:
    """Return which checks agree with each other, and how far each was from the others, in standard uncertainties.

    The worst goes first and the others are looked at again without it, since it draws the dial away from its neighbors.
    What the others say of each, less what it says itself, is read off the inverse of their joint covariance (Rasmussen
    and Williams 2006, 5.4.2). Where half of them would go, none is wrong.
    """
    count = len(pairs.true_mps)
    joint, beside = prior + pairs.noise, pairs.shown_mps - pairs.true_mps
    left, away = np.arange(count), np.zeros(count)
    while 2 * len(left) > count:
        inverse = np.linalg.inv(joint[np.ix_(left, left)])
        away[left] = inverse @ beside[left] / np.sqrt(np.diag(inverse))
        worst = int(np.argmax(np.abs(away[left])))
        if abs(away[left[worst]]) <= CHECK_WRONG_FROM:
            return np.isin(np.arange(count), left), away
        left = np.delete(left, worst)
    return np.ones(count, bool), away


def _in_company(speed: FloatArray, right: BoolArray, away: FloatArray) -> bool:
    """Tell whether two checks next to each other are off to the same side, as a dial that bends there would show."""
    order = np.argsort(speed, kind="stable")
    side = np.where(right, 0.0, np.sign(away))[order]
    return bool((side[1:] * side[:-1] > 0).any())
