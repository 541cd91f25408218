"""Vehicles that come to a shop with one fault: what the job states of them, and what is really in them."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from fractions import Fraction
from typing import Any

import numpy as np
from benchmark.outside.clock import ClockStyle
from benchmark.outside.dial import Dial
from benchmark.outside.drive import MILE_M, Kind
from benchmark.outside.passenger import LoggerStyle, PassengerStyle
from benchmark.outside.road import RoadStyle
from benchmark.outside.wander import MPH

_TIRES = {
    15: ("195/60R15", "205/65R15", "205/70R15", "225/70R15", "235/75R15"),
    16: ("205/60R16", "215/65R16", "225/70R16", "245/75R16", "265/75R16"),
    17: ("225/50R17", "235/65R17", "245/70R17", "265/70R17", "285/70R17"),
}
_AXLES = ("40/13", "37/12", "43/13", "39/11", "41/11", "37/9", "41/10", "41/9", "43/12")
_FAMILIES = {"plain sleeve": (range(14, 26), range(6, 11)), "indexed housing": (range(21, 46), range(8, 16))}
_BOX = (16, 18, 20, 21, 22, 24)
_NOTICED = 0.05
"""Logarithm of the smallest wrong factor that somebody brings a vehicle for."""
_ROADS = RoadStyle(limits_mph=(25, 30, 35, 40, 45, 50, 55, 60, 65, 70, 75), minutes=(15.0, 25.0))


@dataclass(frozen=True)
class Pointer:
    """An instrument with nothing before it: what it shows for the speed that its shaft or pulses tell."""

    gain: float
    offset_mph: float
    bend_mph: float = 0.0
    bend_at_mph: float = 45.0
    bend_wide_mph: float = 11.0
    damping_s: float = 0.3
    sticking_mph: float = 0.0


@dataclass(frozen=True)
class Rig:
    """One vehicle: statement and truth."""

    fault: str
    kit: str
    """``cable``, ``pulses`` or ``module``."""
    stated: dict[str, Any]
    """The [vehicle] table of the job."""
    shaft: float
    """Speed that is told to the instrument over the true one."""
    pointer: Pointer
    odometer: float
    """The same of the odometer, over the shaft."""
    parts: dict[str, Any] = field(default_factory=dict)
    """What a look would show where it differs from what is stated."""
    second: str = ""
    """Whose readings they are, when not this vehicle's alone."""
    skips: float = 0.0
    """Share of its turns that a gear loses which does not mesh, on the whole drive."""

    def dial(self) -> Dial:
        """Return the instrument as the road sees it."""
        p, s = self.pointer, self.shaft
        return Dial(
            factor=p.gain * s,
            offset_mps=p.offset_mph * MPH,
            bend_mps=p.bend_mph * MPH,
            bend_at_mps=p.bend_at_mph * MPH / s,
            bend_wide_mps=p.bend_wide_mph * MPH / s,
            damping_s=p.damping_s,
            play_mps=0.0,
            sticking_mps=p.sticking_mph * MPH,
            ends_mps=(0.0, 1000.0 * MPH),
            odometer_factor=s * self.odometer * (1 - self.skips),
            skips=self.skips,
        )

    def geared(self, gain: float) -> Rig:
        """Return the vehicle after its drive was changed."""
        return replace(self, shaft=self.shaft * gain)


def circumference_m(size: str) -> float:
    """Return what a metric size rolls: 3.05 times its diameter (convention of the trade)."""
    width, rest = size.split("/")
    aspect, rim = rest.split("R")
    return 3.05 * (float(rim) * 25.4 + 2 * float(width) * float(aspect) / 100) / 1000


def healthy_pointer(rng: np.random.Generator) -> Pointer:
    """Return a sound instrument: up to 3 % high by design, the needle within about a mph."""
    return Pointer(rng.uniform(1.0, 1.03), rng.uniform(-0.3, 1.0), damping_s=rng.uniform(0.1, 0.6))


def bench_set(rng: np.random.Generator) -> Pointer:
    """Return an instrument fresh from repair: set on a bench so that it never reads low."""
    return Pointer(rng.uniform(1.015, 1.03), rng.uniform(0.2, 0.8), damping_s=rng.uniform(0.1, 0.6))


def healthy_rig(rng: np.random.Generator, kit: str) -> Rig:
    """Return a vehicle without a fault; its job states most facts and now and then all of them."""
    tire = str(rng.choice(_TIRES[int(rng.choice(list(_TIRES)))]))
    axle = Fraction(rng.choice(_AXLES))
    per_m = float(axle) / circumference_m(tire)
    stated: dict[str, Any] = {"tire": tire, "axle": f"{axle.numerator}/{axle.denominator}"}
    shaft, parts = 1.0, {}
    if kit == "cable":
        found = _gears(rng, per_m)
        if found is None:
            return healthy_rig(rng, kit)
        table, shaft = found
        stated |= table
        if rng.random() < 0.3:
            stated["ratio_box_teeth"] = "16, 18, 20-22, 24"
        if rng.random() < 0.5:
            stated["turns_per_mile"] = 1000
    elif kit == "pulses":
        pulses = int(rng.choice((4, 8, 16)))
        stated |= {"sensor": "output shaft", "pulses_per_turn": pulses}
        if rng.random() < 0.5:
            stated["pulses_per_mile"] = round(pulses * per_m * MILE_M)
        if rng.random() < 0.4:
            stated |= {"scaler_numerator_max": 64, "scaler_denominator_max": 64}
    else:
        now = round(1000 * circumference_m(tire))
        stated |= {"sensor": "driveshaft"}
        stated["settings"] = {"circumference_mm": {"now": now, "step": 1, "low": 1200, "high": 3200}}
    rolls = 1 + 0.006 * float(np.clip(rng.standard_normal(), -2, 2))
    return Rig("", kit, stated, shaft / rolls, healthy_pointer(rng), rng.uniform(0.995, 1.005), parts)


def _gears(rng: np.random.Generator, per_m: float) -> tuple[dict[str, Any], float] | None:
    """Return gears of a family that suit a shaft of so many turns a metre, and what they leave."""
    family = str(rng.choice(list(_FAMILIES)))
    driven, drive = _FAMILIES[family]
    made = []
    for zd in drive:
        exact = zd * per_m * MILE_M / 1000
        zn = round(exact)
        if zn in driven and abs(exact / zn - 1.0) < 0.012 and driven[0] + 2 < zn < driven[-1] - 2:
            made.append(({"drive_gear": zd, "driven_gear": zn, "gear_family": family}, exact / zn))
    return made[int(rng.integers(len(made)))] if made else None


def _one_of(rng: np.random.Generator, every: list[Any]) -> Any:
    return every[int(rng.integers(len(every)))]


def _tires(rng: np.random.Generator, rig: Rig) -> Rig:
    """Fit other tires; half of the jobs state the change."""
    stated = rig.stated["tire"]
    logs = {size: np.log(circumference_m(stated) / circumference_m(size)) for size in _TIRES[int(stated[-2:])]}
    other = _one_of(rng, [size for size, log in logs.items() if _NOTICED < abs(log) < 0.25])
    told = {"tire": other, "tire_before": stated} if rng.random() < 0.5 else {}
    return replace(rig, stated=rig.stated | told, parts={"tire": other}).geared(float(np.exp(logs[other])))


def _axle(rng: np.random.Generator, rig: Rig) -> Rig:
    now = Fraction(rig.stated["axle"])
    other = _one_of(rng, [a for a in _AXLES if _NOTICED < abs(np.log(float(Fraction(a) / now))) < 0.35])
    return replace(rig, parts={"axle": other}).geared(float(Fraction(other) / now))


def _gear(rng: np.random.Generator, rig: Rig) -> Rig:
    """Fit another gear than stated, or turn an indexed housing to another range, where the gear meshes badly."""
    if rig.stated["gear_family"] == "indexed housing" and rng.random() < 0.5:
        return replace(rig, skips=rng.uniform(0.04, 0.12), parts={"housing": True})
    stated = rig.stated["driven_gear"]
    teeth = _FAMILIES[rig.stated["gear_family"]][0]
    other = _one_of(rng, [n for n in teeth if _NOTICED < abs(np.log(stated / n)) < 0.3])
    return replace(rig, parts={"driven_gear": other}).geared(stated / other)


def _box(rng: np.random.Generator, rig: Rig) -> Rig:
    """Put a ratio box in the wrong way round, or drive a transfer case otherwise than stated."""
    if rng.random() < 0.5:
        boxes = [Fraction(p, q) for p in _BOX for q in _BOX if _NOTICED < abs(2 * np.log(p / q)) < 0.35]
        box = _one_of(rng, boxes)
        stated = rig.stated | {
            "ratio_box": f"{box.numerator}/{box.denominator}",
            "ratio_box_teeth": "16, 18, 20-22, 24",
        }
        if "turns_per_mile" in stated:  # the chain was right with the box the right way round
            stated["turns_per_mile"] = round(1000 * float(box), 1)
        return replace(rig, stated=stated, parts={"ratio_box": 1 / box}).geared(float(1 / box / box))
    ratio = _one_of(rng, [Fraction(6, 5), Fraction(5, 4), Fraction(8, 7)])
    stated = rig.stated | {"transfer_ratio": f"{ratio.numerator}/{ratio.denominator}"}
    if "turns_per_mile" in stated:  # and with the case in its ratio
        stated["turns_per_mile"] = round(1000 * float(ratio), 1)
    return replace(rig, stated=stated, parts={"transfer_ratio": Fraction(1)}).geared(float(1 / ratio))


def _pulses(rng: np.random.Generator, rig: Rig) -> Rig:
    ratio = float(_one_of(rng, [2.0, 4.0, 0.5, 0.25]))
    return replace(rig, parts={"pulses": ratio}).geared(ratio)


def _unit(rng: np.random.Generator, rig: Rig) -> Rig:
    ratio = float(_one_of(rng, [1.609344, 1 / 1.609344]))
    return replace(rig, parts={"unit": ratio}).geared(ratio)


def _needle(rng: np.random.Generator, rig: Rig) -> Rig:
    off = rng.uniform(3.0, 8.0) * rng.choice((-1, 1))
    return replace(rig, pointer=replace(rig.pointer, offset_mph=off))


def _bent(rng: np.random.Generator, rig: Rig) -> Rig:
    """Put a hump of 2 to 5 % of the speed into the scale."""
    at = rng.uniform(38, 55)
    pointer = replace(
        rig.pointer,
        bend_mph=rng.uniform(0.02, 0.05) * at * rng.choice((-1, 1)),
        bend_at_mph=at,
        bend_wide_mph=rng.uniform(9, 14),
    )
    return replace(rig, pointer=pointer)


def _sticks(rng: np.random.Generator, rig: Rig) -> Rig:
    if rng.random() < 0.5:
        return replace(rig, pointer=replace(rig.pointer, sticking_mph=rng.uniform(1.5, 3.0)))
    return replace(rig, pointer=replace(rig.pointer, damping_s=rng.uniform(2.0, 4.0)))


def _foreign(rng: np.random.Generator, rig: Rig) -> Rig:
    return replace(rig, second=str(rng.choice(("other drive", "convoy", "same road", "two dials"))))


FAULTS: dict[str, tuple[str, tuple[str, ...], Callable[[np.random.Generator, Rig], Rig]]] = {
    "tires": ("drivetrain", ("cable", "pulses", "module"), _tires),
    "axle": ("drivetrain", ("cable", "pulses", "module"), _axle),
    "gear": ("drivetrain", ("cable",), _gear),
    "ratio": ("drivetrain", ("cable",), _box),
    "pulses": ("pulses_or_unit", ("pulses", "module"), _pulses),
    "unit": ("pulses_or_unit", ("pulses", "module"), _unit),
    "needle": ("needle", ("cable", "pulses", "module"), _needle),
    "bent": ("dial", ("cable", "pulses"), _bent),
    "sticks": ("dial", ("cable", "pulses"), _sticks),
    "foreign": ("readings", ("cable", "pulses", "module"), _foreign),
}
"""Class of the truth, vehicles that can have it, and what it does."""


def faulty_rig(rng: np.random.Generator, fault: str) -> Rig:
    """Return a vehicle with this fault."""
    _, kits, spoil = FAULTS[fault]
    return spoil(rng, replace(healthy_rig(rng, str(rng.choice(kits))), fault=fault))


def kind_of_drive(rng: np.random.Generator, rig: Rig, *, logged: bool) -> Kind:
    """Return how the drive before the work is made and read: logged by a box, or noted by a passenger."""
    reader = (
        LoggerStyle(unit=str(rng.choice(("mph", "km/h"))))
        if logged
        else PassengerStyle(wrong_share=float(rng.choice((0.0, 0.05))))
    )
    return Kind(
        rig.fault,
        road=_ROADS,
        reader=reader,
        clock=ClockStyle("utc", off_s=40.0, step_s=0.001) if logged else ClockStyle(str(rng.choice(("utc", "local")))),
        odometer_notes=bool(rng.random() < 0.5),
        second=rig.second,
    )
