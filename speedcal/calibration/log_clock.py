"""Clock, drift and damping of a dense log, by laying its readings on the track's own speed."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from speedcal.calibration.ground_speed import GroundSpeed
from speedcal.calibration.tuning import (
    CLOCK_STEP_S,
    COARSE_STEP_MPS,
    DAMPING_EVIDENCE,
    DAMPINGS,
    DRIFT_PRIOR,
    LAG_GRID_S,
)
from speedcal.interval import FloatArray

_ROUNDS = 6
_CAUCHY = 2.0
_FEWEST, _NOWHERE_MPS = 10, 30.0


@dataclass(frozen=True, slots=True)
class ClockStart:
    """Where a fit of the latent speed starts."""

    tau_s: float
    """Clock offset in the middle of the log. [s]"""
    drift: float
    """Seconds that the reading clock loses a second."""
    damping: float
    """Half the squared time constant, positive for the needle, negative for the receiver. [s2]"""
    offset_mps: float
    factor: float


def find_clock(
    ground: GroundSpeed,
    time_s: FloatArray,
    indicated_mps: FloatArray,
    *,
    tau_s: float,
    offset_mps: float,
    factor: float,
) -> ClockStart:
    """Return clock offset, drift and damping, by least squares with Cauchy's weights over a grid of dampings.

    A damped needle shows the speed through a first-order lag; a receiver that smooths has to be sharpened to show what
    an undamped needle shows. The delay of either is in the clock offset; what is left tells the damping.

    Parameters
    ----------
    ground
        Recorded ground speed.
    time_s, indicated_mps
        Readings in order of time, shape (n,). [s, m/s]
    tau_s, offset_mps, factor
        Clock offset and line to start from.
    """
    grid = np.arange(ground.time_s[0], ground.time_s[-1] + LAG_GRID_S, LAG_GRID_S)
    speed = np.interp(grid, ground.time_s, ground.speed_mps)
    since = time_s - float(np.mean(time_s))
    start = np.array([offset_mps, factor, tau_s, 0.0])
    tries = []
    # a lag smooths the stairs of coarse rounding too, and would be found where there is none
    dampings = DAMPINGS if ground.step_mps < COARSE_STEP_MPS else (0.0,)
    for damping in dampings:
        theta = float(np.sqrt(2 * abs(damping)))
        shaped = _lagged(speed, theta) if damping > 0 else _sharpened(speed, theta)
        delay = theta if damping > 0 else -theta
        first = start + np.array([0.0, 0.0, delay, 0.0])
        tries.append(_fitted(ground, grid, shaped, time_s, since, indicated_mps, first))
    scale = max(float(np.median([size for _, _, size in tries])), 1e-3)
    cost = np.array([np.sum(np.log1p((rest / (_CAUCHY * scale)) ** 2)) for _, rest, _ in tries])
    best = int(np.argmin(cost))
    if cost[dampings.index(0.0)] - cost[best] < DAMPING_EVIDENCE:
        best = dampings.index(0.0)
        return ClockStart(float(tries[best][0][2]), float(tries[best][0][3]), 0.0, *map(float, tries[best][0][:2]))
    place, damping = tries[best][0], dampings[best]
    if 0 < best < len(dampings) - 1:  # the lowest point of the parabola through three
        x, y = np.array(dampings[best - 1 : best + 2]), cost[best - 1 : best + 2]
        second, first_, _ = np.polyfit(x, y, 2)
        damping = float(np.clip(-first_ / (2 * second), x[0], x[2])) if second > 0 else damping
    # the latent speed of a damped channel runs ahead by its own delay: take it out of the clock again
    tau = place[2] - float(np.copysign(np.sqrt(2 * abs(dampings[best])), dampings[best]))
    return ClockStart(float(tau), float(place[3]), damping, float(place[0]), float(place[1]))


def _fitted(
    ground: GroundSpeed,
    grid: FloatArray,
    shaped: FloatArray,
    time: FloatArray,
    since: FloatArray,
    shown: FloatArray,
    place: FloatArray,
) -> tuple[FloatArray, FloatArray, float]:
    """Return (offset, factor, clock offset, drift), the residuals, and their size."""
    slope = np.gradient(shaped, LAG_GRID_S)
    rest, size = shown, 1.0
    for _ in range(_ROUNDS):
        moment = time + place[2] + place[3] * since
        _, inside = ground.place(moment)
        here, rate = np.interp(moment, grid, shaped), np.interp(moment, grid, slope)
        rest = np.where(inside & (here > 1.0), shown - place[0] - place[1] * here, np.nan)
        good = np.isfinite(rest)
        if good.sum() < _FEWEST:
            return place, np.full(len(time), _NOWHERE_MPS), _NOWHERE_MPS
        size = max(1.4826 * float(np.nanmedian(np.abs(rest))), 1e-3)
        weight = np.where(good, 1 / (1 + (np.nan_to_num(rest) / (_CAUCHY * size)) ** 2), 0.0)
        columns = np.column_stack([np.ones_like(here), here, place[1] * rate, place[1] * rate * since])
        columns[~good] = 0.0
        normal = columns.T @ (columns * weight[:, None])
        normal += np.diag([1e-6, 1e-6, 1e-6, (size / DRIFT_PRIOR) ** 2])
        step = np.linalg.solve(
            normal, columns.T @ (weight * np.nan_to_num(rest)) - [0, 0, 0, (size / DRIFT_PRIOR) ** 2 * place[3]]
        )
        step[2] = np.clip(step[2], -CLOCK_STEP_S, CLOCK_STEP_S)
        place = place + step
    worst = 10 * size
    return place, np.where(np.isfinite(rest), rest, worst), size


def _lagged(speed: FloatArray, theta: float) -> FloatArray:
    """Return the speed behind a first-order lag of this time constant."""
    if theta < 1e-6:
        return speed
    from scipy.signal import lfilter

    share = 1 - np.exp(-LAG_GRID_S / theta)
    return np.asarray(lfilter([share], [1, share - 1], speed - speed[0]) + speed[0])


def _sharpened(speed: FloatArray, theta: float) -> FloatArray:
    """Return what a first-order lag of this time constant was fed, from its output."""
    if theta < 1e-6:
        return speed
    reach = max(1, round(1.0 / LAG_GRID_S))
    padded = np.pad(speed, reach, mode="edge")
    return np.asarray(speed + theta * (padded[2 * reach :] - padded[: -2 * reach]) / (2 * reach * LAG_GRID_S))
