"""A fleet of any size without any drives: rows drawn at random, for the page and for what is decided over many rows."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from support.calibrations import make_calibration
from support.fleets import DAY_S, FIRST_DAY_S

from speedcal.errors import FleetError
from speedcal.finding import Finding, Trust
from speedcal.fleet import FleetResult, FleetRow
from speedcal.fleet.rows import DrivePoint, Limits
from speedcal.fleet.steps import Course, Step
from speedcal.interval import Interval
from speedcal.vehicle.advised.advice import Advice


def large_fleet(count: int, seed: int) -> FleetResult:
    """Return a result with wrong, changed, weak and failed vehicles among the others, 3 to 19 drives each."""
    rng = np.random.default_rng(seed)
    calibrations = [make_calibration(factor=factor) for factor in np.linspace(0.94, 1.06, 25)]
    rows = [_row(f"truck {number:05d}", rng, calibrations) for number in range(count)]
    rows.sort(key=lambda row: (not row.wrong, -row.cost_m, row.vehicle))
    return FleetResult(tuple(rows), Limits(1.0), 0.05, "mph", compared=True)


def _row(name: str, rng: np.random.Generator, calibrations: list) -> FleetRow:  # type: ignore[type-arg]
    kind = rng.choice(["right", "wrong", "weak", "lost"], p=[0.88, 0.08, 0.03, 0.01])
    if kind == "lost":
        refused = (("day0", FleetError("no_drives", source=name).to_dict()),)
        return FleetRow(name, 1, refused, advice=Advice("check_files"))
    error = float(rng.choice([-1, 1]) * rng.uniform(1.5, 6) if kind == "wrong" else rng.normal(0, 0.3))
    count = int(rng.integers(3, 20))
    first = int(rng.integers(1, count)) if rng.random() < 0.1 else 0
    times = FIRST_DAY_S + np.sort(rng.uniform(0, 200, count)) * DAY_S
    before = float(rng.choice([-3.0, 2.5]))
    errors = error + rng.normal(0, 0.3, count) - np.where(np.arange(count) < first, before, 0.0)
    points = tuple(
        DrivePoint(f"day{i}", float(times[i]), Interval.around(float(errors[i]), 0.6), i >= first) for i in range(count)
    )
    steps = (Step(first, float(times[first - 1]), float(times[first]), Interval.around(before, 0.4)),) if first else ()
    days = {"earliest": "2030-05-01", "latest": "2030-05-09"}
    calibration = calibrations[int(np.clip(round(error / 0.5) + 12, 0, 24))]
    if kind == "weak":
        calibration = replace(calibration, trust=Trust("WEAK", (Finding("few_readings", count=6),)))
    half = float(rng.uniform(0.15, 0.5))
    return FleetRow(
        vehicle=name,
        drives=count,
        calibration=calibration,
        odometer_factor=Interval.around(1 + error / 100, half / 100),
        error_percent=Interval.around(error, half),
        judged_by="odometer",
        p_value=None if kind == "weak" else 1e-9 if kind == "wrong" else 0.5,
        distance_m=float(rng.uniform(2e5, 6e7)),
        course=Course(steps),
        points=points,
        findings=(Finding("vehicle_changed", percent=before, **days),) if first else (),
        advice=Advice("measure_fact", part="roll_out") if kind == "wrong" else Advice("keep_as_is"),
        wrong=kind == "wrong",
        is_new=kind == "wrong" and rng.random() < 0.2,
    )
