"""Vehicles that lean: in a bend a motorcycle rolls on the shoulders of its tires, which are smaller, and shows more.

At a lean of t to the upright a tire with a round section of radius c rolls on a radius smaller by c (1 - cos t), and a
bend at speed v and turning rate w asks for tan t = v w / g. Of a log beside recorded speed the share that is lost tells
itself: it is a few sigma in cars, of any sign, and twenty in motorcycles, a third of 1 - cos t.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from speedcal.calibration.dial.measured import MeasuredLine
from speedcal.calibration.readings.kind import is_log
from speedcal.calibration.speed.ground_speed import GroundSpeed
from speedcal.calibration.tuning.general import SMALLEST_FACTOR
from speedcal.calibration.tuning.logs import (
    LEAN_BLOCK_S,
    LEAN_LEAST,
    LEAN_MOST,
    LEAN_SIGMAS,
    MOST_LEAN,
    MOST_LEAN_MPS2,
)
from speedcal.calibration.tuning.track import POSITION_WINDOW_S
from speedcal.finding import Finding
from speedcal.interval import FloatArray, robust_scale

_G_MPS2 = 9.80665
_FEWEST_ROWS = 60
_ROUNDS, _LEAST_SCALE_MPS, _HINGES_MPS = 6, 0.05, (10.0, 20.0)
"""Rounds of the robust fit, its least scale, and the speeds at which the dial may bend in it."""


def leaned(ground: GroundSpeed, line: MeasuredLine, indicated_mps: FloatArray) -> GroundSpeed | None:
    """Return the speed that the dial of a leaning vehicle goes by, None where no log tells that it leans.

    Parameters
    ----------
    ground
        Ground speed of the drive.
    line
        The fit of the log to it.
    indicated_mps
        The readings, shape (n,). [m/s]
    """
    if not ground.is_recorded_often or line.gain < SMALLEST_FACTOR:
        return None
    known = np.flatnonzero(np.array(line.reason) == "")
    if len(known) < _FEWEST_ROWS or not is_log(np.sort(line.time_s[known])):
        return None
    upright = _upright_share(ground)
    share, u = _lost(ground, line.time_s[known], indicated_mps[known], upright)
    if not LEAN_LEAST < share < LEAN_MOST or share < LEAN_SIGMAS * u:
        return None
    lost = share * upright
    leaning = ground.shown_as(ground.speed_mps / (1 - lost))
    most = float(np.quantile(lost[ground.usable], 0.99))
    return replace(
        leaning,
        usable=ground.usable & (lost < MOST_LEAN),
        findings=(*ground.findings, Finding("vehicle_leans", most=most)),
    )


def _upright_share(ground: GroundSpeed) -> FloatArray:
    """Return 1 - cos of the lean that each fix asks for, shape (n,)."""
    reach = max(1, round(POSITION_WINDOW_S / ground.interval_s))
    index = np.arange(len(ground.time_s))
    first, last = np.maximum(index - reach, 0), np.minimum(index + reach, len(index) - 1)
    before, after = (
        np.arctan2(ground.east_m[to] - ground.east_m[at], ground.north_m[to] - ground.north_m[at])
        for at, to in ((first, index), (index, last))
    )
    turned = np.abs((after - before + np.pi) % (2 * np.pi) - np.pi)
    turned[(ground.piece[first] != ground.piece[last]) | (first == index) | (last == index)] = 0.0
    turning = 2 * turned / (ground.time_s[last] - ground.time_s[first])
    sideways = np.minimum(turning * ground.speed_mps, MOST_LEAN_MPS2) / _G_MPS2
    return np.asarray(1 - 1 / np.sqrt(1 + sideways**2))


def _lost(ground: GroundSpeed, time_s: FloatArray, shown_mps: FloatArray, upright: FloatArray) -> tuple[float, float]:
    """Return how much of the radius is lost, as a share of 1 - cos of the lean, and its standard uncertainty.

    Beside it a dial that bends and a lag of its own are fitted. What lies in one block of time errs alike.
    """
    speed, slope, _ = ground.at(time_s)
    hinges = [np.maximum(speed - hinge, 0.0) for hinge in _HINGES_MPS]
    lean = speed * np.interp(time_s, ground.time_s, upright)
    columns = np.column_stack([lean, speed, np.ones_like(speed), *hinges, slope, slope * speed])
    weight, fit, off = np.ones_like(speed), np.zeros(columns.shape[1]), shown_mps
    inverse = np.eye(len(fit))
    for _ in range(_ROUNDS):
        inverse = np.asarray(np.linalg.pinv(columns.T @ (columns * weight[:, None])), float)
        fit = inverse @ columns.T @ (weight * shown_mps)
        off = shown_mps - columns @ fit
        weight = 1 / (1 + (off / max(2.5 * robust_scale(off), _LEAST_SCALE_MPS)) ** 2)
    block = np.unique(np.floor(time_s / LEAN_BLOCK_S), return_inverse=True)[1]
    pull = np.stack([np.bincount(block, weights=weight * off * column) for column in columns.T])
    spread = inverse @ pull
    gain = float(np.median(shown_mps / speed))
    return float(fit[0] / gain), float(np.sqrt(spread[0] @ spread[0]) / gain)
