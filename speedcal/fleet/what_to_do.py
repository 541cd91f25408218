"""What to do about a vehicle of a fleet."""

from __future__ import annotations

from speedcal.finding import Finding
from speedcal.fleet.rows import FleetRow
from speedcal.jobs.contents import JobContents
from speedcal.vehicle import Vehicle, correct, diagnose
from speedcal.vehicle.advice import Action, Advice

_BY_CAUSE: dict[str, Action] = {
    "pulse_count": "check_count",
    "wrong_unit": "set_unit",
    "needle_offset": "reseat_needle",
    "dial_bent": "repair_instrument",
    "needle_sticks": "repair_instrument",
    "needle_damped": "repair_instrument",
    "foreign_readings": "check_files",
}
"""What a cause asks for at once; any other has to be found out by a measurement."""


def advise(row: FleetRow, job: JobContents | None, rate: float) -> Advice:
    """Return the one thing to do first, if the vehicle is called wrong where it may be.

    Parameters
    ----------
    row
        The vehicle, judged.
    job
        What is stated of it, where its drives are those of a job.
    rate
        False discovery rate: with a chance above it no vehicle is called wrong, however many there are.
    """
    if row.calibration is None:
        return Advice("check_files")
    if row.p_value is None and row.trust == "TRUSTED":
        return Advice("measure_fact", part="odometer_distance")
    if row.p_value is None:
        return Advice("drive_again", because=row.calibration.trust.reasons)
    if row.p_value > rate:
        return Advice("keep_as_is")
    if any(finding.code == "odometer_only" for finding in row.findings):
        return Advice("measure_fact", part="roll_out")
    if job is not None and job.vehicle is not None:
        advice = correct(row.calibration, job.vehicle, limits=job.limits()).advice
        if advice and advice[0].action != "keep_as_is":
            return advice[0]
    cause = next(c for c in diagnose(row.calibration, Vehicle()).hypotheses if c.code != "parts_as_stated")
    because = (Finding("likely_cause", cause=cause.code, probability=cause.probability),)
    action = _BY_CAUSE.get(cause.code, "measure_fact")
    return Advice(action, part=cause.settled_by if action == "measure_fact" else None, because=because)
