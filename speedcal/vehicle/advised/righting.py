"""A unit or a count of pulses that is wrong: what rights it, what the drive would have been, what is left to do."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from speedcal.calibration.result import Calibration
from speedcal.finding import Finding
from speedcal.units import MILE_M
from speedcal.vehicle.advised.advice import Advice
from speedcal.vehicle.advised.plans import LIKELY
from speedcal.vehicle.diagnosed.diagnosis import Diagnosis
from speedcal.vehicle.train.parts import WRONG_PULSES
from speedcal.vehicle.vehicle import Vehicle

GROW_WITH_THE_COUNT = frozenset({"large_scatter", "loosely_followed", "log_strays"})
"""Doubts that a wrong count of pulses multiplies, as it does the speed shown: it is put right first."""
WITHOUT_WORK = ("check_count", "measure_fact", "drive_again", "check_files", "use_correction_card")
"""What can be done at any time."""
_UNITS = (MILE_M / 1000, 1000 / MILE_M)


def righting_gain(diagnosis: Diagnosis | None, error_factor: float) -> float | None:
    """Return the inverse of a wrong unit or pulse count; None where there is none, it stays, or would not help."""
    top = diagnosis.top if diagnosis else None
    if diagnosis is None or top is None or top.group != "pulses_or_unit" or diagnosis.groups()[top.group] < LIKELY:
        return None
    if top.code == "pulse_count" and diagnosis.is_counted:
        return None
    ratios = WRONG_PULSES if top.code == "pulse_count" else _UNITS
    gain = 1 / min(ratios, key=lambda ratio: abs(np.log(top.factor / ratio)))
    return gain if abs(np.log(error_factor * gain)) < abs(np.log(error_factor)) else None


def turning_gain(diagnosis: Diagnosis | None, vehicle: Vehicle, error_factor: float) -> float | None:
    """Return what turning a ratio box does that likely sits the wrong way around; None where none seems to."""
    top = diagnosis.top if diagnosis else None
    if vehicle.ratio_box is None or top is None or top.code != "transfer_ratio":
        return None
    gain = float(vehicle.ratio_box) ** 2
    return gain if abs(np.log(error_factor * gain)) < abs(np.log(error_factor)) / 2 else None


def as_if_right(calibration: Calibration, gain: float, *, pointer_only: bool) -> Calibration:
    """Return the drive as it would have been with a unit, a pulse count or a ratio box that is right."""
    odometer = calibration.odometer_factor
    odometer = odometer if odometer is None or pointer_only else odometer.scaled(gain)
    trust = calibration.trust.without({*GROW_WITH_THE_COUNT, "unit_suspected"})
    return replace(calibration, dial=calibration.dial.geared(gain), odometer_factor=odometer, trust=trust)


def followed_by(first: Sequence[Advice], then: Sequence[Advice]) -> tuple[Advice, ...]:
    """Return what puts a unit or a pulse count right, followed by what is left to do then.

    A number in a module stands there once: what is typed in for the first is not told anew for the rest.
    """
    done = {"keep_as_is", *(entry.action for entry in first if entry.action == "set_unit")}
    if "number_of_other_unit" in first[0].codes:
        done.add("set_module")
    work = next((entry for entry in then if entry.action not in WITHOUT_WORK), None)
    if work is not None and work.action == "keep_as_is":  # and nothing instead of what is not told
        then = [entry for entry in then if "instead_of_the_first" not in entry.codes]
    later = [entry if entry.action in WITHOUT_WORK else _later(entry) for entry in then if entry.action not in done]
    return (*first, *later)


def _later(entry: Advice) -> Advice:
    """Return work that is figured for when what stands above it is right."""
    return replace(entry, because=(*entry.because, Finding("once_that_is_right")))
