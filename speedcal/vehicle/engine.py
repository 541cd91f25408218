"""Axle ratio from a drive whose log holds the engine speed, in a gear whose ratio is known."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np

from speedcal.errors import VehicleError
from speedcal.logs.model import Readings, Track
from speedcal.values import Finding, Interval
from speedcal.vehicle.axle import AxleEstimate, plausible_pairs
from speedcal.vehicle.rolled import RolledTire

_GUESS_LOW, _GUESS_HIGH = 1.5, 9.0


def read_engine_speed(track: Path, log: Path, *, column: str | None = None) -> tuple[Track, Readings]:
    """Read a drive and the engine speed that was logged with it.

    Returns
    -------
    tuple
        The track, and readings whose ``speed_mps`` holds turns per minute instead of a speed.

    Raises
    ------
    SpeedcalError
        A file cannot be read.
    """
    from speedcal.logs import read_readings, read_track

    return read_track(track), read_readings(log, unit="m/s", column=column)


def axle_from_drive(track: Track, engine: Readings, *, gear_ratio: float, rolled: RolledTire) -> AxleEstimate:
    """Return the axle ratio from logged engine speed and ground speed: R = rpm C / (60 v gear).

    Engine speed over a ratio is the speed of the driveshaft, so the drive is analysed like one with a speedometer: the
    clocks are matched, and times in another gear or with a slipping clutch do not fit the line and are left out, as
    long as most of the drive was in the gear named.

    Parameters
    ----------
    track
        The recorded drive.
    engine
        Readings whose ``speed_mps`` holds engine speed in turns per minute.
    gear_ratio
        Of the gear in which most of the drive was made.
    rolled
        What the tire rolls in a turn.

    Raises
    ------
    SpeedcalError
        The drive does not carry a result.
    VehicleError
        The ratio that comes out is not one of an axle: another gear, or another column.
    """
    from speedcal.measure import calibrate

    per_rpm = rolled.circumference_m.value / (60 * gear_ratio)
    guess = _first_guess(track, engine, per_rpm)
    # v = rpm C / (60 gear R), so rpm over the guessed ratio reads like a dial whose error factor is R / guess
    guess *= calibrate(track, _as_speed(engine, per_rpm / guess)).error_factor.value
    result = calibrate(track, _as_speed(engine, per_rpm / guess))
    factor = result.error_factor
    guess *= factor.value
    u = guess * float(np.hypot(factor.half_width / result.coverage_factor / factor.value, rolled.u_relative))
    used = int(result.readings["used"].sum())
    findings = (
        Finding("readings_in_gear", f"{used} of {len(result.readings)} logged engine speeds fit the gear named."),
        *result.findings,
    )
    return AxleEstimate(
        Interval.around(guess, 1.96 * u), "engine speed over a drive", plausible_pairs(guess, u), None, findings
    )


def _as_speed(engine: Readings, mps_per_rpm: float) -> Readings:
    return replace(
        engine,
        speed_mps=engine.speed_mps * mps_per_rpm,
        speed_resolution_mps=engine.speed_resolution_mps * mps_per_rpm,
        speed_unit="km/h",
    )


def _first_guess(track: Track, engine: Readings, per_rpm: float) -> float:
    """Return a ratio from the upper halves of both logs, before the clocks are matched."""
    from speedcal.measure.ground import ground_speed

    ground = ground_speed(track)
    fast = float(np.nanquantile(ground.speed_mps, 0.8))
    turning = float(np.nanquantile(engine.speed_mps, 0.8))
    guess = turning * per_rpm / fast if fast > 0 else 0.0
    if not _GUESS_LOW < guess < _GUESS_HIGH:
        raise VehicleError(
            f"engine speed over road speed would mean an axle ratio of {guess:.1f}",
            source=engine.source,
            remedy="Check that --column holds engine speed in turns per minute, and the ratio of the gear",
        )
    return guess
