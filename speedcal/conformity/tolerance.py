"""Tolerance rules: what a speedometer or odometer may be off, where, and who says so."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any, Literal

import numpy as np

from speedcal.errors import ToleranceError
from speedcal.interval import FloatArray, tidy
from speedcal.units import SPEED_UNIT_MPS, DisplayUnit, speed_from_mps

Quantity = Literal["speed", "distance"]
Given = Literal["true", "indicated"]
Status = Literal["verified", "secondary", "from memory", "own rule"]

STATUS_TEXT: dict[str, str] = {
    "verified": "read in the document itself",
    "secondary": "read in a text that quotes the document, not in the document",
    "from memory": "FROM MEMORY, not read in the document: check it before relying on it",
    "own rule": "rule of one's own",
}


@dataclass(frozen=True, slots=True)
class Bound:
    """One side of a limit, a straight line: ``factor * given + add_mps``."""

    factor: float
    add_mps: float

    def at(self, given_mps: float) -> float:
        """Return the limit at a given speed. [m/s]."""
        return self.factor * given_mps + self.add_mps


@dataclass(frozen=True, slots=True)
class Limit:
    """The limits between two speeds; a side that is None is not limited."""

    from_mps: float
    to_mps: float
    low: Bound | None
    high: Bound | None

    def holds_at(self, given_mps: float) -> bool:
        """Tell whether a speed belongs to this limit, ends included."""
        slack = 1e-6
        return self.from_mps - slack <= given_mps <= self.to_mps + slack


@dataclass(frozen=True, slots=True)
class Reference:
    """How well a rule wants the true speed itself to be known, and who says so."""

    percent: float
    source: str
    status: Status

    def to_dict(self) -> dict[str, Any]:
        """Return the demand, ready for JSON."""
        return {"percent": self.percent, "source": self.source, "status": self.status}


@dataclass(frozen=True)
class Tolerance:
    """A tolerance rule, SI inside, with its source and where it holds.

    ``given`` says which speed is known: with "true" the limits are on the indicated speed at a true speed, with
    "indicated" they are on the true speed at an indicated one.

    Examples
    --------
    >>> import speedcal
    >>> rule = speedcal.load_tolerance("un_r39_type")
    >>> [round(limit * 3.6, 6) for limit in rule.band(100 / 3.6)]  # km/h shown at a true 100 km/h
    [100.0, 114.0]
    """

    name: str
    title: str
    quantity: Quantity
    unit: DisplayUnit
    """Unit the rule is written in."""
    given: Given
    limits: tuple[Limit, ...]
    speeds_mps: tuple[float, ...]
    """Speeds the rule (or the user) names; empty: the driven range is judged."""
    domain_mps: tuple[float, float]
    """Speeds between which the rule may be used at all."""
    between: bool
    """Whether the rule also binds between the speeds it names."""
    source: str
    status: Status
    note: str = ""
    speeds_note: str = ""
    """What to know of the speeds that the rule names."""
    confidence: float = 0.95
    """Probability of conformance that a pass needs; one minus it is the risk of a wrong decision, either way."""
    own_speeds: bool = False
    """Whether the speeds come from the user and not from the rule."""
    reference: Reference | None = None
    """Demand on the true speed itself; None when the rule makes none that we know of."""
    other_unit: Tolerance | None = None
    """The same rule for a dial in the other unit, when the rule is not an exact conversion."""

    def in_unit(self, unit: DisplayUnit) -> Tolerance:
        """Return the rule as written for dials in a unit (itself for most rules)."""
        if self.other_unit is None or self.other_unit.unit != unit:
            return self
        return replace(self.other_unit, other_unit=replace(self, other_unit=None))

    @property
    def named(self) -> str:
        """The title as it is to be shown, with what must be known of the limits."""
        return f"{self.title} (limits from memory)" if self.status == "from memory" else self.title

    @property
    def chosen_true_mps(self) -> tuple[float, ...]:
        """True speeds that the user named as those that matter; empty when the rule names its own. [m/s]."""
        return self.speeds_mps if self.own_speeds and self.given == "true" and self.quantity == "speed" else ()

    def at_speeds(self, speeds_mps: tuple[float, ...]) -> Tolerance:
        """Return the rule for speeds of the user's choice.

        Raises
        ------
        ToleranceError
            A speed lies where the rule does not hold.
        """
        low, high = self.domain_mps
        factor = SPEED_UNIT_MPS[self.unit]
        for speed in speeds_mps:
            if not low - 1e-6 <= speed <= high + 1e-6 or not self.limits_at(speed):
                raise ToleranceError(
                    f"the rule {self.name} does not hold at {speed / factor:g} {self.unit}",
                    remedy=f"It holds {self.domain_text()}. Leave out speeds, or write a rule of your own",
                )
        return replace(self, speeds_mps=tuple(speeds_mps), own_speeds=True, speeds_note="")

    def limits_at(self, given_mps: float) -> list[Limit]:
        """Return the limits that hold at a speed (two where two bands meet)."""
        return [limit for limit in self.limits if limit.holds_at(given_mps)]

    def band(self, given_mps: float) -> tuple[float, float]:
        """Return the lowest and the highest permitted speed at a given one, infinite without a limit. [m/s]."""
        limits = self.limits_at(given_mps)
        low = max((limit.low.at(given_mps) for limit in limits if limit.low), default=-np.inf)
        high = min((limit.high.at(given_mps) for limit in limits if limit.high), default=np.inf)
        return low, high

    def least_true(self, indicated_mps: float) -> float:
        """Return the least true speed at which an indicated speed is permitted. [m/s]."""
        if self.given == "indicated":
            return self.band(indicated_mps)[0]
        found = [
            true
            for limit in self.limits
            if limit.high
            for true in [(indicated_mps - limit.high.add_mps) / limit.high.factor]
            if limit.holds_at(true)
        ]
        return min(found, default=-np.inf)

    def half_planes(self, given_mps: float) -> FloatArray:
        """Return the limits at a speed as half planes of (offset [m/s], error factor), shape (k, 3).

        For a limit L on the indicated speed at a true speed v: ``a + b v >= L``. For a limit L on the true speed at an
        indicated speed y, true being (y - a)/b: ``y - a - b L >= 0``. Either way linear in (a, b).
        """
        low, high = self.band(given_mps)
        if self.given == "true":
            rows = [(1.0, given_mps, -low), (-1.0, -given_mps, high)]
        else:
            rows = [(-1.0, -low, given_mps), (1.0, high, -given_mps)]
        return np.array([row for row in rows if np.all(np.isfinite(row))]).reshape(-1, 3)

    def range_half_planes(self, low_mps: float, high_mps: float) -> FloatArray:
        """Return the half planes that make the rule hold everywhere between two speeds.

        Limits and reading are straight lines in each band, so the ends of each band decide for all between.
        """
        rows = []
        for limit in self.limits:
            ends = (max(low_mps, limit.from_mps), min(high_mps, limit.to_mps))
            if ends[0] <= ends[1]:
                piece = replace(self, limits=(limit,))
                rows += [piece.half_planes(end) for end in ends]
        return np.vstack(rows) if rows else np.empty((0, 3))

    def domain_text(self) -> str:
        """Say where the rule may be used."""
        factor = SPEED_UNIT_MPS[self.unit]
        low, high = (x / factor for x in self.domain_mps)
        if self.quantity == "distance":
            return "for distance"
        if np.isfinite(high) and tidy(low, 6) == tidy(high, 6):
            return f"at {low:g} {self.unit} only"
        if np.isfinite(high):
            return f"from {low:g} to {high:g} {self.unit}"
        return f"above {low:g} {self.unit}" if low > 0 else "at every speed"

    def limits_text(self) -> str:
        """Say the limits in words."""
        given, other = ("true", "shown") if self.given == "true" else ("shown", "true")
        if self.quantity == "distance":
            given, other = "travelled", "registered"
        return "; ".join(self._limit_text(limit, given, other) for limit in self.limits)

    def _limit_text(self, limit: Limit, given: str, other: str) -> str:
        factor = SPEED_UNIT_MPS[self.unit]
        parts = []
        for word, bound in (("at least", limit.low), ("at most", limit.high)):
            if bound is not None:
                percent, add = 100 * (bound.factor - 1), bound.add_mps / factor
                text = f"{word} {given}"
                text += f" {'+' if percent > 0 else '−'} {abs(percent):.4g} %" if abs(percent) > 1e-9 else ""
                text += f" {'+' if add > 0 else '−'} {abs(add):.4g} {self.unit}" if abs(add) > 1e-9 else ""
                parts.append(text)
        low, high = limit.from_mps / factor, limit.to_mps / factor
        where = ""
        if np.isfinite(high):
            where = f"at {low:g}: " if low == high else f"up to {high:g}: "
        elif low > 0:
            where = f"from {low:g}: "
        return f"{where}{other} {' and '.join(parts)}"

    def decision_rule(self) -> str:
        """Name the decision rule (ISO/IEC 17025:2017, 7.8.6)."""
        risk = 100 * (1 - self.confidence)
        return (
            f"pass: probability of conformance at all speeds together at least {100 * self.confidence:g} %; "
            f"fail: an instrument inside every limit would look this far out in at most {risk:g} % of road tests; "
            f"not proven: neither (guarded acceptance and guarded rejection, specific risk at most {risk:g} %, "
            "JCGM 106:2012)"
        )

    def to_dict(self) -> dict[str, Any]:
        """Return the rule, ready for JSON."""
        factor = SPEED_UNIT_MPS[self.unit]
        return {
            "name": self.name,
            "title": self.title,
            "quantity": self.quantity,
            "limits_on": "indicated" if self.given == "true" else "true",
            "limits": self.limits_text(),
            "unit": self.unit,
            "speeds": [tidy(speed_from_mps(v, self.unit), 4) for v in self.speeds_mps],
            "speeds_chosen_by_user": self.own_speeds,
            "domain": [tidy(v / factor, 4) if np.isfinite(v) else None for v in self.domain_mps],
            "binds_between_speeds": self.between,
            "reference": self.reference.to_dict() if self.reference else None,
            "source": self.source,
            "status": self.status,
            "status_text": STATUS_TEXT[self.status],
            "note": " ".join(text for text in (self.note, self.speeds_note) if text),
            "confidence": self.confidence,
            "decision_rule": self.decision_rule(),
        }

    def __str__(self) -> str:
        source = f" ({self.source}; {STATUS_TEXT[self.status]})" if self.source else f" ({STATUS_TEXT[self.status]})"
        return f"{self.title}: {self.limits_text()}{source}"
