"""What is wrong with a speedometer: causes with their probabilities, what speaks against each, what would settle it.

A cause sits in the drive (tires, axle, gears, transfer ratio, pulses, unit) or in the instrument and its notes (needle,
scale, sticking, readings of another one); one of each may go together. Each predicts the needle offset, the factor of
the pointer and that of the odometer, the bend of the dial and the scatter of the readings; the posterior follows from
Bayes' rule with the priors of ``explain.toml``.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from speedcal.calibration.result import Calibration
from speedcal.finding import Finding, codes_of
from speedcal.interval import FloatArray, tidy
from speedcal.logs.drive.readings import DIAL_UNIT_SEEN
from speedcal.units import MPH_MPS
from speedcal.vehicle.data import facts
from speedcal.vehicle.diagnosed import causes
from speedcal.vehicle.diagnosed.evidence import MOST_EVIDENCE, Evidence, evidence_of
from speedcal.vehicle.vehicle import Vehicle
from speedcal.wording import Spoken

_FAR = 2.0
"""Standard uncertainties from which on something speaks against a cause, and to which one reaches."""
_STRANGE = {
    "many_wrong",
    "wrong_together",
    "two_readers",
    "gps_among_readings",
    "speed_against_positions",
    "may_be_truth",
    "dial_changed",
    "dial_changes",
    "log_strays",
}
"""Findings and doubts that readings of this instrument on this trip seldom have."""


@dataclass(frozen=True, slots=True)
class Hypothesis:
    """One cause, and how the evidence stands."""

    code: str
    group: str
    probability: float
    factor: float
    """Factor of the pointer that it makes by itself, at its likeliest."""
    against: tuple[Finding, ...] = ()
    settled_by: str = ""

    def to_dict(self) -> dict[str, Any]:
        """Return the cause, ready for JSON."""
        return {
            "cause": self.code,
            "class": self.group,
            "probability": tidy(self.probability, 4),
            "predicted_factor": tidy(self.factor, 4),
            "against": [finding.to_dict() for finding in self.against],
            "settled_by": self.settled_by,
        }


@dataclass(frozen=True, slots=True)
class Diagnosis(Spoken):
    """The causes, the likeliest first, and the chance that nothing is wrong."""

    hypotheses: tuple[Hypothesis, ...]
    healthy: float
    """Chance that neither drive nor instrument has a fault."""
    settled_by: str | None
    """The one measurement that tells most; None where nothing is wrong or the cause is clear."""
    is_counted: bool = False
    """Whether the pulses of the sensor were counted: their number stays, and something else has to make up for it."""

    @property
    def top(self) -> Hypothesis | None:
        """The likeliest cause of the likeliest class; None where being healthy is likelier than any."""
        groups = self.groups()
        if not groups or self.healthy >= max(groups.values()):
            return None
        group = max(groups, key=lambda name: groups[name])
        return next(item for item in self.hypotheses if item.group == group)

    def groups(self) -> dict[str, float]:
        """Return the chance of each class, the likeliest first."""
        sums: dict[str, float] = {}
        for item in self.hypotheses:
            sums[item.group] = sums.get(item.group, 0.0) + item.probability
        return dict(sorted(sums.items(), key=lambda pair: -pair[1]))

    @property
    def is_scale_known(self) -> bool:
        """Whether somebody saw the unit on the dial, so that a unit can only be mixed up behind it."""
        return all(item.code != "other_scale" for item in self.hypotheses)

    def to_dict(self) -> dict[str, Any]:
        """Return the diagnosis, ready for JSON."""
        return {
            "healthy": tidy(self.healthy, 4),
            "classes": {name: tidy(chance, 4) for name, chance in self.groups().items()},
            "causes": [item.to_dict() for item in self.hypotheses],
            "settled_by": self.settled_by,
        }


def diagnose(calibration: Calibration, vehicle: Vehicle) -> Diagnosis:
    """Weigh what may be wrong by everything a drive and the stated facts say.

    Parameters
    ----------
    calibration
        The drive: dial curve, odometer beside pointer, scatter, and the readings one by one.
    vehicle
        What the job states; each statement may be wrong.
    """
    evidence = evidence_of(calibration)
    expected, u_expected = causes.expected_or_unknown(vehicle, float(evidence.value[1]))
    drives = causes.drive_causes(vehicle, expected)
    instruments = causes.instrument_causes(follows=calibration.trust.word == "TRUSTED")
    if DIAL_UNIT_SEEN in codes_of(calibration.findings):
        del instruments["other_scale"]
    known, common = facts("explain")["cause"], causes.chance_beforehand(vehicle)
    log_joint = np.full((len(drives), len(instruments)), -np.inf)
    at = np.zeros(log_joint.shape)
    for i, (drive, shifts) in enumerate(drives.items()):
        for k, (instrument, spread) in enumerate(instruments.items()):
            value, factor = _either([_log_likelihood(evidence, shifts, one, expected, u_expected) for one in spread])
            prior = np.log(common.get(drive, common["none"]) * known["instrument"][instrument])
            log_joint[i, k] = prior + value + _shape_evidence(evidence, instrument)
            at[i, k] = factor
    posterior = np.exp(log_joint - log_joint.max())
    posterior /= posterior.sum()
    found = _diagnosis(list(drives), list(instruments), posterior, at, evidence)
    return replace(found, is_counted=vehicle.gears_counted)


def _diagnosis(
    drives: list[str], instruments: list[str], posterior: FloatArray, at: FloatArray, evidence: Evidence
) -> Diagnosis:
    found = []
    alone = (at[:, instruments.index("none")], at[0])  # beside a healthy instrument, and parts that are as stated
    for names, axis in ((drives, 0), (instruments, 1)):
        for j, name in enumerate(names):
            if name == "none":
                continue
            chance, factor = float(np.take(posterior, j, axis=axis).sum()), float(alone[axis][j])
            against = _against(name, factor, evidence)
            is_asked = name != "dial_gain" or not evidence.has_odometer  # one that was read is not asked for again
            settled_by = causes.SETTLED_BY[name if is_asked else "dial_bent"]
            found.append(Hypothesis(name, causes.GROUPS[name], chance, factor, against, settled_by))
    found.sort(key=lambda item: -item.probability)
    healthy = float(posterior[drives.index("none"), instruments.index("none")]) if "none" in drives else 0.0
    return Diagnosis(tuple(found), healthy, _settled_by(found, healthy, evidence))


def _settled_by(found: list[Hypothesis], healthy: float, evidence: Evidence) -> str | None:
    """Return the measurement that tells the likeliest causes apart."""
    first, second = found[0], found[1]
    if healthy > 0.9 or first.probability > 0.9:
        return None
    across = {first.group, second.group} == {"drivetrain", "dial"} or first.code == "dial_gain"
    if across and not evidence.has_odometer:
        return "odometer_distance"
    return first.settled_by


def _shape_evidence(evidence: Evidence, instrument: str) -> float:
    """Return the log likelihood of bend, sticking, lag and scatter under a cause in the instrument."""
    scatter = _scatter_likelihood(evidence, instrument)
    match instrument:
        case "dial_bent":
            return scatter + evidence.bend
        case "needle_sticks":
            return scatter + evidence.sticking
        case "needle_damped":
            return scatter + evidence.lag
        case "foreign_readings":
            return scatter + (2.0 if evidence.codes & _STRANGE else 0.0)
    return scatter


def _scatter_likelihood(evidence: Evidence, instrument: str) -> float:
    """Return the log density of the scatter; below the middle of a sound instrument's it says nothing."""
    size = facts("explain")["cause"]["size"]
    plain = size["scatter_log_mph" if evidence.is_log else "scatter_noted_mph"]
    middle = {"needle_sticks": size["scatter_sticks_mph"], "foreign_readings": size["scatter_foreign_mph"]}
    away = max(evidence.ln_scatter, np.log(plain)) - np.log(middle.get(instrument, plain))
    return max(-0.5 * float(away / size["scatter_spread"]) ** 2, -MOST_EVIDENCE)


def _either(found: list[tuple[float, float]]) -> tuple[float, float]:
    """Return the log likelihood of alternatives that are alike in likelihood, and the factor at the likeliest."""
    logs = [value for value, _ in found]
    return float(np.logaddexp.reduce(logs) - np.log(len(logs))), found[int(np.argmax(logs))][1]


def _log_likelihood(
    evidence: Evidence, shifts: causes.Shifts, spread: causes.Spread, expected: float, u_expected: float
) -> tuple[float, float]:
    """Return the log likelihood of offset and factors under a pair of causes, and the factor of the pointer it makes.

    A cause of unknown size makes what the drive shows, as far as it reaches; that of the next gear is known.
    """
    instrument, size = facts("explain")["instrument"], facts("explain")["cause"]["size"]
    usual = float(np.log(instrument["gain"]))
    u_pointer = float(np.hypot(instrument["u_gain"] / instrument["gain"], spread.gain))
    known = len(evidence.value)
    shift, u_shift, share = np.array(shifts).T
    pointer = expected + shift + usual + spread.shift
    mean = np.stack([np.zeros(len(shift)), pointer, expected + shift], axis=1)[:, :known]
    common = np.zeros((3, 3))
    common[1:, 1:] = 1.0
    model = np.diag([spread.offset_mps**2, u_pointer**2, size["odometer"] ** 2])
    of_cause = u_expected**2 + u_shift**2
    model = model + of_cause[:, None, None] * common
    total = model[:, :known, :known] + evidence.covariance
    away = evidence.value - mean
    weighed = np.linalg.solve(total, away[..., None])[..., 0]
    logs = np.log(share) - 0.5 * (np.sum(away * weighed, axis=1) + np.linalg.slogdet(total)[1])
    best = int(np.argmax(logs))
    reach = _FAR * float(np.sqrt(spread.gain**2 + of_cause[best]))
    follows = spread.gain**2 * weighed[best, 1] + of_cause[best] * weighed[best, 1:].sum()
    return float(np.logaddexp.reduce(logs)), float(np.exp(mean[best, 1] + np.clip(follows, -reach, reach)))


def _against(cause: str, factor: float, evidence: Evidence) -> tuple[Finding, ...]:
    """Return what a cause on its own leaves unexplained."""
    spread = np.sqrt(np.diag(evidence.covariance))
    size = facts("explain")["cause"]["size"]
    offset, pointer = evidence.value[0], evidence.value[1]
    group = causes.GROUPS[cause]
    found = []
    u_offset = np.hypot(spread[0], size["healthy_offset_mph"] * MPH_MPS)
    if group not in ("needle", "readings", "dial") and abs(offset) > _FAR * u_offset:
        found.append(Finding("offset_unexplained", offset_mps=float(offset)))
    u_pointer = np.hypot(spread[1], 0.02)
    if group in ("needle", "drivetrain", "pulses_or_unit") and abs(pointer - np.log(factor)) > _FAR * u_pointer:
        found.append(Finding("factor_unexplained", factor=float(np.exp(pointer)), expected_factor=factor))
    if evidence.has_odometer:
        apart = pointer - evidence.value[2]
        u_apart = np.sqrt(spread[1] ** 2 + spread[2] ** 2 + size["odometer"] ** 2 + 0.0125**2)
        values = {"factor": float(np.exp(pointer)), "odometer_factor": float(np.exp(evidence.value[2]))}
        if group in ("drivetrain", "pulses_or_unit") and abs(apart) > _FAR * u_apart:
            found.append(Finding("odometer_goes_its_own_way", **values))
        if cause == "dial_gain" and abs(evidence.value[2]) > 0.03 and abs(apart) < u_apart:
            found.append(Finding("odometer_goes_along", **values))
    if evidence.bend > 2 and cause != "dial_bent":
        found.append(Finding("bend_unexplained"))
    if (
        _scatter_likelihood(evidence, "foreign_readings") - _scatter_likelihood(evidence, cause) > 2
        and cause != "foreign_readings"
    ):
        found.append(Finding("scatter_unexplained"))
    return tuple(found)
