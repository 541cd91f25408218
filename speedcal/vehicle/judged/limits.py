"""What may be shown at true speeds, how far from it a road test proves that, and the tires it must hold for."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from speedcal.calibration.dial.dial import Dial
from speedcal.interval import FloatArray
from speedcal.units import MPH_MPS, DisplayUnit, is_slow
from speedcal.vehicle.vehicle import Criterion

Limits = Callable[[FloatArray], tuple[FloatArray, FloatArray]]
"""The least and the most that may be shown at true speeds, each of the shape of the speeds. [m/s]"""

FAR_BEYOND = 1.5
"""A speed that a rule names over the fastest that was driven, from which on the dial there is hardly known. Our own
judgment."""
ABOUT_AS_FAST = 1.1
"""A speed over the fastest driven, up to which a dial is known well enough to order parts by. Our own judgment; at 1.5
transmissions are opened for what a dial may show at 75 mph that was driven to 50."""
POINTER_DIFFERS = 0.03
"""Half width of the 95 % interval of the odometer's factor over the pointer's: a pointer is often set to read a few per
cent high, an odometer is geared. From memory; doubled, an odometer that nobody read is known half as well."""
ODOMETER_TEST = 0.005
"""How far from a limit, relative, an odometer must be for fifteen miles, read to a tenth at both ends, to prove that it
keeps it. Our own judgment."""
ROAD_TEST_MPS = 0.8 * MPH_MPS
"""How far from a limit a reading must be for a road test of one sheet, noted by a passenger, to prove that it keeps it.
Doubled, under UN R39 dials are set another 0.8 mph high."""
LEAST_ROAD_TEST_MPS = 0.5 * MPH_MPS
"""The same of the finest log: tires roll otherwise on another day. Our own judgment; it is 0.8 % at 60 mph."""
_NEEDLE_U_MPS = 0.4 * MPH_MPS
"""Standard uncertainty of where a needle comes to stand that is set over: a hand sets it to about a degree, and a dial
of 120 mph has two and a half for each. Our own judgment; doubled, narrow rules hardly ever let a needle be set over."""
_HALF_A_DIAL_MPS = 60.0 * MPH_MPS
"""A dial ends at about twice what is driven; that of a slow vehicle has more degrees for each mph than one of 120."""
_MARGIN = 1.68
"""Half the 95 % interval of a reading times this is the margin with which a limit is proven in 95 of 100 road tests:
1.645 standard uncertainties for the proof and 1.645 for the chance, over 1.96."""


@dataclass(frozen=True, eq=False)
class RuleLimits:
    """What a rule allows: at the true speeds that it names, and wherever else it holds."""

    elsewhere: Limits
    """Infinite where the rule does not hold."""
    speeds_mps: FloatArray
    """Those that the rule names, and what may be shown there. [m/s]"""
    low_mps: FloatArray
    high_mps: FloatArray
    of_odometer: bool = False
    """Whether the limits are on the distance counted, and not on the speed shown."""

    def __call__(self, speeds_mps: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Return the least and the most that may be shown at any true speeds. [m/s]."""
        return self.elsewhere(speeds_mps)

    def say_nothing_at(self, speeds_mps: FloatArray) -> bool:
        """Tell whether the rule names no speed and holds at none of these."""
        return not (self.of_odometer or len(self.speeds_mps) or np.isfinite(self.elsewhere(speeds_mps)).any())


def default_limits(criterion: Criterion, acceptable_percent: float) -> Limits:
    """Return the limits where no rule is named: the acceptable error, never low if the criterion says so."""
    share = acceptable_percent / 100

    def limits(speeds_mps: FloatArray) -> tuple[FloatArray, FloatArray]:
        low = speeds_mps if criterion == "never reads low" else (1 - share) * speeds_mps
        return np.asarray(low, float), np.asarray((1 + share) * speeds_mps)

    return limits


def needle_u(unit: DisplayUnit, top_mps: float) -> float:
    """Return the standard uncertainty of where a needle stands once set over, by the top speed driven. [m/s]."""
    return _NEEDLE_U_MPS * (top_mps / _HALF_A_DIAL_MPS if is_slow(unit, top_mps) else 1.0)


def road_test_like(dial: Dial) -> float:
    """Return the distance from a limit that a road test takes to prove it, made as the drive of this dial was. [m/s].

    A log of some minutes tells a reading several times better than a passenger's notes do.
    """
    half_mps = float(np.median(dial.half_width(dial.used_mps)))
    return min(max(_MARGIN * half_mps, LEAST_ROAD_TEST_MPS), ROAD_TEST_MPS)


@dataclass(frozen=True, slots=True)
class TireSet:
    """A set of tires that is driven: the shaft's speed with it over that with the set of the drive."""

    gain: float = 1.0
    u_ln_gain: float = 0.0
