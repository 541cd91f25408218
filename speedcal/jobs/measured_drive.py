"""One drive as a job states it: its files read, and how the instrument read on it."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from speedcal.jobs.contents import Drive
from speedcal.units import SPEED_UNIT_MPS, DisplayUnit, SpeedUnit, display_unit_of

if TYPE_CHECKING:
    from speedcal.calibration.result import Calibration
    from speedcal.logs import Checks, Readings, Track
    from speedcal.logs.drive.readings import ReadFrom
    from speedcal.vehicle import Vehicle


def as_driven(drive: Drive) -> Drive:
    """Return a drive by checks that are a log of both speeds as one by track and readings; others as they are.

    Rows a second apart err alike, and what was shown comes late: as checks they would be taken for a hundred times the
    evidence that they are.
    """
    from speedcal.logs import is_log_of_both

    if drive.checks is None or not is_log_of_both(drive.checks, column=drive.column, session=drive.session):
        return drive
    return replace(drive, track=drive.checks, readings=drive.checks, checks=None)


def track_of(drive: Drive) -> Track:
    """Return the track of a drive that has one."""
    from speedcal.logs import read_track_beside

    assert drive.track is not None  # noqa: S101 - the job file was checked
    options = {"unit": drive.unit, "session": drive.session, "column": drive.column}
    return read_track_beside(drive.track, drive.readings, **options)


def readings_of(drive: Drive, unit: DisplayUnit | None) -> Readings:
    """Return the readings of a drive, or the speeds held; these are in ``unit`` where the drive names none."""
    from speedcal.logs import read_readings

    if drive.readings is None:
        readings = held_readings(drive.held, drive.unit or unit or "mph")
    else:
        options = {"column": drive.column, "zone": drive.zone, "session": drive.session}
        readings = read_readings(drive.readings, unit=drive.unit, **options)
    return with_unit_seen(readings, drive.dial_unit, drive.read_from)


def with_unit_seen(readings: Readings, unit: DisplayUnit | None, read_from: ReadFrom | None) -> Readings:
    """Return the readings with the unit that somebody saw on the dial; a machine may log in another all the same."""
    from speedcal.logs.drive.readings import with_dial_unit

    return (
        readings
        if is_of_machine(readings, read_from) and readings.speed_unit != unit
        else with_dial_unit(readings, unit)
    )


def is_of_machine(readings: Readings, read_from: ReadFrom | None) -> bool:
    """Tell whether a machine wrote the readings down, which saw no dial: as is said, else by their times."""
    from speedcal.calibration.readings.kind import is_log

    said = read_from or readings.read_from
    return said == "logged" if said else is_log(readings.time_s)


def checks_of(drive: Drive, vehicle: Vehicle | None) -> Checks:
    """Return the checks of a drive that has them; engine speed tells a true speed by what is known of the vehicle."""
    from speedcal.logs import read_checks
    from speedcal.vehicle.drivetrain import shaft_turn_m

    assert drive.checks is not None  # noqa: S101 - asked by the caller
    turn = shaft_turn_m(vehicle) if vehicle else None
    return read_checks(drive.checks, unit=drive.unit, column=drive.column, session=drive.session, shaft_turn_m=turn)


def calibrated(
    track: Track, readings: Readings, drive: Drive, *, unit: DisplayUnit | None, vehicle: Vehicle | None
) -> Calibration:
    """Return how the instrument read, by what the drive says of its clock, its reader and the country."""
    from speedcal.calibration import calibrate

    calibration = calibrate(
        track,
        readings,
        unit=unit,
        clock_offset_s=drive.clock_offset_s,
        read_from=drive.read_from,
        rounding=drive.rounding,
        terrain=drive.terrain,
        range_gains=ranges_of(vehicle),
    )
    return borne_out(calibration, vehicle)


def ranges_of(vehicle: Vehicle | None) -> tuple[float, ...]:
    """Return by how much more the dial shows in the other ranges that are stated, or by pulses wrong by threes.

    Those wrong by twos are looked for with every vehicle.
    """
    from speedcal.vehicle.drivetrain import range_gains
    from speedcal.vehicle.train.parts import WRONG_BY_THREES

    if vehicle is None:
        return ()
    return (*(gain for _, gain in range_gains(vehicle)), *(WRONG_BY_THREES if vehicle.expects_pulses else ()))


def calibrated_checks(checks: Checks, *, unit: DisplayUnit | None, vehicle: Vehicle | None) -> Calibration:
    """Return how the instrument read by checks."""
    from speedcal.calibration import calibrate_checks

    return borne_out(calibrate_checks(checks, unit=unit), vehicle)


def borne_out(calibration: Calibration, vehicle: Vehicle | None) -> Calibration:
    """Return a calibration without the doubts that the facts of the vehicle settle."""
    from speedcal.vehicle.diagnosed.unit_borne_out import with_unit_borne_out

    return with_unit_borne_out(calibration, vehicle) if vehicle else calibration


def held_readings(speeds: tuple[float, ...], unit: SpeedUnit) -> Readings:
    """Return readings without times: speeds that were held one after the other."""
    from speedcal.logs.drive.readings import Readings
    from speedcal.logs.writing.numbers import speed_step

    values = np.asarray(speeds, float)
    nothing = np.full(len(values), np.nan)
    return Readings(
        time_s=nothing,
        clock="none",
        time_resolution_s=np.nan,
        speed_mps=values * SPEED_UNIT_MPS[unit],
        speed_unit=display_unit_of(unit),
        speed_resolution_mps=speed_step(values, unit, held=False),
        odometer_m=nothing,
        odometer_resolution_m=np.nan,
        line=np.arange(1, len(values) + 1),
        kind="held speeds",
        source="held speeds",
    )
