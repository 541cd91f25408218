"""The gear train from the road to the instrument: what a drive determines, and what stays inseparable."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

from speedcal.calibration.result import Calibration
from speedcal.finding import Finding
from speedcal.interval import COVERAGE_FACTOR, Interval
from speedcal.units import MILE_M
from speedcal.vehicle.tires.rolling_circumference import RolledTire, both_sides, circumference_forms, roll_by_convention
from speedcal.vehicle.vehicle import Vehicle
from speedcal.wording import Spoken

_LEAST_M, _MOST_M = 1.0, 4.5
"""Circumferences of road tires lie between; a chain that needs another, of a vehicle that states no such tire, has a
wrong number."""


@dataclass(frozen=True, slots=True)
class Link:
    """One link of the chain; the error factor goes with its value to the power ``power``."""

    name: str
    """``instrument``, ``scaler``, ``sensor``, ``ratio_box``, ``driven_gear``, ``drive_gear``, ``transfer_case``,
    ``axle`` or ``tire``."""
    power: int
    value: float | None
    """Turns or pulses per metre, pulses, teeth, a ratio, or the circumference [m]; None when unknown."""
    printed: str = ""
    """A ratio as it was given, such as ``41/11``."""
    counts_pulses: bool = False
    """True where the instrument or sensor counts pulses and not turns."""
    u_relative: float = 0.0

    def to_dict(self) -> dict[str, Any]:
        """Return the link, ready for JSON."""
        return {"link": self.name, "known": self.value is not None, "value": self.value, "printed": self.printed}


@dataclass(frozen=True, slots=True)
class Determination(Spoken):
    """What the drive says about the chain."""

    links: tuple[Link, ...]
    unknown: tuple[str, ...]
    """Names of the links that are not stated; a measurement of each would separate it from the others."""
    determined: str | None
    """The one unknown link that the drive determines; None when none or several are unknown."""
    value: Interval | None
    """Its value: teeth, ratio, circumference [m], turns or pulses per mile."""

    def to_dict(self) -> dict[str, Any]:
        """Return the chain and what is known of it, ready for JSON."""
        return {
            "links": [link.to_dict() for link in self.links],
            "unknown": list(self.unknown),
            "determined": self.determined,
            "value": None if self.value is None else self.value.to_dict(digits=5),
        }


def chain(vehicle: Vehicle) -> tuple[Link, ...]:
    """Return the links from the instrument down to the road, as a mechanic would draw them."""
    pulses = vehicle.expects_pulses
    links = [Link("instrument", -1, vehicle.counts_per_m, counts_pulses=pulses)]
    if vehicle.pulse_scaler is not None:
        links.append(Link("scaler", 1, float(vehicle.pulse_scaler), str(vehicle.pulse_scaler)))
    if pulses:
        links.append(Link("sensor", 1, vehicle.pulses_per_turn, counts_pulses=True))
    if vehicle.ratio_box is not None:
        links.append(Link("ratio_box", 1, float(vehicle.ratio_box), str(vehicle.ratio_box)))
    if vehicle.has_gear_drive:
        links += [_teeth("driven_gear", -1, vehicle.driven_gear), _teeth("drive_gear", 1, vehicle.drive_gear)]
    if vehicle.sensor in ("driven gear", "output shaft") and vehicle.transfer_ratio != 1:
        links.append(Link("transfer_case", 1, float(vehicle.transfer_ratio), str(vehicle.transfer_ratio)))
    if vehicle.sensor != "wheel":
        axle = vehicle.axle
        links.append(
            Link("axle", 1, float(axle), axle.text, u_relative=axle.u_relative) if axle else Link("axle", 1, None)
        )
    rolled = driving_tire(vehicle)
    links.append(
        Link("tire", -1, rolled.circumference_m.value, u_relative=rolled.u_relative)
        if rolled
        else Link("tire", -1, None)
    )
    return tuple(links)


def driving_tire(vehicle: Vehicle) -> RolledTire | None:
    """Return what the wheels roll for a turn of the axle: where the sides differ, the differential takes their mean.

    A sensor on one wheel sees that wheel alone.
    """
    if vehicle.rolled is None or vehicle.tire_other_side is None or vehicle.sensor == "wheel":
        return vehicle.rolled
    return both_sides(vehicle.rolled, roll_by_convention(vehicle.tire_other_side))


def assumed_roll(vehicle: Vehicle) -> tuple[float, float, Finding] | None:
    """Return what the instrument takes the tire to roll [m], the relative standard uncertainty, and why it does.

    That is the present setting of its module, or the tire it was right with; None where neither is stated. Behind other
    axle gears it is right for a tire that rolls further, or less far, by as much.
    """
    axle, u_axle = axle_change(vehicle) or (1.0, 0.0)
    for setting in vehicle.settings:
        if setting.circumference_m is not None:
            told = Finding("module_setting", kind=setting.kind, now=setting.now)
            return setting.circumference_m * axle, u_axle, told
    if vehicle.tire_before is None:
        return None
    before = roll_by_convention(vehicle.tire_before)
    was = {"tire": str(vehicle.tire_before), "axle": vehicle.axle_before.text if vehicle.axle_before else None}
    u_relative = math.hypot(before.u_relative, u_axle)
    return before.circumference_m.value * axle, u_relative, Finding("right_with_tire", **was)


def axle_change(vehicle: Vehicle) -> tuple[float, float] | None:
    """Return the axle ratio over the one the instrument was right with, and its relative standard uncertainty.

    None where either is not stated or does not count: the sensor sits on a wheel, or a module is told the ratio.
    """
    told = any(setting.kind == "axle_ratio" and setting.now is not None for setting in vehicle.settings)
    axle, before = vehicle.axle, vehicle.axle_before
    if axle is None or before is None or told or vehicle.sensor == "wheel":
        return None
    return float(axle.ratio / before.ratio), math.hypot(axle.u_relative, before.u_relative)


def shaft_turn_m(vehicle: Vehicle) -> Interval | None:
    """Return the road covered in one turn of the gearbox's output shaft, with its 95 % interval; None if not stated.

    Between it and the road lie the transfer case, the axle and the tire. [m]
    """
    rolled = driving_tire(vehicle)
    if rolled is None or vehicle.axle is None:
        return None
    value = rolled.circumference_m.value / float(vehicle.axle) / float(vehicle.transfer_ratio)
    return Interval.around(value, 1.96 * value * math.hypot(rolled.u_relative, vehicle.axle.u_relative))


def range_gains(vehicle: Vehicle) -> list[tuple[str, float]]:
    """Return by how much more the shaft turns in the other range of axle and transfer case, where the job states it."""
    gains = []
    if vehicle.second_axle is not None and vehicle.axle is not None and vehicle.sensor != "wheel":
        gains.append(("axle", float(vehicle.second_axle) / float(vehicle.axle)))
    if vehicle.second_transfer_ratio is not None and vehicle.sensor in ("driven gear", "output shaft"):
        gains.append(("transfer_case", float(vehicle.second_transfer_ratio / vehicle.transfer_ratio)))
    return gains


def _teeth(name: str, power: int, teeth: int | None) -> Link:
    return Link(name, power, None if teeth is None else float(teeth))


def train_gain(links: tuple[Link, ...], *, without: str = "") -> tuple[float, float] | None:
    """Return what the known links give for the error factor, with its relative standard uncertainty.

    Parameters
    ----------
    links
        As returned by :func:`chain`.
    without
        Name of a link to leave out of the product.

    Returns
    -------
    tuple
        Product of the values to their powers and its relative standard uncertainty; None when a link is unknown.
    """
    product, variance = 1.0, 0.0
    for link in links:
        if link.name == without:
            continue
        if link.value is None:
            return None
        product *= link.value**link.power
        variance += link.u_relative**2
    return product, math.sqrt(variance)


def solve_train(calibration: Calibration | None, vehicle: Vehicle) -> Determination:
    """Say what the drive determines of the chain.

    With every link known but one, the error factor gives that one, with the interval of the factor and of the links.
    With two or more unknown only their product is known, and no drive can tell them apart.
    """
    links = chain(vehicle)
    unknown = tuple(link.name for link in links if link.value is None)
    if len(unknown) != 1 or calibration is None:
        return Determination(links, unknown, None, None)
    (name,) = unknown
    power = next(link.power for link in links if link.name == name)
    known = train_gain(links, without=name)
    assert known is not None  # noqa: S101 - the only unknown link is left out
    value = solve_for(calibration, known, power)
    return Determination(links, unknown, name, value.scaled(MILE_M) if name == "instrument" else value)


def solve_for(calibration: Calibration, known: tuple[float, float], power: int) -> Interval:
    """Return the missing link: error factor = known x link ** power."""
    factor = calibration.error_factor
    value = (factor.value / known[0]) ** power
    low = (1 - factor.low / factor.value, COVERAGE_FACTOR * known[1])
    high = (factor.high / factor.value - 1, COVERAGE_FACTOR * known[1])
    below, above = math.hypot(*low), math.hypot(*high)
    if power < 0:
        return Interval(value, value / (1 + above), value / (1 - min(below, 0.9)))
    return Interval(value, value * (1 - below), value * (1 + above))


@dataclass(frozen=True, slots=True)
class EffectiveTire(Spoken):
    """The circumference that explains the error factor, with what had to be assumed for it."""

    circumference_m: Interval
    basis: Finding
    """``whole_train``, ``module_setting`` or ``right_with_tire``."""
    is_absolute: bool
    """True when the whole chain above the tire is known; False when the instrument's assumption stands in for it."""

    def to_dict(self) -> dict[str, Any]:
        """Return the contract's three quantities, turns per km and the basis."""
        return {
            **circumference_forms(self.circumference_m),
            "basis": self.basis.to_dict(),
            "absolute": self.is_absolute,
        }


def effective_tire(calibration: Calibration, vehicle: Vehicle) -> EffectiveTire | None:
    """Return the rolling circumference that the drive shows, or None when it cannot be separated.

    Absolute when everything from the instrument to the axle is known. Otherwise C = C_assumed / b, where the
    instrument's assumption is the present setting of its module, or the tire it was right with.
    """
    known = train_gain(chain(vehicle), without="tire")
    if known is not None:
        return EffectiveTire(solve_for(calibration, known, -1), Finding("whole_train"), True)
    if (assumed := assumed_roll(vehicle)) is None:
        return None
    circumference_m, u_relative, basis = assumed
    return EffectiveTire(solve_for(calibration, (circumference_m, u_relative), -1), basis, False)


def train_findings(calibration: Calibration, vehicle: Vehicle, effective: EffectiveTire | None) -> list[Finding]:
    """Return what the chain says beyond its numbers: contradictions, and what to measure next."""
    found = []
    if effective is None and calibration.steady_runs:
        found.append(Finding("inseparable", links=list(solve_train(calibration, vehicle).unknown)))
    elif effective is not None and not _fits_a_road_wheel(effective.circumference_m.value, vehicle):
        rolls_m = effective.circumference_m.value
        found.append(Finding("chain_implausible", circumference_m=rolls_m, unit=calibration.unit))
    elif effective is not None and effective.is_absolute and (rolled := driving_tire(vehicle)) is not None:
        stated, driven = rolled.circumference_m, effective.circumference_m
        if stated.high < driven.low or stated.low > driven.high:
            values = {"stated_m": stated.value, "driven_m": driven.value, "unit": calibration.unit}
            found.append(Finding("chain_contradicts_drive", basis=rolled.basis.text, **values))
    found += gears_swapped(vehicle, calibration.error_factor.value)
    if vehicle.axle is not None and not vehicle.axle.has_teeth and vehicle.sensor != "wheel":
        found.append(Finding("axle_ratio_rounded", axle=str(vehicle.axle)))
    return found


def gears_swapped(vehicle: Vehicle, error_factor: float) -> list[Finding]:
    """Return that the drive gear is the larger, unless the chain as stated explains the drive better than swapped.

    In the hub of a wheel it usually is.
    """
    drive, driven = vehicle.drive_gear, vehicle.driven_gear
    if drive is None or driven is None or drive <= driven or vehicle.gears_counted or vehicle.sensor == "wheel":
        return []
    known = train_gain(chain(vehicle))
    if known is not None and math.log(error_factor / known[0]) > -math.log(drive / driven):
        return []
    return [Finding("gears_may_be_swapped", drive_gear=drive, driven_gear=driven)]


def _fits_a_road_wheel(circumference_m: float, vehicle: Vehicle) -> bool:
    stated = vehicle.rolled.circumference_m.value if vehicle.rolled else _LEAST_M
    return min(_LEAST_M, stated / 1.25) < circumference_m < max(_MOST_M, 1.25 * stated)
