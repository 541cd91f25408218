"""When a reading may really have been taken, beside its stamp."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from speedcal.calibration.tuning.general import FEW_READINGS
from speedcal.calibration.tuning.notes import HAND_STEPS_S, MINUTE_NODE_S, NODE_S
from speedcal.interval import FloatArray


@dataclass(frozen=True, slots=True)
class Moments:
    """When a reading may have been taken, relative to its stamp: even nodes and weights that sum to one."""

    delay_s: FloatArray
    weight: FloatArray

    @property
    def spacing_s(self) -> float:
        """Time between two nodes."""
        return float(self.delay_s[1] - self.delay_s[0])

    @property
    def middle_s(self) -> float:
        """Mean delay after the stamp."""
        return float(self.weight @ self.delay_s)

    @property
    def half_width_s(self) -> float:
        """Half width of the uniform distribution of the same spread."""
        return float(np.sqrt(3 * (self.weight @ (self.delay_s - self.middle_s) ** 2)))


def moments(time_resolution_s: float, u_time_s: float) -> Moments:
    """Return the nodes for stamps written to a resolution by a hand of a given standard uncertainty.

    A stamp to the second is rounded, so the moment is uniform over one step about it; one to the minute is what the
    clock showed, so the moment lies in the minute that follows. The hand adds a normal error.
    """
    minutes = time_resolution_s >= 30
    middle = time_resolution_s / 2 if minutes else 0.0
    return _nodes(time_resolution_s, u_time_s, middle, MINUTE_NODE_S if minutes else min(NODE_S, 2.5 * u_time_s))


def rounded_by_hand(time_s: FloatArray, time_resolution_s: float, u_time_s: float) -> Moments | None:
    """Return the nodes for stamps that their writer may have rounded, None where they show no such step.

    Who looks at the dial when the second hand stands there writes the same, so this is one of two ways.

    Parameters
    ----------
    time_s
        Stamps, shape (n,). [s]
    time_resolution_s, u_time_s
        As for :func:`moments`.
    """
    if len(time_s) < FEW_READINGS:
        return None
    for step in HAND_STEPS_S:
        if step > time_resolution_s and np.allclose(time_s, step * np.round(time_s / step), rtol=0, atol=1e-3):
            return _nodes(step, u_time_s, 0.0, min(step / 10, MINUTE_NODE_S))
    return None


def _nodes(step_s: float, u_time_s: float, middle_s: float, spacing_s: float) -> Moments:
    count = max(1, int(np.ceil((step_s / 2 + 2.5 * u_time_s) / spacing_s)))
    delay = spacing_s * np.arange(-count, count + 1)
    inside = delay[:, None] - np.linspace(-0.5, 0.5, 41)[None, :] * step_s
    weight = np.exp(-0.5 * (inside / max(u_time_s, 1e-3)) ** 2).sum(axis=1)
    return Moments(np.asarray(middle_s + delay, float), weight / weight.sum())
