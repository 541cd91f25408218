"""Speed over ground of one drive, at any moment of it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Literal

import numpy as np

from speedcal.calibration.speed.positions import LocalFit
from speedcal.calibration.tuning import track as tuned
from speedcal.calibration.tuning.logs import COARSE_POSITIONS_MPS, DENSE_POSITIONS_S, LATENT_INTERVAL_S
from speedcal.finding import Finding
from speedcal.interval import BoolArray, FloatArray, IntArray

SpeedSource = Literal["recorded", "positions", "checks"]
"""What the true speed is told by."""


@dataclass(frozen=True, slots=True)
class GroundSpeed:
    """Speed over ground of one drive; between fixes of one piece it is a cubic in time (C. Hermite's).

    A straight line between fixes would squeeze the speeds together, since it cuts off the foot and the top of every
    ramp, and the error factor would come out high, by 0.03 % at one fix a second and 0.1 % at one in five.

    Arrays of shape (n,). ``piece`` numbers the unbroken pieces; nothing is interpolated between them.
    """

    time_s: FloatArray
    speed_mps: FloatArray
    piece: IntArray
    u_speed_mps: float
    """Standard uncertainty of one speed, the part that changes from fix to fix. [m/s]"""
    usable: BoolArray
    """Where the speed may carry the error factor: not standing or crawling, and for position speed not turning."""
    interval_s: float
    """Median time between fixes."""
    source: SpeedSource
    acceleration: FloatArray
    """Change of speed over two seconds to either side, so that the noise of the fix itself is not in it. [m/s²]"""
    slope: FloatArray
    """Slope of the speed at each fix, from its neighbours. [m/s²]"""
    distance_m: FloatArray
    """Path length since the first fix of the drive; the steps across gaps are missing from it."""
    u_each_mps: FloatArray = field(default_factory=lambda: np.empty(0), kw_only=True)
    """Standard uncertainty of each speed, empty where ``u_speed_mps`` stands for all. [m/s]"""
    u_distance: float = field(default=0.0, kw_only=True)
    """Relative standard uncertainty that all of it shares, for corners cut between fixes."""
    local_fit: LocalFit | None = None
    """Set when the speed comes from positions."""
    east_m: FloatArray = field(default_factory=lambda: np.empty(0))
    """Where the fixes are, to the east and north of a place on the way. [m]"""
    north_m: FloatArray = field(default_factory=lambda: np.empty(0))
    step_mps: float = 0.0
    """Step in which recorded speeds were written; zero where it is too fine to matter. [m/s]"""
    cut_mps: float = 0.0
    """How far recorded speeds lie below the true ones because they are cut and not rounded: half a step or zero."""
    u_cut_mps: float = 0.0
    """Standard uncertainty of that. [m/s]"""
    road_over_level: FloatArray = field(default_factory=lambda: np.empty(0))
    """Road speed over horizontal speed at each fix."""
    u_road_over_level: float = 0.0
    """Relative standard uncertainty of that, alike at all fixes."""
    u_climb2: float = 0.0
    """Standard uncertainty of the mean square of how fast heights climb and fall by themselves. [m2/s2]"""
    u_receiver: float = 0.0
    """Relative standard uncertainty of recorded speeds that the positions contradict, alike at all fixes."""
    dropped: Mapping[str, int] = field(default_factory=dict)
    findings: tuple[Finding, ...] = ()

    @property
    def covered(self) -> float:
        """Share of the drive that lies in an unbroken piece."""
        step = np.diff(self.time_s)
        return float(step[np.diff(self.piece) == 0].sum() / max(step.sum(), 1e-9))

    def u_by_climbing(self, speed_mps: FloatArray) -> FloatArray:
        """Return the relative standard uncertainty by heights that climb and fall by themselves; it errs alike at all.

        Over a slow road they look like steeper hills than over a fast one.
        """
        return self.u_climb2 / (2 * np.maximum(speed_mps, tuned.SLOWEST_MPS) ** 2)

    @property
    def is_recorded_often(self) -> bool:
        """Speeds are recorded so often that what the vehicle does between them is told."""
        return self.source == "recorded" and self.interval_s <= LATENT_INTERVAL_S

    @property
    def between_is_guessed(self) -> bool:
        """Fixes lie too far apart or are too coarse for a speed at any moment; only the way between them is told."""
        coarse = self.u_speed_mps >= COARSE_POSITIONS_MPS
        return self.source == "positions" and (coarse or self.interval_s > DENSE_POSITIONS_S)

    def place(self, time_s: FloatArray) -> tuple[IntArray, BoolArray]:
        """Return for each time the fix before it, and whether the time lies inside an unbroken piece."""
        before = self.time_s.searchsorted(time_s, side="right") - 1
        before = np.minimum(np.maximum(before, 0), len(self.time_s) - 2)
        inside = (time_s >= self.time_s[0]) & (time_s <= self.time_s[-1])
        return before, inside & (self.piece.take(before) == self.piece.take(before + 1))

    def nearest(self, time_s: FloatArray) -> IntArray:
        """Return the fix nearest to each time."""
        before, _ = self.place(time_s)
        later = time_s - self.time_s[before] > self.time_s[before + 1] - time_s
        return before + later

    def at(self, time_s: FloatArray) -> tuple[FloatArray, FloatArray, BoolArray]:
        """Return speed, acceleration and whether there is a speed at all, at any times. [m/s, m/s², 1].

        Beyond the first and the last fix speed and acceleration stay as they are there.
        """
        before, inside = self.place(time_s)
        after = before + 1
        begin = self.time_s.take(before)
        span = self.time_s.take(after) - begin
        share = np.minimum(np.maximum((time_s - begin) / span, 0.0), 1.0)
        speed, rate = self.speed_mps.take(before), self.acceleration.take(before)
        rise = self.speed_mps.take(after) - speed
        early, late = span * self.slope.take(before) - rise, rise - span * self.slope.take(after)
        speed += share * (rise + (1 - share) * ((1 - share) * early + share * late))
        rate += share * (self.acceleration.take(after) - rate)
        return speed, rate, inside

    def variance_at(self, time_s: FloatArray) -> FloatArray:
        """Return the variance of the speed at any times. [m²/s²]."""
        if not len(self.u_each_mps):
            return np.broadcast_to(self.u_speed_mps**2, time_s.shape)
        return np.asarray(np.interp(time_s, self.time_s, self.u_each_mps**2))

    def shown_as(self, speed_mps: FloatArray) -> GroundSpeed:
        """Return the drive with other speeds at its fixes: those that an instrument goes by."""
        return replace(self, speed_mps=speed_mps, slope=slope_over(self.time_s, self.piece, speed_mps, reach=1))

    def usable_at(self, time_s: FloatArray) -> BoolArray:
        """Return whether the speed at each time may carry the error factor."""
        before, inside = self.place(time_s)
        return inside & self.usable[before] & self.usable[before + 1]

    def travelled_m(self, time_s: FloatArray) -> tuple[FloatArray, IntArray, BoolArray]:
        """Return the path length up to each time, the piece it lies in, and whether it lies in one."""
        before, inside = self.place(time_s)
        speed, _, _ = self.at(time_s)
        since = time_s - self.time_s[before]
        way = since * (self.speed_mps[before] + speed) / 2
        if self.interval_s >= tuned.SPARSE_FROM_S:  # the part of the step that is behind, by the speeds at its ends
            step = self.distance_m[before + 1] - self.distance_m[before]
            span = self.time_s[before + 1] - self.time_s[before]
            whole = span * (self.speed_mps[before] + self.speed_mps[before + 1]) / 2
            way = step * np.clip(np.where(whole > 0, way / np.where(whole > 0, whole, 1.0), since / span), 0.0, 1.0)
        return self.distance_m[before] + way, self.piece[before], inside


def slope_over(time: FloatArray, piece: IntArray, speed: FloatArray, *, reach: int) -> FloatArray:
    """Return the mean change of speed between the fixes ``reach`` before and after each, inside its piece."""
    index = np.arange(len(time))
    first = np.maximum(index - reach, np.searchsorted(piece, piece, side="left"))
    last = np.minimum(index + reach, np.searchsorted(piece, piece, side="right") - 1)
    span = time[last] - time[first]
    return np.where(span > 0, (speed[last] - speed[first]) / np.where(span > 0, span, 1.0), 0.0)
