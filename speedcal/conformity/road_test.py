"""The plan of a road test: which marks to hold, how long and how often, and what that rests on."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from importlib import resources
from typing import Any, Literal

import numpy as np

from speedcal.conformity.tolerance import Tolerance
from speedcal.errors import PlanError
from speedcal.finding import Finding
from speedcal.interval import FloatArray, tidy
from speedcal.units import MPH_MPS, SPEED_UNIT_MPS, DisplayUnit
from speedcal.wording import Spoken

Question = Literal["tooth", "tolerance"]
_SI = {"mph": MPH_MPS, "%": 0.01}

CAUTIONS = (
    Finding("passenger_writes"),
    Finding("legal_speed_by_gps"),
    Finding("suitable_road"),
    Finding("cold_pressures_first"),
    Finding("local_rules_first"),
)


@dataclass(frozen=True, slots=True)
class Assumption:
    """A named value that the plan rests on, and where it comes from."""

    name: str
    value: float
    unit: str
    text: str
    """As the data file says it."""
    status: str
    """As the data file says it, or ``stated`` for a value of the user's own."""

    @property
    def si(self) -> float:
        """The value in SI units."""
        return self.value * _SI.get(self.unit, 1.0)

    def to_dict(self) -> dict[str, Any]:
        """Return the assumption, ready for JSON."""
        return {"name": self.name, "value": self.value, "unit": self.unit, "text": self.text, "status": self.status}


@lru_cache(maxsize=1)
def _shipped() -> Mapping[str, Assumption]:
    text = resources.files("speedcal").joinpath("data/road_test.toml").read_text(encoding="utf-8")
    return {name: Assumption(name, **row) for name, row in tomllib.loads(text).items()}


def assumptions_with(overrides: Mapping[str, float] | None = None) -> dict[str, Assumption]:
    """Return what planning assumes, by name, with values of the user's own.

    Parameters
    ----------
    overrides
        New values, in the unit of the assumption.

    Raises
    ------
    PlanError
        There is no assumption of that name, or the value is negative or no number.
    """
    assumed = dict(_shipped())
    for name, value in (overrides or {}).items():
        if name not in assumed:
            raise PlanError("unknown_assumption", name=name, known=list(assumed))
        usual = assumed[name]
        if not (type(value) in (int, float) and 0 <= value < 1e6):
            raise PlanError("assumption_unusable", name=name, value=str(value), wanted_unit=usual.unit)
        assumed[name] = Assumption(name, value, usual.unit, usual.text, "stated")
    return assumed


@dataclass(frozen=True, slots=True)
class Plateau:
    """One hold: the pointer is kept on a mark while the passenger notes readings."""

    mark_mps: float
    """Where the pointer is held. [m/s, indicated]"""
    true_mps: float
    """Expected true speed there. [m/s]"""
    hold_s: float
    readings: int


@dataclass(frozen=True)
class RoadTestPlan(Spoken):
    """A road test that answers a question: holds in order, and what they will tell.

    Examples
    --------
    >>> import speedcal
    >>> test = speedcal.plan(speedcal.Vehicle.from_dict({"driven_gear": 12}), speed_limit=65)
    >>> all(hold.true_mps < 65 * 0.44704 for hold in test.plateaus)
    True
    """

    unit: DisplayUnit
    question: Question
    target: Finding
    """``half_a_tooth`` or ``clear_verdict``, with its number."""
    plateaus: tuple[Plateau, ...]
    half_width: float
    """Half width of the 95 % interval of the error factor that nine drives in ten will reach."""
    half_width_speed_mps: float
    """The same for the indicated speed in the middle of the marks. [m/s]"""
    target_half_width: float | None
    """Half a tooth, for that question."""
    speed_limit_mps: float
    duration_s: float
    distance_m: float
    """Length of road when it is driven in one go."""
    stretch_m: float
    """Longest stretch that one hold needs, from standing to standing."""
    assumptions: tuple[Assumption, ...]
    expected_factor: float = 1.0
    """Error factor that the instrument is expected to have."""
    vehicle_label: str = ""
    rule: Tolerance | None = None
    findings: tuple[Finding, ...] = ()
    cautions: tuple[Finding, ...] = CAUTIONS
    by_gps: bool = False
    """True where the speeds are true ones, to be held by GPS, since nobody knows what the dial will show."""

    @property
    def n_readings(self) -> int:
        """Readings in all."""
        return sum(plateau.readings for plateau in self.plateaus)

    @property
    def half_width_percent(self) -> float:
        """Half width of the 95 % interval in per cent of the error factor itself, as teeth count it."""
        return 100 * self.half_width / self.expected_factor

    @property
    def marks_mps(self) -> FloatArray:
        """Different marks, in order of speed. [m/s]."""
        return np.unique([round(plateau.mark_mps, 9) for plateau in self.plateaus])

    def to_dict(self) -> dict[str, Any]:
        """Return the plan, ready for JSON."""
        factor = SPEED_UNIT_MPS[self.unit]
        return {
            "speed_unit": self.unit,
            "question": self.question,
            "target": self.target.to_dict(),
            "rule": self.rule.to_dict() if self.rule else None,
            "plateaus": [
                {
                    "order": order,
                    "hold": tidy(p.mark_mps / factor, 3),
                    "true": tidy(p.true_mps / factor, 2),
                    "seconds": tidy(p.hold_s, 0),
                    "readings": p.readings,
                }
                for order, p in enumerate(self.plateaus, start=1)
            ],
            "held_by": "gps" if self.by_gps else "dial",
            "readings": self.n_readings,
            "promise": {
                "error_factor_half_width": tidy(self.half_width, 5),
                "error_factor_percent": tidy(self.half_width_percent, 3),
                "indicated_half_width": tidy(self.half_width_speed_mps / factor, 3),
                "target_half_width": None if self.target_half_width is None else tidy(self.target_half_width, 5),
                "confidence": 0.95,
                "reached_in": 0.9,
            },
            "speed_limit": tidy(self.speed_limit_mps / factor, 2),
            "duration_s": tidy(self.duration_s, 0),
            "road_length_m": tidy(self.distance_m, 0),
            "longest_stretch_m": tidy(self.stretch_m, 0),
            "assumptions": [assumption.to_dict() for assumption in self.assumptions],
            "cautions": [caution.to_dict() for caution in self.cautions],
            "findings": [finding.to_dict() for finding in self.findings],
        }
