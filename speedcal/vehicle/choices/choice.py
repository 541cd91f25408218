"""One thing that can be fitted or set, with the errors it would leave."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from speedcal.interval import Interval, tidy
from speedcal.vehicle.judged.judge import RISK_OF_READING_LOW, Judge
from speedcal.wording import Spoken


@dataclass(frozen=True, slots=True)
class Choice(Spoken):
    """One thing that can be fitted or set, and what the instrument would show with it."""

    kind: str
    """``driven_gear``, ``drive_gear``, ``pair``, ``ratio_box``, ``pulse_scaler``, ``setting`` or ``keep``."""
    parts: tuple[tuple[str, Any], ...]
    """What is fitted or typed, by name."""
    gain: float
    """Speed of the instrument's shaft after the change over that before it."""
    worst_error_percent: float
    errors: tuple[dict[str, float], ...]
    reads_low: bool
    """True when the expected error is below zero at one of the speeds."""
    lowest_error_percent: float
    """Expected error at the speed where it is lowest. [%]"""
    probability_reads_low: float
    probability_passes: float
    """Chance that every speed keeps the limits of the job."""
    odometer_percent: Interval
    """Error of the distance shown. [%]"""
    is_acceptable: bool
    """The worst error, and the criterion where it forbids reading low, are met."""
    second_errors: tuple[dict[str, float], ...] = ()
    """The same as ``errors`` with the second set of tires; empty where there is none."""
    probability_best: float | None = None
    """Chance of being the best of all choices that exist, whatever their kind."""
    available: bool | None = None
    """Whether the part exists in the gear family; None when no family says so."""
    orientation: str | None = None
    """Tooth range that must face down when the housing is indexed."""
    is_fitted: bool = False

    @property
    def what(self) -> dict[str, Any]:
        """Its kind and what is fitted or typed, as findings and advice name it."""
        return {"kind": self.kind, **dict(self.parts)}

    @property
    def can_be_fitted(self) -> bool:
        """Whether it can be had, as far as is known, and is not what is fitted."""
        return self.available is not False and not self.is_fitted

    def to_dict(self) -> dict[str, Any]:
        """Return the choice, ready for JSON."""
        chance = self.probability_best
        return {
            **dict(self.parts),
            "worst_error_percent": tidy(self.worst_error_percent, 3),
            "errors": [dict(row) for row in self.errors],
            **({"second_errors": [dict(row) for row in self.second_errors]} if self.second_errors else {}),
            "probability_best": None if chance is None else tidy(chance, 4),
            "probability_passes": tidy(self.probability_passes, 4),
            "reads_low": self.reads_low,
            "lowest_error_percent": tidy(self.lowest_error_percent, 3),
            "probability_reads_low": tidy(self.probability_reads_low, 4),
            "available": self.available,
            "orientation": self.orientation,
            "acceptable": self.is_acceptable,
            "fitted": self.is_fitted,
            "gain": tidy(self.gain, 6),
            "odometer_percent": self.odometer_percent.to_dict(digits=3),
        }


def judge_choice(judge: Judge, kind: str, parts: Sequence[tuple[str, Any]], gain: float, **facts: Any) -> Choice:
    """Return the choice with its predicted errors under a change of gain."""
    errors = judge.relative_errors(gain)
    worst, risk = float(np.abs(errors).max()), judge.probability_reads_low(gain)
    odometer = judge.odometer.scaled(100 * gain)
    return Choice(
        kind=kind,
        parts=tuple(parts),
        gain=gain,
        worst_error_percent=100 * worst,
        errors=tuple(judge.table(gain)),
        second_errors=tuple(judge.table(gain, judge.tire_sets[1])) if len(judge.tire_sets) > 1 else (),
        reads_low=bool(errors.min() < -1e-9),
        lowest_error_percent=100 * float(errors.min()),
        probability_reads_low=risk,
        probability_passes=judge.probability_within(gain),
        odometer_percent=Interval(odometer.value - 100, odometer.low - 100, odometer.high - 100),
        is_acceptable=worst * 100 <= judge.acceptable_percent
        and (judge.criterion != "never reads low" or risk <= RISK_OF_READING_LOW),
        **facts,
    )
