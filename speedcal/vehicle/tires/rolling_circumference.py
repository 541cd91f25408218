"""How far a tire rolls in one turn: from its size by a convention, from a chalk mark, or from the maker's figure."""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from speedcal.errors import VehicleError
from speedcal.finding import Finding
from speedcal.interval import Interval, tidy
from speedcal.units import INCH_M, LENGTH_UNIT_M, MILE_M, DisplayUnit
from speedcal.vehicle.data import facts
from speedcal.vehicle.tires.tire_size import TireSize
from speedcal.wording import Spoken

LEAST_ROLLED_M, MOST_ROLLED_M = 0.5, 8.0
"""What a road wheel may roll in one turn, from a scooter's to a tractor's. Our own judgment. [m]"""

_U_CHALK_MARKS_M = 0.005
"""Standard uncertainty of the distance between two chalk marks, by a tape. Our own judgment. [m]"""
_LOAD_AND_PRESSURE_PERCENT = 1.0
"""Half width of the interval: load and pressure of this vehicle against the maker's. From memory. [%]"""


@dataclass(frozen=True, slots=True)
class Allowance:
    """One thing that widens the interval of a circumference."""

    name: str
    """``convention``, ``load``, ``pressure``, ``aspect_assumed``, ``flotation_name``, ``wear``, ``chalk_marks`` ..."""
    percent: float
    """Half width of the interval for it. [%]"""
    source: str
    status: str

    def to_dict(self) -> dict[str, Any]:
        """Return the allowance, ready for JSON."""
        return {"name": self.name, "percent": tidy(self.percent, 3), "source": self.source, "status": self.status}


@dataclass(frozen=True, slots=True)
class RolledTire(Spoken):
    """The distance a tire rolls in one turn under the vehicle, and where that number comes from."""

    circumference_m: Interval
    """95 % interval."""
    basis: Finding
    """``tire_by_convention``, ``tire_rolled_out``, ``tire_by_turns`` or ``tire_both_sides``."""
    status: str
    """``measured``, ``stated``, ``secondary`` or ``from memory``."""
    source: str = ""
    """Where the convention comes from; empty for a measurement."""
    size: TireSize | None = None
    allowances: tuple[Allowance, ...] = ()

    @property
    def u_relative(self) -> float:
        """Relative standard uncertainty of the circumference (a quarter of the 95 % interval)."""
        return (self.circumference_m.high - self.circumference_m.low) / 4 / self.circumference_m.value

    def to_dict(self) -> dict[str, Any]:
        """Return the circumference in the forms of the trade, with intervals, ready for JSON."""
        return {
            **circumference_forms(self.circumference_m),
            "basis": self.basis.to_dict(),
            "status": self.status,
            "source": self.source,
            "allowances": [allowance.to_dict() for allowance in self.allowances],
        }


def circumference_forms(circumference_m: Interval) -> dict[str, dict[str, float]]:
    """Return a rolled circumference as the contract's three quantities and turns per km, each with its interval."""
    low, high = circumference_m.low, circumference_m.high
    turns = Interval(1 / circumference_m.value, 1 / high, 1 / low)
    return {
        "rolling_circumference_m": circumference_m.to_dict(digits=5),
        "effective_diameter_in": circumference_m.scaled(1 / (math.pi * INCH_M)).to_dict(digits=4),
        "turns_per_mile": turns.scaled(MILE_M).to_dict(digits=3),
        "turns_per_km": turns.scaled(1000).to_dict(digits=3),
    }


def nominal_circumference_m(size: TireSize) -> float:
    """Return pi times the printed diameter: what an unloaded tire would roll. [m]."""
    return math.pi * size.diameter_m


def roll_by_convention(
    size: TireSize, *, tread_mm: float | None = None, new_tread_mm: float | None = None, pressure_percent: float = 0.0
) -> RolledTire:
    """Return what a tire rolls by convention: radial 3.05, bias-ply 2.99, tractor 2.98 times the diameter.

    Not pi times the diameter (the tire flattens under load) and not 2 pi times the height of the axle either: the
    belt keeps its length, so the effective radius lies between the static loaded radius and the free one.

    Parameters
    ----------
    size
        As read by :func:`speedcal.vehicle.tires.tire_size.parse_tire_size`.
    tread_mm
        Tread left, measured. [mm] None means unknown: the value is that of a new tire and the interval reaches
        down to the wear indicator.
    new_tread_mm
        Tread of the new tire. [mm] None takes the value of the data file, which is from memory.
    pressure_percent
        How far the pressure is above (+) or below (-) the usual one. [%]

    Raises
    ------
    ValueError
        A tread depth is negative or more than that of the new tire.
    """
    known = facts("tires")
    rule = known["rolled"]["tractor" if size.is_tractor else "radial" if size.is_radial else "bias"]
    tread = known["tractor_tread" if size.is_tractor else "tread"]
    new_mm = new_tread_mm if new_tread_mm is not None else float(tread["new_mm"])
    if tread_mm is not None and new_tread_mm is None and tread_mm <= tread["deep_mm"]:
        new_mm = max(new_mm, tread_mm) if size.diameter_mm >= tread["deep_from_mm"] else new_mm
    if tread_mm is not None and not 0 <= tread_mm <= new_mm:
        raise ValueError(f"tread of {tread_mm} mm is not between 0 and {new_mm} mm of a new tire")
    diameter_mm = float(size.diameter_mm)
    worn_percent = 0.0 if tread_mm is None else 200 * (new_mm - tread_mm) / diameter_mm
    still_percent = 200 * (new_mm - tread["worn_mm"]) / diameter_mm if tread_mm is None else 0.0
    pressure = pressure_percent / 10 * known["pressure"]["percent_per_10_percent"]
    value = float(rule["factor"]) * size.diameter_m * (1 - worn_percent / 100) * (1 + pressure / 100)
    load, pressures = known["load"], known["pressure"]
    allowances = [
        Allowance("convention", float(rule["spread_percent"]), rule["spread_source"], rule["spread_status"]),
        Allowance("load", float(load["spread_percent"]), load["source"], load["status"]),
        Allowance("pressure", float(pressures["percent_per_10_percent"]), pressures["source"], pressures["status"]),
    ]
    if size.spread_percent:
        name = "flotation_name" if size.basis == "printed" else size.basis
        allowances.append(Allowance(name, size.spread_percent, size.source, size.status))
    half = math.hypot(*(allowance.percent for allowance in allowances)) / 100
    if still_percent:
        allowances.append(Allowance("wear", still_percent, tread["new_source"], tread["new_status"]))
    return RolledTire(
        circumference_m=Interval(value, value * (1 - half - still_percent / 100), value * (1 + half)),
        basis=Finding("tire_by_convention", size=str(size), factor=float(rule["factor"])),
        status=str(rule["status"]),
        source=str(rule["source"]),
        size=size,
        allowances=tuple(allowances),
    )


def both_sides(left: RolledTire, right: RolledTire) -> RolledTire:
    """Return what an axle rolls for a turn of its ring gear with different tires left and right.

    The differential turns with the mean of the wheels, and both cover the same ground, so the turns per distance
    average: 1/C = (1/C_left + 1/C_right)/2.
    """
    ends = [_mean_roll(*pair) for pair in zip(_ends(left), _ends(right), strict=True)]
    return RolledTire(
        circumference_m=Interval(*ends),
        basis=Finding("tire_both_sides", left=left.basis.text, right=right.basis.text),
        status=left.status,
        source=left.source,
        allowances=(*left.allowances, *right.allowances),
    )


def _ends(rolled: RolledTire) -> tuple[float, float, float]:
    c = rolled.circumference_m
    return c.value, c.low, c.high


def _mean_roll(left_m: float, right_m: float) -> float:
    return 2 / (1 / left_m + 1 / right_m)


def roll_out(distance_m: float, turns: float) -> RolledTire:
    """Return what a tire rolled between two chalk marks.

    Parameters
    ----------
    turns
        Whole turns of the wheel between them.

    Raises
    ------
    ValueError
        Distance or turns are not positive, or no road wheel rolls so far in a turn.
    """
    if not (distance_m > 0 and turns > 0):
        raise ValueError(f"a roll-out needs a positive distance and number of turns, not {distance_m} m, {turns} turns")
    return RolledTire(
        circumference_m=Interval.around(_plausible(distance_m / turns), 2 * _U_CHALK_MARKS_M / turns),
        basis=Finding("tire_rolled_out", distance_m=distance_m, turns=turns),
        status="measured",
        allowances=(Allowance("chalk_marks", 200 * _U_CHALK_MARKS_M / distance_m, "our own judgment", "from memory"),),
    )


def roll_by_turns(turns_per_m: float) -> RolledTire:
    """Return what a tire rolls by its maker's turns per mile or km, for a new tire.

    Parameters
    ----------
    turns_per_m
        Turns in one metre. [1/m]

    Raises
    ------
    ValueError
        The figure is not positive, or no road wheel rolls so far in a turn.
    """
    if not turns_per_m > 0:
        raise ValueError(f"turns per distance must be positive, not {turns_per_m}")
    circumference_m = _plausible(1 / turns_per_m)
    return RolledTire(
        circumference_m=Interval.around(circumference_m, _LOAD_AND_PRESSURE_PERCENT / 100 * circumference_m),
        basis=Finding("tire_by_turns", turns_per_mile=turns_per_m * MILE_M),
        status="stated",
        allowances=(Allowance("load_and_pressure", _LOAD_AND_PRESSURE_PERCENT, "our own judgment", "from memory"),),
    )


def _plausible(circumference_m: float) -> float:
    if not LEAST_ROLLED_M <= circumference_m <= MOST_ROLLED_M:
        raise ValueError(f"{circumference_m:.4g} m in a turn is not what a road wheel rolls")
    return circumference_m


def parse_roll_out(text: str) -> RolledTire:
    """Read a roll-out written as ``TURNS:DISTANCE`` with a unit, such as ``3:8.12m``, ``3:319.5in`` or ``5:44ft``."""
    match = re.fullmatch(r"\s*([\d.]+)\s*:\s*([\d.]+)\s*([a-z]+)\s*", text.lower().replace(",", "."))
    unit = LENGTH_UNIT_M.get(match[3]) if match else None
    if match is None or unit is None:
        raise VehicleError("roll_out_unreadable", given=text)
    try:
        return roll_out(float(match[2]) * unit, float(match[1]))
    except ValueError:
        raise VehicleError("roll_out_unreadable", given=text) from None


@dataclass(frozen=True, slots=True)
class TireChange:
    """What fitting one tire instead of another does to an instrument that was right."""

    before: RolledTire
    after: RolledTire

    @property
    def gain(self) -> Interval:
        """Indicated speed with the new tire divided by that with the old one at the same true speed."""
        value = self.before.circumference_m.value / self.after.circumference_m.value
        u = (self.before.u_relative**2 + self.after.u_relative**2) ** 0.5
        return Interval.around(value, 2 * u * value)

    def shown(self, speeds: Sequence[float]) -> list[dict[str, float]]:
        """Return what is shown at true speeds, in the unit of the speeds."""
        ends = {"indicated": self.gain.value, "low": self.gain.low, "high": self.gain.high}
        return [{"ground": v, **{name: tidy(v * gain, 3) for name, gain in ends.items()}} for v in speeds]

    def to_dict(self, speeds: Sequence[float], unit: DisplayUnit) -> dict[str, Any]:
        """Return the comparison, ready for JSON."""
        return {
            "before": self.before.to_dict(),
            "gain": self.gain.to_dict(),
            "percent": tidy(100 * (self.gain.value - 1), 3),
            "speed_unit": unit,
            "shown": self.shown(speeds),
        }
