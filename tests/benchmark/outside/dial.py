"""The instrument: what it shows at rest at a speed, and how it gets there."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from benchmark.outside.driver import STEP_S, Motion
from benchmark.outside.wander import MPH, Array, lagged

_STANDING_MPS = 0.4


@dataclass(frozen=True)
class DialStyle:
    """What kind of instrument; ranges are drawn from evenly."""

    factor: tuple[float, float] = (0.88, 1.14)
    offset_mph: tuple[float, float] = (-1.0, 1.0)
    bend_mph: tuple[float, float] = (0.0, 0.0)
    """Height of the bend in the middle, either way."""
    damping_s: tuple[float, float] = (0.0, 0.0)
    play_mph: float = 0.0
    """Half of the play of the movement."""
    sticking_mph: float = 0.0
    """The needle stays until it is off by this, then jumps."""
    ends_mph: tuple[float, float] = (0.0, 1000.0)
    """Where the scale ends: the needle lies on a pin at either end."""
    odometer: tuple[float, float] | None = None
    """Factor of the odometer; None: geared with the dial."""


@dataclass(frozen=True)
class Dial:
    """One instrument."""

    factor: float
    offset_mps: float
    bend_mps: float
    bend_at_mps: float
    bend_wide_mps: float
    damping_s: float
    play_mps: float
    sticking_mps: float
    ends_mps: tuple[float, float]
    odometer_factor: float
    skips: float = 0.0
    """Share of its turns that a badly meshing gear loses; now less, now more, twice as much at the most."""

    def curve(self, speed_mps: Array | float) -> Array:
        """Return what the dial shows at rest at true speeds: before anybody rounds or misreads it. [m/s]."""
        speed = np.asarray(speed_mps, float)
        bump = np.exp(-(((speed - self.bend_at_mps) / self.bend_wide_mps) ** 2) / 2)
        return self.offset_mps + self.factor * speed + self.bend_mps * bump

    def inverse(self, shown_mps: Array | float) -> Array:
        """Return the true speed at which the dial shows this. [m/s]."""
        speed = np.linspace(0, 60, 601)
        return np.interp(shown_mps, self.curve(speed), speed)

    def course(self, motion: Motion) -> Array:
        """Return where the needle stood over the drive, on the grid of the motion. [m/s]."""
        turns = motion.speed_mps * (1 - self.skips * _uneven(motion.time_s))
        needle = np.where(motion.speed_mps < _STANDING_MPS, 0.0, self.curve(turns))
        needle = lagged(needle, STEP_S, self.damping_s)
        if self.play_mps > 0:
            needle = _play(needle, self.play_mps)
        if self.sticking_mps > 0:
            needle = _stick(needle, self.sticking_mps)
        return np.clip(needle, *self.ends_mps)


def draw_dial(rng: np.random.Generator, style: DialStyle) -> Dial:
    """Return an instrument of this kind."""
    factor = rng.uniform(*style.factor)
    return Dial(
        factor=factor,
        offset_mps=rng.uniform(*style.offset_mph) * MPH,
        bend_mps=rng.choice((-1, 1)) * rng.uniform(*style.bend_mph) * MPH,
        bend_at_mps=rng.uniform(38, 52) * MPH,
        bend_wide_mps=rng.uniform(9, 14) * MPH,
        damping_s=rng.uniform(*style.damping_s),
        play_mps=style.play_mph * MPH,
        sticking_mps=style.sticking_mph * MPH,
        ends_mps=(style.ends_mph[0] * MPH, style.ends_mph[1] * MPH),
        odometer_factor=factor if style.odometer is None else rng.uniform(*style.odometer),
    )


def _uneven(time_s: Array) -> Array:
    """Return what swings about one, from nothing to two, within seconds and minutes."""
    return 1 + (np.sin(time_s / 2.1) + np.sin(time_s / 5.3) + np.sin(time_s / 17.0)) / 3


def _play(needle: Array, half: float) -> Array:
    out, at = [], float(needle[0])
    for value in needle.tolist():
        at = min(max(at, value - half), value + half)
        out.append(at)
    return np.array(out)


def _stick(needle: Array, most: float) -> Array:
    out, at = [], float(needle[0])
    for value in needle.tolist():
        if abs(value - at) > most:
            at = value
        out.append(at)
    return np.array(out)
