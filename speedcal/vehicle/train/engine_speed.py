"""Axle ratio from a drive whose log holds the engine speed, in a gear whose ratio is known."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from speedcal.errors import VehicleError
from speedcal.finding import Finding
from speedcal.interval import Interval, robust_scale
from speedcal.logs.drive.readings import Readings
from speedcal.logs.drive.track import Track
from speedcal.vehicle.tires.rolling_circumference import RolledTire
from speedcal.vehicle.train.axle_ratio import AxleEstimate, plausible_pairs

if TYPE_CHECKING:
    from speedcal.calibration.result import Calibration

_FINEST_RPM = 1e-9
"""Step of engine speeds that show none; only so that it is not zero."""
_GUESS_LOW, _GUESS_HIGH = 1.5, 9.0
"""Axle ratios that the search starts from; road axles lie well inside."""
_SLOWEST_MPS = 8.0
"""Slower runs may be on a slipping clutch or converter. Our own judgment."""
_FEWEST_RUNS = 3
"""Of two that differ none is the wrong one."""
_U_LEAST = 0.001
"""Relative standard uncertainty that no drive goes below: slip of the driven wheels and the rest of the model."""


def read_engine_speed(path: str | Path, *, column: str | None = None, session: str | None = None) -> Readings:
    """Read the engine speed from a table with times.

    Parameters
    ----------
    path
        A delimited table with a header.
    column
        Header of the engine speed; None takes the one column that is called so.
    session
        Which vehicle or session, in a file that holds several.

    Returns
    -------
    Readings
        ``speed_mps`` holds turns per minute instead of a speed.
    """
    from speedcal.logs.formats.engine_speed import read_engine_column

    engine = read_engine_column(path, column=column, session=session)
    nothing = np.full(len(engine.values), np.nan)
    return Readings(
        time_s=engine.time_s,
        clock=engine.clock,
        time_resolution_s=engine.time_resolution_s,
        speed_mps=engine.values,
        speed_unit="m/s",
        speed_resolution_mps=engine.step or _FINEST_RPM,
        odometer_m=nothing,
        odometer_resolution_m=float("nan"),
        line=engine.line,
        source=engine.source,
        dropped=engine.dropped,
        findings=engine.findings,
    )


def axle_from_drive(track: Track, engine: Readings, *, gear_ratio: float, rolled: RolledTire) -> AxleEstimate:
    """Return the axle ratio from logged engine speed and ground speed: R = rpm C / (60 v gear).

    Engine speed over a ratio is the speed of the driveshaft, so the drive is analysed like one with a speedometer: the
    clocks are matched, and times in another gear or with a slipping clutch do not fit the line and are left out, as
    long as most of the drive was in the gear named.

    Parameters
    ----------
    engine
        Readings whose ``speed_mps`` holds engine speed in turns per minute.
    gear_ratio
        Of the gear in which most of the drive was made.

    Raises
    ------
    SpeedcalError
        The drive does not carry a result.
    VehicleError
        The ratio that comes out is not one of an axle: another gear, or another column.
    """
    from speedcal.calibration import calibrate

    per_rpm = rolled.circumference_m.value / (60 * gear_ratio)
    guess = _first_guess(track, engine, per_rpm)
    # v = rpm C / (60 gear R), so rpm over the guessed ratio reads like a dial whose error factor is R / guess
    guess *= calibrate(track, _scaled(engine, per_rpm / guess)).error_factor.value
    result = calibrate(track, _scaled(engine, per_rpm / guess))
    ratio, u_ratio = _ratio_over_runs(result)
    value = guess * ratio
    u = value * float(np.hypot(u_ratio, rolled.u_relative))
    used = int(result.readings["used"].sum())
    findings = [*engine.findings, Finding("readings_in_gear", used=used, total=len(result.readings))]
    if result.trust.word != "TRUSTED":
        findings.append(Finding("drive_carries_little", reason=result.trust.reasons[0]))
    return AxleEstimate(
        Interval.around(value, 1.96 * u), "engine_speed_over_a_drive", plausible_pairs(value, u), None, tuple(findings)
    )


def _ratio_over_runs(result: Calibration) -> tuple[float, float]:
    """Return engine speed over ground speed as a ratio to the guess, with its relative standard uncertainty.

    A gear train has no needle offset, so the ratio is taken at each steady run and its median over the runs; times
    in another gear spoil a run at most, not the median.
    """
    rows = result.readings
    rows = rows[rows["used"] & (rows["run"] >= 0) & (rows["ground_mps"] > _SLOWEST_MPS)]
    runs = (rows["indicated_mps"] / rows["ground_mps"]).groupby(rows["run"]).median().to_numpy()
    if len(runs) < _FEWEST_RUNS:
        raise VehicleError("few_runs_in_gear", count=len(runs), fewest=_FEWEST_RUNS)
    middle = float(np.median(runs))
    spread = robust_scale(runs - middle)
    return middle, float(np.hypot(1.2533 * spread / np.sqrt(len(runs)), _U_LEAST)) / middle


def _scaled(readings: Readings, factor: float) -> Readings:
    return replace(
        readings,
        speed_mps=readings.speed_mps * factor,
        speed_resolution_mps=readings.speed_resolution_mps * factor,
        speed_unit="km/h",
    )


def _first_guess(track: Track, engine: Readings, per_rpm: float) -> float:
    """Return a ratio from the upper halves of both logs, before the clocks are matched."""
    from speedcal.calibration.speed.speed_of_track import ground_speed

    ground = ground_speed(track)
    fast = float(np.nanquantile(ground.speed_mps, 0.8))
    turning = float(np.nanquantile(engine.speed_mps, 0.8))
    guess = turning * per_rpm / fast if fast > 0 else 0.0
    if not _GUESS_LOW < guess < _GUESS_HIGH:
        raise VehicleError("engine_ratio_impossible", source=engine.source, ratio=guess)
    return guess
