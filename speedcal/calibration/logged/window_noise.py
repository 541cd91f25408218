"""How windows of the way lie off a dial: noise of their ends, which neighbours share, and of their length."""

from __future__ import annotations

import numpy as np

from speedcal.calibration.logged.way import Windows
from speedcal.calibration.speed.banded import Banded
from speedcal.interval import FloatArray, robust_scale

CAUCHY = 3.0
"""Of Cauchy's weights, in scales."""
LEAST_NOISE_M = 0.02


def noise_of_windows(rest: FloatArray, some: Windows) -> tuple[float, float, FloatArray]:
    """Return variance of an end and of the length of a window, and how far each lies (Cauchy's weights)."""
    size = max(robust_scale(rest), LEAST_NOISE_M)
    spread = np.hypot(size, some.u_turn_m)
    far = (rest / (CAUCHY * spread)) ** 2
    cut = np.clip(rest, -CAUCHY * size, CAUCHY * size)
    together = cut[1:] * cut[:-1] * some.follows[1:]
    ends = max(-float(together.sum()) / max(int(some.follows[1:].sum()), 1), 0.0)
    ends = min(ends, 0.45 * size**2)
    return ends, size**2 - 2 * ends, far


class Whitening:
    """Takes windows that share ends to independent ones of unit variance."""

    def __init__(self, some: Windows, ends: float, length: float, far: FloatArray) -> None:
        scale = np.sqrt(1 + far)
        band = np.zeros((2, len(far)))
        band[0] = (2 * ends + length + some.u_turn_m**2) * scale**2
        band[1, :-1] = -ends * some.follows[1:] * scale[1:] * scale[:-1]
        self.factor = Banded(band)

    def whitened(self, columns: FloatArray) -> FloatArray:
        """Return columns of shape (k, n) as independent ones see them."""
        return self.factor.half_solved(columns)
