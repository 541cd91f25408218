"""Tolerance rules: what a speedometer or odometer may be off, where, and who says so."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any, Literal

import numpy as np

from speedcal.calibration.dial.dial import Dial
from speedcal.conformity.probability import Box
from speedcal.errors import ToleranceError
from speedcal.interval import FloatArray, tidy
from speedcal.units import SPEED_UNIT_MPS, DisplayUnit, speed_from_mps
from speedcal.vehicle.judged.limits import RuleLimits
from speedcal.wording import Spoken

_GRID_MPS = 2.5
"""Distance of the speeds at which a rule that binds everywhere is judged: that of the knots of a dial. [m/s]"""

Quantity = Literal["speed", "distance"]
Given = Literal["true", "indicated"]
Status = Literal["verified", "secondary", "from memory", "own rule"]


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

    def to_dict(self, factor: float) -> dict[str, Any]:
        """Return the limits with speeds in units of ``factor``, ready for JSON."""
        ends = {"from": self.from_mps, "to": self.to_mps}
        sides = {"low": self.low, "high": self.high}
        return {
            **{name: tidy(v / factor, 4) if np.isfinite(v) else None for name, v in ends.items()},
            **{
                name: bound and {"factor": tidy(bound.factor, 6), "absolute": tidy(bound.add_mps / factor, 4)}
                for name, bound in sides.items()
            },
        }


@dataclass(frozen=True, slots=True)
class Reference:
    """How well a rule wants the true speed itself to be known, and who says so."""

    percent: float
    source: str
    status: Status

    def to_dict(self) -> dict[str, Any]:
        """Return the demand, ready for JSON."""
        return {"percent": self.percent, "source": self.source, "status": self.status}


@dataclass(frozen=True, eq=False)
class ShownLimits:
    """Limits on what a dial shows at true speeds, all shape (n,), infinite where there is none. [m/s]."""

    speeds_mps: FloatArray
    low_mps: FloatArray
    high_mps: FloatArray

    @classmethod
    def together(cls, pieces: Sequence[ShownLimits]) -> ShownLimits:
        """Return the limits of several pieces in order of speed."""
        rows = [np.concatenate([getattr(p, name) for p in pieces]) for name in ("speeds_mps", "low_mps", "high_mps")]
        order = np.argsort(rows[0], kind="stable")
        return cls(*(row[order] for row in rows))

    def box(self, dial: Dial) -> Box:
        """Return what a dial shows at these speeds, with the limits on it."""
        return Box(
            self.low_mps,
            self.high_mps,
            dial.indicated(self.speeds_mps),
            dial.covariance(self.speeds_mps, self.speeds_mps),
        )


@dataclass(frozen=True)
class Tolerance(Spoken):
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
    def about(self) -> dict[str, str]:
        """What a finding says of the rule: name, title, and whether its limits were read or remembered."""
        return {"rule": self.name, "title": self.title, "status": self.status}

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
        for speed in speeds_mps:
            if not low - 1e-6 <= speed <= high + 1e-6 or not self.limits_at(speed):
                raise self.does_not_hold("rule_does_not_hold", speed_mps=speed)
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

    def shown_band(self, true_mps: float) -> tuple[float, float]:
        """Return the lowest and the highest permitted indicated speed at a true one, infinite without a limit. [m/s].

        Limits on the true speed are turned round where the dial shows about what is given.
        """
        if self.given == "true":
            return self.band(true_mps)
        lows = [(true_mps - limit.high.add_mps) / limit.high.factor for limit in self.limits if limit.high]
        highs = [(true_mps - limit.low.add_mps) / limit.low.factor for limit in self.limits if limit.low]
        return max(lows, default=-np.inf), min(highs, default=np.inf)

    def allowed(self, speeds_mps: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Return the least and the most that may be shown at true speeds, infinite without a limit. [m/s]."""
        first, last = self.domain_mps
        nowhere = (-np.inf, np.inf)
        bands = [self.shown_band(float(v)) if first - 1e-6 <= v <= last + 1e-6 else nowhere for v in speeds_mps]
        low, high = np.array(bands).T
        return low, high

    @property
    def for_choices(self) -> RuleLimits:
        """What a choice of parts is judged by: the same as the verdict is."""
        of_odometer = self.quantity == "distance"
        named = self.shown_limits(() if of_odometer else self.speeds_mps)
        return RuleLimits(self.allowed, named.speeds_mps, named.low_mps, named.high_mps, of_odometer)

    def does_not_hold(self, code: str, **values: Any) -> ToleranceError:
        """Return the refusal that says where the rule does hold."""
        at_points = all(limit.from_mps == limit.to_mps for limit in self.limits)
        about: dict[str, Any] = {
            "points_mps": sorted({limit.from_mps for limit in self.limits}) if at_points else [],
            "rule": self.name,
            "unit": self.unit,
            "quantity": self.quantity,
            "domain_mps": self.domain_mps,
        }
        return ToleranceError(code, **about, **values)

    def shown_limits(self, given_mps: tuple[float, ...]) -> ShownLimits:
        """Return the limits at speeds of the rule as limits on what the dial shows at true speeds.

        A limit L on the true speed at an indicated speed y is one on the dial as well, since a dial rises: the true
        speed is at least L where the dial shows at most y at a true L.
        """
        rows = []
        for given in given_mps:
            low, high = self.band(given)
            if self.given == "true":
                rows.append((given, low, high))
            else:
                rows += [(low, -np.inf, given)] if np.isfinite(low) else []
                rows += [(high, given, np.inf)] if np.isfinite(high) else []
        return ShownLimits(*np.array(rows).reshape(-1, 3).T)

    def limits_between(self, low_mps: float, high_mps: float, dial: Dial) -> ShownLimits:
        """Return the limits at speeds close enough to each other for the rule to hold everywhere between two speeds.

        A straight dial inside straight limits at both ends is inside them between the ends.
        """
        pieces = []
        for limit in self.limits:
            low, high = max(low_mps, limit.from_mps), min(high_mps, limit.to_mps)
            if low <= high:
                steps = 2 if dial.is_line else int(np.ceil((high - low) / _GRID_MPS)) + 1
                piece = replace(self, limits=(limit,))
                pieces.append(piece.shown_limits(tuple(np.linspace(low, high, steps))))
        return ShownLimits.together(pieces)

    def to_dict(self) -> dict[str, Any]:
        """Return the rule, ready for JSON."""
        factor = SPEED_UNIT_MPS[self.unit]
        return {
            "name": self.name,
            "title": self.title,
            "quantity": self.quantity,
            "limits_on": "indicated" if self.given == "true" else "true",
            "limits": [limit.to_dict(factor) for limit in self.limits],
            "unit": self.unit,
            "speeds": [tidy(speed_from_mps(v, self.unit), 4) for v in self.speeds_mps],
            "speeds_chosen_by_user": self.own_speeds,
            "domain": [tidy(v / factor, 4) if np.isfinite(v) else None for v in self.domain_mps],
            "binds_between_speeds": self.between,
            "reference": self.reference.to_dict() if self.reference else None,
            "source": self.source,
            "status": self.status,
            "note": " ".join(text for text in (self.note, self.speeds_note) if text),
            "confidence": self.confidence,
            "text": str(self),
        }
