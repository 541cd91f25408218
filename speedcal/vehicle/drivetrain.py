"""The gear train from the road to the instrument: what a drive determines, and what stays inseparable."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

from speedcal.calibration.result import Calibration
from speedcal.finding import Finding
from speedcal.interval import Interval, tidy
from speedcal.units import MILE_M
from speedcal.vehicle.parts import setting_name
from speedcal.vehicle.rolling_circumference import circumference_forms, roll_by_convention
from speedcal.vehicle.vehicle import Vehicle

_LEAST_M, _MOST_M = 1.0, 4.5
"""Circumferences of road tires lie between; a chain that needs another has a wrong number."""
_SEPARATES = {
    "tire": "roll the tire out: chalk mark, three turns under load, measure the distance",
    "axle": "count turns of the driveshaft for turns of the wheels (speedcal axle), or read the tag of the axle",
    "drive gear": "count the teeth of the drive gear on the output shaft",
    "driven gear": "take the driven gear out and count its teeth",
    "instrument": "find what the instrument expects per mile or km: on its face, or by turning its input a counted "
    "number of turns and reading the odometer",
    "sensor": "count the pulses or teeth of the sensor for one turn of its shaft",
}


@dataclass(frozen=True, slots=True)
class Link:
    """One link of the chain; the error factor goes with its value to the power ``power``."""

    name: str
    power: int
    value: float | None
    text: str
    u_relative: float = 0.0

    def to_dict(self) -> dict[str, Any]:
        """Return the link, ready for JSON."""
        return {"link": self.name, "known": self.value is not None, "text": self.text}


@dataclass(frozen=True, slots=True)
class Determination:
    """What the drive says about the chain."""

    links: tuple[Link, ...]
    unknown: tuple[str, ...]
    determined: str | None
    """The one unknown link that the drive determines; None when none or several are unknown."""
    value: Interval | None
    """Its value: teeth, ratio, circumference [m], turns or pulses per mile."""
    separates: tuple[tuple[str, str], ...]
    """For each unknown link the measurement that would separate it from the others."""

    def to_dict(self) -> dict[str, Any]:
        """Return the chain and what is known of it, ready for JSON."""
        return {
            "links": [link.to_dict() for link in self.links],
            "unknown": list(self.unknown),
            "determined": self.determined,
            "value": None if self.value is None else self.value.to_dict(digits=5),
            "measurements": [{"link": name, "measurement": text} for name, text in self.separates],
        }

    def __str__(self) -> str:
        chain = " - ".join(f"{link.name} {link.text}" for link in self.links)
        if self.value is not None:
            return f"{chain}\nthe drive determines the {self.determined}: {self.value}"
        if not self.unknown:
            return f"{chain}\nevery link is known; the drive checks the whole chain"
        return f"{chain}\ncannot be told apart by driving: {', '.join(self.unknown)}"


def chain(vehicle: Vehicle) -> tuple[Link, ...]:
    """Return the links from the instrument down to the road, as a mechanic would draw them."""
    expected = vehicle.expected_per_m
    what = "pulses" if vehicle.expects_pulses else "turns"
    links = [
        Link("instrument", -1, expected, _expected_text(expected, what)),
    ]
    if vehicle.pulse_scaler is not None:
        links.append(Link("scaler", 1, float(vehicle.pulse_scaler), str(vehicle.pulse_scaler)))
    if vehicle.expects_pulses:
        pulses = vehicle.pulses_per_turn
        links.append(Link("sensor", 1, pulses, f"{pulses:g} pulses/turn" if pulses else "? pulses/turn"))
    if vehicle.ratio_box is not None:
        links.append(Link("ratio box", 1, float(vehicle.ratio_box), str(vehicle.ratio_box)))
    if vehicle.sensor == "driven gear":
        links.append(_teeth_link("driven gear", -1, vehicle.driven_gear))
        links.append(_teeth_link("drive gear", 1, vehicle.drive_gear))
    if vehicle.sensor in ("driven gear", "output shaft") and vehicle.transfer_ratio != 1:
        links.append(Link("transfer case", 1, float(vehicle.transfer_ratio), str(vehicle.transfer_ratio)))
    if vehicle.sensor != "wheel":
        axle = vehicle.axle
        links.append(Link("axle", 1, float(axle) if axle else None, str(axle or "?"), axle.u_relative if axle else 0.0))
    rolled = vehicle.rolled
    links.append(
        Link("tire", -1, rolled.circumference_m.value, f"{rolled.circumference_m.value:.3f} m", rolled.u_relative)
        if rolled
        else Link("tire", -1, None, "? m")
    )
    return tuple(links)


def _expected_text(expected_per_m: float | None, what: str) -> str:
    if expected_per_m is None:
        return f"? {what}/mile"
    return f"{tidy(expected_per_m * MILE_M, 1):g} {what}/mile, {tidy(expected_per_m * 1000, 1):g} {what}/km"


def _teeth_link(name: str, power: int, teeth: int | None) -> Link:
    return Link(name, power, None if teeth is None else float(teeth), f"{teeth or '?'} teeth")


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


def solve_train(calibration: Calibration, vehicle: Vehicle) -> Determination:
    """Say what the drive determines of the chain.

    With every link known but one, the error factor gives that one, with the interval of the factor and of the links.
    With two or more unknown only their product is known, and no drive can tell them apart.
    """
    links = chain(vehicle)
    unknown = tuple(link.name for link in links if link.value is None)
    if len(unknown) != 1:
        return Determination(links, unknown, None, None, tuple((name, _SEPARATES[name]) for name in unknown))
    (name,) = unknown
    link = next(link for link in links if link.name == name)
    known = train_gain(links, without=name)
    assert known is not None  # noqa: S101 - the only unknown link is left out
    value = solve_for(calibration, known, link.power)
    if name == "instrument":
        value = value.scaled(MILE_M)
    return Determination(links, unknown, name, value, ((name, _SEPARATES[name]),))


def solve_for(calibration: Calibration, known: tuple[float, float], power: int) -> Interval:
    """Return the missing link: error factor = known x link ** power."""
    factor = calibration.error_factor
    value = (factor.value / known[0]) ** power
    low = (1 - factor.low / factor.value, calibration.coverage_factor * known[1])
    high = (factor.high / factor.value - 1, calibration.coverage_factor * known[1])
    below, above = math.hypot(*low), math.hypot(*high)
    if power < 0:
        return Interval(value, value / (1 + above), value / (1 - min(below, 0.9)))
    return Interval(value, value * (1 - below), value * (1 + above))


@dataclass(frozen=True, slots=True)
class EffectiveTire:
    """The circumference that explains the error factor, with what had to be assumed for it."""

    circumference_m: Interval
    basis: str
    is_absolute: bool
    """True when the whole chain above the tire is known; False when the instrument's assumption stands in for it."""

    def to_dict(self) -> dict[str, Any]:
        """Return the contract's three quantities, turns per km and the basis."""
        return {
            **circumference_forms(self.circumference_m),
            "basis": self.basis,
            "absolute": self.is_absolute,
        }

    def __str__(self) -> str:
        forms = self.to_dict()
        return (
            f"effective tire: rolls {self.circumference_m.value:.4f} m a turn "
            f"({self.circumference_m.low:.4f} to {self.circumference_m.high:.4f}), "
            f"{forms['effective_diameter_in']['value']:.2f} in across, "
            f"{forms['turns_per_mile']['value']:.1f} turns per mile ({self.basis})"
        )


def effective_tire(calibration: Calibration, vehicle: Vehicle) -> EffectiveTire | None:
    """Return the rolling circumference that the drive shows, or None when it cannot be separated.

    Absolute when everything from the instrument to the axle is known. Otherwise C = C_assumed / b, where the
    instrument's assumption is the present setting of its module, or the tire it was right with.
    """
    known = train_gain(chain(vehicle), without="tire")
    if known is not None:
        return EffectiveTire(solve_for(calibration, known, -1), "from the whole gear train", True)
    for setting in vehicle.settings:
        if setting.circumference_m is not None:
            basis = f"against the setting now in the {setting_name(setting.kind, setting.now or 0.0)}"
            return EffectiveTire(solve_for(calibration, (setting.circumference_m, 0.0), -1), basis, False)
    if vehicle.tire_before is not None:
        before = roll_by_convention(vehicle.tire_before)
        basis = f"if the instrument was right with {vehicle.tire_before} and nothing but the tires has changed"
        known = (before.circumference_m.value, before.u_relative)
        return EffectiveTire(solve_for(calibration, known, -1), basis, False)
    return None


def train_findings(calibration: Calibration, vehicle: Vehicle, effective: EffectiveTire | None) -> list[Finding]:
    """Return what the chain says beyond its numbers: contradictions, and what to measure next."""
    found = []
    if effective is None and calibration.steady_runs:
        told = solve_train(calibration, vehicle)
        names = ", ".join(told.unknown)
        measures = "; ".join(text for _, text in told.separates)
        found.append(Finding("inseparable", f"Driving alone cannot tell apart: {names}. To separate them: {measures}."))
    elif effective is not None and not _LEAST_M < effective.circumference_m.value < _MOST_M:
        text = (
            f"The chain as stated needs a tire that rolls {effective.circumference_m.value:.2f} m in a turn: one of "
            "its numbers is wrong (pulses per turn, what the instrument expects, teeth or the place of the sensor)."
        )
        found.append(Finding("chain_implausible", text))
    elif effective is not None and effective.is_absolute and vehicle.rolled is not None:
        stated, driven = vehicle.rolled.circumference_m, effective.circumference_m
        if stated.high < driven.low or stated.low > driven.high:
            percent = tidy(100 * (driven.value / stated.value - 1), 1)
            found.append(
                Finding(
                    "chain_contradicts_drive",
                    f"The tire should roll {stated.value:.3f} m ({vehicle.rolled.basis}), the drive shows "
                    f"{driven.value:.3f} m ({percent:+g} %): tire, axle ratio, a tooth count or the instrument is "
                    "not what the job says. `speedcal explain` ranks the possibilities.",
                )
            )
    if vehicle.axle is not None and not vehicle.axle.has_teeth and vehicle.sensor != "wheel":
        found.append(
            Finding(
                "axle_ratio_rounded",
                f"The axle ratio {vehicle.axle} is a rounded figure; ring and pinion teeth such as 41/11 are exact.",
            )
        )
    return found
