"""What the parts of a vehicle may be, and how far that is believed before a drive."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache

import numpy as np

from speedcal.finding import Finding
from speedcal.interval import FloatArray
from speedcal.vehicle.data import facts
from speedcal.vehicle.drivetrain import assumed_roll, axle_change, driving_tire
from speedcal.vehicle.tires.rolling_circumference import RolledTire, roll_by_convention
from speedcal.vehicle.tires.tire_size import TireSize, parse_tire_size
from speedcal.vehicle.train.axle_ratio import known_pairs
from speedcal.vehicle.vehicle import Vehicle

_MEASURED = "measured"
"""Label of a tire that was rolled out or stated by its maker's figure, without a size."""
_SAME_RATIO = 0.006
"""Axle ratios closer than this (relative) are one and the same to a drive."""
_TIRES = ("tire", "tire_before")
_CAUSES = {
    "tire": "tires",
    "tire_before": "tires",
    "axle": "axle",
    "driven_gear": "gears",
    "drive_gear": "gears",
    "counted": "gears",
}
"""What is stated of a part to the cause whose reach tells how far another may be from it."""
MET_DRIVEN, MET_DRIVE = range(15, 46), range(6, 16)
"""Counts that may be in the vehicle where no gear family says which exist: those met in the trade. From memory."""


@dataclass(frozen=True, slots=True)
class Part:
    """What one part of the chain may be: labels, the factor each brings, its spread and its prior."""

    name: str
    """``tire``, ``tire_before``, ``axle``, ``driven_gear`` or ``drive_gear``."""
    labels: tuple[str, ...]
    gains: FloatArray
    u_relative: FloatArray
    prior: FloatArray
    stated: int | None
    """Index of what the job states; None when it states nothing."""


def parts_of(vehicle: Vehicle) -> list[Part]:
    """Return the parts of the chain that may be other than stated, the tire first.

    Where the chain can only be compared with what it was before, a part of which nothing is stated cannot be seen to
    have changed; only tires can, since the instrument says nothing of the ones it was right with.
    """
    found = (_tires(vehicle), _tires_before(vehicle), _axles(vehicle), *_gears(vehicle))
    parts = [part for part in found if part is not None]
    return [part for part in parts if part.stated is not None or part.name in _TIRES or _is_whole(vehicle)]


def _is_whole(vehicle: Vehicle) -> bool:
    """Tell whether the whole chain can be compared: expectation, gears and sensor are stated."""
    gears_known = not vehicle.has_gear_drive or (vehicle.drive_gear and vehicle.driven_gear)
    sensor_known = vehicle.pulses_per_turn is not None or not vehicle.expects_pulses
    return bool(vehicle.counts_per_m is not None and gears_known and sensor_known)


def base_of(vehicle: Vehicle, parts: Sequence[Part]) -> tuple[float, Finding]:
    """Return the constant part of the chain, so that base x gains is the factor, and what was assumed for it."""
    base = float(vehicle.ratio_box or 1) * float(vehicle.pulse_scaler or 1)
    if vehicle.counts_per_m is not None and _is_whole(vehicle):
        base *= (vehicle.pulses_per_turn or 1.0) * float(vehicle.transfer_ratio) / vehicle.counts_per_m
        return base, Finding("whole_chain_compared")
    assumed, names = assumed_roll(vehicle), {part.name for part in parts}
    if assumed is None and (change := axle_change(vehicle)):
        base *= change[0]
    for part in parts:
        if part.name == "tire":
            base *= assumed[0] if assumed else 1.0 if "tire_before" in names else 1 / float(np.median(part.gains))
        elif part.stated is not None:
            base /= float(part.gains[part.stated])
    return base, _right_before(vehicle, assumed)


def _right_before(vehicle: Vehicle, assumed: tuple[float, float, Finding] | None) -> Finding:
    if assumed is not None and assumed[2].code == "module_setting":
        return Finding("right_by_module", **assumed[2].values)
    axle = vehicle.axle_before.text if vehicle.axle_before else None
    return Finding("right_before", tire=str(vehicle.tire_before) if vehicle.tire_before else None, axle=axle)


@cache
def _common_tires() -> tuple[tuple[str, TireSize], ...]:
    return tuple((size.text, size) for size in map(parse_tire_size, facts("common_tires")["sizes"]))


def _rolled(stated: TireSize | None) -> dict[str, RolledTire]:
    """Return the sizes met in the trade, for the rim of the one stated and with it, and how far they roll."""
    sizes = dict(_common_tires())
    if stated is not None:
        sizes = {text: size for text, size in sizes.items() if abs(size.rim_mm - stated.rim_mm) < 1}
        sizes.setdefault(stated.text, stated)
    return {text: roll_by_convention(size) for text, size in sizes.items()}


def _tires_before(vehicle: Vehicle) -> Part | None:
    """Return the tires that the instrument may have been made for; None where that is stated or nothing to go by.

    Flotation sizes are for later (common practice, no source).
    """
    fitted = vehicle.tire
    if fitted is None or _is_whole(vehicle) or assumed_roll(vehicle) is not None:
        return None
    rolled = _rolled(fitted)
    labels = tuple(text for text in rolled if text == fitted.text or parse_tire_size(text).form != "flotation")
    gains = np.array([rolled[text].circumference_m.value for text in labels])
    prior = _prior("tire_before", gains, labels.index(fitted.text))
    return Part("tire_before", labels, gains, np.zeros(len(labels)), prior, None)  # it errs as the tire fitted does


def _tires(vehicle: Vehicle) -> Part | None:
    stated = vehicle.tire
    rolled = _rolled(stated)
    if (fitted := driving_tire(vehicle)) is not None:
        if stated is None:
            return _part("tire", {_MEASURED: fitted}, _MEASURED)
        rolled[stated.text] = fitted
    return _part("tire", rolled, stated.text if stated else None)


def _part(name: str, rolled: dict[str, RolledTire], stated: str | None) -> Part:
    labels = tuple(rolled)
    where = labels.index(stated) if stated is not None else None
    gains = np.array([1 / item.circumference_m.value for item in rolled.values()])
    u_relative = np.array([item.u_relative for item in rolled.values()])
    return Part(name, labels, gains, u_relative, _prior(name, gains, where), where)


def _axles(vehicle: Vehicle) -> Part | None:
    if vehicle.sensor == "wheel":
        return None
    groups = axle_groups()
    stated = vehicle.axle
    where = None
    if stated is not None:
        where = next((i for i, (ratio, _) in enumerate(groups) if abs(ratio / float(stated) - 1) < _SAME_RATIO), None)
        if where is None:
            groups = [*groups, (float(stated), str(stated))]
            where = len(groups) - 1
        else:
            label = f"{float(stated):.2f} ({stated.text})" if stated.has_teeth else stated.text
            groups[where] = (float(stated), label)
    gains = np.array([ratio for ratio, _ in groups])
    return Part(
        "axle",
        tuple(label for _, label in groups),
        gains,
        np.full(len(gains), 0.001),
        _prior("axle", gains, where),
        where,
    )


def axle_groups() -> list[tuple[float, str]]:
    """Return axle ratios that a drive can tell apart, each with the pairs of teeth behind it, by ratio."""
    groups: list[list[tuple[int, int]]] = []
    for ring, pinion in known_pairs():
        last = groups[-1][0] if groups else None
        if last and (ring / pinion) / (last[0] / last[1]) - 1 < _SAME_RATIO:
            groups[-1].append((ring, pinion))
        else:
            groups.append([(ring, pinion)])
    found = []
    for group in groups:
        ratio = sum(ring / pinion for ring, pinion in group) / len(group)
        found.append((ratio, f"{ratio:.2f} ({' or '.join(f'{ring}/{pinion}' for ring, pinion in group)})"))
    return found


def _gears(vehicle: Vehicle) -> list[Part]:
    if not vehicle.has_gear_drive:
        return []
    family = vehicle.family
    found = []
    for name, stated, teeth, free, power in (
        ("driven_gear", vehicle.driven_gear, family and family.driven, MET_DRIVEN, -1),
        ("drive_gear", vehicle.drive_gear, family and family.drive, MET_DRIVE, 1),
    ):
        if stated is None:
            continue
        counts = sorted({*(teeth.teeth if teeth else free), stated})
        where = counts.index(stated)
        gains = np.array([float(count) ** power for count in counts])
        prior = _prior("counted" if vehicle.gears_counted else name, gains, where)
        found.append(Part(name, tuple(map(str, counts)), gains, np.zeros(len(counts)), prior, where))
    return found


def shares(logs: FloatArray, cause: str) -> FloatArray:
    """Return how likely each of some identities is beside that stated, by the logarithm of what it would change.

    A size or a count next to the one stated is likelier than one far away, by the reach of the cause where nothing is
    stated (common practice, no source).
    """
    reach = float(facts("explain")["cause"]["size"][cause])
    weights = np.exp(-0.5 * (logs / reach) ** 2)
    return np.asarray(weights / weights.sum())


def _prior(name: str, gains: FloatArray, stated: int | None) -> FloatArray:
    n = len(gains)
    if stated is None or n == 1:
        return np.full(n, 1 / n)
    trust = float(facts("explain")["stated"][name])
    others = np.arange(n) != stated
    prior = np.full(n, trust)
    prior[others] = (1 - trust) * shares(np.log(gains[others] / gains[stated]), _CAUSES[name])
    return prior
