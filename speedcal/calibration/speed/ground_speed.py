"""Ground speed of a track: recorded by the receiver, or from positions, on the receiver's own uneven times."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Literal

import numpy as np

from speedcal.calibration.speed.between_fixes import way_between
from speedcal.calibration.speed.geodesy import local_east_north_m
from speedcal.calibration.speed.grades import road_over_level
from speedcal.calibration.speed.positions import LocalFit, speed_from_positions, without_jumps, without_spikes
from speedcal.calibration.speed.put_between import measured
from speedcal.calibration.speed.recorded_speed import (
    KeptFixes,
    against_positions,
    rounding,
    scatter,
    told_by_positions,
    unit_of_recorded,
)
from speedcal.calibration.tuning import track as tuned
from speedcal.calibration.tuning.logs import COARSE_POSITIONS_MPS, DENSE_POSITIONS_S, LATENT_INTERVAL_S
from speedcal.errors import FitError
from speedcal.finding import Finding
from speedcal.interval import BoolArray, FloatArray, IntArray
from speedcal.logs.drive.readings import Terrain
from speedcal.logs.drive.track import Track

_ABSURD = 1000.0
"""No vehicle has this speed in any unit."""

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
        return replace(self, speed_mps=speed_mps, slope=_slope(self.time_s, self.piece, speed_mps, reach=1))

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


def ground_speed(track: Track, terrain: Terrain | None = None) -> GroundSpeed:
    """Return the ground speed of a track, along the road.

    A speed recorded with the fixes is used when most fixes carry it, after holding it against the positions: a
    column in km/h, mph or knots shows as a ratio of 3.6, 2.237 or 1.944 and is converted, with a finding. Without
    one, a local quadratic is fitted to the positions over about four seconds on their true times, which carries
    uneven sampling and constant acceleration; the bias of the norm of a noisy velocity is removed. Nothing is
    computed across a gap of more than three seconds or three intervals.

    Parameters
    ----------
    terrain
        How hilly it was there; counts where the track has no heights.

    Raises
    ------
    FitError
        Fewer than ten usable fixes.
    """
    track, made = measured(track)
    keep, segment, dropped = without_jumps(track)
    speed = np.where(np.abs(np.nan_to_num(track.speed_mps, nan=np.inf)) < _ABSURD, track.speed_mps, np.nan)
    fixes = KeptFixes(track.time_s[keep], segment[keep], track.elevation_m[keep], speed[keep], terrain)
    dropped |= made
    if len(fixes.time) < tuned.FEWEST_FIXES:
        raise FitError("few_fixes", source=track.source, count=len(fixes.time))
    east, north = local_east_north_m(track.latitude_deg[keep], track.longitude_deg[keep], elevation_m=fixes.elevation)
    recorded = bool(np.isfinite(fixes.recorded).mean() > 0.5)
    worked_out = recorded and told_by_positions(fixes, east, north)
    if recorded and not worked_out:
        return _from_recorded(fixes, east, north, dropped, track.source)
    ground = _along(_from_positions(fixes, east, north, dropped), east, north)
    return replace(ground, findings=(*ground.findings, Finding("speed_of_positions"))) if worked_out else ground


def _along(ground: GroundSpeed, east: FloatArray, north: FloatArray) -> GroundSpeed:
    """Return the ground speed with the distance along its positions, where the fixes lie far apart."""
    if ground.interval_s < tuned.SPARSE_FROM_S:
        return ground
    way = way_between(ground.piece, east, north, ground.speed_mps)
    step = way.step_m * (ground.road_over_level[1:] + ground.road_over_level[:-1]) / 2
    told = Finding("distance_between_fixes", interval_s=ground.interval_s, longer=way.longer, u=way.u)
    return replace(
        ground, distance_m=np.concatenate(([0.0], np.cumsum(step))), u_distance=way.u, findings=(*ground.findings, told)
    )


def _from_recorded(
    fixes: KeptFixes, east: FloatArray, north: FloatArray, dropped: dict[str, int], source: str
) -> GroundSpeed:
    """Use the speed that the receiver recorded."""
    factor, findings = unit_of_recorded(fixes, east, north, source)
    has_speed = np.isfinite(fixes.recorded)
    if not has_speed.all():
        dropped["no_recorded_speed"] = int((~has_speed).sum())
        fixes = fixes.only(has_speed)
    smooth = without_spikes(fixes.time, fixes.recorded * factor)
    if not smooth.all():
        dropped["impossible_acceleration"] = int((~smooth).sum())
        fixes = fixes.only(smooth)
    speed = fixes.recorded * factor
    east, north = east[has_speed][smooth], north[has_speed][smooth]
    rounded = rounding(fixes, speed, east, north)
    against, doubt = against_positions(fixes, speed + rounded[1], east, north)
    findings += against
    ground = _finished(
        fixes,
        speed,
        u_speed_mps=min(scatter(fixes.time, fixes.piece, speed), 3 * tuned.RECORDED_U_MPS),
        usable=speed >= tuned.SLOWEST_MPS,
        local_fit=None,
        dropped=dropped,
        findings=findings,
        rounded=rounded,
    )
    return replace(_along(ground, east, north), east_m=east, north_m=north, u_receiver=doubt)


def _from_positions(fixes: KeptFixes, east: FloatArray, north: FloatArray, dropped: dict[str, int]) -> GroundSpeed:
    """Work the speed out of the positions."""
    speed, turning, u, local_fit = speed_from_positions(fixes.time, fixes.piece, east, north, fixes.interval)
    usable = (speed >= tuned.SLOWEST_POSITION_SPEED_MPS) & (turning <= tuned.STRAIGHT_RAD_PER_S)
    ground = _finished(fixes, speed, u_speed_mps=u, usable=usable, local_fit=local_fit, dropped=dropped, findings=[])
    return replace(ground, east_m=east, north_m=north)


def _finished(
    fixes: KeptFixes,
    speed: FloatArray,
    *,
    u_speed_mps: float,
    usable: BoolArray,
    local_fit: LocalFit | None,
    dropped: dict[str, int],
    findings: list[Finding],
    rounded: tuple[float, float, float] = (0.0, 0.0, 0.0),
) -> GroundSpeed:
    piece = fixes.piece
    step_mps, cut_mps, u_cut_mps = rounded
    road = road_over_level(fixes.time, piece, fixes.elevation, speed, fixes.terrain)
    speed = (speed + cut_mps) * road.ratio
    step = np.diff(fixes.time) * (speed[1:] + speed[:-1]) / 2
    step[np.diff(piece) != 0] = 0.0
    return GroundSpeed(
        time_s=fixes.time,
        speed_mps=speed,
        piece=piece,
        u_speed_mps=u_speed_mps,
        usable=usable,
        interval_s=fixes.interval,
        source="recorded" if local_fit is None else "positions",
        acceleration=_slope(fixes.time, piece, speed, reach=max(1, round(tuned.ACCELERATION_REACH_S / fixes.interval))),
        slope=_slope(fixes.time, piece, speed, reach=1),
        distance_m=np.concatenate(([0.0], np.cumsum(step))),
        local_fit=local_fit,
        dropped=dropped,
        findings=(*findings, *road.findings),
        step_mps=step_mps,
        cut_mps=cut_mps,
        u_cut_mps=u_cut_mps,
        road_over_level=road.ratio,
        u_road_over_level=road.u,
        u_climb2=road.u_climb2,
    )


def _slope(time: FloatArray, piece: IntArray, speed: FloatArray, *, reach: int) -> FloatArray:
    """Return the mean change of speed between the fixes ``reach`` before and after each, inside its piece."""
    index = np.arange(len(time))
    first = np.maximum(index - reach, np.searchsorted(piece, piece, side="left"))
    last = np.minimum(index + reach, np.searchsorted(piece, piece, side="right") - 1)
    span = time[last] - time[first]
    return np.where(span > 0, (speed[last] - speed[first]) / np.where(span > 0, span, 1.0), 0.0)
