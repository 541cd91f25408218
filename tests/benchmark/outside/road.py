"""A road: legs with a speed limit, stops, bends and grades, along the distance."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from benchmark.outside.wander import MPH, Array

SIDEWAYS_MPS2 = 2.2
"""What people accept in a bend."""
STEEPEST = 0.12


@dataclass(frozen=True)
class RoadStyle:
    """What kind of road."""

    limits_mph: tuple[int, ...] = (25, 30, 35, 40, 45, 50, 55, 60, 65)
    leg_s: tuple[float, float] = (45.0, 130.0)
    minutes: tuple[float, float] = (14.0, 25.0)
    stop_share: float = 0.25
    """Share of the ends of legs where there is a light or a sign."""
    straight_m: float = 700.0
    """Mean way between two bends."""
    radius_m: tuple[float, float] = (120.0, 900.0)
    grade: float = 0.012
    """Standard deviation of the grade."""
    hill_m: float = 500.0


@dataclass(frozen=True)
class Road:
    """One road; places are metres from its start."""

    leg_m: Array
    """Ends of the legs."""
    limit_mps: Array
    stop_m: Array
    stop_s: Array
    bend_m: Array
    """Where bends begin and end, in turn."""
    heading: Array
    """There. [rad]"""
    hill_m: Array
    hill_grade: Array

    @property
    def length_m(self) -> float:
        """Length of all legs together."""
        return float(self.leg_m[-1])

    def heading_at(self, place_m: Array) -> Array:
        """Return the heading, clockwise from north. [rad]."""
        return np.interp(place_m, self.bend_m, self.heading)

    def grade_at(self, place_m: Array) -> Array:
        """Return the grade, height over horizontal way."""
        return np.interp(place_m, self.hill_m, self.hill_grade)

    def cap_at(self, place_m: Array) -> Array:
        """Return the speed that the limit and the bends allow. [m/s]."""
        leg = np.minimum(np.searchsorted(self.leg_m, place_m, side="right"), len(self.limit_mps) - 1)
        cap = self.limit_mps[leg]
        curvature = np.abs(np.diff(self.heading)) / np.diff(self.bend_m)
        piece = np.clip(np.searchsorted(self.bend_m, place_m, side="right") - 1, 0, len(curvature) - 1)
        return np.minimum(cap, np.sqrt(SIDEWAYS_MPS2 / np.maximum(curvature[piece], 1e-6)))


def draw_road(rng: np.random.Generator, style: RoadStyle, legs: list[tuple[float, float]] | None = None) -> Road:
    """Return a road of this style; ``legs`` (speed, seconds) are driven in this order, None draws them."""
    if legs is None:
        legs, left = [], rng.uniform(*style.minutes) * 60
        while left > 0:
            seconds = rng.uniform(*style.leg_s)
            legs.append((rng.choice(style.limits_mph) * MPH, seconds))
            left -= seconds + 12
    speed, seconds = np.array(legs).T
    leg = np.cumsum(np.maximum(speed * seconds, 120.0))
    stop = leg[:-1][rng.random(len(leg) - 1) < style.stop_share]
    bends, headings, place = [0.0], [rng.uniform(0, 2 * np.pi)], 0.0
    while place < leg[-1]:
        place += rng.exponential(style.straight_m) + 30
        turn = rng.choice((-1, 1)) * rng.uniform(0.2, 1.5)
        bends += [place, place + abs(turn) * rng.uniform(*style.radius_m)]
        headings += [headings[-1], headings[-1] + turn]
        place = bends[-1]
    hills = np.arange(0, leg[-1] + 2 * style.hill_m, style.hill_m)
    return Road(
        leg,
        speed,
        stop,
        rng.uniform(4, 40, len(stop)),
        np.array(bends),
        np.array(headings),
        hills,
        np.clip(rng.normal(0, style.grade, len(hills)), -STEEPEST, STEEPEST),
    )
