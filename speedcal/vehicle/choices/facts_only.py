"""How an instrument should read by the facts of the vehicle alone, before it is driven."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np

from speedcal.calibration.checked.fit_checks import USUAL_SPEEDS
from speedcal.calibration.dial.dial import Dial
from speedcal.calibration.result import Calibration
from speedcal.errors import VehicleError
from speedcal.finding import Finding, Trust
from speedcal.units import SPEED_UNIT_MPS, DisplayUnit
from speedcal.vehicle.choices.options import FittedTeeth
from speedcal.vehicle.data import facts
from speedcal.vehicle.drivetrain import assumed_roll, axle_change, chain, driving_tire, train_gain
from speedcal.vehicle.vehicle import Criterion, Vehicle

_READING_COLUMNS = ("ground_mps", "indicated_mps", "residual_mps", "time_s")
_MEASURED_TO = {"tire": 0.002, "axle": 0.0, "instrument": 0.004}
"""Relative standard uncertainty left by rolling the tire out, counting the axle's teeth, turning the instrument's input
by a counted number of turns. Our own judgment."""


@dataclass(frozen=True, slots=True)
class FactsDial:
    """The dial that the stated facts lead one to expect."""

    dial: Dial
    teeth: FittedTeeth
    components: tuple[tuple[str, float], ...]
    """What is uncertain: name of the link and its relative standard uncertainty, the largest first."""
    assumptions: tuple[Finding, ...]

    @property
    def u_relative(self) -> float:
        """Relative standard uncertainty of the reading."""
        return math.hypot(*(u for _, u in self.components))


def dial_from_facts(vehicle: Vehicle, unit: DisplayUnit) -> FactsDial:
    """Return how the instrument should read by what the job states of the vehicle.

    The whole chain where it is stated; a driven gear nobody has counted is left open. Otherwise the instrument is taken
    to have been right with ``tire_before`` and ``axle_before`` or to believe its module's setting.

    Raises
    ------
    VehicleError
        Too little is stated; the missing facts are named.
    """
    u_instrument = float(facts("explain")["instrument"]["u_gain"])
    links = chain(vehicle)
    unknown = [link.name for link in links if link.value is None]
    teeth = FittedTeeth(vehicle.driven_gear, vehicle.drive_gear)
    assumed = Finding("instrument_true", u_relative=u_instrument)
    components = {"instrument": u_instrument}
    known = train_gain(links, without="driven_gear") if unknown in ([], ["driven_gear"]) else None
    if known is not None:
        counted = vehicle.driven_gear or max(3, round(known[0]))
        factor = known[0] / counted if vehicle.has_gear_drive else known[0]
        if unknown:
            teeth = FittedTeeth(counted, vehicle.drive_gear, is_guess=True)
        components |= {link.name: link.u_relative for link in links if link.u_relative}
    else:
        rolled, believed, axle = driving_tire(vehicle), assumed_roll(vehicle), axle_change(vehicle)
        if rolled is not None and believed is not None:
            circumference_m, u_believed, assumed = believed
            factor = circumference_m / rolled.circumference_m.value
            components["tire"] = math.hypot(u_believed, rolled.u_relative)
        elif axle is not None and vehicle.axle_before is not None and vehicle.tire_before is None:
            factor, components["axle"] = axle
            assumed = Finding("right_with_axle", axle=vehicle.axle_before.text)
        else:
            raise VehicleError("facts_missing", links=unknown)
    speeds = np.array(USUAL_SPEEDS[unit]) * SPEED_UNIT_MPS[unit]
    ordered = tuple(sorted(components.items(), key=lambda item: -item[1]))
    u = math.hypot(*components.values())
    dial = Dial.straight(0.0, factor, np.diag([0.0, (factor * u) ** 2]), used_mps=speeds)
    counted_for = (Finding("gear_not_counted", teeth=teeth.driven),) if teeth.is_guess else ()
    return FactsDial(dial, teeth, ordered, (Finding("from_facts_alone"), assumed, *counted_for))


def expected_reading(vehicle: Vehicle, unit: DisplayUnit) -> Calibration:
    """Return how the instrument should read by the facts alone, as a calibration without a reading.

    Raises
    ------
    VehicleError
        Too little is stated; the missing facts are named.
    """
    known = dial_from_facts(vehicle, unit)
    return undriven(known.dial, unit, *known.assumptions, *known.teeth.findings)


def undriven(dial: Dial, unit: DisplayUnit, *why: Finding) -> Calibration:
    """Return a dial that nobody has driven as a calibration, weak for the reasons given."""
    import pandas as pd

    return Calibration(
        unit=unit,
        dial=dial,
        clock_offset_s=None,
        odometer_factor=None,
        scatter_mps=0.0,
        speed_source="recorded",
        trust=Trust("WEAK", why),
        readings=pd.DataFrame({name: np.zeros(0) for name in _READING_COLUMNS} | {"used": np.zeros(0, bool)}),
        ground=pd.DataFrame({"time_s": [], "speed_mps": [], "piece": []}),
        steady_runs=0,
    )


def best_measurement(known: FactsDial, exact_teeth: float, criterion: Criterion) -> Finding | None:
    """Return the one measurement that makes the chosen driven gear surest, with the chance now and after it.

    The chance after it is the expected chance of the best count, over what the measurement may turn out to be.
    """
    u = known.u_relative
    now = _chance(exact_teeth, u, criterion)
    found = []
    for name, u_part in known.components:
        left = math.sqrt(max(u**2 - u_part**2, 0.0) + _MEASURED_TO[name] ** 2)
        found.append((_expected_chance(exact_teeth, u, left, criterion), name))
    after, name = max(found, default=(0.0, ""))
    if after <= now + 0.01:
        return None
    values: dict[str, Any] = {"part": name, "chance_now": now, "chance_then": after}
    return Finding("measure_first", **values)


def _chance(exact_teeth: float, u: float, criterion: Criterion) -> float:
    """Return the chance of the likeliest whole tooth count when the exact count is uncertain by ``u``, relative."""
    from scipy.special import ndtr

    if u <= 0:
        return 1.0
    counts = np.arange(max(3, math.floor(exact_teeth * (1 - 4 * u)) - 1), math.ceil(exact_teeth * (1 + 4 * u)) + 2)
    # between n and n + 1 both leave the same error where the exact count is their harmonic mean
    edges = counts.astype(float) if criterion == "never reads low" else 2 * counts * (counts + 1) / (2 * counts + 1.0)
    share = np.diff(ndtr((np.log(edges) - math.log(exact_teeth)) / u))
    return float(share.max())


def _expected_chance(exact_teeth: float, u_now: float, u_then: float, criterion: Criterion) -> float:
    from scipy.special import ndtri

    moved = math.sqrt(max(u_now**2 - u_then**2, 0.0))
    deviates = ndtri((np.arange(101) + 0.5) / 101)
    return float(np.mean([_chance(exact_teeth * math.exp(moved * z), u_then, criterion) for z in deviates]))
