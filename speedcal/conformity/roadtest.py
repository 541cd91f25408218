"""Planning a road test backwards: which speeds to hold, how long and how often, until the question is answered."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from importlib import resources
from typing import TYPE_CHECKING, Any, Literal

import numpy as np

from speedcal.conformity.tolerance import Tolerance
from speedcal.errors import PlanError
from speedcal.finding import Finding
from speedcal.interval import FloatArray, tidy
from speedcal.tables import nearest_name
from speedcal.units import MILE_M, MPH_MPS, SPEED_UNIT_MPS, DisplayUnit

if TYPE_CHECKING:
    from speedcal.vehicle import Vehicle

Question = Literal["tooth", "tolerance"]
_SI = {"mph": MPH_MPS, "%": 0.01}

CAUTIONS = (
    "The driver drives and nothing else. A passenger reads the dial and writes; never the driver.",
    "Keep to the legal speed by the GPS, not by the dial under test; leave out a mark the road does not allow.",
    "Use a dry, level, straight road with little traffic and hold nobody up. Stop the test when traffic asks for it.",
    "Set the tire pressures cold, then drive ten minutes to warm up. Start the GPS log before the first mark.",
    "Local rules on speedometers, odometers and road tests come first.",
)


@dataclass(frozen=True, slots=True)
class Assumption:
    """A named value that the plan rests on, and where it comes from."""

    name: str
    value: float
    unit: str
    text: str
    status: str

    @property
    def si(self) -> float:
        """The value in SI units."""
        return self.value * _SI.get(self.unit, 1.0)

    def to_dict(self) -> dict[str, Any]:
        """Return the assumption, ready for JSON."""
        return {"name": self.name, "value": self.value, "unit": self.unit, "text": self.text, "status": self.status}

    def __str__(self) -> str:
        return f"{self.text}: {self.value:g} {self.unit} ({self.status})"


@lru_cache(maxsize=1)
def _shipped() -> dict[str, dict[str, Any]]:
    text = resources.files("speedcal").joinpath("data/road_test.toml").read_text(encoding="utf-8")
    return tomllib.loads(text)


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
    shipped = _shipped()
    overrides = overrides or {}
    for name, value in overrides.items():
        if name not in shipped:
            raise PlanError(
                f"there is no assumption {name!r}: {nearest_name(name, shipped)}", remedy="Correct the name"
            )
        if not (type(value) in (int, float) and 0 <= value < 1e6):
            raise PlanError(f"{name} is {value!r}", remedy=f"Give a number in {shipped[name]['unit']}")
    return {
        name: Assumption(name, overrides[name], row["unit"], row["text"], "stated for this plan")
        if name in overrides
        else Assumption(name, **row)
        for name, row in shipped.items()
    }


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
class RoadTestPlan:
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
    target_text: str
    """The question in words, with its number."""
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
    cautions: tuple[str, ...] = CAUTIONS

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

    def distance_text(self, distance_m: float) -> str:
        """Write a length of road in the unit for people."""
        return f"{distance_m / MILE_M:.1f} miles" if self.unit == "mph" else f"{distance_m / 1000:.1f} km"

    def to_dict(self) -> dict[str, Any]:
        """Return the plan, ready for JSON."""
        factor = SPEED_UNIT_MPS[self.unit]
        return {
            "speed_unit": self.unit,
            "question": self.question,
            "target": self.target_text,
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
            "cautions": list(self.cautions),
            "findings": [finding.to_dict() for finding in self.findings],
        }

    def __str__(self) -> str:
        factor = SPEED_UNIT_MPS[self.unit]
        lines = [f"road test: {self.target_text}"]
        lines += [f"CAUTION: {caution}" for caution in self.cautions]
        lines += [
            f"{order:3d}. hold {p.mark_mps / factor:.0f} {self.unit} on the dial for {p.hold_s:.0f} s, "
            f"note {p.readings} readings"
            for order, p in enumerate(self.plateaus, start=1)
        ]
        lines += [
            f"{self.n_readings} readings in {self.duration_s / 60:.0f} minutes on "
            f"{self.distance_text(self.distance_m)} of road (longest stretch {self.distance_text(self.stretch_m)})",
            f"promise: error factor to ±{self.half_width_percent:.2f} %, indicated speed to "
            f"±{self.half_width_speed_mps / factor:.2f} {self.unit} (95 % interval, in nine drives of ten)",
        ]
        lines += [f"assumed: {assumption}" for assumption in self.assumptions]
        lines += [f"note: {finding.text}" for finding in self.findings]
        return "\n".join(lines)


def half_a_tooth(vehicle: Vehicle | None, planned_teeth: int | None, assumed_teeth: float) -> tuple[float, str]:
    """Return 1/(2 zn), half the step from one driven gear to the next, and the words for it."""
    teeth = planned_teeth or (vehicle.driven_gear if vehicle else None)
    if teeth is not None:
        return 1 / (2 * teeth), f"error factor to half a tooth of the {teeth}-tooth driven gear, ±{50 / teeth:.2f} %"
    text = (
        f"error factor to half a tooth of an assumed {assumed_teeth:g}-tooth driven gear, ±{50 / assumed_teeth:.2f} %"
    )
    return 1 / (2 * assumed_teeth), text
