"""Who takes the readings: somebody who looks at the dial and writes, or a logger."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from benchmark.outside.driver import STEP_S, Motion
from benchmark.outside.wander import KMH, MPH, Array, to_step

UNIT_MPS = {"mph": MPH, "km/h": KMH}


@dataclass(frozen=True)
class PassengerStyle:
    """Somebody with a pad."""

    count: tuple[int, int] = (16, 28)
    unit: str = "mph"
    eye_mph: float = 0.5
    """Error of one look."""
    step: float = 1.0
    """In the unit."""
    down: bool = False
    """Takes the mark below, not the nearest; a digital display that cuts is the same."""
    side_mph: tuple[float, float] = (0.0, 0.0)
    """The needle seen from the side stands off by this at 60 mph, half of it at rest; either way."""
    hand_s: float = 1.0
    """Error of the time written down."""
    late_s: tuple[float, float] = (0.0, 1.5)
    """Looks first, then at the clock."""
    steady_share: float = 0.6
    """Share of the notes taken on purpose while the speed stands still."""
    cluster: tuple[int, int] = (1, 1)
    """Notes taken at one go, some seconds apart."""
    wrong_share: float = 0.0


@dataclass(frozen=True)
class LoggerStyle:
    """A box on the bus."""

    hertz: tuple[float, float] = (1.0, 1.0)
    unit: str = "km/h"
    step: float = 1.0
    down: bool = False
    jitter_s: float = 0.03
    lost_rows: float = 0.002
    spikes: float = 0.0
    """Share of rows that hold zero or the greatest value of a byte."""
    part: float = 1.0
    """Share of the drive that is logged."""


@dataclass(frozen=True)
class Taken:
    """What was taken: true times, values in the unit, which are wrong."""

    time_s: Array
    """When the dial was looked at."""
    written_s: Array
    """What an ideal clock said when the time was written down."""
    value: Array
    wrong: Array
    unit: str


def log(rng: np.random.Generator, motion: Motion, needle: Array, style: LoggerStyle) -> Taken:
    """Return the rows of a logger that runs over (nearly) the whole drive."""
    every = 1 / rng.uniform(*style.hertz)
    first, last = motion.time_s[0] + rng.uniform(0, 30), motion.time_s[-1] - rng.uniform(0, 30)
    length = style.part * (last - first)
    if style.part < 1:
        first += rng.uniform(0, 1) * (last - first - length)
    time = np.arange(first, first + length, every)
    time = time[rng.random(len(time)) >= style.lost_rows]
    seen = np.interp(time, motion.time_s, needle)
    value = to_step(seen / UNIT_MPS[style.unit], style.step, down=style.down)
    written = time + style.jitter_s * np.clip(rng.standard_normal(len(time)), -2, 2)
    wrong = np.zeros(len(time), bool)
    if style.spikes > 0:
        wrong = rng.random(len(time)) < style.spikes
        value[wrong] = rng.choice((0.0, 255.0), int(wrong.sum()))
    return Taken(time, written, value, wrong, style.unit)


def note(rng: np.random.Generator, motion: Motion, needle: Array, style: PassengerStyle) -> Taken:
    """Return the notes of a passenger."""
    looked = _looks(rng, motion, style)
    seen = np.interp(looked, motion.time_s, needle) + style.eye_mph * MPH * rng.standard_normal(len(looked))
    slant = rng.choice((-1, 1)) * rng.uniform(*style.side_mph) * MPH
    seen = seen + slant * (0.5 + 0.5 * seen / (60 * MPH))
    value = np.maximum(to_step(seen / UNIT_MPS[style.unit], style.step, down=style.down), 0.0)
    wrong = np.zeros(len(value), bool)
    wrong[rng.permutation(len(value))[: int(np.floor(style.wrong_share * len(value) + rng.random()))]] = True
    wrong &= style.wrong_share > 0
    value[wrong] = _slipped(rng, value[wrong])
    written = looked + rng.uniform(*style.late_s) + style.hand_s * rng.standard_normal(len(looked))
    return Taken(looked, written, value, wrong, style.unit)


def _looks(rng: np.random.Generator, motion: Motion, style: PassengerStyle) -> Array:
    """Return when the passenger looks: over the whole drive, more often while the speed stands still."""
    moving = motion.speed_mps > 4.0
    change = np.abs(np.gradient(motion.speed_mps, STEP_S))
    steady = moving & (change < 0.25)
    count = int(rng.integers(style.count[0], style.count[1] + 1))
    goes = max(1, round(count / np.mean(style.cluster)))
    share = (np.arange(goes) + rng.uniform(0.1, 0.9, goes)) / goes
    pools = [motion.time_s[pool] if pool.any() else motion.time_s for pool in (moving, steady)]
    pick = (rng.random(goes) < style.steady_share).astype(int)
    first = np.array([pools[p][int(s * len(pools[p]))] for p, s in zip(pick, share, strict=True)])
    looks = [t + np.cumsum(rng.uniform(2, 6, rng.integers(*style.cluster, endpoint=True))) for t in first]
    return np.sort(np.concatenate(looks))[:count]


def _slipped(rng: np.random.Generator, value: Array) -> Array:
    """Return values written down wrongly: digits swapped, ten off, five off."""
    swapped = 10 * (value % 10) + value // 10
    other = [value + 10, np.maximum(value - 10, 5), np.where(swapped != value, swapped, value + 7), value + 5]
    return np.choose(rng.integers(0, len(other), len(value)), other)
