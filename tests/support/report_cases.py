"""Calibrations and report facts for tests of the report, made by arithmetic and a seed; no analysis involved."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd

from speedcal.calibration.dial.dial import Dial
from speedcal.calibration.result import BudgetLine, Calibration
from speedcal.finding import Finding, Trust
from speedcal.interval import Interval
from speedcal.report import DriveFacts, ReportFacts
from speedcal.units import SPEED_UNIT_MPS, DisplayUnit
from speedcal.vehicle import Work


def make_calibration(
    factor: float = 1.096,
    *,
    offset: float = 0.2,
    unit: DisplayUnit = "mph",
    count: int = 22,
    wrong: int = 1,
    seed: int = 1,
    held: bool = False,
    gap: bool = True,
    low: float = 25.0,
    high: float = 65.0,
    odometer: bool = False,
    trust: Trust | None = None,
    u_offset: float | None = None,
) -> Calibration:
    """Return a calibration with the given truth in the display unit, its readings on plateaus of a made-up drive.

    With ``u_offset`` only the offset is uncertain, by so much (standard).
    """
    rng = np.random.default_rng(seed)
    u = SPEED_UNIT_MPS[unit]
    plateaus = rng.permutation(np.linspace(low, high, 9))
    time = np.arange(0, 9 * 110.0)
    inside = np.minimum(time % 110.0 / 20.0, 1.0)
    stage = (time // 110).astype(int)
    start = np.concatenate([[0.0], plateaus[:-1]])[stage]
    speed = (start + (plateaus[stage] - start) * inside + rng.normal(0, 0.15, len(time))) * u
    at = np.sort(rng.choice(np.flatnonzero(inside == 1.0), count, replace=count > 700))
    ground = speed[at]
    shown = np.round(offset + factor * ground / u + rng.normal(0, 0.3, count)) * u
    used = np.ones(count, bool)
    used[rng.choice(count, wrong, replace=False)] = False
    shown[~used] += 20 * u
    predicted = offset * u + factor * ground
    readings = pd.DataFrame(
        {
            "line": np.arange(2, count + 2),
            "time_s": np.full(count, np.nan) if held else 2.2e9 + time[at],
            "ground_mps": ground,
            "indicated_mps": shown,
            "predicted_mps": predicted,
            "residual_mps": shown - predicted,
            "u_mps": np.full(count, 0.3 * u),
            "run": stage[at],
            "used": used,
            "reason": np.where(used, "", "wrong"),
        }
    )
    piece = np.where(time < 400, 0, 1)
    keep = (time < 400) | (time > 440) if gap else time >= 0
    covariance = np.array([[(0.5 * u) ** 2, -0.98 * 0.5 * u * 0.011], [-0.98 * 0.5 * u * 0.011, 0.011**2]])
    if u_offset is not None:
        covariance = np.diag([(u_offset * u) ** 2, 0.0])
    return Calibration(
        unit=unit,
        dial=Dial.straight(offset * u, factor, covariance, used_mps=[low * u, high * u]),
        clock_offset_s=None if held else Interval(7.3, 6.1, 8.4),
        odometer_factor=Interval.around(factor, 0.004) if odometer else None,
        scatter_mps=0.3 * u,
        speed_source="recorded",
        trust=trust or Trust("TRUSTED"),
        readings=readings,
        ground=pd.DataFrame({"time_s": 2.2e9 + time[keep], "speed_mps": speed[keep], "piece": piece[keep]}),
        steady_runs=9,
        budget=(
            BudgetLine("scatter", "A", 0.010, 0.06, 0.7),
            BudgetLine("ground_speed", "B", 0.002, 0.02, 0.1),
            BudgetLine("resolution", "B", 0.004, 0.03, 0.2),
        ),
        reference_speed_mps=50 * u,
        findings=(Finding("speed_against_positions", ratio=1.021),),
        sources=(("drive.gpx", "ab" * 32), ("notes.csv", "cd" * 32)),
    )


def make_facts(**changes: Any) -> ReportFacts:
    """Return the facts of a job with a drive before and a drive after, changed as asked."""
    before = make_calibration(1.096, seed=1)
    after = make_calibration(1.096 * 20 / 22, seed=2, wrong=0)
    values: dict[str, Any] = {
        "unit": "mph",
        "drives": (DriveFacts("before", before), DriveFacts("after", after)),
        "before": before,
        "after": after,
        "work": Work(driven_gear=22),
        "shop": "Harbor Lane Garage (invented)",
        "number": "J-0417",
        "customer": "R. Sample (invented)",
        "files": (("job.toml", "12" * 32), ("drive.gpx", "ab" * 32), ("notes.csv", "cd" * 32)),
        "version": "0.1.0",
    }
    return ReportFacts(**{**values, **changes})
