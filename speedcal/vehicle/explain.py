"""What explains an error factor: tires, axle gears and gear teeth ranked by likelihood, with the priors stated."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from speedcal.errors import VehicleError
from speedcal.measure.model import Calibration
from speedcal.values import Finding, FloatArray, tidy
from speedcal.vehicle.axle import known_pairs
from speedcal.vehicle.data import common_tires, explain_facts
from speedcal.vehicle.families import GearFamily
from speedcal.vehicle.model import Vehicle
from speedcal.vehicle.parts import AxleRatio
from speedcal.vehicle.rolled import RolledTire, roll_by_convention
from speedcal.vehicle.sizes import parse_tire_size

_SAME_RATIO = 0.006
"""Axle ratios closer than this (relative) are one and the same to a drive."""
_FREE_DRIVEN, _FREE_DRIVE = range(15, 46), range(6, 16)
_STATES = {
    "tire": "look at the sidewall, or roll the tire out",
    "axle": "count turns of driveshaft and wheels (speedcal axle)",
    "driven gear": "take the driven gear out and count its teeth",
    "drive gear": "count the teeth of the drive gear",
}


@dataclass(frozen=True, slots=True)
class _Part:
    """What one part of the chain may be: labels, the factor each brings, its spread and its prior."""

    name: str
    labels: tuple[str, ...]
    gains: FloatArray
    u_relative: FloatArray
    prior: FloatArray
    stated: int | None
    """Index of what the job states; None when it states nothing."""


@dataclass(frozen=True, slots=True)
class Explanation:
    """One combination of parts that would give the error factor."""

    parts: tuple[tuple[str, str], ...]
    """Name of the part and what it would be."""
    departs: tuple[str, ...]
    """Parts that are not what the job states."""
    factor: float
    """Error factor this combination leads one to expect."""
    probability: float

    def to_dict(self) -> dict[str, Any]:
        """Return the combination, ready for JSON."""
        return {
            "parts": dict(self.parts),
            "differs_in": list(self.departs),
            "expected_factor": tidy(self.factor, 5),
            "probability": tidy(self.probability, 4),
        }

    def __str__(self) -> str:
        words = [f"{name} {label}{' (!)' if name in self.departs else ''}" for name, label in self.parts]
        return f"{100 * self.probability:3.0f} %  {', '.join(words)}; would read {100 * (self.factor - 1):+.1f} %"


@dataclass(frozen=True, slots=True)
class Explanations:
    """The ranked combinations, what each part most likely is, and what was believed before the drive."""

    ranked: tuple[Explanation, ...]
    as_stated: float
    """Probability that everything is as the job states."""
    by_part: tuple[tuple[str, tuple[tuple[str, float], ...]], ...]
    """For each part its most likely identities with their probabilities, whatever the other parts are."""
    priors: tuple[str, ...]
    findings: tuple[Finding, ...] = ()

    def to_dict(self) -> dict[str, Any]:
        """Return the ranking, ready for JSON."""
        return {
            "explanations": [item.to_dict() for item in self.ranked],
            "as_stated": tidy(self.as_stated, 4),
            "by_part": {
                name: [{"is": label, "probability": tidy(p, 4)} for label, p in labels] for name, labels in self.by_part
            },
            "priors": list(self.priors),
            "findings": [finding.to_dict() for finding in self.findings],
        }

    def __str__(self) -> str:
        lines = [str(item) for item in self.ranked]
        lines.append(
            f"everything as the job states: {100 * self.as_stated:.0f} %   (!) marks what would differ from it"
        )
        lines += [f"believed before the drive: {text}" for text in self.priors]
        lines += [f"note: {finding.text}" for finding in self.findings]
        return "\n".join(lines)


def explain(calibration: Calibration, vehicle: Vehicle, *, most: int = 10) -> Explanations:
    """Rank combinations of tire size, axle gears and gear teeth by how well they explain the error factor.

    With the instrument's expectation and both gears stated the chain is absolute. Otherwise the instrument is taken
    to have been right with ``tire_before`` (or the stated tire), the stated axle and the stated gears, and what has
    changed since is ranked.

    Parameters
    ----------
    calibration
        The drive.
    vehicle
        What the job states; each statement is believed with the chance of the data file, not taken for certain.
    most
        How many combinations to return.

    Raises
    ------
    VehicleError
        The vehicle states neither a tire nor an axle ratio, so there is nothing to start from.
    """
    if vehicle.tire is None and vehicle.tire_before is None and vehicle.axle is None:
        raise VehicleError(
            "nothing is stated about the tires or the axle, so anything would explain the error",
            remedy="Add tire, tire_before or axle to [vehicle]",
        )
    instrument = explain_facts()["instrument"]
    parts = [part for part in (_tires(vehicle), _axles(vehicle), *_gears(vehicle)) if part is not None]
    base, what = _base(vehicle, parts)
    shape = tuple(len(part.labels) for part in parts)
    factor = np.full(shape, base * instrument["gain"])
    variance = np.full(shape, (instrument["u_gain"] / instrument["gain"]) ** 2)
    prior = np.ones(shape)
    for axis, part in enumerate(parts):
        along = [1] * len(shape)
        along[axis] = -1
        factor = factor * part.gains.reshape(along)
        variance = variance + part.u_relative.reshape(along) ** 2
        prior = prior * part.prior.reshape(along)
    c = calibration
    u = np.sqrt(variance * factor**2 + (c.error_factor.half_width / c.coverage_factor) ** 2)
    likelihood = np.exp(-0.5 * ((c.error_factor.value - factor) / u) ** 2) / u
    joint = prior * likelihood
    best_fit = float(likelihood.max() * u.flat[int(likelihood.argmax())])
    posterior = joint / joint.sum()
    return Explanations(
        ranked=_ranked(parts, factor, posterior, most),
        as_stated=_as_stated(parts, posterior),
        by_part=_by_part(parts, posterior),
        priors=(what, *_prior_texts(parts)),
        findings=tuple(_findings(parts, posterior, best_fit)),
    )


def _base(vehicle: Vehicle, parts: Sequence[_Part]) -> tuple[float, str]:
    """Return the constant part of the chain, so that base x gains is the factor, and what was assumed for it."""
    gears_known = vehicle.sensor != "driven gear" or (vehicle.drive_gear and vehicle.driven_gear)
    sensor_known = vehicle.pulses_per_turn is not None or not vehicle.expects_pulses
    base = float(vehicle.ratio_box or 1) * float(vehicle.pulse_scaler or 1)
    if vehicle.expected_per_m is not None and gears_known and sensor_known:
        base *= (vehicle.pulses_per_turn or 1.0) * float(vehicle.transfer_ratio) / vehicle.expected_per_m
        return base, "the instrument expects what the job says, so the whole chain is compared"
    before = vehicle.tire_before or vehicle.tire
    for part in parts:
        if part.name == "tire":
            base *= roll_by_convention(before).circumference_m.value if before else 1 / float(np.median(part.gains))
        elif part.stated is not None:
            base /= float(part.gains[part.stated])
    return (
        base,
        f"the instrument was right with {before or 'the tires before'} and the axle and gears that the job states",
    )


def _tires(vehicle: Vehicle) -> _Part | None:
    sizes = {size.text: size for size in (parse_tire_size(text) for text in common_tires())}
    stated = vehicle.tire
    if stated is not None:
        sizes = {text: size for text, size in sizes.items() if abs(size.rim_mm - stated.rim_mm) < 1}
        sizes.setdefault(stated.text, stated)
    rolled = {text: roll_by_convention(size) for text, size in sizes.items()}
    if vehicle.rolled is not None and stated is None:
        return _part("tire", {vehicle.rolled.basis: vehicle.rolled}, vehicle.rolled.basis)
    if vehicle.rolled is not None and stated is not None:
        rolled[stated.text] = vehicle.rolled
    return _part("tire", rolled, stated.text if stated else None)


def _part(name: str, rolled: dict[str, RolledTire], stated: str | None) -> _Part:
    labels = tuple(rolled)
    where = labels.index(stated) if stated is not None else None
    return _Part(
        name,
        labels,
        np.array([1 / item.circumference_m.value for item in rolled.values()]),
        np.array([item.u_relative for item in rolled.values()]),
        _prior(name, len(labels), where),
        where,
    )


def _axles(vehicle: Vehicle) -> _Part | None:
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
            groups[where] = (float(stated), _axle_label(stated))
    gains = np.array([ratio for ratio, _ in groups])
    return _Part(
        "axle",
        tuple(label for _, label in groups),
        gains,
        np.full(len(gains), 0.001),
        _prior("axle", len(gains), where),
        where,
    )


def _axle_label(axle: AxleRatio) -> str:
    return f"{float(axle):.2f} ({axle.text})" if axle.has_teeth else axle.text


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


def _gears(vehicle: Vehicle) -> list[_Part]:
    if vehicle.sensor != "driven gear":
        return []
    family: GearFamily | None = vehicle.family
    found = []
    for name, stated, teeth, free, power in (
        ("driven gear", vehicle.driven_gear, family and family.driven, _FREE_DRIVEN, -1),
        ("drive gear", vehicle.drive_gear, family and family.drive, _FREE_DRIVE, 1),
    ):
        if stated is None:
            continue
        counts = sorted({*(teeth.teeth if teeth else free), stated})
        where = counts.index(stated)
        found.append(
            _Part(
                name,
                tuple(str(count) for count in counts),
                np.array([float(count) ** power for count in counts]),
                np.zeros(len(counts)),
                _prior(name, len(counts), where),
                where,
            )
        )
    return found


def _prior(name: str, n: int, stated: int | None) -> FloatArray:
    if stated is None or n == 1:
        return np.full(n, 1 / n)
    trust = float(explain_facts()["stated"][name.replace(" ", "_")])
    prior = np.full(n, (1 - trust) / (n - 1))
    prior[stated] = trust
    return prior


def _ranked(parts: Sequence[_Part], factor: FloatArray, posterior: FloatArray, most: int) -> tuple[Explanation, ...]:
    order = np.argsort(-posterior, axis=None, kind="stable")[:most]
    found = []
    for flat in order:
        at = np.unravel_index(int(flat), posterior.shape)
        found.append(
            Explanation(
                parts=tuple((part.name, part.labels[int(i)]) for part, i in zip(parts, at, strict=True)),
                departs=tuple(
                    part.name
                    for part, i in zip(parts, at, strict=True)
                    if part.stated is not None and int(i) != part.stated
                ),
                factor=float(factor[at]),
                probability=float(posterior[at]),
            )
        )
    return tuple(found)


def _as_stated(parts: Sequence[_Part], posterior: FloatArray) -> float:
    stated = posterior
    for axis, part in enumerate(parts):
        if part.stated is not None:
            stated = stated.take([part.stated], axis=axis)
    return float(stated.sum())


def _by_part(parts: Sequence[_Part], posterior: FloatArray) -> tuple[tuple[str, tuple[tuple[str, float], ...]], ...]:
    found = []
    for axis, part in enumerate(parts):
        others = tuple(i for i in range(len(parts)) if i != axis)
        marginal = posterior.sum(axis=others)
        order = np.argsort(-marginal, kind="stable")[:5]
        found.append((part.name, tuple((part.labels[int(i)], float(marginal[i])) for i in order)))
    return tuple(found)


def _prior_texts(parts: Sequence[_Part]) -> list[str]:
    facts = explain_facts()
    instrument, stated = facts["instrument"], facts["stated"]
    texts = [
        f"a healthy instrument reads {100 * (instrument['gain'] - 1):+.1f} % with a standard uncertainty of "
        f"{100 * instrument['u_gain']:.2f} % ({instrument['source']})"
    ]
    for part in parts:
        if part.stated is None:
            texts.append(f"{part.name}: not stated, {len(part.labels)} possibilities equally likely")
        elif len(part.labels) > 1:
            trust = 100 * float(stated[part.name.replace(" ", "_")])
            texts.append(
                f"{part.name}: as stated with {trust:.0f} %, else one of {len(part.labels) - 1} others "
                f"({stated['source']}, {stated['status']})"
            )
    return texts


def _findings(parts: Sequence[_Part], posterior: FloatArray, best_fit: float) -> list[Finding]:
    found = []
    if best_fit < math.exp(-0.5 * 3**2):
        found.append(
            Finding(
                "nothing_explains", "No combination that we know of comes near this factor; check units and readings."
            )
        )
    if float(posterior.max()) < 0.8:
        unsure = [name for name, labels in _by_part(parts, posterior) if len(labels) > 1 and labels[0][1] < 0.9]
        measures = "; ".join(f"{name}: {_STATES[name]}" for name in unsure)
        text = (
            f"More than one combination fits. What would settle it: {measures}."
            if measures
            else ("More than one combination fits.")
        )
        found.append(Finding("ambiguous", text))
    return found
