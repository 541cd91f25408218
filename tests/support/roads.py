"""Drives drawn by hand: a track laid on a geodesic by an independent library, and readings without any noise."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from geographiclib.geodesic import Geodesic

import speedcal
from speedcal.calibration.result import Calibration
from speedcal.errors import SpeedcalError
from speedcal.interval import BoolArray, FloatArray
from speedcal.logs.drive.readings import Clock, Readings
from speedcal.logs.drive.track import Track
from speedcal.units import MPH_MPS, SPEED_UNIT_MPS, SpeedUnit

START_S = 1_700_000_000.0
"""14 November 2023, 22:13:20 UTC."""


@dataclass(frozen=True, slots=True)
class Road:
    """The true speed along the road over time, linear between the corners of the profile; times from 0."""

    corner_s: FloatArray
    corner_mps: FloatArray

    @property
    def length_s(self) -> float:
        """How long the drive is."""
        return float(self.corner_s[-1])

    def speed(self, time_s: FloatArray) -> FloatArray:
        """Return the true speed. [m/s]."""
        return np.interp(time_s, self.corner_s, self.corner_mps)

    def distance(self, time_s: FloatArray) -> FloatArray:
        """Return the distance since the start, exact for the linear pieces. [m]."""
        steps = np.diff(self.corner_s) * (self.corner_mps[1:] + self.corner_mps[:-1]) / 2
        before = np.clip(np.searchsorted(self.corner_s, time_s, side="right") - 1, 0, len(self.corner_s) - 2)
        since = time_s - self.corner_s[before]
        total = np.concatenate(([0.0], np.cumsum(steps)))
        return np.asarray(total[before] + since * (self.corner_mps[before] + self.speed(time_s)) / 2)


def plateaus(speeds_mph: Sequence[float], *, hold_s: float = 60.0, acceleration: float = 1.0) -> Road:
    """Return a drive that holds these speeds one after the other, from standstill to standstill.

    Parameters
    ----------
    speeds_mph
        True speeds to hold; 0 is a stop.
    hold_s
        How long each is held.
    acceleration
        Size of the acceleration between them. [m/s²]
    """
    time, speed = [0.0, 15.0], [0.0, 0.0]
    for level in (*(np.asarray(speeds_mph, float) * MPH_MPS), 0.0):
        time.append(time[-1] + max(abs(level - speed[-1]) / acceleration, 1e-3))
        speed.append(float(level))
        time.append(time[-1] + hold_s)
        speed.append(float(level))
    return Road(np.array(time), np.array(speed))


def track_of(
    road: Road,
    *,
    time_s: FloatArray | None = None,
    recorded: bool = True,
    start_deg: tuple[float, float] = (-41.0, -160.0),
    azimuth_deg: float = 30.0,
    elevation_m: FloatArray | None = None,
    noise_mps: float = 0.0,
    has_date: bool = True,
) -> Track:
    """Return the fixes of a receiver without noise of position, one a second unless ``time_s`` (from 0) says when."""
    time = np.arange(0.0, road.length_s) if time_s is None else np.asarray(time_s, float)
    line = Geodesic.WGS84.DirectLine(*start_deg, azimuth_deg, 1000.0)
    points = [line.Position(float(s)) for s in road.distance(time)]
    speed = road.speed(time) + noise_mps * np.random.default_rng(1).standard_normal(len(time))
    return Track(
        time_s=START_S + time,
        latitude_deg=np.array([point["lat2"] for point in points]),
        longitude_deg=np.array([point["lon2"] for point in points]),
        elevation_m=np.full(len(time), np.nan) if elevation_m is None else np.asarray(elevation_m, float),
        speed_mps=np.maximum(speed, 0.0) if recorded else np.full(len(time), np.nan),
        segment=np.zeros(len(time), np.int64),
        has_date=has_date,
        kind="GPX 1.1",
        source="drawn track",
    )


def track_along(time_s: FloatArray, east_m: FloatArray, north_m: FloatArray) -> Track:
    """Return fixes without speed at places given by direction and distance from one point, on the WGS84 ellipsoid."""
    places = [
        Geodesic.WGS84.Direct(30.0, -50.0, float(np.degrees(np.arctan2(east, north))), float(np.hypot(east, north)))
        for east, north in zip(east_m, north_m, strict=True)
    ]
    nothing = np.full(len(time_s), np.nan)
    return Track(
        time_s=START_S + time_s,
        latitude_deg=np.array([place["lat2"] for place in places]),
        longitude_deg=np.array([place["lon2"] for place in places]),
        elevation_m=nothing,
        speed_mps=nothing,
        segment=np.zeros(len(time_s), np.int64),
        has_date=True,
        kind="GPX 1.1",
        source="drawn track",
    )


def readings_of(
    road: Road,
    time_s: FloatArray,
    *,
    factor: float = 1.05,
    offset_mph: float = 0.0,
    step_mph: float = 0.01,
    clock_offset_s: float = 0.0,
    clock: Clock = "utc",
    time_resolution_s: float = 1.0,
) -> Readings:
    """Return what the instrument showed at these times (from 0), rounded to a step, on a clock of its own."""
    time = np.asarray(time_s, float)
    shown = offset_mph * MPH_MPS + factor * road.speed(time)
    shown = np.where(road.speed(time) > 0.3, np.maximum(shown, 0.0), 0.0)
    stamps = np.full(len(time), np.nan) if clock == "none" else START_S + time - clock_offset_s
    resolution_s = np.nan if clock == "none" else time_resolution_s
    return readings_as_shown(stamps, shown, "mph", step_mph, clock=clock, time_resolution_s=resolution_s)


def readings_as_shown(
    stamp_s: FloatArray,
    shown_mps: FloatArray,
    unit: SpeedUnit,
    step: float,
    *,
    clock: Clock = "utc",
    time_resolution_s: float = 0.001,
) -> Readings:
    """Return readings with these stamps, rounded to a step of a unit."""
    n, step_mps = len(stamp_s), step * SPEED_UNIT_MPS[unit]
    return Readings(
        time_s=stamp_s,
        clock=clock,
        time_resolution_s=time_resolution_s,
        speed_mps=np.round(shown_mps / step_mps) * step_mps,
        speed_unit=unit,
        speed_resolution_mps=step_mps,
        odometer_m=np.full(n, np.nan),
        odometer_resolution_m=np.nan,
        line=np.arange(2, n + 2),
        kind="table",
        source="drawn readings",
    )


def some_fixes(track: Track, keep: BoolArray) -> Track:
    """Return the track with only these fixes."""
    columns = ("time_s", "latitude_deg", "longitude_deg", "elevation_m", "speed_mps", "segment")
    return replace(track, **{name: getattr(track, name)[keep] for name in columns})


def some_readings(readings: Readings, keep: FloatArray | BoolArray) -> Readings:
    """Return the readings at these indices, in this order."""
    columns = ("time_s", "speed_mps", "odometer_m", "line")
    return replace(readings, **{name: getattr(readings, name)[keep] for name in columns})


def answer_or_refusal(
    track: Track, readings: Readings, *, clock_offset_s: float | None = None
) -> Calibration | SpeedcalError:
    """Return the calibration, or the refusal that was raised; anything else is raised on."""
    try:
        return speedcal.calibrate(track, readings, clock_offset_s=clock_offset_s)
    except SpeedcalError as refusal:
        return refusal
