"""What explains an error factor: tires, axle gears and gear teeth ranked by likelihood, with the priors stated."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from speedcal.calibration.result import Calibration
from speedcal.errors import VehicleError
from speedcal.finding import Finding
from speedcal.interval import COVERAGE_FACTOR, FloatArray, tidy
from speedcal.vehicle.data import facts
from speedcal.vehicle.diagnosed.identities import Part, base_of, parts_of
from speedcal.vehicle.vehicle import Vehicle
from speedcal.wording import Spoken

_FAR = 3.0
"""Standard uncertainties beyond which a combination does not explain a factor."""


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


@dataclass(frozen=True, slots=True)
class Explanations(Spoken):
    """The ranked combinations, what each part most likely is, and what was believed before the drive."""

    ranked: tuple[Explanation, ...]
    as_stated: float
    """Probability that everything is as the job states."""
    by_part: tuple[tuple[str, tuple[tuple[str, float], ...]], ...]
    """For each part its most likely identities with their probabilities, whatever the other parts are."""
    priors: tuple[Finding, ...]
    """What was believed before the drive, and from where."""
    findings: tuple[Finding, ...] = ()

    def to_dict(self) -> dict[str, Any]:
        """Return the ranking, ready for JSON."""
        return {
            "explanations": [item.to_dict() for item in self.ranked],
            "as_stated": tidy(self.as_stated, 4),
            "by_part": {
                name: [{"is": label, "probability": tidy(p, 4)} for label, p in labels] for name, labels in self.by_part
            },
            "priors": [prior.to_dict() for prior in self.priors],
            "findings": [finding.to_dict() for finding in self.findings],
        }


def explain(calibration: Calibration, vehicle: Vehicle, *, most: int = 10) -> Explanations:
    """Rank combinations of tire size, axle gears and gear teeth by how well they explain the error factor.

    With the instrument's expectation and both gears stated the chain is absolute. Otherwise the instrument is taken
    to have been right with ``tire_before`` or what its module is set to (where neither is stated, with one of the
    tires for that rim, likeliest the one fitted), the stated axle and the stated gears, and what has changed since is
    ranked.

    Parameters
    ----------
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
        raise VehicleError("nothing_to_explain_from")
    instrument = facts("explain")["instrument"]
    parts = parts_of(vehicle)
    base, what = base_of(vehicle, parts)
    shape = tuple(len(part.labels) for part in parts)
    factor = np.full(shape, base * instrument["gain"])
    variance = np.full(shape, (instrument["u_gain"] / instrument["gain"]) ** 2)
    prior = np.zeros(shape)
    for axis, part in enumerate(parts):
        along = [1] * len(shape)
        along[axis] = -1
        factor = factor * part.gains.reshape(along)
        variance = variance + part.u_relative.reshape(along) ** 2
        prior = prior + np.log(part.prior).reshape(along)
    c = calibration
    u = np.sqrt(variance * factor**2 + (c.error_factor.half_width / COVERAGE_FACTOR) ** 2)
    away = np.abs(c.error_factor.value - factor) / u
    joint = prior - 0.5 * away**2 - np.log(u)
    posterior = np.exp(joint - joint.max())
    posterior /= posterior.sum()
    return Explanations(
        ranked=_ranked(parts, factor, posterior, most),
        as_stated=_as_stated(parts, posterior),
        by_part=_by_part(parts, posterior),
        priors=(what, *_priors(parts)),
        findings=tuple(_findings(parts, posterior, float(away.min()))),
    )


def _ranked(parts: Sequence[Part], factor: FloatArray, posterior: FloatArray, most: int) -> tuple[Explanation, ...]:
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


def _as_stated(parts: Sequence[Part], posterior: FloatArray) -> float:
    stated = posterior
    for axis, part in enumerate(parts):
        if part.stated is not None:
            stated = stated.take([part.stated], axis=axis)
    return float(stated.sum())


def _by_part(parts: Sequence[Part], posterior: FloatArray) -> tuple[tuple[str, tuple[tuple[str, float], ...]], ...]:
    found = []
    for axis, part in enumerate(parts):
        others = tuple(i for i in range(len(parts)) if i != axis)
        marginal = posterior.sum(axis=others)
        order = np.argsort(-marginal, kind="stable")[:5]
        found.append((part.name, tuple((part.labels[int(i)], float(marginal[i])) for i in order)))
    return tuple(found)


def _priors(parts: Sequence[Part]) -> list[Finding]:
    known = facts("explain")
    instrument, stated = known["instrument"], known["stated"]
    found = [
        Finding("healthy_instrument", percent=100 * (instrument["gain"] - 1), u_percent=100 * instrument["u_gain"],
                source=instrument["source"])
    ]  # fmt: skip
    open_parts = {part.name for part in parts if len(part.labels) > 1}
    sources = (("tire", facts("common_tires")), ("axle", facts("axle_gears")))
    found += [
        Finding("possible_parts", part=name, source=table["source"], status=table["status"])
        for name, table in sources
        if name in open_parts
    ]
    for part in parts:
        if part.name == "tire_before":
            values = {"chance": float(stated[part.name]), "others": len(part.labels) - 1}
            found.append(Finding("built_with_fitted", **values, source=stated["source"], status=stated["status"]))
        elif part.stated is None:
            found.append(Finding("part_not_stated", part=part.name, count=len(part.labels)))
        elif len(part.labels) > 1:
            values = {"chance": float(stated[part.name]), "others": len(part.labels) - 1}
            found.append(
                Finding("part_as_stated", part=part.name, **values, source=stated["source"], status=stated["status"])
            )
    return found


def _findings(parts: Sequence[Part], posterior: FloatArray, nearest: float) -> list[Finding]:
    found = []
    if nearest > _FAR:
        found.append(Finding("nothing_explains"))
    if float(posterior.max()) < 0.8:
        unsure = [name for name, labels in _by_part(parts, posterior) if len(labels) > 1 and labels[0][1] < 0.9]
        found.append(Finding("ambiguous", parts=unsure))
    return found
