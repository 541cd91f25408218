"""Small facts of a vehicle: an axle ratio, a scaling device, a number typed into a module."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction
from typing import Any

from speedcal.errors import VehicleError
from speedcal.kinds import parse_ratio
from speedcal.schema import TableReader
from speedcal.units import INCH_M, MILE_M
from speedcal.vehicle.tires.rolling_circumference import LEAST_ROLLED_M, MOST_ROLLED_M

SETTING_POWER: dict[str, int] = {
    "circumference_mm": 1,
    "diameter_in": 1,
    "turns_per_mile": -1,
    "turns_per_km": -1,
    "axle_ratio": -1,
    "pulses_per_mile": -1,
    "pulses_per_km": -1,
}
"""Kinds of module setting; the indicated speed goes with the setting to this power."""

PER_DISTANCE = ("turns_per_mile", "turns_per_km", "pulses_per_mile", "pulses_per_km")
"""Kinds that count on a mile or km: the number of one may be typed in for that of the other."""

WRONG_PULSES = (2.0, 4.0, 0.5, 0.25, 3.0, 1 / 3)
"""Wrong counts of pulses that are met, over the right one: sensors go by twos, rings of teeth by threes too (24 for 8).
Common practice, no source."""
WRONG_BY_TWOS, WRONG_BY_THREES = WRONG_PULSES[:4], WRONG_PULSES[4:]
"""Those that may be where nobody has said that there are pulses, and those that may not."""

_USUAL_STEP = {
    "circumference_mm": 1.0,
    "diameter_in": 0.1,
    "turns_per_mile": 1.0,
    "turns_per_km": 1.0,
    "axle_ratio": 0.01,
    "pulses_per_mile": 1.0,
    "pulses_per_km": 1.0,
}
"""Step taken when the job file names none (an assumption, shown with the result)."""


@dataclass(frozen=True, slots=True)
class AxleRatio:
    """Turns of the driveshaft for one turn of the wheels."""

    ratio: Fraction
    has_teeth: bool
    """True when ring and pinion are known, so that the ratio is exact."""
    text: str
    u_relative: float = 0.0
    """Relative standard uncertainty: that of the printed rounding when the teeth are unknown."""

    @classmethod
    def parse(cls, value: object) -> AxleRatio:
        """Read ``"41/11"`` (teeth, exact) or ``3.73`` (a printed ratio that hides up to half its last digit).

        Raises
        ------
        ValueError
            It is not a ratio between 1 and 12.
        """
        ratio = parse_ratio(value)
        text = str(value).strip().replace(":", "/").replace(",", ".")
        if not 1 <= ratio <= 12:
            raise ValueError(f"{value!r} is not an axle ratio from 1 to 12; write ring/pinion teeth such as '41/11'")
        if "/" in text:
            return cls(ratio, True, text)
        decimals = len(text.partition(".")[2])
        half_step = 0.5 * 10.0 ** -max(decimals, 1)
        return cls(ratio, False, text, half_step / math.sqrt(3) / float(ratio))

    def __float__(self) -> float:
        return float(self.ratio)

    def __str__(self) -> str:
        return f"{self.text} = {float(self.ratio):.4f}" if self.has_teeth else self.text


@dataclass(frozen=True, slots=True)
class ScalerLimits:
    """What a pulse scaler can be set to: a fraction within limits, or a decimal with so many places."""

    numerator_max: int = 999
    """Zero where no fraction can be set."""
    denominator_max: int = 999
    decimals: int | None = 4
    """None where no decimal can be set."""

    def fractions_near(self, gain: float) -> list[Fraction]:
        """Return the settable fractions on both sides of ``gain`` that no other settable fraction comes closer to.

        Walks the Stern-Brocot tree (every reduced fraction once, bracketing the target), so the two returned are
        the best from below and from above; exact when the target itself can be set.
        """
        above, below = Fraction(gain).as_integer_ratio()
        low, high = (0, 1), (1, 0)
        while True:
            middle = (low[0] + high[0], low[1] + high[1])
            if middle[0] > self.numerator_max or middle[1] > self.denominator_max:
                break
            if middle[0] * below == above * middle[1]:
                return [Fraction(*middle)]
            if middle[0] * below < above * middle[1]:
                low = middle
            else:
                high = middle
        return [Fraction(*pair) for pair in (low, high) if pair[0] and pair[1]]


@dataclass(frozen=True, slots=True)
class Setting:
    """A number in a module that tells it how far the vehicle rolls."""

    kind: str
    now: float | None
    step: float
    low: float = 0.0
    high: float = math.inf
    values: tuple[float, ...] = ()
    """All that it can be set to where that is a list, ascending; empty where it goes by steps."""

    def near(self, wanted: float) -> list[float]:
        """Return what it can be set to on both sides of a number, or its end where that is beyond."""
        if self.values:
            below = [value for value in self.values if value <= wanted][-1:]
            return below + [value for value in self.values if value > wanted][:1]
        step = Fraction(str(self.step))
        steps = min(max(wanted / float(step), math.ceil(self.low / step)), self.high / step)
        found = (float(whole(steps) * step) for whole in (math.floor, math.ceil))
        return [value for value in found if value > 0 and self.low <= value <= self.high]

    def nearest(self, wanted: float) -> float:
        """Return the nearest that it can be set to."""
        return min(self.near(wanted), key=lambda value: abs(value - wanted), default=wanted)

    @property
    def power(self) -> int:
        """Indicated speed is proportional to the setting to this power."""
        return SETTING_POWER[self.kind]

    @property
    def circumference_m(self) -> float | None:
        """Circumference that the present setting stands for; None when it says nothing about one. [m]."""
        if self.now is None:
            return None
        return {
            "circumference_mm": self.now / 1000,
            "diameter_in": math.pi * INCH_M * self.now,
            "turns_per_mile": MILE_M / self.now,
            "turns_per_km": 1000 / self.now,
        }.get(self.kind)

    @property
    def pulses_per_m(self) -> float | None:
        """Pulses that the present setting takes for one metre; None when it says nothing about pulses. [1/m]."""
        if self.now is None:
            return None
        return {"pulses_per_mile": self.now / MILE_M, "pulses_per_km": self.now / 1000}.get(self.kind)

    def for_circumference(self, circumference_m: float) -> float | None:
        """Return the setting that stands for a circumference, before rounding to the step; None for other kinds."""
        return {
            "circumference_mm": 1000 * circumference_m,
            "diameter_in": circumference_m / (math.pi * INCH_M),
            "turns_per_mile": MILE_M / circumference_m,
            "turns_per_km": 1000 / circumference_m,
        }.get(self.kind)


def _look_over(setting: Setting, reader: TableReader) -> None:
    """Note what cannot be so: ends that are crossed, a number outside them, or one in another unit."""
    if setting.low > setting.high:
        reader.problem("ends_crossed", "low", low=setting.low, high=setting.high)
    elif setting.now is not None and not setting.low <= setting.now <= setting.high:
        reader.problem("outside_its_ends", "now", found=setting.now, low=setting.low, high=setting.high)
    rolls_m = setting.circumference_m
    if rolls_m is not None and not LEAST_ROLLED_M <= rolls_m <= MOST_ROLLED_M:
        reader.problem("no_wheel_rolls_so", "now", found=setting.now, kind=setting.kind, circumference_m=rolls_m)


def parse_settings(given: Mapping[str, Any], *, table: str) -> tuple[Setting, ...]:
    """Read the settings table: each kind with its present value, or with ``now``, ``step``, ``low``, ``high``.

    Parameters
    ----------
    given
        As parsed; ``data/keys/settings.toml`` states its keys.
    table
        What the table is called in the job file, such as ``vehicle.settings``.

    Raises
    ------
    VehicleError
        A kind is unknown or a number cannot be used; every problem is listed.
    """
    reader = TableReader(given, "settings", where=table)
    found = []
    for kind, one in reader.values.items():
        inner = TableReader(one, "setting", where=f"{table}.{kind}")
        setting = Setting(**{"kind": kind, "now": None, "step": _USUAL_STEP[kind], **inner.values})
        _look_over(setting, inner)
        reader.problems += inner.problems
        found.append(setting)
    reader.finish(source="", kind=VehicleError)
    return tuple(sorted(found, key=lambda setting: list(SETTING_POWER).index(setting.kind)))
