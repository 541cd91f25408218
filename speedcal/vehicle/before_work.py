"""How the instrument reads once some work is undone, by the drive that was made before it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

from speedcal.calibration.result import Calibration
from speedcal.errors import VehicleError
from speedcal.vehicle.choices.judged_vehicle import judge_of
from speedcal.vehicle.choices.undoing import StateBefore
from speedcal.vehicle.forward import gain_change, vehicle_after, with_needle_set
from speedcal.vehicle.judged.limits import Limits
from speedcal.vehicle.vehicle import Vehicle, Work

_TURNED_BACK = ("driven_gear", "drive_gear", "ratio_box", "pulse_scaler")
"""What is fitted or set for the instrument's sake; nobody takes new tires, axle gears or a sensor off again."""


def state_before(
    before: Calibration, vehicle: Vehicle, work: Work, *, speeds: Sequence[float], limits: Limits
) -> StateBefore | None:
    """Return what undoing some work leads back to; None where there is nothing to undo, or it is not known.

    A needle that was set over stays as it is set now.

    Parameters
    ----------
    before
        The drive before the work.
    vehicle, work
        What was fitted then, and what was changed.
    speeds, limits
        As in :func:`speedcal.vehicle.corrections.correct`.
    """
    parts = _parts(vehicle, work)
    names = ("tire", "axle", "rolled", "ratio_box_turned", "pulses_per_turn")
    kept = Work(**{name: getattr(work, name) for name in names})
    try:
        change = gain_change(vehicle, kept)
    except VehicleError:
        return None
    if not parts:
        return None
    dial = with_needle_set(before.dial.geared(change.value, u_ln_factor=change.u_relative), work, before.unit)
    odometer = before.odometer_factor
    then = replace(before, dial=dial, odometer_factor=odometer and odometer.scaled(change.value))
    return StateBefore(judge_of(then, None, vehicle_after(vehicle, kept), before.unit, speeds, None, limits), parts)


def _parts(was: Vehicle, work: Work) -> tuple[tuple[str, Any], ...]:
    """Return what there was in place of what the work brought."""
    found = [(name, getattr(was, name)) for name in _TURNED_BACK if getattr(work, name) is not None]
    numbers = {setting.kind: setting.now for setting in was.settings}
    found += [(f"settings.{setting.kind}", numbers.get(setting.kind)) for setting in work.settings]
    family, now, then = was.family, work.driven_gear, was.driven_gear
    if family is not None and now is not None and then is not None:
        range_down = family.orientation(then)
        if range_down is not None and range_down != family.orientation(now):
            found.append(("housing", range_down))
    return tuple(found)
