"""How a channel sees the latent speed: which coefficients it sees, and what its dial makes of them."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from speedcal.calibration.dial.dial import Dial
from speedcal.calibration.speed.speed_spline import Places
from speedcal.interval import FloatArray, IntArray

_TABLE_MPS = 0.1


class WeightTable:
    """How much each knot of a dial counts, tabled over speed and straight between."""

    def __init__(self, dial: Dial, top_mps: float) -> None:
        speed = np.arange(0.0, top_mps + 2 * _TABLE_MPS, _TABLE_MPS)
        self.value = dial.weights(speed)
        self.slope = np.diff(self.value, axis=0) / _TABLE_MPS

    def place(self, speed: FloatArray) -> tuple[IntArray, FloatArray]:
        """Return the cells of (n,) speeds, and how far beyond their beginning they lie [m/s]."""
        cell = np.clip(speed / _TABLE_MPS, 0.0, len(self.slope) - 1).astype(np.int64)
        return cell, np.clip(speed - cell * _TABLE_MPS, 0.0, _TABLE_MPS)

    def shown(self, at: tuple[IntArray, FloatArray], shown_mps: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Return what a dial shows that shows this at its knots, and its slope, shape (n,) each."""
        cell, beyond = at
        gain = (self.slope @ shown_mps).take(cell)
        return (self.value @ shown_mps).take(cell) + beyond * gain, gain

    def weights(self, at: tuple[IntArray, FloatArray]) -> FloatArray:
        """Return how much each knot counts, shape (n, m)."""
        cell, beyond = at
        return self.value.take(cell, axis=0) + beyond[:, None] * self.slope.take(cell, axis=0)


@dataclass(slots=True)
class View:
    """What a channel sees of the latent speed, arrays of one length."""

    places: Places
    row: FloatArray
    """Weights of the coefficients in what it shows, shape (4, n)."""
    constant: FloatArray
    gain: FloatArray
    at: tuple[IntArray, FloatArray] = field(default_factory=lambda: (np.zeros(0, np.int64), np.zeros(0)))
    """Place of the speed in the table of weights."""
    plain: FloatArray = field(default_factory=lambda: np.zeros((0, 0)))
    later: FloatArray = field(default_factory=lambda: np.zeros(0))
    """What it shows more for a second of uneven lag."""
    hangs: FloatArray = field(default_factory=lambda: np.zeros(0))
    right: FloatArray = field(default_factory=lambda: np.zeros(0))
