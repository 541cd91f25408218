"""A robust line with errors in both coordinates through the windows of a log, and its covariance."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from speedcal.calibration.dial.curve import dial_through
from speedcal.calibration.dial.dial import Dial
from speedcal.calibration.logged.held_rounding import HeldRounding
from speedcal.calibration.logged.log_intervals import freedom_of, scaled_noise
from speedcal.calibration.logged.pairs import Windows
from speedcal.calibration.logged.regression import LineFit, fit_line_york
from speedcal.calibration.readings.clock_search import OFFSET_SCALE_MPS
from speedcal.calibration.speed.ground_speed import GroundSpeed
from speedcal.calibration.tuning.general import SMALLEST_FACTOR
from speedcal.calibration.tuning.logs import LOG_BLOCK_S, LUCK, POSITIONS_BLOCK_S
from speedcal.interval import FloatArray, median, robust_scale

_ROBUST_ROUNDS = 6
_CAUCHY = 3.0
_BETWEEN_FIXES = 0.05
"""What a speed does between two fixes is off from a smooth curve as if the time were off by this part of the
interval, when it accelerates."""
_SPREAD_NEEDED = 25.0
_HARDLY_ANY = 1e-6
_PRIOR_WEIGHT = 1 / OFFSET_SCALE_MPS**2


@dataclass(frozen=True, slots=True)
class WindowLine:
    """Offset and gain through windows."""

    offset_mps: float
    gain: float
    covariance: FloatArray
    """Of offset [m/s] and gain [1], shape (2, 2)."""
    freedom: FloatArray
    """Degrees of freedom of level and gain."""
    rounding: FloatArray
    """Covariance of the two by what readings of one figure are rounded by alike, shape (2, 2)."""
    u_mps: FloatArray
    """Standard uncertainty of each window about the line, more for those that lie far off, shape (k,)."""

    def dial(self, windows: Windows, *, used_mps: FloatArray) -> Dial:
        """Return the dial through the windows: as far as they tell, no straighter than it is."""
        line = np.column_stack([np.ones(len(windows)), windows.ground_mps])
        information = line.T @ (line / self.u_mps[:, None] ** 2) + np.diag([_PRIOR_WEIGHT, 0.0])
        model = np.asarray(np.linalg.inv(information), float)
        noise = scaled_noise(np.diag(self.u_mps**2), line, model=model, jackknife=self.covariance, freedom=self.freedom)
        noise = noise + line @ self.rounding @ line.T
        return dial_through(windows.ground_mps, windows.indicated_mps, noise, used_mps=used_mps)


def fit_windows(
    ground: GroundSpeed, windows: Windows, *, gain: float, scatter_mps: float, held: HeldRounding
) -> WindowLine:
    """Lay a line through window means; a window that lies far off counts for less (Cauchy's weights).

    Parameters
    ----------
    windows
        At least four windows.
    gain
        Error factor, roughly. [1]
    scatter_mps
        Standard deviation of one pair about the line. [m/s]
    held
        What the readings are rounded by alike, on the clock of the windows.
    """
    x, y = windows.ground_mps, windows.indicated_mps
    u_y = scatter_mps / np.sqrt(windows.count)
    u_y = np.hypot(u_y, gain * windows.acceleration * _BETWEEN_FIXES * ground.interval_s)
    u_x = ground.u_speed_mps / np.sqrt(windows.count)
    one_speed = float(np.var(x)) < _SPREAD_NEEDED * float(np.mean(u_x**2))
    if one_speed:  # changes of speed cannot be told from noise; the line hangs on the prior of the offset
        x, u_x = np.full_like(x, float(np.mean(x))), np.zeros_like(x)
    line = _york(x, y, u_x, u_y)
    for _ in range(_ROBUST_ROUNDS):
        residual = y - line.intercept - line.slope * x
        if ground.source == "positions" and not one_speed:
            # what windows scatter beyond the readings' own noise is position noise
            size = robust_scale(residual)
            left = np.sqrt(max(size**2 - median(u_y) ** 2, 0.0))
            u_x = np.full_like(x, left / max(line.slope, SMALLEST_FACTOR))
        spread = np.hypot(u_y, line.slope * u_x)
        far = _far(residual / spread)
        line = _york(x, y, u_x, u_y * np.sqrt(1 + far))
    residual = y - line.intercept - line.slope * x
    spread = np.hypot(u_y, line.slope * u_x)
    far = _far(residual / spread)
    # The slope solves an instrument-variable equation in which York's adjusted abscissa is the instrument.
    instrument = x + residual * line.slope * u_x**2 / spread**2
    block_s = POSITIONS_BLOCK_S if ground.source == "positions" else LOG_BLOCK_S
    block = np.floor((windows.time_s - windows.time_s[0]) / block_s)
    weight = 1 / (spread**2 * (1 + far))
    covariance, freedom = _leaving_out_blocks(block, x, y, instrument, weight)
    # Weights that fall with the residual make the fit less stiff than they look: the mean of psi' belongs where the
    # mean weight stands (P. J. Huber and E. M. Ronchetti, Robust Statistics, 2nd ed., Wiley 2009, section 7.6).
    stiffness = float(np.mean((1 - far) / (1 + far) ** 2) / np.mean(1 / (1 + far)))
    covariance = covariance / max(stiffness, 0.3) ** 2
    rounding = _alike(x, weight, held.columns(windows.time_s))
    return WindowLine(line.intercept, line.slope, covariance, freedom, rounding, spread * np.sqrt(1 + far))


def _alike(x: FloatArray, weight: FloatArray, columns: FloatArray) -> FloatArray:
    """Return the covariance of offset and gain from errors that windows share, a column each of shape (k, m)."""
    information = np.array([[weight.sum() + _PRIOR_WEIGHT, weight @ x], [weight @ x, weight @ x**2]])
    moved = np.linalg.solve(information, np.stack([weight, weight * x]) @ columns)
    return np.asarray(moved @ moved.T)


def _york(x: FloatArray, y: FloatArray, u_x: FloatArray, u_y: FloatArray) -> LineFit:
    """Fit a line; the prior of the needle offset enters as a reading of nothing at standstill."""
    zero = np.zeros(1)
    return fit_line_york(
        np.concatenate((x, zero)),
        np.concatenate((y, zero)),
        u_x=np.concatenate((u_x, zero)),
        u_y=np.concatenate((u_y, [OFFSET_SCALE_MPS])),
    )


def _far(ratio: FloatArray) -> FloatArray:
    """Return the square of each residual in units of Cauchy's constant times the typical residual."""
    unit = max(robust_scale(ratio), 0.1)
    return np.asarray((ratio / (unit * _CAUCHY)) ** 2)


def _leaving_out_blocks(
    block: FloatArray, x: FloatArray, y: FloatArray, instrument: FloatArray, weight: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Return the covariance of offset and gain by the jackknife over blocks of time, and its degrees of freedom.

    Leaving out whole minutes counts what neighbouring windows share once, and sees the leverage of the few stretches
    at the slow and fast end (A. C. Cameron and D. L. Miller, J. Human Resources 50, 2015, 317-372, section VI). The
    degrees of freedom are those of the blocks that really move level and slope (section VI.D). A jackknife that comes
    out much smaller than independent windows would be has only had luck; those then decide.
    """
    _, label = np.unique(block, return_inverse=True)
    columns = (weight, weight * x, weight * instrument, weight * instrument * x, weight * y, weight * instrument * y)
    sums = np.stack([np.bincount(label, weights=column) for column in columns])
    total = sums.sum(axis=1)
    place = _solve(total[:, None])
    moved = _solve(total[:, None] - sums) - place
    blocks = sums.shape[1]
    covariance = moved @ moved.T * (blocks - 1) / blocks
    residual = y - place[0, 0] - place[1, 0] * x
    information = np.array([[total[0], total[1]], [total[1], total[3]]])
    inverse = np.linalg.inv(information + np.diag([_PRIOR_WEIGHT, 0.0]))
    scale = LUCK * float(np.sum(weight * residual**2)) / (len(x) - 2)
    alone = inverse @ information @ inverse * scale
    if not covariance[1, 1] > alone[1, 1]:
        covariance = alone
    freedom = freedom_of(np.stack([sums[0], np.bincount(label, weights=weight * (x - total[1] / total[0]) ** 2)]))
    both = covariance + np.outer(inverse[0], inverse[0]) * _PRIOR_WEIGHT
    # The prior is known; only the other part has few degrees of freedom (Welch-Satterthwaite, JCGM 100:2008, G.4.1).
    return both, freedom * [1.0, float(both[1, 1] / max(covariance[1, 1], 1e-12)) ** 2]


def _solve(sums: FloatArray) -> FloatArray:
    """Return offset and gain, shape (2, k), from the sums of each column of ``sums``, the prior included."""
    s0, s1, i1, i2, t0, t1 = sums
    determinant = (s0 + _PRIOR_WEIGHT) * i2 - s1 * i1
    nothing_left = s0 <= _HARDLY_ANY * np.max(s0)
    gain = ((s0 + _PRIOR_WEIGHT) * t1 - i1 * t0) / np.where(nothing_left, 1.0, determinant)
    gain = np.where(nothing_left, 1.0, gain)
    return np.stack([(t0 - gain * s1) / (s0 + _PRIOR_WEIGHT), gain])
