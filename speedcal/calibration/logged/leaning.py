"""Vehicles that lean: in a bend a motorcycle rolls on the shoulders of its tires, which are smaller, and shows more.

At a lean of t to the upright a tire with a round section of radius c rolls on a radius smaller by c (1 - cos t), and a
bend at speed v and turning rate w asks for tan t = v w / g. Of a log beside recorded speed the share that is lost tells
itself: it is a few sigma in cars, of any sign, and twenty in motorcycles, a third of 1 - cos t.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from speedcal.calibration.speed.ground_speed import GroundSpeed
from speedcal.calibration.tuning.logs import MOST_LEAN, MOST_LEAN_MPS2
from speedcal.calibration.tuning.track import POSITION_WINDOW_S
from speedcal.finding import Finding
from speedcal.interval import FloatArray

_G_MPS2 = 9.80665


def leaning(ground: GroundSpeed, lost: FloatArray) -> GroundSpeed:
    """Return the speed that the dial of a leaning vehicle goes by, by the share of its radius that is lost."""
    most = float(np.quantile(lost[ground.usable], 0.99))
    return replace(
        ground.shown_as(ground.speed_mps / (1 - lost)),
        usable=ground.usable & (lost < MOST_LEAN),
        findings=(*ground.findings, Finding("vehicle_leans", most=most)),
    )


def upright_share(ground: GroundSpeed) -> FloatArray:
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
