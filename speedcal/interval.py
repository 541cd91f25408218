"""Numbers with a 95 % interval, and the array types used everywhere."""

from __future__ import annotations

from dataclasses import dataclass
from statistics import NormalDist

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]
IntArray = NDArray[np.int64]
COVERAGE_FACTOR = NormalDist().inv_cdf(0.975)
"""Standard uncertainty times this is the half width of a 95 % interval (JCGM 100, 6.3.3)."""
_HARDLY_BEYOND = 0.02
"""So much of the highest speed driven beyond either end still counts as driven: what a foot on the pedal wanders."""


@dataclass(frozen=True, slots=True)
class Interval:
    """A value with its 95 % interval, both in the same unit."""

    value: float
    low: float
    high: float

    @classmethod
    def around(cls, value: float, half_width: float) -> Interval:
        """Return the symmetric interval ``value ± half_width``."""
        return cls(value, value - half_width, value + half_width)

    @classmethod
    def known_to(cls, value: float, u: float) -> Interval:
        """Return the interval of a value with this standard uncertainty."""
        return cls.around(value, COVERAGE_FACTOR * u)

    @property
    def half_width(self) -> float:
        """Half the width of the interval, in the unit of the value."""
        return (self.high - self.low) / 2

    def contains(self, x: float) -> bool:
        """Tell whether ``x`` lies in the interval, ends included."""
        return self.low <= x <= self.high

    def scaled(self, factor: float) -> Interval:
        """Return the interval in another unit; a negative factor swaps the ends."""
        ends = sorted((self.low * factor, self.high * factor))
        return Interval(self.value * factor, ends[0], ends[1])

    def to_dict(self, *, digits: int = 6) -> dict[str, float]:
        """Return ``value``, ``low`` and ``high`` rounded to ``digits`` decimals."""
        return {name: tidy(getattr(self, name), digits) for name in ("value", "low", "high")}

    def __str__(self) -> str:
        return self.to_decimals(9)

    def to_decimals(self, most: int) -> str:
        """Return the value with its range, to as many decimals as are known and not more than these."""
        digits = min(most, decimals_for(self.half_width / 2))
        value, low, high = (f"{tidy(end, digits):.{digits}f}" for end in (self.value, self.low, self.high))
        return f"{value} ({low} to {high})".replace("-", "−")


def tidy(x: float, digits: int) -> float:
    """Round for output, so that the same input gives the same bytes; minus zero becomes zero."""
    return round(float(x), digits) + 0.0


def multiples(step: float, low: float, high: float) -> FloatArray:
    """Return the multiples of a step between two values, ends included."""
    return np.asarray(np.arange(np.ceil(low / step - 1e-9), np.floor(high / step + 1e-9) + 1) * step)


def decimals_for(u: float) -> int:
    """Return the number of decimals that a standard uncertainty supports.

    Two significant digits of it (the rule of the Particle Data Group, Review of Particle Physics, introduction 5.3,
    simplified: 355-949 would keep one).
    """
    if not np.isfinite(u) or u <= 0:
        return 4
    return int(np.clip(1 - np.floor(np.log10(u)), 0, 9))


def robust_scale(residuals: FloatArray) -> float:
    """Return the standard deviation of normal residuals that have this median size: a few wild ones do not move it.

    1.4826 is one over the 75 % quantile of the normal distribution (F. R. Hampel 1974, J. Am. Stat. Assoc. 69, 383).
    """
    return 1.4826 * median(np.abs(residuals))


def median(values: FloatArray) -> float:
    """Return the median of n values, NaN of none or where one is; of a thousand numpy's own takes ten times as long."""
    if not len(values) or np.isnan(values.max()):
        return np.nan
    upper = len(values) // 2
    part = np.partition(values, [upper - 1, upper])
    return float(part[upper] if len(values) % 2 else (part[upper - 1] + part[upper]) / 2)


def reached(driven: tuple[float, float], speeds: FloatArray | float) -> BoolArray:
    """Tell of each speed whether it lies within those driven, or hardly beyond."""
    low, high = driven
    slack = _HARDLY_BEYOND * high
    at = np.asarray(speeds, float)
    return np.asarray((low - slack <= at) & (at <= high + slack))
