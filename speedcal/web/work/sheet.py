"""The sheet for the road test of a job, as the command ``speedcal plan`` draws it."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any


def write_sheet(task: Mapping[str, Any]) -> dict[str, Any]:
    """Plan the road test of a job and write the sheet.

    The marks are those of the dial as it is after the work; without a drive before it, or where the job does not state
    the work, or not enough of the vehicle to tell what it does, the sheet gives speeds to hold by GPS, and says so.

    Parameters
    ----------
    task
        ``document`` (tables of the job file), ``unit``, ``speed_limit`` (in that unit), ``folder`` (job folder, empty
        when the job has no drive yet), ``out`` (the PDF).

    Raises
    ------
    SpeedcalError
        The job does not carry a plan, with what it needs.
    """
    from speedcal.conformity import load_tolerance, plan
    from speedcal.jobs import load_job, measure_job
    from speedcal.jobs.road_test import held_in
    from speedcal.report.road_test_sheet import render_sheet
    from speedcal.units import SPEED_UNIT_MPS
    from speedcal.vehicle import Vehicle, Work

    document, unit = task["document"], task["unit"]
    head, rule = document.get("job", {}), document.get("tolerance")
    work = Work.from_dict(document.get("work", {}), source="the job")
    folder = task["folder"]
    vehicle = Vehicle.from_dict(document.get("vehicle", {}), source="the job")
    is_told = bool(folder) and not work.is_nothing
    known = measure_job(load_job(Path(folder) / "job.toml"), phases=("before",)) if is_told else None
    limit_mps = task["speed_limit"] * SPEED_UNIT_MPS[unit]
    by_gps, unit = held_in(known, vehicle, work, unit)
    made = plan(
        vehicle,
        speed_limit=limit_mps / SPEED_UNIT_MPS[unit],
        unit=unit,
        tolerance=load_tolerance(rule, source="the job", unit=unit) if rule else None,
        calibration=known.before if known else None,
        work=work,
        by_gps=by_gps,
    )
    sheet = render_sheet(made, number=head.get("number", ""), shop=head.get("shop", ""))
    Path(task["out"]).write_bytes(sheet)
    return {}
