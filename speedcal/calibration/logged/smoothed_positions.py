"""Positions that a receiver or a program smoothed, beside a log: how far, and what that did to the speed.

Smoothed positions cut the inside of bends, and take speed there that the vehicle had; beside, they round off every
change of speed. A log shows both: what it shows, smoothed in the same way, follows the speed of the positions once that
has back what bends took.
"""

from __future__ import annotations

from dataclasses import replace
from functools import partial
from itertools import product

import numpy as np

from speedcal.calibration.dial.measured import MeasuredLine, with_shared
from speedcal.calibration.logged.pairs import make_pairs
from speedcal.calibration.readings.kind import is_log
from speedcal.calibration.speed.ground_speed import GroundSpeed
from speedcal.calibration.speed.positions import LocalFit, Smoothing
from speedcal.calibration.speed.smoothing import SMOOTHED, with_smoothing
from speedcal.calibration.tuning import logs as tuned
from speedcal.calibration.tuning.track import SLOWEST_POSITION_SPEED_MPS
from speedcal.interval import FloatArray, median, robust_scale
from speedcal.units import MPH_MPS

_ALIKE_S = 5.0
"""Time over which what lies off the line counts once."""
_LASTING = np.exp(-(np.arange(-6, 7) ** 2) / 8) / np.exp(-(np.arange(-6, 7) ** 2) / 8).sum()
"""Weights of the fixes about each for what lasts: a standard deviation of two."""
_ROUNDS, _LEAST_SCALE_MPS = 6, 0.05


def unsmoothed(ground: GroundSpeed, line: MeasuredLine, indicated_mps: FloatArray) -> GroundSpeed | None:
    """Return the ground speed of positions that were smoothed, None where a log beside them says that they were not."""
    if ground.local_fit is None or ground.between_is_guessed:
        return None
    known = np.flatnonzero(np.isfinite(line.time_s) & np.isfinite(line.ground_mps) & np.isfinite(indicated_mps))
    known = known[np.argsort(line.time_s[known], kind="stable")]
    if not is_log(line.time_s[known]):
        return None
    if median(np.diff(line.time_s[known])) > min(1.5 * ground.interval_s, tuned.LATENT_INTERVAL_S):
        return None
    log = _Beside(ground, line.time_s[known], indicated_mps[known], line.gain)
    smoothed = partial(_smoothed, ground, ground.local_fit)
    ways = list(product((False, True), (False, True)))
    if max(log.told(smoothed(tuned.SMOOTHING_HINT_S, *way)) for way in ways) < tuned.SMOOTHING_HINT:
        return None
    tried = [smoothed(constant_s, *way) for constant_s in tuned.SMOOTHING_S for way in ways]
    told = np.array([log.told(one) for one in tried])
    filtered = np.array(len(tuned.SMOOTHING_S) * [all(way) for way in ways])
    if filtered[best := int(told.argmax())]:
        damped = max(log.lasting(_damped(ground, constant_s)) for constant_s in tuned.SMOOTHING_S)
        told[filtered & (log.lasting(tried[best]) < tuned.FILTER_BESIDE_DAMPED * damped)] = 0.0
    return tried[int(told.argmax())] if told.max() >= tuned.SMOOTHING_FROM else None


def _smoothed(ground: GroundSpeed, fit: LocalFit, constant_s: float, one_sided: bool, overshoots: bool) -> GroundSpeed:
    return with_smoothing(ground, fit, Smoothing(constant_s, one_sided, overshoots))


def _damped(ground: GroundSpeed, constant_s: float) -> GroundSpeed:
    """Return the speed as a damped needle follows it, beside which a filter that overshoots would look right."""
    speed = Smoothing(constant_s, one_sided=True).mean(ground.speed_mps, ground.piece, ground.interval_s)
    return replace(ground, speed_mps=speed)


def with_smoothing_left(line: MeasuredLine, plain: MeasuredLine, *, u_bends: float = 0.0) -> MeasuredLine:
    """Return the fit beside smoothed positions with the uncertainty of what smoothing did, a line of the budget.

    Parameters
    ----------
    line
        The fit with it put right.
    plain
        The fit to the positions as they are.
    u_bends
        Relative standard uncertainty of what was put back in bends, alike in all of them.
    """
    shown = line.dial.shown_mps
    moved = tuned.SMOOTHING_LEFT * (shown - plain.dial.indicated(line.dial.knots_mps))
    return with_shared(line, {SMOOTHED: np.outer(moved, moved) + u_bends**2 * np.outer(shown, shown)})


def u_of_bends(ground: GroundSpeed, smoothed: GroundSpeed) -> float:
    """Return the relative standard uncertainty of the speed that was put back in bends."""
    share = np.abs(smoothed.speed_mps / np.maximum(ground.speed_mps, SLOWEST_POSITION_SPEED_MPS) - 1)
    return tuned.TURN_SHARE_U * float(np.mean(share[smoothed.usable])) if smoothed.usable.any() else 0.0


class _Beside:
    """A log beside positions, and how much likelier each smoothing makes it."""

    def __init__(self, ground: GroundSpeed, time_s: FloatArray, indicated_mps: FloatArray, gain: float) -> None:
        self.ground, self.time_s, self.indicated_mps, self.gain = ground, time_s, indicated_mps, gain
        self.scale_mps = 0.0
        off = self._off(ground)
        self.scale_mps = max(robust_scale(off), _LEAST_SCALE_MPS)
        self.plain = self._far(ground)

    def told(self, ground: GroundSpeed) -> float:
        """Return how much another ground speed brings against the plain one. [nats]."""
        return (self.plain - self._far(ground)) * self.ground.interval_s / _ALIKE_S

    def lasting(self, ground: GroundSpeed) -> float:
        """Return the same by what lasts for seconds, in which the noise of positions hardly counts."""
        plain, other = (np.convolve(self._off(one), _LASTING, mode="same") for one in (self.ground, ground))
        scale = max(robust_scale(plain), _LEAST_SCALE_MPS)
        far = (float(np.sum(np.log1p((off / scale) ** 2))) for off in (plain, other))
        return (next(far) - next(far)) * self.ground.interval_s / _ALIKE_S

    def _far(self, ground: GroundSpeed) -> float:
        return float(np.sum(np.log1p((self._off(ground) / self.scale_mps) ** 2)))

    def _off(self, ground: GroundSpeed) -> FloatArray:
        """Return how far what was shown lies off a line through the speed, in motion, with a clock of its own."""
        pairs = make_pairs(ground, self.time_s, self.indicated_mps, 0.0)
        plain = self.ground.at(pairs.time_s)[0] > SLOWEST_POSITION_SPEED_MPS
        speed, shown, slope = (a[plain] for a in (pairs.ground_mps, pairs.indicated_mps, pairs.acceleration))
        columns = np.column_stack([np.ones_like(speed), speed, slope])
        prior = np.diag([1 / MPH_MPS**2, 0.0, 1e-3])
        place = np.array([0.0, self.gain, 0.0])
        for _ in range(_ROUNDS):
            off = shown - columns @ place
            weight = 1 / (1 + (off / (self.scale_mps or max(robust_scale(off), _LEAST_SCALE_MPS))) ** 2)
            weighted = columns.T * weight
            place = np.linalg.solve(weighted @ columns + prior, weighted @ shown)
        return np.asarray(shown - columns @ place)
