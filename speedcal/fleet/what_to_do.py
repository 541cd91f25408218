"""What to do about a vehicle of a fleet."""

from __future__ import annotations

import numpy as np

from speedcal.finding import Finding
from speedcal.fleet.rows import FleetRow
from speedcal.jobs.contents import JobContents
from speedcal.units import KMH_MPS, MPH_MPS
from speedcal.vehicle import Vehicle, correct, diagnose
from speedcal.vehicle.advised.advice import Action, Advice

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
_MOST_LOW_MPS, _MOST_HIGH, _MOST_HIGH_MPS = 1 * MPH_MPS, 0.1, 4 * KMH_MPS
"""A dial may read high by design, as far as UN R39 allows, and hardly low: beyond that it is off, however right the
odometer is. Our own judgment."""
_SPEEDS = 5
"""True speeds, over the faster half of those driven, at which a dial is looked at."""
_DIAL_OFF = "dial_off_odometer_right"


def advise(row: FleetRow, job: JobContents | None, rate: float) -> Advice:
    """Return the one thing to do first, if the vehicle is called wrong where it may be.

    Parameters
    ----------
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
        return _about_the_dial(row) or Advice("keep_as_is")
    if any(finding.code == "odometer_only" for finding in row.findings):
        return Advice("measure_fact", part="roll_out")
    if job is not None and job.vehicle is not None:
        advice = correct(row.calibration, job.vehicle, limits=job.limits_in(row.calibration.unit)).advice
        if advice and advice[0].action != "keep_as_is":
            return advice[0]
    cause = next(c for c in diagnose(row.calibration, Vehicle()).hypotheses if c.code != "parts_as_stated")
    because = (Finding("likely_cause", cause=cause.code, probability=cause.probability),)
    action = _BY_CAUSE.get(cause.code, "measure_fact")
    return Advice(action, part=cause.settled_by if action == "measure_fact" else None, because=because)


def _about_the_dial(row: FleetRow) -> Advice | None:
    """Return what to do about a dial that is off while the odometer, by which the vehicle is judged, is right."""
    calibration = row.calibration
    if calibration is None or row.judged_by != "odometer" or row.error_factor is None:
        return None
    top = calibration.speed_range_mps[1]
    v = np.linspace(top / 2, top, _SPEEDS)
    shown, half = calibration.dial.indicated(v), calibration.dial.half_width(v)
    beyond = np.maximum(v - _MOST_LOW_MPS - (shown + half), (shown - half) - (v * (1 + _MOST_HIGH) + _MOST_HIGH_MPS))
    at = int(np.argmax(beyond))
    if beyond[at] <= 0:
        return None
    cause = diagnose(calibration, Vehicle()).top
    action: Action = "reseat_needle" if cause and cause.code == "needle_offset" else "repair_instrument"
    values = {"true_mps": float(v[at]), "shown_mps": float(shown[at]), "unit": calibration.unit}
    return Advice(action, part="instrument", because=(Finding(_DIAL_OFF, **values),))


def is_about_the_dial(row: FleetRow) -> bool:
    """Tell whether the advice is about a dial that is off while the odometer is right."""
    return row.advice is not None and _DIAL_OFF in row.advice.codes
