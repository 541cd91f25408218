"""A log in whole steps of one unit whose dial went in whole steps of another, rounded twice on the way."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from speedcal.calibration.tuning import logs as tuned
from speedcal.finding import Finding
from speedcal.logs.drive.readings import Readings
from speedcal.units import SPEED_UNIT_MPS


def as_it_went(readings: Readings) -> Readings:
    """Return the readings in the steps in which the dial went; most come back as they are.

    Of the steps they are written in, such readings use those alone that are nearest to one of the dial's.
    """
    speed, step = readings.speed_mps, readings.speed_resolution_mps
    figures = np.unique(np.round(speed[np.isfinite(speed) & (speed > 0)] / step)) if step > 0 else np.zeros(0)
    if len(figures) < tuned.FEWEST_CONVERTED:
        return readings
    for unit, size in SPEED_UNIT_MPS.items():
        if size < tuned.CONVERTED_FROM * step or unit == "m/s":
            continue
        again = np.round(np.round(figures * step / size) * size / step)
        if np.mean(again == figures) >= tuned.CONVERTED_SHARE:
            told = Finding("steps_of_another_unit", unit=unit)
            findings = (*readings.findings, told)
            dial_mps = np.round(speed / size) * size
            return replace(readings, speed_mps=dial_mps, speed_resolution_mps=size, findings=findings)
    return readings
