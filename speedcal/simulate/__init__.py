"""Simulated drives with known truth: what a track and its readings would be, had the vehicle driven so.

A drive is a profile of true speed (stops, plateaus, real accelerations, a speed that wanders), a track that a receiver
would have made of it, and readings that a logger or a passenger would have made of it. The same kind and seed give the
same drive. Places are invented and lie in the open ocean.

The figures of the model, each a field of :class:`DriveKind` or a constant here:

- profile: 14 to 26 minutes, plateaus of 40 to 120 s between 25 and 65 mph in random order, joined by ramps whose peak
  acceleration is 0.8 to 2.0 m/s², stops of 8 to 45 s; about each plateau the speed wanders by 0.4 m/s with a
  correlation time of 20 s (so it changes by about 0.1 m/s from one second to the next, as on a road without cruise
  control);
- positions: each axis is off by 2 m, correlated over about 90 s (Matern 3/2: once differentiable, so smooth from
  second to second), and is written to 1e-7 degrees; 1 % of the fixes are missing, and the rest are taken some 10 ms
  off the beat, with truthful stamps;
- heights, when there are any: off by 3 m in the same manner; true speed is along the road, recorded speed horizontal;
- Doppler speed: 0.08 m/s, independent from fix to fix, written to 0.01 m/s;
- instrument: ``indicated = offset + error_factor * ground``; the factor is uniform from 0.86 to 1.16, the offset
  normal with a standard deviation of 1 mph, which is the prior the method states for a pointer; it shows zero when the
  vehicle stands.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from speedcal.interval import FloatArray
from speedcal.simulate.files import write_drive
from speedcal.simulate.instrument import DAY_S, Dial
from speedcal.simulate.kinds import KINDS
from speedcal.simulate.model import Drive, DriveKind, Plateau, Truth
from speedcal.simulate.road import draw_profile, receive
from speedcal.units import MPH_MPS

__all__ = ["KINDS", "ZONES_H", "Drive", "DriveKind", "Plateau", "Truth", "simulate", "write_drive"]

ZONES_H = (
    *(-11, -10, -9.5, -9, -8, -7, -6, -5, -4, -3.5, -3, -2.5, -2, -1, 0, 1, 2, 3, 3.5, 4, 4.5, 5, 5.5),
    *(5.75, 6, 6.5, 7, 8, 8.75, 9, 9.5, 10, 10.5, 11, 12, 12.75, 13, 13.75, 14),
)
"""Offsets from UTC that are in civil use somewhere, daylight saving included (IANA time zone database). [h]"""


def simulate(
    kind: DriveKind | str,
    seed: int | np.random.Generator,
    *,
    error_factor: float | None = None,
    offset_mps: float | None = None,
    plan: Sequence[Plateau] | None = None,
    minutes: float | None = None,
) -> Drive:
    """Simulate one drive.

    Parameters
    ----------
    kind
        A :class:`DriveKind`, or its name in :data:`KINDS`.
    seed
        Seed, or a generator to draw from.
    error_factor, offset_mps
        Truth of the instrument; None draws them. A vehicle with a known train has the factor
        ``axle ratio * drive teeth / (driven teeth * rolling circumference * turns per metre)``. [1], [m/s]
    plan
        Plateaus to drive, in this order, ground speeds; None draws them. When any of them asks for readings, the
        passenger notes exactly those, spread over the plateau.
    minutes
        Length of the drive when there is no plan; None draws 14 to 26. [min]

    Raises
    ------
    KeyError
        No kind has this name.
    """
    kind = KINDS[kind] if isinstance(kind, str) else kind
    rng = np.random.default_rng(seed)
    factor = rng.uniform(0.86, 1.16) if error_factor is None else error_factor
    offset = _draw_offset_mps(kind, rng) if offset_mps is None else offset_mps
    minutes = rng.uniform(14, 26) if minutes is None else minutes
    marks_mps = np.empty(0)
    if plan is None:
        plan, marks_mps = _draw_plan(kind, rng, minutes * 60, factor, offset)
    start_s, zone_s = _draw_start_s(kind, rng, minutes * 60)
    grid_s, ground, plateaus = draw_profile(kind, plan, rng)
    grid_s = grid_s + start_s
    plateaus = [(begin + start_s, end + start_s, speed) for begin, end, speed in plateaus]
    track = receive(kind, rng, grid_s, ground)
    taken = Dial(kind, rng, factor, offset, grid_s, ground, plateaus, [p.readings for p in plan])
    readings, truth = taken.held(marks_mps) if kind.readings == "held" else taken.timed(zone_s)
    return Drive(kind, track, readings, truth)


def _draw_offset_mps(kind: DriveKind, rng: np.random.Generator) -> float:
    if kind.offset_mph is None:
        return float(rng.normal(0, MPH_MPS))
    return float(rng.uniform(*kind.offset_mph) * rng.choice((-1, 1)) * MPH_MPS)


def _draw_start_s(kind: DriveKind, rng: np.random.Generator, seconds: float) -> tuple[float, float]:
    """Return when the drive starts, GPS seconds since 1970 (2020 to 2033), and the offset of its zone from UTC."""
    start_s, zone_s = 1.6e9 + float(rng.integers(0, 400_000_000)), float(rng.choice(ZONES_H)) * 3600
    if rng.random() < kind.past_midnight:
        start_s += -(start_s + zone_s) % DAY_S - rng.uniform(0.2, 0.8) * seconds
    return start_s, zone_s


def _draw_plan(
    kind: DriveKind, rng: np.random.Generator, seconds: float, factor: float, offset: float
) -> tuple[list[Plateau], FloatArray]:
    """Return plateaus for about this long, and for held speeds the mark each is held at (NaN: not noted)."""
    speeds: list[float] = []
    holds: list[float] = []
    while sum(holds) + 25 * len(holds) < seconds:
        speeds += list(rng.permutation(np.arange(25.0, 66.0, 5.0)) * MPH_MPS)
        holds += list(rng.uniform(40, 120, 9))
    n = int(np.searchsorted(np.cumsum(holds) + 25 * np.arange(1, len(holds) + 1), seconds)) + 1
    levels = np.array(speeds[:n])
    if kind.readings != "held":
        levels = np.clip(levels + rng.uniform(-2, 2, n) * MPH_MPS, 25 * MPH_MPS, 65 * MPH_MPS)
        return [Plateau(float(v), hold) for v, hold in zip(levels, holds, strict=False)], np.empty(0)
    marks = levels.copy()
    levels = (marks - offset + rng.normal(0, kind.sd_mps, n)) / factor
    marks[rng.permutation(n)[: rng.integers(0, 3)]] = np.nan
    return [Plateau(float(v), hold) for v, hold in zip(levels, holds, strict=False)], marks
