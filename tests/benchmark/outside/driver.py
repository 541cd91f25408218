"""How a road is driven: pulling away against the drag, keeping near the limit, slowing for bends, stops and others."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from benchmark.outside.road import Road
from benchmark.outside.wander import Array, wander

STEP_S = 0.2
_PLACE_M = 4.0
_TOP_MPS = 58.0
"""Where the drag eats all of the engine's pull."""
_JERK_S = 1.6
_SWAY_FROM_MPS = 6.0


@dataclass(frozen=True)
class DriverStyle:
    """What kind of driver."""

    pull_mps2: tuple[float, float] = (1.1, 2.4)
    brake_mps2: tuple[float, float] = (1.1, 2.2)
    keeps: tuple[float, float] = (0.93, 1.05)
    """Share of the limit that is driven, anew on each leg."""
    sway_mps: tuple[float, float] = (0.15, 0.5)
    """How far the speed wanders at a steady foot."""
    sway_s: tuple[float, float] = (5.0, 14.0)
    dips_per_minute: float = 0.25
    """How often somebody ahead slows everybody down."""


CRUISE = DriverStyle(sway_mps=(0.02, 0.06), sway_s=(10.0, 25.0), dips_per_minute=0.0, keeps=(0.97, 1.03))
HOLDING = DriverStyle(sway_mps=(0.1, 0.3), keeps=(1.0, 1.0), dips_per_minute=0.0)


@dataclass(frozen=True)
class Motion:
    """What the vehicle really did, on an even grid of true (GPS) time."""

    time_s: Array
    speed_mps: Array
    """Along the road."""
    place_m: Array

    def speed_at(self, time_s: Array) -> Array:
        """Return the true speed; the vehicle stands before and after. [m/s]."""
        return np.interp(time_s, self.time_s, self.speed_mps, left=0.0, right=0.0)

    def place_at(self, time_s: Array) -> Array:
        """Return the distance driven. [m]."""
        return np.interp(time_s, self.time_s, self.place_m)

    def later(self, seconds: float) -> Motion:
        """Return the same motion at another time."""
        return replace(self, time_s=self.time_s + seconds)


def drive_road(rng: np.random.Generator, road: Road, style: DriverStyle, start_s: float) -> Motion:
    """Return how the road was driven from a time on."""
    place = np.arange(0.0, road.length_m, _PLACE_M)
    leg = np.minimum(np.searchsorted(road.leg_m, place, side="right"), len(road.limit_mps) - 1)
    cap = road.cap_at(place) * rng.uniform(*style.keeps, len(road.limit_mps))[leg]
    stops = np.unique(np.clip(np.rint(road.stop_m / _PLACE_M).astype(int), 5, len(place) - 5))
    cap[[0, -1]] = 0.0
    cap[stops] = 0.0
    speed = _within(cap, place, rng.uniform(*style.pull_mps2), rng.uniform(*style.brake_mps2))
    time = np.concatenate(([0.0], np.cumsum(2 * _PLACE_M / (speed[1:] + speed[:-1]))))
    wait = np.zeros(len(place))
    wait[stops] = np.resize(road.stop_s, len(stops))
    arrive = time + np.concatenate(([0.0], np.cumsum(wait)[:-1]))
    when = np.column_stack((arrive, arrive + wait)).ravel()
    before, after = rng.uniform(8, 40, 2)
    grid = np.arange(0.0, before + when[-1] + after, STEP_S)
    course = np.interp(grid - before, when, np.repeat(speed, 2), left=0.0, right=0.0)
    half = np.ones(round(_JERK_S / STEP_S))
    course = np.convolve(course, np.convolve(half, half) / len(half) ** 2, mode="same")
    course = course * _dips(rng, grid, style.dips_per_minute)
    sway = rng.uniform(*style.sway_mps) * wander(rng, grid, rng.uniform(*style.sway_s))
    course = np.maximum(course + sway * np.minimum(course / _SWAY_FROM_MPS, 1.0), 0.0)
    way = np.concatenate(([0.0], np.cumsum((course[1:] + course[:-1]) / 2 * STEP_S)))
    return Motion(grid + start_s, course, way)


def _within(cap: Array, place: Array, pull: float, brake: float) -> Array:
    """Return the fastest speed under a cap with a steady brake and a pull that fades with the square of the speed."""
    square = np.minimum.accumulate((cap**2 + 2 * brake * place)[::-1])[::-1] - 2 * brake * place
    rate = 2 * pull / _TOP_MPS**2
    climb = np.minimum.accumulate(-np.log1p(-np.maximum(square, 0.0) / _TOP_MPS**2) - rate * place) + rate * place
    return np.sqrt(np.maximum(_TOP_MPS**2 * -np.expm1(-climb), 0.0))


def _dips(rng: np.random.Generator, time: Array, per_minute: float) -> Array:
    share = np.ones(len(time))
    for middle in rng.uniform(0, time[-1], rng.poisson(per_minute * time[-1] / 60)):
        share *= 1 - rng.uniform(0.05, 0.25) * np.exp(-(((time - middle) / rng.uniform(6, 20)) ** 2))
    return share
