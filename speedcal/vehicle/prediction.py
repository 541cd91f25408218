"""What the instrument will show after planned work, with the uncertainty of the drive before it."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, TypeVar

import numpy as np

from speedcal.calibration.result import Calibration
from speedcal.errors import VehicleError
from speedcal.interval import FloatArray, Interval
from speedcal.units import DisplayUnit
from speedcal.vehicle.rolling_circumference import roll_by_convention
from speedcal.vehicle.vehicle import Vehicle, Work

_T = TypeVar("_T")


@dataclass(frozen=True, slots=True)
class GainChange:
    """Indicated speed after the work divided by that before it, the needle offset apart."""

    value: float
    u_relative: float
    """Relative standard uncertainty: zero for teeth and scalers, that of the tires when they are changed."""


@dataclass(frozen=True)
class Prediction:
    """How the instrument will read: ``indicated = offset + factor * ground``, like a calibration, before the drive."""

    unit: DisplayUnit
    offset_mps: float
    factor: float
    covariance: FloatArray
    """Joint covariance of (offset [m/s], factor [1]), shape (2, 2), standard."""
    coverage_factor: float
    odometer_factor: Interval | None
    gain: GainChange

    def indicated(self, ground_mps: FloatArray | float) -> FloatArray:
        """Return the speed that will be shown at a true ground speed. [m/s]."""
        return np.asarray(self.offset_mps + self.factor * np.asarray(ground_mps, float))

    def u_indicated(self, ground_mps: FloatArray | float) -> FloatArray:
        """Return the standard uncertainty of :meth:`indicated`. [m/s]."""
        v, c = np.asarray(ground_mps, float), self.covariance
        return np.asarray(np.sqrt(np.maximum(c[0, 0] + 2 * v * c[0, 1] + v * v * c[1, 1], 0.0)))


def gain_change(vehicle: Vehicle, work: Work | Mapping[str, Any], *, source: str = "") -> GainChange:
    """Return what planned work does to the indicated speed.

    Parameters
    ----------
    vehicle
        As it was during the drive before the work.
    work
        What is changed: a :class:`~speedcal.vehicle.vehicle.Work` or the [work] table of a job file.
    source
        Name of the file for messages.

    Raises
    ------
    VehicleError
        The vehicle does not say what was fitted before, or the work names something unknown.
    """
    plan = work if isinstance(work, Work) else Work.from_dict(work, source=source)
    gain, u = 1.0, 0.0
    if plan.driven_gear is not None:
        gain *= _before(vehicle.driven_gear, "driven_gear", source) / plan.driven_gear
    if plan.drive_gear is not None:
        gain *= plan.drive_gear / _before(vehicle.drive_gear, "drive_gear", source)
    if plan.ratio_box is not None:
        gain *= float(plan.ratio_box / (vehicle.ratio_box or 1))
    if plan.pulse_scaler is not None:
        gain *= float(plan.pulse_scaler / (vehicle.pulse_scaler or 1))
    if plan.axle is not None and vehicle.sensor != "wheel":
        before = _before(vehicle.axle, "axle", source)
        gain *= float(plan.axle) / float(before)
        u = math.hypot(u, plan.axle.u_relative, before.u_relative)
    if plan.tire is not None:
        rolled_before, rolled = _before(vehicle.rolled, "tire", source), plan.rolled or roll_by_convention(plan.tire)
        gain *= rolled_before.circumference_m.value / rolled.circumference_m.value
        u = math.hypot(u, rolled.u_relative, rolled_before.u_relative)
    for setting in plan.settings:
        now = {item.kind: item.now for item in vehicle.settings}.get(setting.kind)
        if setting.now is not None:
            gain *= (setting.now / _before(now, f"settings.{setting.kind}", source)) ** setting.power
    return GainChange(gain, u)


def predict_after(
    calibration: Calibration, vehicle: Vehicle, work: Work | Mapping[str, Any], *, source: str = ""
) -> Prediction:
    """Return how the instrument will read after the work: the gain changes, the needle offset stays.

    Raises
    ------
    VehicleError
        As :func:`gain_change`.
    """
    change = gain_change(vehicle, work, source=source)
    scale = np.array([1.0, change.value])
    covariance = calibration.covariance * np.outer(scale, scale)
    factor = change.value * calibration.error_factor.value
    covariance[1, 1] += (factor * change.u_relative) ** 2
    odometer = calibration.odometer_factor
    return Prediction(
        unit=calibration.unit,
        offset_mps=calibration.offset_mps.value,
        factor=factor,
        covariance=covariance,
        coverage_factor=calibration.coverage_factor,
        odometer_factor=None if odometer is None else odometer.scaled(change.value),
        gain=change,
    )


def _before(value: _T | None, key: str, source: str) -> _T:
    if value is None:
        raise VehicleError(
            f"[vehicle] does not say {key}, so the effect of changing it is unknown",
            source=source,
            remedy=f"Add {key} as it was during the drive before the work",
        )
    return value
