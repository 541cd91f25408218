"""Calibrations made by hand, for tests that start behind the measuring."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pandas as pd

from speedcal.calibration.dial.dial import Dial
from speedcal.calibration.result import Calibration
from speedcal.conformity.decision import decide
from speedcal.conformity.tolerance import Tolerance
from speedcal.finding import Trust
from speedcal.interval import Interval
from speedcal.units import SPEED_UNIT_MPS, DisplayUnit


def make_calibration(
    *,
    offset: float = 0.0,
    factor: float = 1.0,
    u_offset: float = 0.0,
    u_factor: float = 0.0,
    correlation: float = -0.95,
    unit: DisplayUnit = "mph",
    speed_range: tuple[float, float] = (30.0, 70.0),
    odometer_factor: Interval | None = None,
    n_readings: int = 24,
) -> Calibration:
    """Return a calibration with this offset and its standard uncertainty in ``unit``, and this factor.

    ``covariance`` has (u_offset², correlation u_offset u_factor, u_factor²) in SI; readings lie on the line, spread
    evenly over ``speed_range`` (in ``unit``).
    """
    scale = SPEED_UNIT_MPS[unit]
    shared = correlation * u_offset * scale * u_factor
    ground = np.linspace(*speed_range, n_readings) * scale
    shown = offset * scale + factor * ground
    readings = pd.DataFrame(
        {
            "line": np.arange(2, n_readings + 2),
            "time_s": 1.7e9 + 30.0 * np.arange(n_readings),
            "ground_mps": ground,
            "indicated_mps": shown,
            "predicted_mps": shown,
            "residual_mps": np.zeros(n_readings),
            "u_mps": np.full(n_readings, 0.2),
            "run": np.arange(n_readings) // 2,
            "used": np.ones(n_readings, bool),
            "reason": [""] * n_readings,
        }
    )
    return Calibration(
        unit=unit,
        dial=Dial.straight(
            offset * scale,
            factor,
            np.array([[(u_offset * scale) ** 2, shared], [shared, u_factor**2]]),
            used_mps=ground,
        ),
        clock_offset_s=None,
        odometer_factor=odometer_factor,
        scatter_mps=0.27,
        speed_source="recorded",
        trust=Trust("TRUSTED"),
        readings=readings,
        ground=pd.DataFrame({"time_s": readings["time_s"], "speed_mps": ground, "piece": 0}),
        steady_runs=math.ceil(n_readings / 2),
    )


def word_of(drive: Calibration, rule: Tolerance) -> str:
    """Return the word of a verdict alone, without the advice that follows a road test that settles nothing."""
    return decide(rule.shown_limits(rule.speeds_mps).box(drive.dial), rule.confidence)[0]


def with_line(calibration: Calibration, offset_mps: float, factor: float, covariance: np.ndarray) -> Calibration:
    """Return the calibration with another straight dial."""
    return replace(calibration, dial=Dial.straight(offset_mps, factor, covariance, used_mps=calibration.dial.used_mps))
