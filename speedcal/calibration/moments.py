"""When a reading may really have been taken, beside its stamp."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from speedcal.calibration.tuning import MINUTE_NODE_S, NODE_S
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
    spacing = MINUTE_NODE_S if minutes else min(NODE_S, 2.5 * u_time_s)
    reach = time_resolution_s / 2 + 2.5 * u_time_s
    count = max(1, int(np.ceil(reach / spacing)))
    delay = spacing * np.arange(-count, count + 1)
    inside = delay[:, None] - np.linspace(-0.5, 0.5, 41)[None, :] * time_resolution_s
    weight = np.exp(-0.5 * (inside / max(u_time_s, 1e-3)) ** 2).sum(axis=1)
    return Moments(np.asarray(middle + delay, float), weight / weight.sum())
