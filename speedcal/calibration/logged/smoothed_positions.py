"""Positions that a receiver or a program smoothed, beside a log: how far, and what that did to the speed.

Smoothed positions cut the inside of bends, and take speed there that the vehicle had; beside, they round off every
change of speed. A log shows both: what it shows, smoothed in the same way, follows the speed of the positions once that
has back what bends took.
"""

from __future__ import annotations

from itertools import product

import numpy as np

from speedcal.calibration.dial.measured import MeasuredLine, with_shared
from speedcal.calibration.logged.pairs import make_pairs
from speedcal.calibration.readings.kind import is_log
from speedcal.calibration.speed.ground_speed import GroundSpeed
from speedcal.calibration.speed.positions import LocalFit, Smoothing
from speedcal.calibration.speed.smoothing import SMOOTHED, with_smoothing
from speedcal.calibration.tuning.logs import (
    LATENT_INTERVAL_S,
    SMOOTHING_FROM,
    SMOOTHING_HINT,
    SMOOTHING_HINT_S,
    SMOOTHING_LEFT,
    SMOOTHING_S,
)
from speedcal.calibration.tuning.track import SLOWEST_POSITION_SPEED_MPS
from speedcal.interval import FloatArray, robust_scale
from speedcal.units import MPH_MPS

_ALIKE_S = 5.0
"""Time over which what lies off the line counts once."""
_ROUNDS, _LEAST_SCALE_MPS = 6, 0.05


def unsmoothed(ground: GroundSpeed, line: MeasuredLine, indicated_mps: FloatArray) -> GroundSpeed | None:
    """Return the ground speed of positions that were smoothed, None where a log beside them says that they were not.

    Parameters
    ----------
    ground
        Ground speed of the drive.
    line
        The fit of the log to it.
    indicated_mps
        The readings, shape (n,). [m/s]
    """
    if ground.local_fit is None or ground.between_is_guessed:
        return None
    known = np.flatnonzero(np.isfinite(line.time_s) & np.isfinite(line.ground_mps) & np.isfinite(indicated_mps))
    known = known[np.argsort(line.time_s[known], kind="stable")]
    if not is_log(line.time_s[known]):
        return None
    if np.median(np.diff(line.time_s[known])) > min(1.5 * ground.interval_s, LATENT_INTERVAL_S):
        return None
    log = _Beside(ground, ground.local_fit, line.time_s[known], indicated_mps[known], line.gain)
    ways = list(product((False, True), (False, True)))
    if max(log.told(Smoothing(SMOOTHING_HINT_S, *way)) for way in ways) < SMOOTHING_HINT:
        return None
    tried = [Smoothing(constant_s, *way) for constant_s in SMOOTHING_S for way in ways]
    told = [log.told(smoothing) for smoothing in tried]
    if max(told) < SMOOTHING_FROM:
        return None
    return with_smoothing(ground, ground.local_fit, tried[int(np.argmax(told))])


def with_smoothing_left(line: MeasuredLine, plain: MeasuredLine) -> MeasuredLine:
    """Return the fit beside smoothed positions with the uncertainty of what smoothing did, a line of the budget.

    Parameters
    ----------
    line
        The fit with it put right.
    plain
        The fit to the positions as they are.
    """
    wider = line.dial.geared(1.0, u_ln_factor=SMOOTHING_LEFT * abs(float(np.log(line.gain / plain.gain))))
    return with_shared(line, {SMOOTHED: wider.knot_covariance - line.dial.knot_covariance})


class _Beside:
    """A log beside positions, and how much likelier each smoothing makes it."""

    def __init__(
        self, ground: GroundSpeed, fit: LocalFit, time_s: FloatArray, indicated_mps: FloatArray, gain: float
    ) -> None:
        self.ground, self.fit, self.time_s, self.indicated_mps, self.gain = ground, fit, time_s, indicated_mps, gain
        self.scale_mps = 0.0
        off = self._off(None)
        self.scale_mps = max(robust_scale(off), _LEAST_SCALE_MPS)
        self.plain = self._far(None)

    def told(self, smoothing: Smoothing) -> float:
        """Return how much a smoothing brings against none. [nats]."""
        return (self.plain - self._far(smoothing)) * self.ground.interval_s / _ALIKE_S

    def _far(self, smoothing: Smoothing | None) -> float:
        return float(np.sum(np.log1p((self._off(smoothing) / self.scale_mps) ** 2)))

    def _off(self, smoothing: Smoothing | None) -> FloatArray:
        """Return how far what was shown lies off a line through the speed, in motion, with a clock of its own."""
        ground = self.ground if smoothing is None else with_smoothing(self.ground, self.fit, smoothing)
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
