"""A mixed-up unit or a wrong count of pulses that was put right between two drives, which no key of the work tells."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from speedcal.vehicle.advised.righting import righting_gain
from speedcal.vehicle.diagnosed.diagnosis import diagnose

if TYPE_CHECKING:
    from speedcal.calibration.result import Calibration
    from speedcal.vehicle import Vehicle


def righted_since(before: Calibration, after: Calibration, vehicle: Vehicle, planned: float) -> float:
    """Return by how much that changes the reading: one where nothing was wrong before, or it still is.

    Parameters
    ----------
    planned
        Change of the reading that the work as stated makes.
    """
    gain = righting_gain(diagnose(before, vehicle), before.error_factor.value)
    if gain is None:
        return 1.0
    left = np.log(after.error_factor.value / before.error_factor.value / planned)
    return gain if abs(left - np.log(gain)) < abs(left) else 1.0
