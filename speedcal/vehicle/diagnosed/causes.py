"""What may be wrong with a speedometer, and what each cause does to the reading."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from speedcal.units import MILE_M, MPH_MPS
from speedcal.vehicle.data import facts
from speedcal.vehicle.diagnosed.identities import parts_of, shares
from speedcal.vehicle.drivetrain import assumed_roll, axle_change, chain, driving_tire, range_gains, train_gain
from speedcal.vehicle.train.parts import WRONG_BY_TWOS, WRONG_PULSES
from speedcal.vehicle.vehicle import Vehicle

GROUPS = {
    "parts_as_stated": "drivetrain",
    "tires": "drivetrain",
    "axle": "drivetrain",
    "gears": "drivetrain",
    "transfer_ratio": "drivetrain",
    "other_range": "drivetrain",
    "sensor_ring": "drivetrain",
    "module_number": "drivetrain",
    "pulse_count": "pulses_or_unit",
    "wrong_unit": "pulses_or_unit",
    "other_scale": "pulses_or_unit",
    "needle_offset": "needle",
    "dial_gain": "dial",
    "dial_bent": "dial",
    "needle_sticks": "dial",
    "needle_damped": "dial",
    "foreign_readings": "readings",
}
"""Cause to its class; within a class the causes may look alike to a drive."""

SETTLED_BY = {
    "parts_as_stated": "roll_out",
    "tires": "roll_out",
    "axle": "count_axle",
    "gears": "count_gears",
    "transfer_ratio": "check_range",
    "other_range": "check_range",
    "pulse_count": "count_pulses",
    "module_number": "count_pulses",
    "wrong_unit": "check_unit",
    "other_scale": "check_unit",
    "sensor_ring": "count_ring",
    "needle_offset": "look_at_rest",
    "dial_gain": "odometer_distance",
    "dial_bent": "bench_test",
    "needle_sticks": "up_and_down",
    "needle_damped": "hold_longer",
    "foreign_readings": "check_files",
}
"""The one measurement that settles each cause."""

_MISMATCH = 0.02
"""Stated parts that lead one to expect a larger error than this do not suit each other."""
_UNSTATED_U = 0.005
"""Relative standard uncertainty of a drive of which nothing is stated, before any cause."""
_ABSURD, _DENIED = float(np.log(2)), 0.15
"""Stated numbers by which the dial would show less than half or more than twice the speed do not go together, where a
drive shows a factor that is so much, relative, from theirs. Tires and axle together reach 1.7. Our own judgment."""
_UNIT = float(np.log(MILE_M / 1000))
_RING_PULSES = 20
"""Pulses a turn from which a sensor reads a ring of teeth, which come in any number. Our own judgment."""


def expected_factor(vehicle: Vehicle) -> tuple[float, float]:
    """Return the logarithm of the factor that the stated facts lead one to expect, and its standard uncertainty."""
    known = train_gain(chain(vehicle))
    if known is not None:
        return float(np.log(known[0])), known[1]
    tire = _tire_against_the_assumed(vehicle)
    found = [part for part in (_axle_against_its_number(vehicle), tire or _axle_against_the_former(vehicle)) if part]
    if not found:
        return 0.0, _UNSTATED_U
    logs, spreads = zip(*found, strict=True)
    return float(np.sum(logs)), float(np.linalg.norm(spreads))


def _axle_against_its_number(vehicle: Vehicle) -> tuple[float, float] | None:
    """Return the axle over the ratio that a module is set to: logarithm, and its standard uncertainty."""
    axle = vehicle.axle if vehicle.sensor != "wheel" else None
    for setting in vehicle.settings:
        if setting.kind == "axle_ratio" and setting.now is not None and axle is not None:
            return float(np.log(float(axle) / setting.now)), axle.u_relative
    return None


def _axle_against_the_former(vehicle: Vehicle) -> tuple[float, float] | None:
    """Return the axle over the one of before, where nothing is known of tires; as above."""
    change = axle_change(vehicle)
    return (float(np.log(change[0])), change[1]) if change else None


def _tire_against_the_assumed(vehicle: Vehicle) -> tuple[float, float] | None:
    """Return what a module is set to, or the tire of before rolled, over what the tire rolls now; as above."""
    rolled, assumed = driving_tire(vehicle), assumed_roll(vehicle)
    if rolled is None or assumed is None:
        return None
    circumference_m, u_relative, _ = assumed
    return float(np.log(circumference_m / rolled.circumference_m.value)), math.hypot(u_relative, rolled.u_relative)


def expected_or_unknown(vehicle: Vehicle, measured: float) -> tuple[float, float]:
    """Return :func:`expected_factor`, unless the stated numbers do not go together and the drive denies them as well.

    Such a chain has a wrong number in it, and says nothing: causes sought beside it would be sure and wrong.

    Parameters
    ----------
    measured
        Logarithm of the factor that the drive shows.
    """
    expected, u_expected = expected_factor(vehicle)
    if abs(expected) > _ABSURD and abs(measured - expected) > _DENIED:
        return 0.0, _UNSTATED_U
    return expected, u_expected


Shifts = tuple[tuple[float, float, float], ...]
"""What a cause does to the drive: shift of the logarithm, its standard deviation, and its share."""


def drive_causes(vehicle: Vehicle, expected: float) -> dict[str, Shifts]:
    """Return the causes that sit between road and instrument, with what each does to the factor."""
    size = facts("explain")["cause"]["size"]
    mismatch = abs(expected) > _MISMATCH
    causes: dict[str, Shifts] = {"parts_as_stated" if mismatch else "none": ((0.0, 0.0, 1.0),)}
    stated = {part.name: part for part in parts_of(vehicle) if part.stated is not None and len(part.labels) > 1}
    for cause, names in (("tires", ("tire",)), ("axle", ("axle",)), ("gears", ("driven_gear", "drive_gear"))):
        if (vehicle.sensor == "wheel" and cause == "axle") or (vehicle.gears_counted and cause == "gears"):
            continue
        parts = [part for name in names if (part := stated.get(name))]
        logs = [float(log) for part in parts for log in np.log(part.gains / part.gains[part.stated])]
        if others := [log for log in logs if 0.01 < abs(log) < 0.5]:
            chances = shares(np.array(others), cause).tolist()
            causes[cause] = tuple((log, 0.01, chance) for log, chance in zip(others, chances, strict=True))
        elif cause != "gears" or vehicle.has_gear_drive:
            causes[cause] = ((0.0, size[cause], 1.0),)
    ranges = [float(np.log(gain)) for _, gain in range_gains(vehicle)]
    for cause, logs in (("transfer_ratio", _other_ratios(vehicle)), ("other_range", ranges)):
        if logs:
            causes[cause] = tuple((shift, size["transfer"], 1 / len(logs)) for shift in logs)
    return causes | _counting_causes(vehicle)


def chance_beforehand(vehicle: Vehicle) -> Mapping[str, float]:
    """Return how common each cause in the drive is, before anything was driven.

    Where the whole chain is stated nothing is asked of what the instrument was made for: tires are then the cause only
    if they are not what the sidewall was read to say.
    """
    known = facts("explain")
    common: Mapping[str, float] = known["cause"]["drive"]
    if train_gain(chain(vehicle)) is None:
        return common
    return {**common, "tires": common["none"] * (1 / known["stated"]["tire"] - 1)}


def _counting_causes(vehicle: Vehicle) -> dict[str, Shifts]:
    """Return the causes that sit in what is counted: the sensor's pulses, and miles or kilometers."""
    size = facts("explain")["cause"]["size"]
    causes: dict[str, Shifts] = {}
    if vehicle.pulses_per_turn is not None and vehicle.pulses_per_turn >= _RING_PULSES:
        causes["sensor_ring"] = ((0.0, size["sensor_ring"], 1.0),)
    if vehicle.expects_pulses or not (vehicle.drive_gear or vehicle.driven_gear):
        # of a sensor of which nothing is stated the number in its module is all there is to be wrong
        typed_in = vehicle.pulses_per_turn is None and any(s.pulses_per_m is not None for s in vehicle.settings)
        ratios = WRONG_PULSES if vehicle.expects_pulses else WRONG_BY_TWOS
        causes["module_number" if typed_in else "pulse_count"] = tuple(
            (float(np.log(ratio)), size["pulses"], 1 / len(ratios)) for ratio in ratios
        )
    causes["wrong_unit"] = tuple((shift, size["unit"], 0.5) for shift in (_UNIT, -_UNIT))
    return causes


def _other_ratios(vehicle: Vehicle) -> list[float]:
    """Return what another transfer ratio, or a ratio box left out or put in the wrong way round, does; logarithms."""
    ratios = {vehicle.transfer_ratio} - {1}
    logs = [sign * float(np.log(float(ratio))) for ratio in ratios for sign in (1, -1)]
    if vehicle.ratio_box is not None:
        box = float(np.log(float(vehicle.ratio_box)))
        logs += [-box, -2 * box]
    return logs


@dataclass(frozen=True, slots=True)
class Spread:
    """What a cause in the instrument does: constant error [m/s] and logarithm of the pointer's own factor."""

    offset_mps: float
    gain: float
    shift: float = 0.0
    """Logarithm of the factor that it brings for sure."""


def instrument_causes(*, follows: bool) -> dict[str, tuple[Spread, ...]]:
    """Return the causes in the instrument and its notes, each with what it may do, alike in likelihood.

    Readings that follow the track at whatever factor are no strangers to it: only those of a vehicle on the same road
    follow one, and their dial is as right as most.
    """
    size: Mapping[str, float] = facts("explain")["cause"]["size"]
    plain = size["healthy_offset_mph"] * MPH_MPS
    healthy = Spread(plain, 0.0)
    foreign = Spread(size["foreign_offset_mph"] * MPH_MPS, size["foreign"])
    alike = Spread(2 * plain, size["foreign_alike"])  # the vehicle behind, the same trip on another day
    return {
        "none": (healthy,),
        "needle_offset": (Spread(size["needle_offset_mph"] * MPH_MPS, 0.0),),
        "dial_gain": (Spread(plain, size["dial_gain"]),),
        "other_scale": (Spread(plain, size["unit"], _UNIT), Spread(plain, size["unit"], -_UNIT)),
        "dial_bent": (Spread(size["bent_offset_mph"] * MPH_MPS, size["bent"]),),
        "needle_sticks": (Spread(2 * plain, size["sticks"]),),
        "needle_damped": (healthy,),
        "foreign_readings": (alike,) if follows else (foreign, alike),
    }
