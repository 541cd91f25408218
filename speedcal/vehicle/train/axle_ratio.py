"""Axle ratio from counted turns or from engine speed, and the ring-and-pinion pairs that could be behind it."""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import Any

from speedcal.errors import VehicleError
from speedcal.finding import Finding
from speedcal.interval import Interval, tidy
from speedcal.vehicle.data import facts
from speedcal.vehicle.tires.rolling_circumference import RolledTire
from speedcal.wording import Spoken

U_WHEEL_TURNS = 0.02
"""Standard uncertainty of where a wheel's mark stops at the bottom, in turns (7 degrees). From memory."""
U_SHAFT_TURNS = 0.03
"""The same for a chalk mark on the shaft, read to better than it was written down. From memory."""
U_RPM = 25.0
"""Standard uncertainty of a tachometer that is read by eye, half a usual division. [1/min] From memory."""
_U_SPEED_MPS = 0.15
"""Standard uncertainty of a speed read off a receiver. From memory. [m/s]"""
_U_WORDS = 0.1
_WORDS: tuple[tuple[str, float, float], ...] = (
    (r"(?:just|a little|a bit|slightly|barely)\s+(?:short of|under|below|less than)", -0.25, _U_WORDS),
    (r"(?:just|a little|a bit|slightly|barely)\s+(?:over|above|past|more than)", 0.25, _U_WORDS),
    (r"(?:about|around|roughly|some|nearly)", 0.0, 2 * _U_WORDS),
)
"""Words of the trade as turns to add and their standard uncertainty: "just short of four" is 3.75 +- 0.1. The words
are common practice; the sizes are our own reading of them."""


@dataclass(frozen=True, slots=True)
class TurnCount:
    """One count: how far each wheel was turned and how far the driveshaft went."""

    left_turns: float
    right_turns: float
    shaft_turns: float
    u_shaft_turns: float
    """Standard uncertainty of what was read off the shaft, without that of the wheels. [turns]"""
    u_wheel_turns: float = U_WHEEL_TURNS
    """Standard uncertainty of where each wheel turned stopped. [turns]"""

    @property
    def mean_wheel_turns(self) -> float:
        """Mean of the two wheels: the differential turns with (left + right)/2."""
        return (self.left_turns + self.right_turns) / 2

    @property
    def ratio(self) -> float:
        """Driveshaft turns for one turn of both wheels."""
        return self.shaft_turns / self.mean_wheel_turns

    @property
    def u_ratio(self) -> float:
        """Standard uncertainty of the ratio from reading shaft and wheel marks."""
        wheels = sum(1 for turns in (self.left_turns, self.right_turns) if turns)
        u_wheel = self.u_wheel_turns * math.sqrt(wheels) / 2
        return math.hypot(self.u_shaft_turns, self.ratio * u_wheel) / self.mean_wheel_turns


def parse_turns(text: str, *, u_mark_turns: float = U_SHAFT_TURNS) -> tuple[float, float]:
    """Read turns as people write them, with the standard uncertainty that the writing itself admits.

    ``37.25``, ``37 1/4``, ``3 3/4``, ``just short of 4``, ``a little over 3 1/2``. The step of the last digit or of the
    fraction is charged as step/sqrt(12), at least ``u_mark_turns``.
    """
    plain = " ".join(text.strip().lower().replace(",", ".").split())
    shift, u_words = 0.0, 0.0
    for pattern, add, u_word in _WORDS:
        match = re.match(pattern + r"\s+", plain)
        if match:
            shift, u_words, plain = add, u_word, plain[match.end() :]
            break
    match = re.fullmatch(r"(?:(\d{1,5})\s+)?(\d{1,5})/(\d{1,5})|(\d{1,5})(?:\.(\d{0,9}))?", plain)
    if not match or (match[3] and not int(match[3])):
        raise VehicleError("turns_unreadable", given=text)
    if match[3]:
        value = float(Fraction(int(match[2]), int(match[3])) + int(match[1] or 0))
        step = 1 / int(match[3])
    else:
        value = float(plain)
        step = 10.0 ** -len(match[5]) if match[5] else 0.5
    value += shift
    if not 0 < value < 10_000:
        raise VehicleError("turns_impossible", given=text)
    return value, max(u_mark_turns, u_words or step / math.sqrt(12))


@dataclass(frozen=True, slots=True)
class PairChance:
    """A ring-and-pinion pair and how plausible it is."""

    ring: int
    pinion: int
    probability: float

    @property
    def ratio(self) -> Fraction:
        """Exact ratio."""
        return Fraction(self.ring, self.pinion)

    def to_dict(self) -> dict[str, Any]:
        """Return the pair, ready for JSON."""
        return {
            "teeth": f"{self.ring}/{self.pinion}",
            "ratio": tidy(float(self.ratio), 6),
            "probability": tidy(self.probability, 4),
        }


@dataclass(frozen=True, slots=True)
class AxleEstimate(Spoken):
    """An axle ratio with its interval, and the pairs of teeth that agree with it, most plausible first."""

    ratio: Interval
    method: str
    """``counted_turns``, ``engine_speed`` or ``engine_speed_over_a_drive``."""
    pairs: tuple[PairChance, ...]
    turns_to_separate: int | None
    """Turns of both wheels together after which the two most plausible pairs no longer look alike; None when only
    one pair agrees or nothing was counted."""
    findings: tuple[Finding, ...] = ()

    def to_dict(self) -> dict[str, Any]:
        """Return the estimate, ready for JSON."""
        return {
            "method": self.method,
            "axle_ratio": self.ratio.to_dict(digits=5),
            "pairs": [pair.to_dict() for pair in self.pairs],
            "pairs_from": {"source": facts("axle_gears")["source"], "status": facts("axle_gears")["status"]},
            "turns_to_separate": {
                "both_wheels": self.turns_to_separate,
                "one_wheel_held": None if self.turns_to_separate is None else 2 * self.turns_to_separate,
            },
            "findings": [finding.to_dict() for finding in self.findings],
        }


def axle_from_counts(counts: Sequence[TurnCount]) -> AxleEstimate:
    """Return the axle ratio from counted turns: shaft turns = ratio x mean of the wheels' turns.

    The counting rule is that of US Army TM 10-3930-623-12 paragraph 4-47 (when one side gear stops, the other goes
    twice as fast). Repeated counts are weighted by what each can tell; counts that contradict each other widen
    the interval and are said to do so.

    Raises
    ------
    ValueError
        There is no count, or a count has no turn.
    """
    if not counts or any(count.mean_wheel_turns <= 0 or count.shaft_turns <= 0 for count in counts):
        raise ValueError("at least one count with turns above zero is needed")
    weights = [count.u_ratio**-2 for count in counts]
    value = sum(w * count.ratio for w, count in zip(weights, counts, strict=True)) / sum(weights)
    u = sum(weights) ** -0.5
    misfit = sum(w * (count.ratio - value) ** 2 for w, count in zip(weights, counts, strict=True))
    spread = math.sqrt(misfit / (len(counts) - 1)) if len(counts) > 1 else 0.0
    findings = []
    if spread > 2:
        findings.append(Finding("counts_disagree"))
    u *= max(1.0, spread)
    pairs = plausible_pairs(value, u)
    if not 2 <= value <= 7:
        findings.append(Finding("ratio_unusual", ratio=value))
    findings += _assumed(counts)
    return AxleEstimate(
        Interval.around(value, 1.96 * u), "counted_turns", pairs, _turns_to_separate(pairs, counts), tuple(findings)
    )


def axle_from_engine_speed(
    rpm: float, speed_mps: float, gear_ratio: float, rolled: RolledTire, *, u_rpm: float | None = None
) -> AxleEstimate:
    """Return the axle ratio from engine speed and true road speed in a known gear: R = rpm C / (60 v gear).

    Parameters
    ----------
    rpm
        Engine speed, with the clutch or converter locked. [1/min]
    speed_mps
        True ground speed, by GPS and not by the dial. [m/s]
    gear_ratio
        Of the gear engaged and anything else before the driveshaft.
    u_rpm
        Its standard uncertainty; None takes half a division of a usual tachometer, :data:`U_RPM`, from memory.

    Raises
    ------
    ValueError
        A quantity is not above zero.
    """
    if min(rpm, speed_mps, gear_ratio) <= 0:
        raise ValueError("engine speed, road speed and gear ratio must be above zero")
    value = rpm * rolled.circumference_m.value / (60 * speed_mps * gear_ratio)
    u = value * math.hypot((U_RPM if u_rpm is None else u_rpm) / rpm, _U_SPEED_MPS / speed_mps, rolled.u_relative)
    found = [Finding("converter_slip")]
    if u_rpm is None:
        found.append(Finding("tachometer_from_memory", u_rpm=U_RPM))
    return AxleEstimate(Interval.around(value, 1.96 * u), "engine_speed", plausible_pairs(value, u), None, tuple(found))


def known_pairs() -> list[tuple[int, int]]:
    """Return the ring and pinion teeth of the data file, by ratio."""
    pairs = [tuple(int(teeth) for teeth in text.split("/")) for text in facts("axle_gears")["pairs"]]
    return sorted(((ring, pinion) for ring, pinion in pairs), key=lambda pair: Fraction(*pair))


def plausible_pairs(value: float, u: float) -> tuple[PairChance, ...]:
    """Return the known pairs inside the 95 % interval, most plausible first; all are equally likely beforehand."""
    weights = {pair: math.exp(-0.5 * ((pair[0] / pair[1] - value) / u) ** 2) for pair in known_pairs()}
    total = sum(weights.values())
    inside = [pair for pair in weights if abs(pair[0] / pair[1] - value) <= 1.96 * u]
    ranked = sorted(inside, key=lambda pair: (-weights[pair], pair))
    return tuple(PairChance(ring, pinion, weights[ring, pinion] / total) for ring, pinion in ranked)


def _assumed(counts: Sequence[TurnCount]) -> list[Finding]:
    """Say what the interval rests on."""
    found = []
    if any(count.u_wheel_turns == U_WHEEL_TURNS for count in counts):
        found.append(Finding("marks_from_memory", wheel_turns=U_WHEEL_TURNS, shaft_turns=U_SHAFT_TURNS))
    in_words = (_U_WORDS, 2 * _U_WORDS)
    if any(count.u_shaft_turns in in_words and count.u_wheel_turns != count.u_shaft_turns for count in counts):
        found.append(Finding("words_for_turns"))
    return found


def _turns_to_separate(pairs: Sequence[PairChance], counts: Sequence[TurnCount]) -> int | None:
    """Return the least whole turns of both wheels for which half the gap exceeds the reach of reading the marks."""
    if len(pairs) < 2:
        return None
    gap = abs(float(pairs[0].ratio - pairs[1].ratio))
    u_wheel = max(count.u_wheel_turns for count in counts)
    u_shaft = U_SHAFT_TURNS if u_wheel == U_WHEEL_TURNS else u_wheel
    u_end = math.hypot(u_shaft, float(pairs[0].ratio) * u_wheel / math.sqrt(2))
    return math.ceil(2 * 1.96 * u_end / gap)
