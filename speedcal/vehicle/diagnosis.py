"""What is wrong with a speedometer: causes with their probabilities, what speaks against each, what would settle it.

A cause sits in the drive (tires, axle, gears, transfer ratio, pulses, unit) or in the instrument and its notes (needle,
scale, sticking, readings of another one); one of each may go together. Each predicts the needle offset, the factor of
the pointer and that of the odometer, the bend of the dial and the scatter of the readings; the posterior follows from
Bayes' rule with the priors of ``explain.toml``.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from speedcal.calibration.result import Calibration
from speedcal.finding import Finding
from speedcal.interval import FloatArray, tidy
from speedcal.units import MILE_M, MPH_MPS
from speedcal.vehicle.data import facts
from speedcal.vehicle.drivetrain import chain, driving_tire, train_gain
from speedcal.vehicle.evidence import MOST_EVIDENCE, Evidence, evidence_of
from speedcal.vehicle.identities import parts_of
from speedcal.vehicle.parts import WRONG_PULSES
from speedcal.vehicle.rolling_circumference import roll_by_convention
from speedcal.vehicle.vehicle import Vehicle
from speedcal.wording import words

GROUPS = {
    "parts_as_stated": "drivetrain",
    "tires": "drivetrain",
    "axle": "drivetrain",
    "gears": "drivetrain",
    "transfer_ratio": "drivetrain",
    "pulse_count": "pulses_or_unit",
    "wrong_unit": "pulses_or_unit",
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
    "pulse_count": "count_pulses",
    "wrong_unit": "check_unit",
    "needle_offset": "look_at_rest",
    "dial_gain": "odometer_distance",
    "dial_bent": "bench_test",
    "needle_sticks": "up_and_down",
    "needle_damped": "hold_longer",
    "foreign_readings": "check_files",
}
"""The one measurement that settles each cause."""

_FAR = 2.0
"""Standard uncertainties from which on something speaks against a cause."""
_MISMATCH = 0.02
"""Stated parts that lead one to expect a larger error than this do not suit each other."""
_STRANGE = {
    "many_wrong",
    "two_readers",
    "speed_against_positions",
    "may_be_truth",
    "dial_changes",
    "log_strays",
}
"""Findings and doubts that readings of this instrument on this trip seldom have."""
_PULSES = tuple(float(np.log(ratio)) for ratio in WRONG_PULSES)
_UNIT = float(np.log(MILE_M / 1000))


@dataclass(frozen=True, slots=True)
class Hypothesis:
    """One cause, and how the evidence stands."""

    code: str
    group: str
    probability: float
    factor: float
    """Factor of the pointer that it leads one to expect, at its likeliest."""
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
class Diagnosis:
    """The causes, the likeliest first, and the chance that nothing is wrong."""

    hypotheses: tuple[Hypothesis, ...]
    healthy: float
    """Chance that neither drive nor instrument has a fault."""
    settled_by: str | None
    """The one measurement that tells most; None where nothing is wrong or the cause is clear."""

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

    def to_dict(self) -> dict[str, Any]:
        """Return the diagnosis, ready for JSON."""
        return {
            "healthy": tidy(self.healthy, 4),
            "classes": {name: tidy(chance, 4) for name, chance in self.groups().items()},
            "causes": [item.to_dict() for item in self.hypotheses],
            "settled_by": self.settled_by,
        }

    def __str__(self) -> str:
        return words().summary(self)


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
    expected, u_expected = _expected(vehicle)
    drives = _drive_causes(vehicle, expected)
    instruments = _instrument_causes(follows=calibration.trust.word == "TRUSTED")
    known = facts("explain")["cause"]
    log_joint = np.full((len(drives), len(instruments)), -np.inf)
    at = np.zeros(log_joint.shape)
    for i, (drive, shifts) in enumerate(drives.items()):
        for k, (instrument, spread) in enumerate(instruments.items()):
            value, factor = _either([_log_likelihood(evidence, shifts, one, expected, u_expected) for one in spread])
            prior = np.log(known["drive"].get(drive, known["drive"]["none"]) * known["instrument"][instrument])
            log_joint[i, k] = prior + value + _shape_evidence(evidence, instrument)
            at[i, k] = factor
    posterior = np.exp(log_joint - log_joint.max())
    posterior /= posterior.sum()
    return _diagnosis(list(drives), list(instruments), posterior, at, evidence)


def _diagnosis(
    drives: list[str], instruments: list[str], posterior: FloatArray, at: FloatArray, evidence: Evidence
) -> Diagnosis:
    found = []
    for names, axis in ((drives, 0), (instruments, 1)):
        for j, name in enumerate(names):
            if name == "none":
                continue
            row, where = np.take(posterior, j, axis=axis), np.take(at, j, axis=axis)
            factor = float(where[int(row.argmax())])
            found.append(
                Hypothesis(
                    name, GROUPS[name], float(row.sum()), factor, _against(name, factor, evidence), SETTLED_BY[name]
                )
            )
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


def _expected(vehicle: Vehicle) -> tuple[float, float]:
    """Return the logarithm of the factor that the stated facts lead one to expect, and its standard uncertainty."""
    known = train_gain(chain(vehicle))
    if known is not None:
        return float(np.log(known[0])), known[1]
    rolled = driving_tire(vehicle)
    if rolled is not None:
        for setting in vehicle.settings:
            if setting.circumference_m is not None:
                return float(np.log(setting.circumference_m / rolled.circumference_m.value)), rolled.u_relative
        if vehicle.tire_before is not None:
            before = roll_by_convention(vehicle.tire_before)
            u = float(np.hypot(before.u_relative, rolled.u_relative))
            return float(np.log(before.circumference_m.value / rolled.circumference_m.value)), u
    return 0.0, 0.005


_Shifts = tuple[tuple[float, float, float], ...]
"""What a cause does to the drive: shift of the logarithm, its standard deviation, and its share."""


def _drive_causes(vehicle: Vehicle, expected: float) -> dict[str, _Shifts]:
    """Return the causes that sit between road and instrument, with what each does to the factor."""
    size = facts("explain")["cause"]["size"]
    mismatch = abs(expected) > _MISMATCH
    causes: dict[str, _Shifts] = {"parts_as_stated" if mismatch else "none": ((0.0, 0.0, 1.0),)}
    stated = {part.name: part for part in parts_of(vehicle) if part.stated is not None and len(part.labels) > 1}
    for cause, names in (("tires", ("tire",)), ("axle", ("axle",)), ("gears", ("driven_gear", "drive_gear"))):
        if vehicle.sensor == "wheel" and cause == "axle":
            continue
        shifts: list[tuple[float, float, float]] = []
        for name in names:
            if part := stated.get(name):
                gains = np.log(part.gains / part.gains[part.stated])
                others = [g for i, g in enumerate(gains) if i != part.stated and 0.01 < abs(g) < 0.5]
                shifts += [(float(g), 0.01, 1.0) for g in others]
        if not shifts:
            if cause == "gears" and not vehicle.has_gear_drive:
                continue
            shifts = [(0.0, size[cause], 1.0)]
        causes[cause] = tuple((shift, spread, 1 / len(shifts)) for shift, spread, _ in shifts)
    logs = _other_ratios(vehicle)
    if logs:
        causes["transfer_ratio"] = tuple((shift, size["transfer"], 1 / len(logs)) for shift in logs)
    if vehicle.expects_pulses or not (vehicle.drive_gear or vehicle.driven_gear):
        causes["pulse_count"] = tuple((shift, size["pulses"], 0.25) for shift in _PULSES)
    causes["wrong_unit"] = tuple((shift, size["unit"], 0.5) for shift in (_UNIT, -_UNIT))
    return causes


def _other_ratios(vehicle: Vehicle) -> list[float]:
    """Return what another range, or a ratio box left out or put in the wrong way round, does; logarithms."""
    ratios = {vehicle.transfer_ratio, vehicle.second_transfer_ratio} - {None, 1}
    logs = [sign * float(np.log(float(ratio))) for ratio in ratios if ratio for sign in (1, -1)]
    if vehicle.ratio_box is not None:
        box = float(np.log(float(vehicle.ratio_box)))
        logs += [-box, -2 * box]
    return logs


@dataclass(frozen=True, slots=True)
class _Spread:
    """What a cause in the instrument does: constant error [m/s] and logarithm of the pointer's own factor."""

    offset_mps: float
    gain: float


def _instrument_causes(*, follows: bool) -> dict[str, tuple[_Spread, ...]]:
    """Return the causes in the instrument and its notes, each with what it may do, alike in likelihood.

    Readings that follow the track at whatever factor are no strangers to it: only those of a vehicle on the same road
    follow one, and their dial is as right as most.
    """
    size: Mapping[str, float] = facts("explain")["cause"]["size"]
    plain = size["healthy_offset_mph"] * MPH_MPS
    healthy = _Spread(plain, 0.0)
    foreign = _Spread(size["foreign_offset_mph"] * MPH_MPS, size["foreign"])
    alike = _Spread(2 * plain, size["foreign_alike"])  # the vehicle behind, the same trip on another day
    return {
        "none": (healthy,),
        "needle_offset": (_Spread(size["needle_offset_mph"] * MPH_MPS, 0.0),),
        "dial_gain": (_Spread(plain, size["dial_gain"]),),
        "dial_bent": (_Spread(size["bent_offset_mph"] * MPH_MPS, size["bent"]),),
        "needle_sticks": (_Spread(2 * plain, size["sticks"]),),
        "needle_damped": (healthy,),
        "foreign_readings": (alike,) if follows else (foreign, alike),
    }


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
    evidence: Evidence, shifts: _Shifts, spread: _Spread, expected: float, u_expected: float
) -> tuple[float, float]:
    """Return the log likelihood of offset and factors under a pair of causes, and the factor it expects at its best."""
    instrument, size = facts("explain")["instrument"], facts("explain")["cause"]["size"]
    usual = float(np.log(instrument["gain"]))
    u_pointer = float(np.hypot(instrument["u_gain"] / instrument["gain"], spread.gain))
    known = len(evidence.value)
    shift, u_shift, share = np.array(shifts).T
    mean = np.stack([np.zeros(len(shift)), expected + shift + usual, expected + shift], axis=1)[:, :known]
    common = np.zeros((3, 3))
    common[1:, 1:] = 1.0
    model = np.diag([spread.offset_mps**2, u_pointer**2, size["odometer"] ** 2])
    model = model + (u_expected**2 + u_shift**2)[:, None, None] * common
    total = model[:, :known, :known] + evidence.covariance
    away = evidence.value - mean
    misfit = np.sum(away * np.linalg.solve(total, away[..., None])[..., 0], axis=1)
    logs = np.log(share) - 0.5 * (misfit + np.linalg.slogdet(total)[1])
    return float(np.logaddexp.reduce(logs)), float(np.exp(mean[np.argmax(logs), 1]))


def _against(cause: str, factor: float, evidence: Evidence) -> tuple[Finding, ...]:
    """Return what a cause on its own leaves unexplained."""
    spread = np.sqrt(np.diag(evidence.covariance))
    size = facts("explain")["cause"]["size"]
    offset, pointer = evidence.value[0], evidence.value[1]
    group = GROUPS[cause]
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
