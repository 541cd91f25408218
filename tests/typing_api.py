"""A caller's file: the public names with the types that a type checker must see. Checked by mypy, never run."""

from __future__ import annotations

from pathlib import Path
from typing import Any, assert_type

import speedcal


def from_files(track_file: Path, readings_file: str) -> dict[str, Any]:
    """Go from two files to the numbers."""
    track = speedcal.read_track(track_file, zone="+02:00")
    readings = speedcal.read_readings(readings_file, unit="mph", column="dial")
    assert_type(track, speedcal.Track)
    assert_type(readings, speedcal.Readings)
    calibration = speedcal.calibrate(track, readings, unit="km/h", clock_offset_s=3.0)
    assert_type(calibration, speedcal.Calibration)
    assert_type(calibration.error_factor.value, float)
    return calibration.to_dict()


def from_film(track_file: Path, film: Path) -> speedcal.Calibration:
    """Go from a filmed drive to the numbers."""
    readings = speedcal.read_film(film, "dial.toml", per_second=1)
    assert_type(readings, speedcal.Readings)
    return speedcal.calibrate(speedcal.read_track(track_file), readings)


def to_parts(calibration: speedcal.Calibration) -> speedcal.Corrections:
    """Go from the numbers to the parts."""
    vehicle = speedcal.Vehicle.from_dict({"driven_gear": 19}, source="a form")
    return speedcal.correct(calibration, vehicle, speeds=[30.0, 50.0], criterion="never reads low")


def to_verdict(before: speedcal.Calibration | None, after: speedcal.Calibration) -> speedcal.Verification:
    """Go from two drives to the verdict."""
    tolerance = speedcal.load_tolerance("un_r39_type")
    assert_type(tolerance, speedcal.Tolerance)
    return speedcal.verify(before, after, tolerance, speeds=[30.0, 45.0])


def to_plan(vehicle: speedcal.Vehicle) -> speedcal.RoadTestPlan:
    """Plan the road test."""
    return speedcal.plan(vehicle, speed_limit=65, unit="mph")


def whole_fleet(folder: Path) -> list[str]:
    """List a fleet."""
    result = speedcal.fleet([folder], percent=2.0, rate=0.1, remember=folder)
    assert_type(result, speedcal.FleetResult)
    return [row.vehicle for row in result.wrong]


def whole_job(folder: Path) -> list[Path]:
    """Run a job and write its result."""
    job = speedcal.load_job(folder)
    assert_type(job, speedcal.Job)
    result = job.run()
    assert_type(result, speedcal.JobResult)
    try:
        return list(result.write(folder / "result"))
    except speedcal.SpeedcalError as error:
        assert_type(error.line, int | None)
        raise
