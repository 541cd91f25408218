"""How a channel sees the latent speed: which coefficients it sees, and what its dial makes of them."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from speedcal.calibration.dial.dial import Dial
from speedcal.calibration.speed.speed_spline import Places
from speedcal.interval import FloatArray

_TABLE_MPS = 0.1


class WeightTable:
    """How much each knot of a dial counts, tabled over speed."""

    def __init__(self, dial: Dial, top_mps: float) -> None:
        speed = np.arange(0.0, top_mps + 2 * _TABLE_MPS, _TABLE_MPS)
        self.value = dial.weights(speed)
        self.slope = np.diff(self.value, axis=0) / _TABLE_MPS

    def at(self, speed: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Return the weights and their derivatives by speed at (n,) speeds, shape (n, m) each."""
        cell = np.clip(speed / _TABLE_MPS, 0.0, len(self.slope) - 1).astype(np.int64)
        beyond = np.clip(speed - cell * _TABLE_MPS, 0.0, _TABLE_MPS)
        slope = self.slope.take(cell, axis=0)
        return self.value.take(cell, axis=0) + beyond[:, None] * slope, slope


@dataclass(slots=True)
class View:
    """What a channel sees of the latent speed, arrays of one length."""

    places: Places
    row: FloatArray
    """Weights of the coefficients in what it shows, shape (4, n)."""
    constant: FloatArray
    gain: FloatArray
    weights: FloatArray = field(default_factory=lambda: np.zeros((0, 0)))
    slope: FloatArray = field(default_factory=lambda: np.zeros((0, 0)))
    plain: FloatArray = field(default_factory=lambda: np.zeros((0, 0)))
    later: FloatArray = field(default_factory=lambda: np.zeros(0))
    """What it shows more for a second of uneven lag."""
    hangs: FloatArray = field(default_factory=lambda: np.zeros(0))
    right: FloatArray = field(default_factory=lambda: np.zeros(0))
