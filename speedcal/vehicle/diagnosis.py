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
from speedcal.calibration.tuning import OFFSET_PRIOR_MPS
from speedcal.finding import Finding, codes_of
from speedcal.interval import FloatArray, tidy
from speedcal.units import MILE_M, MPH_MPS
from speedcal.vehicle.data import facts
from speedcal.vehicle.drivetrain import chain, driving_tire, train_gain
from speedcal.vehicle.identities import parts_of
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
_MOST_EVIDENCE = 15.0
"""Logarithm of the likelihood ratio that one kind of evidence may bring at the most; no model is that good."""
_PULSES = tuple(float(np.log(ratio)) for ratio in (2.0, 4.0, 0.5, 0.25))
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


@dataclass(frozen=True, slots=True)
class _Evidence:
    """What the drive says: offset, logarithm of the pointer's factor, of the odometer's, and the rest."""

    value: FloatArray
    covariance: FloatArray
    has_odometer: bool
    bend: float
    """Log likelihood ratio of a bent dial against a straight one."""
    sticking: float
    """The same of a needle that sticks."""
    scatter: float
    """The same of readings of another instrument, from the scatter."""
    codes: frozenset[str]


def diagnose(calibration: Calibration, vehicle: Vehicle) -> Diagnosis:
    """Weigh what may be wrong by everything a drive and the stated facts say.

    Parameters
    ----------
    calibration
        The drive: dial curve, odometer beside pointer, scatter, and the readings one by one.
    vehicle
        What the job states; each statement may be wrong.
    """
    evidence = _evidence(calibration)
    expected, u_expected = _expected(vehicle)
    drives = _drive_causes(vehicle, expected)
    instruments = _instrument_causes()
    known = facts("explain")["cause"]
    log_joint = np.full((len(drives), len(instruments)), -np.inf)
    at = np.zeros(log_joint.shape)
    for i, (drive, shifts) in enumerate(drives.items()):
        for k, (instrument, spread) in enumerate(instruments.items()):
            value, factor = _log_likelihood(evidence, shifts, spread, expected, u_expected)
            prior = np.log(known["drive"].get(drive, known["drive"]["none"]) * known["instrument"][instrument])
            log_joint[i, k] = prior + value + _shape_evidence(evidence, instrument)
            at[i, k] = factor
    posterior = np.exp(log_joint - log_joint.max())
    posterior /= posterior.sum()
    return _diagnosis(list(drives), list(instruments), posterior, at, evidence)


def _diagnosis(
    drives: list[str], instruments: list[str], posterior: FloatArray, at: FloatArray, evidence: _Evidence
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


def _settled_by(found: list[Hypothesis], healthy: float, evidence: _Evidence) -> str | None:
    """Return the measurement that tells the likeliest causes apart."""
    first, second = found[0], found[1]
    if healthy > 0.9 or first.probability > 0.9:
        return None
    across = {first.group, second.group} == {"drivetrain", "dial"} or first.code == "dial_gain"
    if across and not evidence.has_odometer:
        return "odometer_distance"
    return first.settled_by


def _evidence(calibration: Calibration) -> _Evidence:
    line = calibration.dial.line
    widen = (calibration.coverage_factor / 1.96) ** 2
    value, covariance = _without_prior(np.array([line.offset_mps, line.error_factor]), line.covariance * widen)
    scale = np.array([1.0, 1 / value[1]])
    value, covariance = np.array([value[0], np.log(value[1])]), covariance * np.outer(scale, scale)
    odometer = calibration.odometer_factor
    if odometer is not None:
        u = odometer.half_width / 1.96 / odometer.value
        value = np.append(value, np.log(odometer.value))
        covariance = np.block([[covariance, np.zeros((2, 1))], [np.zeros((1, 2)), np.array([[u**2]])]])
    return _Evidence(
        value,
        covariance,
        odometer is not None,
        _bend_evidence(calibration),
        _sticking_evidence(calibration),
        _scatter_evidence(calibration),
        frozenset(codes_of(calibration.findings) | set(calibration.trust.codes)),
    )


def _without_prior(value: FloatArray, covariance: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return the line as the readings alone give it: the calibration believes beforehand that needles sit right."""
    floor = np.diag([1e-4, 1e-7])
    precision = np.linalg.inv(covariance + floor)
    bare = precision - np.diag([1 / OFFSET_PRIOR_MPS**2, 0.0])
    weights, vectors = np.linalg.eigh(bare)
    bare = (vectors * np.maximum(weights, 1e-3)) @ vectors.T
    alone = np.linalg.inv(bare)
    taken = alone @ (precision @ value)
    return (taken, alone) if taken[1] > 0.05 else (value, covariance + floor)


def _bend_evidence(calibration: Calibration) -> float:
    """Return how much the curve speaks for a bend: its largest departure from the line, in its own uncertainty."""
    dial = calibration.dial
    if dial.shape == "straight" and len(dial.knots_mps) < 3:
        return 0.0
    used = dial.used_mps
    design = np.column_stack([np.ones(len(used)), used])
    off_line = np.eye(len(used)) - design @ np.linalg.pinv(design)
    away = off_line @ dial.indicated(used)
    spread = np.sqrt(np.maximum(np.diag(off_line @ dial.covariance(used, used) @ off_line.T), 1e-8))
    strength = float(np.max(np.abs(away) / spread)) ** 2 / 2
    return min(strength + 2.0, _MOST_EVIDENCE) if dial.shape == "bent" else min(strength - 2.0, 1.0)


def _sticking_evidence(calibration: Calibration) -> float:
    """Return how much the readings speak for a needle that stays behind: low after speeding up, high after slowing."""
    rows = calibration.readings
    if not len(rows):
        return 0.0
    rows = rows[rows["used"] & rows["time_s"].notna() & rows["residual_mps"].notna()]
    ground = calibration.ground
    if len(rows) < 8 or len(ground) < 30:
        return 0.0
    came = _came_from(rows["time_s"].to_numpy(float), ground["time_s"].to_numpy(float), ground["speed_mps"].to_numpy())
    residual = rows["residual_mps"].to_numpy(float)
    keep = came != 0
    if min((came[keep] > 0).sum(), (came[keep] < 0).sum()) < 3:
        return 0.0
    runs = rows["run"].to_numpy(int)[keep]
    groups = np.where(runs >= 0, runs, -np.arange(1, keep.sum() + 1))
    sums: dict[tuple[int, float], list[float]] = {}
    for group, side, value in zip(groups, came[keep], residual[keep], strict=True):
        sums.setdefault((int(group), float(side)), []).append(float(value))
    means = {side: np.array([np.mean(v) for (_, s), v in sums.items() if s == side]) for side in (-1.0, 1.0)}
    if min(len(means[-1.0]), len(means[1.0])) < 3:
        return 0.0
    play = float(means[-1.0].mean() - means[1.0].mean())
    pooled = np.concatenate([means[side] - means[side].mean() for side in (-1.0, 1.0)])
    u = float(np.sqrt(pooled.var(ddof=2) * (1 / len(means[-1.0]) + 1 / len(means[1.0])) + 1e-6))
    return float(np.clip((play / u) ** 2 / 2 - 2.0, -2.0, _MOST_EVIDENCE)) if play > 0.3 * MPH_MPS else -2.0


def _came_from(at_s: FloatArray, time_s: FloatArray, speed_mps: FloatArray) -> FloatArray:
    """Return +1 where the speed before was lower, -1 where it was higher, 0 where it hardly changed for two minutes."""
    found = np.zeros(len(at_s))
    now = np.interp(at_s, time_s, speed_mps)
    for back_s in np.arange(5.0, 125.0, 5.0):
        change = now - np.interp(at_s - back_s, time_s, speed_mps)
        fresh = (found == 0) & (np.abs(change) > 1.5)
        found[fresh] = np.sign(change[fresh])
    return found


def _scatter_evidence(calibration: Calibration) -> float:
    """Return how much the scatter of the readings speaks for another instrument or another trip."""
    size = facts("explain")["cause"]["size"]
    steps = np.diff(np.unique(calibration.readings["indicated_mps"].dropna().round(4)))
    rounding = float(steps.min()) ** 2 / 12 if len(steps) else 0.0
    scatter = np.sqrt(max(calibration.scatter_mps**2 - rounding, (0.05 * MPH_MPS) ** 2)) / MPH_MPS
    spread = size["scatter_spread"]
    plain = max((np.log(scatter / size["scatter_mph"])) / spread, 0.0)
    foreign = (np.log(scatter / size["scatter_foreign_mph"])) / spread
    return float(np.clip((plain**2 - foreign**2) / 2, -_MOST_EVIDENCE, _MOST_EVIDENCE))


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
    ratios = {vehicle.transfer_ratio, vehicle.second_transfer_ratio} - {None, 1}
    if ratios:
        logs = [sign * float(np.log(float(ratio))) for ratio in ratios if ratio for sign in (1, -1)]
        causes["transfer_ratio"] = tuple((shift, size["transfer"], 1 / len(logs)) for shift in logs)
    if vehicle.expects_pulses or not (vehicle.drive_gear or vehicle.driven_gear):
        causes["pulse_count"] = tuple((shift, size["pulses"], 0.25) for shift in _PULSES)
    causes["wrong_unit"] = tuple((shift, size["unit"], 0.5) for shift in (_UNIT, -_UNIT))
    return causes


@dataclass(frozen=True, slots=True)
class _Spread:
    """What a cause in the instrument does: constant error [m/s] and logarithm of the pointer's own factor."""

    offset_mps: float
    gain: float


def _instrument_causes() -> dict[str, _Spread]:
    size: Mapping[str, float] = facts("explain")["cause"]["size"]
    plain = size["healthy_offset_mph"] * MPH_MPS
    return {
        "none": _Spread(plain, 0.0),
        "needle_offset": _Spread(size["needle_offset_mph"] * MPH_MPS, 0.0),
        "dial_gain": _Spread(plain, size["dial_gain"]),
        "dial_bent": _Spread(size["bent_offset_mph"] * MPH_MPS, size["bent"]),
        "needle_sticks": _Spread(plain, 0.0),
        "needle_damped": _Spread(plain, 0.0),
        "foreign_readings": _Spread(size["foreign_offset_mph"] * MPH_MPS, size["foreign"]),
    }


def _shape_evidence(evidence: _Evidence, instrument: str) -> float:
    """Return the log likelihood of bend, sticking and scatter under a cause in the instrument, up to a constant."""
    codes = evidence.codes
    match instrument:
        case "dial_bent":
            return evidence.bend
        case "needle_sticks":
            return evidence.sticking
        case "needle_damped":
            return 5.0 if "needle_damped" in codes else -2.0
        case "foreign_readings":
            return evidence.scatter + (2.0 if codes & {"many_wrong", "two_watches", "speed_against_positions"} else 0.0)
    return 0.0


def _log_likelihood(
    evidence: _Evidence, shifts: _Shifts, spread: _Spread, expected: float, u_expected: float
) -> tuple[float, float]:
    """Return the log likelihood of offset and factors under a pair of causes, and the factor it expects at its best."""
    instrument, size = facts("explain")["instrument"], facts("explain")["cause"]["size"]
    usual = float(np.log(instrument["gain"]))
    u_pointer = float(np.hypot(instrument["u_gain"] / instrument["gain"], spread.gain))
    value = evidence.value
    logs, factors = [], []
    for shift, u_shift, share in shifts:
        u_drive = np.hypot(u_expected, u_shift)
        mean = np.array([0.0, expected + shift + usual, expected + shift])[: len(value)]
        model = np.diag([spread.offset_mps**2, u_drive**2 + u_pointer**2, u_drive**2 + size["odometer"] ** 2])
        model[1, 2] = model[2, 1] = u_drive**2
        total = model[: len(value), : len(value)] + evidence.covariance
        away = value - mean
        logs.append(np.log(share) - 0.5 * (away @ np.linalg.solve(total, away) + np.linalg.slogdet(total)[1]))
        factors.append(float(np.exp(mean[1])))
    top = int(np.argmax(logs))
    return float(np.logaddexp.reduce(logs)), factors[top]


def _against(cause: str, factor: float, evidence: _Evidence) -> tuple[Finding, ...]:
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
    if evidence.scatter > 2 and cause != "foreign_readings":
        found.append(Finding("scatter_unexplained"))
    return tuple(found)
