"""What is simulated, and the truth behind it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from speedcal.interval import BoolArray, FloatArray
from speedcal.logs.drive.readings import Clock, Readings
from speedcal.logs.drive.track import Track
from speedcal.units import MPH_MPS, SpeedUnit


@dataclass(frozen=True, slots=True, kw_only=True)
class DriveKind:
    """What kind of drive is simulated; the defaults are a track with recorded speed and a passenger's notes."""

    about: str
    readings: Literal["logged", "noted", "held"] = "noted"
    clock: Clock = "utc"
    clock_range_s: float = 25.0
    """The reading clock is off by a uniform time up to this, either way."""
    interval_s: float = 1.0
    """Time between logged readings."""
    count: tuple[int, int] = (18, 26)
    """How many readings a passenger notes, uniform, both ends included."""
    unit: SpeedUnit = "mph"
    sd_mps: float = 0.6 * MPH_MPS
    """Error of a single reading before it is rounded to whole units."""
    time_sd_s: float = 1.0
    time_resolution_s: float = 1.0
    wrong_share: float = 0.0
    offset_mph: tuple[float, float] | None = None
    """Size of the needle offset, uniform, either sign; None draws it from the stated prior."""
    odometer: bool = False
    recorded_speed: bool = True
    fix_interval_s: float = 1.0
    gaps: int = 0
    """Most tunnels; at least two when there are any."""
    wander_mps: float = 0.4
    """How far the speed wanders about a plateau, one standard deviation; with cruise control 0.05."""
    wander_scale_s: float = 20.0
    height_m: float = 0.0
    hills_m: float = 0.0
    """The road rises and falls by this, every three kilometres; with this or a height the track has heights."""
    past_midnight: float = 0.0
    """Chance that the notes run past midnight."""


@dataclass(frozen=True, slots=True)
class Plateau:
    """One speed to hold: true speed, how long, and how many readings to note there."""

    speed_mps: float
    seconds: float
    readings: int = 0


@dataclass(frozen=True, slots=True)
class Truth:
    """What really happened; times are GPS seconds since 1970, arrays of the readings have their length."""

    error_factor: float
    offset_mps: float
    clock_offset_s: float
    """Reading clock + this = GPS clock; NaN when the readings carry no times."""
    reading_time_s: FloatArray
    """When each reading was really taken; for held speeds the middle of the plateau."""
    reading_ground_mps: FloatArray
    """True speed then; for held speeds the mean over the plateau."""
    wrong: BoolArray
    """Readings that were written down wrongly."""
    plateaus: tuple[tuple[float, float, float], ...]
    """Begin, end and mean true speed of every plateau."""
    time_s: FloatArray
    """Fine grid, evenly spaced."""
    ground_mps: FloatArray
    """True speed on the fine grid."""

    def ground_at(self, time_s: FloatArray | float) -> FloatArray:
        """Return the true speed at GPS times; the vehicle stands before and after the drive. [m/s]."""
        return np.asarray(np.interp(time_s, self.time_s, self.ground_mps, left=0.0, right=0.0))

    def distance_at(self, time_s: FloatArray | float) -> FloatArray:
        """Return the distance driven until GPS times. [m]."""
        return np.asarray(np.interp(time_s, self.time_s, distance_m(self.time_s, self.ground_mps)))


@dataclass(frozen=True, slots=True)
class Drive:
    """A simulated drive: what a user would bring, and the truth behind it."""

    kind: DriveKind
    track: Track
    readings: Readings
    truth: Truth


def distance_m(time_s: FloatArray, ground_mps: FloatArray) -> FloatArray:
    """Return the distance driven until each time of a grid, from 0. [m]."""
    return np.concatenate(([0.0], np.cumsum((ground_mps[1:] + ground_mps[:-1]) / 2 * np.diff(time_s))))
