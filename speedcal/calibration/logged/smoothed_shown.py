"""What a log showed, as the filter that the speed beside it went through would have it."""

from __future__ import annotations

import numpy as np

from speedcal.calibration.dial.measured import MeasuredLine
from speedcal.calibration.speed.ground_speed import GroundSpeed
from speedcal.calibration.speed.positions import Smoothing
from speedcal.calibration.tuning.track import GAP_S
from speedcal.interval import FloatArray, median


def as_smoothed(ground: GroundSpeed, line: MeasuredLine, time_s: FloatArray, shown_mps: FloatArray) -> FloatArray:
    """Return what was shown, smoothed as the speed beside it was."""
    if line.tracking is not None:
        return line.tracking.seen(time_s, shown_mps)
    smoothing = None if ground.local_fit is None else ground.local_fit.smoothing
    if line.receiver_lag_s > 0:
        smoothing = Smoothing(line.receiver_lag_s, one_sided=True)
    if smoothing is None:
        return shown_mps
    step = np.diff(time_s)
    piece = np.concatenate(([0], np.cumsum(step > GAP_S)))
    return smoothing.mean(shown_mps, piece, median(step))
