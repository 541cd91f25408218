"""What planned work does to an instrument, and what to order with it, before anything is bought."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, TypeVar

import numpy as np

from speedcal.calibration.dial.dial import Dial
from speedcal.calibration.result import Calibration
from speedcal.errors import VehicleError
from speedcal.finding import Finding
from speedcal.interval import FloatArray, Interval
from speedcal.units import MPH_MPS, SPEED_UNIT_MPS, DisplayUnit
from speedcal.vehicle.advised.righting import righting_gain
from speedcal.vehicle.choices.facts_only import undriven
from speedcal.vehicle.corrections import Corrections, correct_diagnosed
from speedcal.vehicle.diagnosed.diagnosis import diagnose
from speedcal.vehicle.drivetrain import driving_tire
from speedcal.vehicle.tires.rolling_circumference import roll_by_convention
from speedcal.vehicle.vehicle import Criterion, Vehicle, Work
from speedcal.wording import Spoken

NEEDLE_SET_U_MPS = 0.5 * MPH_MPS
"""How well a needle is set over, standard uncertainty. Common practice, no source: to a mph."""
ROAD_SPEEDS: dict[DisplayUnit, tuple[float, ...]] = {
    "mph": (30.0, 40.0, 50.0, 60.0, 70.0),
    "km/h": (50.0, 70.0, 90.0, 110.0, 130.0),
}
"""True speeds at which planned work is shown where nobody names any and nothing was driven."""
_T = TypeVar("_T")


@dataclass(frozen=True, slots=True)
class GainChange:
    """Speed of the instrument's shaft after the work divided by that before it."""

    value: float
    u_relative: float
    """Relative standard uncertainty: zero for teeth and scalers, that of the tires when they are changed."""

    def __post_init__(self) -> None:
        if not 0 < self.value < np.inf:
            raise ValueError(f"a gain must be above zero, not {self.value}")


@dataclass(frozen=True)
class Prediction:
    """How the instrument will read after the work."""

    dial: Dial
    odometer_factor: Interval | None
    gain: GainChange


def gain_change(vehicle: Vehicle, work: Work | Mapping[str, Any]) -> GainChange:
    """Return what planned work does to the speed of the instrument's shaft.

    Parameters
    ----------
    vehicle
        As it was during the drive before the work.
    work
        What is changed: a :class:`~speedcal.vehicle.vehicle.Work` or the [work] table of a job file.

    Raises
    ------
    VehicleError
        The vehicle does not say what was fitted before, or the work names something unknown.
    """
    plan = work if isinstance(work, Work) else Work.from_dict(work)
    gain, variance = 1.0, 0.0
    for name, power in (("driven_gear", -1), ("drive_gear", 1), ("pulses_per_turn", 1)):
        if (count := getattr(plan, name)) is not None:
            gain *= (count / _before(getattr(vehicle, name), name)) ** power
    if plan.ratio_box_turned:
        gain *= float(_before(vehicle.ratio_box, "ratio_box")) ** 2
    for name in ("ratio_box", "pulse_scaler"):
        if (ratio := getattr(plan, name)) is not None:
            gain *= float(ratio / (getattr(vehicle, name) or 1))
    if plan.axle is not None and vehicle.sensor != "wheel":
        before = _before(vehicle.axle, "axle")
        gain *= float(plan.axle) / float(before)
        variance += plan.axle.u_relative**2 + before.u_relative**2
    if plan.tire is not None:
        rolled_before, rolled = _before(driving_tire(vehicle), "tire"), plan.rolled or roll_by_convention(plan.tire)
        gain *= rolled_before.circumference_m.value / rolled.circumference_m.value
        variance += rolled.u_relative**2 + rolled_before.u_relative**2
    for setting in plan.settings:
        now = {item.kind: item.now for item in vehicle.settings}.get(setting.kind)
        if setting.now is not None:
            gain *= (setting.now / _before(now, f"settings.{setting.kind}")) ** setting.power
    return GainChange(gain, float(np.sqrt(variance)))


def says_what_changes(before: Calibration | None, vehicle: Vehicle | None, work: Work | None) -> bool:
    """Tell whether a job states all that its work does to the reading of the drive before.

    It does not where the instrument was repaired, nor where a unit or a count of pulses was to be put right first.
    """
    if before is None or work is None or work.instrument_repaired or work.is_nothing:
        return False
    try:
        gain = gain_change(vehicle or Vehicle(), work).value
    except VehicleError:
        return False
    now = before.error_factor.value
    is_righted = abs(np.log(now * gain)) < abs(np.log(now)) / 2  # by the work itself, such as a number in a module
    return is_righted or righting_gain(diagnose(before, vehicle or Vehicle()), now) is None


def with_needle_set(dial: Dial, work: Work, unit: DisplayUnit) -> Dial:
    """Return the dial once the needle has been set over, as well as a needle can be set."""
    if work.needle is None:
        return dial
    moved = replace(dial, shown_mps=dial.shown_mps + work.needle * SPEED_UNIT_MPS[unit])
    return moved.shifted(NEEDLE_SET_U_MPS**2)


def predict_after(calibration: Calibration, vehicle: Vehicle, work: Work | Mapping[str, Any]) -> Prediction:
    """Return how the instrument will read after the work: at v what it showed at gain x v, the needle set over.

    Raises
    ------
    VehicleError
        As :func:`gain_change`.
    """
    plan = work if isinstance(work, Work) else Work.from_dict(work)
    change = gain_change(vehicle, plan)
    odometer = calibration.odometer_factor
    dial = calibration.dial.geared(change.value, u_ln_factor=change.u_relative)
    return Prediction(
        with_needle_set(dial, plan, calibration.unit), odometer and odometer.scaled(change.value), gain=change
    )


def _before(value: _T | None, key: str) -> _T:
    if value is None:
        raise VehicleError("fact_before_missing", key=key)
    return value


@dataclass(frozen=True)
class Forecast(Spoken):
    """What planned work does to the instrument, and what would put it right afterwards."""

    work: Work
    gain: Interval
    """Indicated speed after the work divided by that before it."""
    is_measured: bool
    """True when a drive tells how the instrument reads now; False when it is taken to be right now."""
    corrections: Corrections

    def to_dict(self) -> dict[str, Any]:
        """Return the forecast, ready for JSON."""
        return {
            "work": str(self.work),
            "gain": self.gain.to_dict(),
            "instrument_now": "measured" if self.is_measured else "taken_as_right",
            "errors": [dict(row) for row in self.corrections.keep.errors],
            "corrections": self.corrections.to_dict(),
        }


def forecast(
    vehicle: Vehicle,
    work: Work | Mapping[str, Any],
    *,
    calibration: Calibration | None = None,
    unit: DisplayUnit = "mph",
    speeds: Sequence[float] | FloatArray | None = None,
    criterion: Criterion | None = None,
) -> Forecast:
    """Return what the instrument will show after planned work, and which gear or setting to order with it.

    Parameters
    ----------
    vehicle
        As it is now.
    work
        What is planned, such as ``{"tire": "35x12.50R17LT"}``.
    calibration
        A drive of the vehicle as it is now; None takes the instrument to be right now.
    unit
        Unit for people when there is no drive.
    speeds
        Ground speeds that matter, in the display unit; None takes the driven range, without a drive
        :data:`ROAD_SPEEDS`.
    criterion
        As in :func:`speedcal.vehicle.corrections.correct`.

    Raises
    ------
    VehicleError
        The vehicle does not say what is fitted now where the work changes it.
    """
    plan = work if isinstance(work, Work) else Work.from_dict(work)
    now = calibration if calibration is not None else _right_now(unit)
    after = predict_after(now, vehicle, plan)
    predicted = replace(now, dial=after.dial, odometer_factor=after.odometer_factor, findings=())
    diagnosis = None if calibration is None else diagnose(calibration, vehicle)
    if speeds is None and calibration is None:
        speeds = ROAD_SPEEDS[unit]
    return Forecast(
        work=plan,
        gain=Interval.known_to(after.gain.value, after.gain.value * after.gain.u_relative),
        is_measured=calibration is not None,
        corrections=correct_diagnosed(
            predicted, vehicle_after(vehicle, plan), diagnosis, speeds=speeds, criterion=criterion
        ),
    )


def vehicle_after(vehicle: Vehicle, work: Work) -> Vehicle:
    """Return the vehicle as it will be after the work."""
    changes: dict[str, Any] = {
        name: value
        for name in ("driven_gear", "drive_gear", "ratio_box", "pulse_scaler", "pulses_per_turn", "tire", "axle")
        if (value := getattr(work, name)) is not None
    }
    if work.tire is not None:
        changes["rolled"] = work.rolled or roll_by_convention(work.tire)
        changes["tire_other_side"] = None
        changes["tire_before"] = vehicle.tire_before or vehicle.tire  # which the instrument was made for
    if work.axle is not None:
        changes["axle_before"] = vehicle.axle_before or vehicle.axle
    if work.settings:
        kept = {item.kind: item for item in vehicle.settings}
        typed = {item.kind: replace(kept.get(item.kind, item), now=item.now) for item in work.settings}
        changes["settings"] = tuple({**kept, **typed}.values())
    return replace(vehicle, **changes)


def _right_now(unit: DisplayUnit) -> Calibration:
    """Return the calibration of an instrument that is right, over the usual range of road speeds."""
    used = np.array(ROAD_SPEEDS[unit]) * SPEED_UNIT_MPS[unit]
    return undriven(Dial.straight(0.0, 1.0, np.zeros((2, 2)), used_mps=used), unit, Finding("no_drive"))
