"""Choices and how they are judged: by the predicted errors at the customer's speeds, never by the factor alone."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from statistics import NormalDist
from typing import Any

import numpy as np

from speedcal.calibration.result import Calibration
from speedcal.interval import FloatArray, Interval, tidy
from speedcal.units import SPEED_UNIT_MPS
from speedcal.vehicle.parts import setting_name
from speedcal.vehicle.vehicle import Criterion

_POINTS = 2584  # a Fibonacci number, so that the lattice below covers the square evenly
_LATTICE = 1597
RISK_OF_READING_LOW = 0.05
"""With the criterion "never reads low" a choice is good when the chance that it reads low is at most this."""
_WORTH_SAYING = 0.5
"""Chance of reading low from which it is said. [%]"""


@dataclass(frozen=True)
class Judge:
    """The drive, the customer's speeds and the criterion, ready to judge any change of gain.

    Parameters
    ----------
    calibration
        Its offset, factor and joint covariance are used; the offset stays whatever gears do.
    speeds
        Ground speeds that matter, in the display unit of the calibration, all above zero, at least one.
    criterion
        What counts as best.
    acceptable_percent
        Worst error that counts as put right. [%]
    """

    calibration: Calibration
    speeds: tuple[float, ...]
    criterion: Criterion
    acceptable_percent: float
    _truths: tuple[FloatArray, FloatArray, FloatArray] = field(init=False, repr=False)

    def __post_init__(self) -> None:
        if not self.speeds or min(self.speeds) <= 0:
            raise ValueError(f"speeds must be above zero and at least one, not {self.speeds}")
        object.__setattr__(self, "_truths", _plausible_truths(self.calibration))

    @property
    def speeds_mps(self) -> FloatArray:
        """The customer's speeds. [m/s]."""
        return np.asarray(self.speeds, float) * SPEED_UNIT_MPS[self.calibration.unit]

    @property
    def odometer_factor(self) -> Interval:
        """Gain of the odometer: measured, or else that of the speed, which the same shaft drives."""
        return self.calibration.odometer_factor or self.calibration.error_factor

    def relative_errors(self, gain: float) -> FloatArray:
        """Return the expected error at each speed after the gain is changed, relative to the ground speed."""
        v = self.speeds_mps
        return np.asarray(self.calibration.offset_mps.value / v + gain * self.calibration.error_factor.value - 1)

    def worst_error(self, gain: float) -> float:
        """Return the largest expected error over the speeds, relative to the ground speed."""
        return float(np.abs(self.relative_errors(gain)).max())

    def table(self, gain: float) -> list[dict[str, float]]:
        """Return the expected error at each speed with its 95 % interval, in the display unit."""
        c, factor = self.calibration, SPEED_UNIT_MPS[self.calibration.unit]
        rows = []
        for shown_at, v, error in zip(self.speeds, self.speeds_mps, self.relative_errors(gain), strict=True):
            variance = c.covariance[0, 0] + 2 * v * gain * c.covariance[0, 1] + (v * gain) ** 2 * c.covariance[1, 1]
            half = c.coverage_factor * math.sqrt(max(float(variance), 0.0)) / factor
            miss = float(error) * shown_at
            rows.append(
                {
                    "ground": tidy(shown_at, 4),
                    "indicated": tidy(shown_at + miss, 4),
                    "error": tidy(miss, 4),
                    "low": tidy(miss - half, 4),
                    "high": tidy(miss + half, 4),
                    "percent": tidy(100 * miss / shown_at, 3),
                }
            )
        return rows

    def probability_reads_low(self, gain: float) -> float:
        """Return the chance that at one of the speeds at least the instrument shows less than the truth."""
        offset, factor, _ = self._truths
        ends = np.array([self.speeds_mps.min(), self.speeds_mps.max()])  # a / v is monotonic, so the ends decide
        errors = offset[:, None] / ends + gain * factor[:, None] - 1
        return float((errors.min(axis=1) < 0).mean())

    def probabilities_best(self, gains: Sequence[float]) -> list[float]:
        """Return for each gain the chance that it is the best of them, over what the truth may be."""
        if not gains:
            return []
        wins = np.bincount(self._losses(np.asarray(gains, float)).argmin(axis=1), minlength=len(gains))
        return [float(share) for share in wins / wins.sum()]

    def loss(self, gain: float) -> tuple[float, float]:
        """Return what the criterion minimises, for the expected errors; the second number breaks ties."""
        worst = self.worst_error(gain)
        if self.criterion == "odometer first":
            return abs(gain * self.odometer_factor.value - 1), worst
        if self.criterion == "never reads low":
            risk = self.probability_reads_low(gain)
            low = -float(self.relative_errors(gain).min())
            return (worst, 0.0) if risk <= RISK_OF_READING_LOW else (10 + risk, low)
        return worst, 0.0

    def ideal_gain(self) -> Interval:
        """Return the change of gain that the criterion would choose if every gain could be had, with its interval.

        With an offset the errors a/v cannot all be cancelled; the gain then splits them evenly over the speeds
        (smallest worst error), lifts the lowest until reading low is unlikely enough (never reads low), or leaves
        them (odometer first).
        """
        offset, factor, odometer = self._truths
        c = self.calibration
        centre = self._ideal(np.array([c.offset_mps.value]), np.array([c.error_factor.value]), self._odometer_point())
        spread = self._ideal(offset, factor, odometer)
        low, high, safe = np.quantile(spread, [0.025, 0.975, 1 - RISK_OF_READING_LOW])
        value = safe if self.criterion == "never reads low" else centre[0]
        return Interval(float(value), float(low), float(high))

    def offset_error(self) -> float:
        """Return the worst relative error that the offset leaves whatever the gain is made."""
        shares = self.calibration.offset_mps.value / self.speeds_mps
        spread = float(shares.max() - shares.min())
        if self.criterion == "odometer first":
            return float(np.abs(shares).max())
        return spread if self.criterion == "never reads low" else spread / 2

    def _odometer_point(self) -> FloatArray:
        return np.array([self.odometer_factor.value])

    def _ideal(self, offset: FloatArray, factor: FloatArray, odometer: FloatArray) -> FloatArray:
        shares = offset[:, None] / np.array([self.speeds_mps.min(), self.speeds_mps.max()])
        if self.criterion == "odometer first":
            return np.asarray(1 / odometer)
        target = 1 - (shares.min(axis=1) if self.criterion == "never reads low" else shares.mean(axis=1))
        return np.asarray(target / factor)

    def _losses(self, gains: FloatArray) -> FloatArray:
        """Return the loss of each gain for each plausible truth, shape (truths, gains)."""
        offset, factor, odometer = self._truths
        if self.criterion == "odometer first":
            return np.asarray(np.abs(odometer[:, None] * gains - 1))
        shares = offset[:, None] / np.array([self.speeds_mps.min(), self.speeds_mps.max()])
        line = factor[:, None] * gains - 1
        low, high = line + shares.min(axis=1)[:, None], line + shares.max(axis=1)[:, None]
        worst = np.maximum(np.abs(low), np.abs(high))
        return np.asarray(np.where(low < 0, 10 - low, worst) if self.criterion == "never reads low" else worst)


def _plausible_truths(calibration: Calibration) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return equally likely offsets, factors and odometer factors, each of shape (n,), the same on every call.

    Points of a Fibonacci lattice turned into the joint normal distribution of (offset, factor), widened so that its
    95 % intervals are those of the calibration.
    """
    inverse = NormalDist().inv_cdf
    widen = calibration.coverage_factor / inverse(0.975)
    i = np.arange(_POINTS)
    first = np.array([inverse((k + 0.5) / _POINTS) for k in i])
    second = first[(i * _LATTICE) % _POINTS]
    c = calibration.covariance
    u_offset, u_factor = math.sqrt(max(c[0, 0], 0.0)), math.sqrt(max(c[1, 1], 0.0))
    correlation = float(c[0, 1]) / (u_offset * u_factor) if u_offset and u_factor else 0.0
    rest = math.sqrt(max(1 - correlation**2, 0.0))
    factor = calibration.error_factor.value + widen * u_factor * first
    offset = calibration.offset_mps.value + widen * u_offset * (correlation * first + rest * second)
    measured = calibration.odometer_factor
    odometer = factor if measured is None else measured.value + measured.half_width / inverse(0.975) * first
    return offset, factor, odometer


@dataclass(frozen=True, slots=True)
class Choice:
    """One thing that can be fitted or set, and what the instrument would show with it."""

    kind: str
    """``driven gear``, ``drive gear``, ``pair``, ``ratio box``, ``pulse scaler``, a setting, or ``keep``."""
    parts: tuple[tuple[str, Any], ...]
    """What is fitted or typed, by name."""
    gain: float
    """Indicated speed after the change, divided by that before it, offset apart."""
    worst_error_percent: float
    errors: tuple[dict[str, float], ...]
    reads_low: bool
    """True when the expected error is below zero at one of the speeds."""
    probability_reads_low: float
    odometer_percent: Interval
    """Error of the distance shown. [%]"""
    is_acceptable: bool
    """The worst error, and the criterion where it forbids reading low, are met."""
    probability_best: float | None = None
    available: bool | None = None
    """Whether the part exists in the gear family; None when no family says so."""
    orientation: str | None = None
    """Tooth range that must face down when the housing is indexed."""
    is_fitted: bool = False

    def to_dict(self) -> dict[str, Any]:
        """Return the choice, ready for JSON."""
        chance = self.probability_best
        return {
            **dict(self.parts),
            "worst_error_percent": tidy(self.worst_error_percent, 3),
            "errors": [dict(row) for row in self.errors],
            "probability_best": None if chance is None else tidy(chance, 4),
            "reads_low": self.reads_low,
            "probability_reads_low": tidy(self.probability_reads_low, 4),
            "available": self.available,
            "orientation": self.orientation,
            "acceptable": self.is_acceptable,
            "fitted": self.is_fitted,
            "gain": tidy(self.gain, 6),
            "odometer_percent": self.odometer_percent.to_dict(digits=3),
        }

    @property
    def name(self) -> str:
        """What a mechanic would call it."""
        part = dict(self.parts)
        match self.kind:
            case "pair":
                return f"drive gear {part['drive_gear']} with driven gear {part['driven_gear']}"
            case "ratio box":
                return f"ratio box {part['ratio']}"
            case "pulse scaler":
                return f"pulse scaler {part['fraction'] or part['scaler']}"
            case "setting":
                return setting_name(part["setting"], part["value"])
            case "keep":
                return "keep what is fitted"
        return f"{self.kind} {part['teeth']}"

    @property
    def low_text(self) -> str:
        """Whether it reads low at one of the speeds, in words; empty when it hardly can."""
        if self.reads_low:
            return "reads low"
        chance = 100 * self.probability_reads_low
        return f"may read low ({chance:.0f} %)" if chance >= _WORTH_SAYING else ""

    def __str__(self) -> str:
        low = f", {self.low_text}" if self.low_text else ""
        return f"{self.name}: worst error {self.worst_error_percent:.1f} %{low}"


def judge_choice(judge: Judge, kind: str, parts: Sequence[tuple[str, Any]], gain: float, **facts: Any) -> Choice:
    """Return the choice with its predicted errors under a change of gain."""
    worst = judge.worst_error(gain)
    risk = judge.probability_reads_low(gain)
    low_enough = worst * 100 <= judge.acceptable_percent
    odometer = judge.odometer_factor.scaled(100 * gain)
    return Choice(
        kind=kind,
        parts=tuple(parts),
        gain=gain,
        worst_error_percent=100 * worst,
        errors=tuple(judge.table(gain)),
        reads_low=bool(judge.relative_errors(gain).min() < -1e-9),
        probability_reads_low=risk,
        odometer_percent=Interval(odometer.value - 100, odometer.low - 100, odometer.high - 100),
        is_acceptable=low_enough and (judge.criterion != "never reads low" or risk <= RISK_OF_READING_LOW),
        **facts,
    )
