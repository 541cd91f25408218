"""What moved between two dials: the drive, the needle, or both."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from speedcal.calibration.tuning.general import TIRE_STATE_U
from speedcal.finding import Finding
from speedcal.interval import FloatArray, Interval
from speedcal.units import MPH_MPS, DisplayUnit

if TYPE_CHECKING:
    from speedcal.calibration.dial.dial import Dial
    from speedcal.vehicle import GainChange

_COMPARED = 5
"""Speeds at which two dials are compared: a line needs two, a bend a few more."""
_LEAST_U_MPS = 1e-3
"""Added to what is known at each speed, so that dials without uncertainty can be compared. [m/s]"""
_LEAST_SHIFT_MPS = 1 * MPH_MPS
"""A needle that stands elsewhere by less is not told from one that does not. Our own judgment."""
_FAR_BETTER = 6.0
"""Sum of squares by which a needle that moved must explain two dials better than another change of the drive: twenty
times as likely. Our own judgment."""


def measured_change(before: Dial, after: Dial) -> tuple[Interval, Interval]:
    """Return the change of the drive, and the shift of the needle [m/s] when both are left free."""
    change, _ = _fitted(before, after)
    free, _ = _fitted(before, after, needle_moves=True)
    return (Interval.known_to(change.change, change.u_change), Interval.known_to(free.shift_mps, free.u_shift_mps))


def needle_that_moved(before: Dial, after: Dial, planned: GainChange, unit: DisplayUnit) -> Finding | None:
    """Return that the drive is as planned and the needle is not, where that explains both dials far better."""
    _, against_drive = _fitted(before, after)
    by_needle, against_needle = _fitted(before, after, needle_moves=True, planned=planned)
    if abs(by_needle.shift_mps) < _LEAST_SHIFT_MPS or against_needle + _FAR_BETTER > against_drive:
        return None
    return Finding("cause_needle", shift_mps=by_needle.shift_mps, unit=unit)


@dataclass(frozen=True, slots=True)
class _Moved:
    """Change of the drive and shift of the needle between two dials, with their standard uncertainties."""

    change: float
    u_change: float
    shift_mps: float
    u_shift_mps: float


def _fitted(
    before: Dial, after: Dial, *, needle_moves: bool = False, planned: GainChange | None = None
) -> tuple[_Moved, float]:
    """Return what moved by generalised least squares (Gauss-Newton), and the weighted sum of squares that is left.

    With a planned change the drive is held to it, as well as that is known.
    """
    change, shift = after.line.error_factor / before.line.error_factor, 0.0
    if planned is not None:
        change = planned.value
    covariance: FloatArray = np.eye(2)
    misfit = 0.0
    for _ in range(20):
        speeds = _compared_speeds(before, after, change)
        steep = before.slope(change * speeds) * speeds
        known = 0.0 if planned is None else planned.u_relative
        tire = np.outer(steep, steep) * (change * float(np.hypot(TIRE_STATE_U, known))) ** 2
        both = after.covariance(speeds, speeds) + before.covariance(change * speeds, change * speeds) + tire
        weight = np.linalg.inv(both + np.eye(len(speeds)) * _LEAST_U_MPS**2)
        design = np.column_stack([steep * (planned is None), np.ones_like(steep) * needle_moves])
        left = after.indicated(speeds) - before.indicated(change * speeds) - shift
        covariance = np.asarray(np.linalg.pinv(design.T @ weight @ design, hermitian=True))
        step = covariance @ design.T @ weight @ left
        left = left - design @ step
        misfit = float(left @ weight @ left)
        change, shift = change + float(step[0]), shift + float(step[1])
        if abs(step[0]) < 1e-12:
            break
    u = np.sqrt(np.maximum(np.diag(covariance), 0.0))
    return _Moved(change, float(u[0]), shift, float(u[1])), misfit


def _compared_speeds(before: Dial, after: Dial, change: float) -> FloatArray:
    """Return speeds after the work that both drives know from driving, or those of the drive after."""
    low, high = after.driven_mps
    first, last = (v / change for v in before.driven_mps)
    shared = max(low, first), min(high, last)
    return np.linspace(*(shared if shared[1] - shared[0] > (high - low) / 4 else (low, high)), _COMPARED)
