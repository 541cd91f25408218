"""Ground speed of a track: recorded by the receiver, or from positions, on the receiver's own uneven times."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from itertools import pairwise

import numpy as np

from speedcal.calibration.between_fixes import way_between
from speedcal.calibration.geodesy import local_east_north_m
from speedcal.calibration.grades import road_over_level
from speedcal.calibration.positions import LocalFit, speed_from_positions, without_jumps, without_spikes
from speedcal.calibration.result import SpeedSource
from speedcal.calibration.tuning import (
    ACCELERATION_REACH_S,
    BENDS_LEFT_U,
    FEWEST_FIXES,
    GAP_INTERVALS,
    GAP_S,
    RECORDED_U_MPS,
    SLOWEST_MPS,
    SLOWEST_POSITION_SPEED_MPS,
    SPARSE_FROM_S,
    SPARSE_UNIT_TOLERANCE,
    SPEED_DISAGREES,
    SPEED_DISAGREES_SIGMAS,
    STRAIGHT_CHORD,
    STRAIGHT_RAD_PER_S,
    STRAIGHTEST_CHORD,
    STRETCH_S,
    UNIT_TOLERANCE,
)
from speedcal.calibration.tuning_logs import COARSE_POSITIONS_MPS, DENSE_POSITIONS_S, RECEIVER_U_MPS, STEP_NOTICED_MPS
from speedcal.errors import FitError
from speedcal.finding import Finding
from speedcal.interval import BoolArray, FloatArray, IntArray, robust_scale
from speedcal.logs.readings import Terrain
from speedcal.logs.track import Track
from speedcal.units import SPEED_UNIT_MPS

_FEWEST_VALUES = 5
_ABSURD = 1000.0
"""No vehicle has this speed in any unit."""
SPEED_AGAINST_POSITIONS = "speed_against_positions"


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
    u_distance: float = field(default=0.0, kw_only=True)
    """Relative standard uncertainty that all of it shares, for corners cut between fixes."""
    local_fit: LocalFit | None = None
    """Set when the speed comes from positions, and then also where the fixes are. [m]"""
    east_m: FloatArray = field(default_factory=lambda: np.empty(0))
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
    dropped: Mapping[str, int] = field(default_factory=dict)
    findings: tuple[Finding, ...] = ()

    @property
    def covered(self) -> float:
        """Share of the drive that lies in an unbroken piece."""
        step = np.diff(self.time_s)
        return float(step[np.diff(self.piece) == 0].sum() / max(step.sum(), 1e-9))

    @property
    def between_is_guessed(self) -> bool:
        """Fixes lie too far apart or are too coarse for a speed at any moment; only the way between them is told."""
        coarse = self.u_speed_mps >= COARSE_POSITIONS_MPS
        return self.source == "positions" and (coarse or self.interval_s > DENSE_POSITIONS_S)

    def place(self, time_s: FloatArray) -> tuple[IntArray, BoolArray]:
        """Return for each time the fix before it, and whether the time lies inside an unbroken piece."""
        before = np.clip(np.searchsorted(self.time_s, time_s, side="right") - 1, 0, len(self.time_s) - 2)
        inside = (time_s >= self.time_s[0]) & (time_s <= self.time_s[-1])
        return before, inside & (self.piece[before] == self.piece[before + 1])

    def at(self, time_s: FloatArray) -> tuple[FloatArray, FloatArray, BoolArray]:
        """Return speed, acceleration and whether there is a speed at all, at any times. [m/s, m/s², 1]."""
        before, inside = self.place(time_s)
        span = self.time_s[before + 1] - self.time_s[before]
        share = (time_s - self.time_s[before]) / span
        speed, rate = (a[before] + share * (a[before + 1] - a[before]) for a in (self.speed_mps, self.acceleration))
        rise = self.speed_mps[before + 1] - self.speed_mps[before]
        early, late = span * self.slope[before] - rise, rise - span * self.slope[before + 1]
        return speed + share * (1 - share) * ((1 - share) * early + share * late), rate, inside

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
        if self.interval_s >= SPARSE_FROM_S:  # the part of the step that is behind, by the speeds at its ends
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
    track
        Where the vehicle was.
    terrain
        How hilly it was there; counts where the track has no heights.

    Raises
    ------
    FitError
        Fewer than ten usable fixes.
    """
    keep, segment, dropped = without_jumps(track)
    recorded = np.where(np.abs(np.nan_to_num(track.speed_mps, nan=np.inf)) < _ABSURD, track.speed_mps, np.nan)
    fixes = _Fixes(track.time_s[keep], segment[keep], track.elevation_m[keep], recorded[keep], terrain)
    if len(fixes.time) < FEWEST_FIXES:
        raise FitError("few_fixes", source=track.source, count=len(fixes.time))
    east, north = local_east_north_m(track.latitude_deg[keep], track.longitude_deg[keep], elevation_m=fixes.elevation)
    if np.isfinite(fixes.recorded).mean() > 0.5:
        return _from_recorded(fixes, east, north, dropped, track.source)
    return _along(_from_positions(fixes, east, north, dropped), east, north)


def _along(ground: GroundSpeed, east: FloatArray, north: FloatArray) -> GroundSpeed:
    """Return the ground speed with the distance along its positions, where the fixes lie far apart."""
    if ground.interval_s < SPARSE_FROM_S:
        return ground
    way = way_between(ground.piece, east, north, ground.speed_mps)
    step = way.step_m * (ground.road_over_level[1:] + ground.road_over_level[:-1]) / 2
    told = Finding("distance_between_fixes", interval_s=ground.interval_s, longer=way.longer, u=way.u)
    return replace(
        ground,
        distance_m=np.concatenate(([0.0], np.cumsum(step))),
        u_distance=way.u,
        findings=(*ground.findings, told),
    )


@dataclass(frozen=True, slots=True)
class _Fixes:
    """What is left of a track, arrays of one length."""

    time: FloatArray
    segment: IntArray
    elevation: FloatArray
    recorded: FloatArray
    terrain: Terrain | None

    @property
    def interval(self) -> float:
        return float(np.median(np.diff(self.time)))

    @property
    def piece(self) -> IntArray:
        return _pieces(self.time, self.segment, self.interval)

    def only(self, keep: BoolArray) -> _Fixes:
        return _Fixes(self.time[keep], self.segment[keep], self.elevation[keep], self.recorded[keep], self.terrain)


def _from_recorded(
    fixes: _Fixes, east: FloatArray, north: FloatArray, dropped: dict[str, int], source: str
) -> GroundSpeed:
    """Use the speed that the receiver recorded."""
    factor, findings = _unit_of_recorded(fixes, east, north, source)
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
    rounded = _rounding(fixes, speed, east, north)
    findings += _against_positions(fixes, speed + rounded[1], east, north)
    ground = _finished(
        fixes,
        speed,
        u_speed_mps=min(_scatter(fixes.time, fixes.piece, speed), 3 * RECORDED_U_MPS),
        usable=speed >= SLOWEST_MPS,
        local_fit=None,
        dropped=dropped,
        findings=findings,
        rounded=rounded,
    )
    return _along(ground, east, north)


def _from_positions(fixes: _Fixes, east: FloatArray, north: FloatArray, dropped: dict[str, int]) -> GroundSpeed:
    """Work the speed out of the positions."""
    speed, turning, u, local_fit = speed_from_positions(fixes.time, fixes.piece, east, north, fixes.interval)
    usable = (speed >= SLOWEST_POSITION_SPEED_MPS) & (turning <= STRAIGHT_RAD_PER_S)
    ground = _finished(fixes, speed, u_speed_mps=u, usable=usable, local_fit=local_fit, dropped=dropped, findings=[])
    return replace(ground, east_m=east, north_m=north)


def _finished(
    fixes: _Fixes,
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
    longer, u_longer = road_over_level(fixes.time, piece, fixes.elevation, speed, fixes.terrain)
    speed = (speed + cut_mps) * longer
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
        acceleration=_slope(fixes.time, piece, speed, reach=max(1, round(ACCELERATION_REACH_S / fixes.interval))),
        slope=_slope(fixes.time, piece, speed, reach=1),
        distance_m=np.concatenate(([0.0], np.cumsum(step))),
        local_fit=local_fit,
        dropped=dropped,
        findings=tuple(findings),
        step_mps=step_mps,
        cut_mps=cut_mps,
        u_cut_mps=u_cut_mps,
        road_over_level=longer,
        u_road_over_level=u_longer,
    )


def _pieces(time: FloatArray, segment: IntArray, interval: float) -> IntArray:
    """Return the number of the unbroken piece of each fix; segment breaks and gaps begin a new one."""
    breaks = (np.diff(time) > max(GAP_S, GAP_INTERVALS * interval)) | (np.diff(segment) != 0)
    return np.concatenate(([0], np.cumsum(breaks))).astype(np.int64)


def _slope(time: FloatArray, piece: IntArray, speed: FloatArray, *, reach: int) -> FloatArray:
    """Return the mean change of speed between the fixes ``reach`` before and after each, inside its piece."""
    index = np.arange(len(time))
    first = np.maximum(index - reach, np.searchsorted(piece, piece, side="left"))
    last = np.minimum(index + reach, np.searchsorted(piece, piece, side="right") - 1)
    span = time[last] - time[first]
    return np.where(span > 0, (speed[last] - speed[first]) / np.where(span > 0, span, 1.0), 0.0)


def _unit_of_recorded(fixes: _Fixes, east: FloatArray, north: FloatArray, source: str) -> tuple[float, list[Finding]]:
    """Hold recorded speeds against positions; return the factor to metres per second and what was found."""
    ratio = _recorded_over_positions(fixes, east, north)
    if ratio is None:
        return 1.0, [Finding("speed_unit_unchecked")]
    unit = min(SPEED_UNIT_MPS, key=lambda unit: abs(ratio * SPEED_UNIT_MPS[unit] - 1))
    factor = SPEED_UNIT_MPS[unit]
    sparse = fixes.interval >= SPARSE_FROM_S  # then corners between the fixes are in the ratio as well
    if abs(ratio * factor - 1) > (SPARSE_UNIT_TOLERANCE if sparse else UNIT_TOLERANCE):
        raise FitError("speed_unit_unexplained", source=source, ratio=ratio)
    return factor, [] if unit == "m/s" else [Finding("speed_unit_found", ratio=ratio, unit=unit)]


def _recorded_over_positions(fixes: _Fixes, east: FloatArray, north: FloatArray) -> float | None:
    """Return the ratio of recorded speed to that of the positions over straight stretches, None without any."""
    travelled, way, _, _ = _straight_stretches(fixes, fixes.recorded, east, north)
    return float(np.median(travelled / way)) if len(way) >= FEWEST_FIXES else None


def _against_positions(fixes: _Fixes, speed: FloatArray, east: FloatArray, north: FloatArray) -> list[Finding]:
    """Return the finding that recorded speed and positions contradict each other by more than both can err."""
    if fixes.interval >= SPARSE_FROM_S:
        return []
    travelled, way, begin, _ = _straight_stretches(fixes, speed, east, north, straight=STRAIGHTEST_CHORD)
    label = np.unique(np.floor(begin / (3 * STRETCH_S)), return_inverse=True)[1]
    if not len(label) or label.max() + 1 < FEWEST_FIXES:
        return []
    ratio = np.bincount(label, weights=travelled) / np.bincount(label, weights=way)
    middle = float(np.median(ratio))
    u = 1.25 * robust_scale(ratio - middle) / np.sqrt(len(ratio))
    if abs(middle - 1) < max(SPEED_DISAGREES, SPEED_DISAGREES_SIGMAS * u):
        return []
    return [Finding(SPEED_AGAINST_POSITIONS, ratio=middle)]


def _straight_stretches(
    fixes: _Fixes, speed: FloatArray, east: FloatArray, north: FloatArray, *, straight: float = STRAIGHT_CHORD
) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    """Return path by recorded speed and by positions, begin and length of all straight stretches of ten seconds.

    Straight are those whose chord is at least a share of the way over their middle. What chords cut off a bend falls
    to a quarter when they are halved, so a third of the difference between two and four of them is added to the four
    (Richardson's extrapolation): without it bends look like cut or wrong recorded speed. [m, m, s, s].
    """
    time = fixes.time
    ahead = np.searchsorted(time, time + STRETCH_S)
    here = np.flatnonzero(ahead < len(time))
    ahead = ahead[here]
    known = np.isfinite(speed)
    speed = np.where(known, speed, 0.0)
    travelled = np.concatenate(([0.0], np.cumsum(np.diff(time) * (speed[1:] + speed[:-1]) / 2)))
    unknown = np.concatenate(([0], np.cumsum(~known)))
    at = [np.searchsorted(time, time[here] + part * (time[ahead] - time[here])) for part in (0.0, 0.25, 0.5, 0.75)]

    def over(*stops: IntArray) -> FloatArray:
        chords = [np.hypot(east[j] - east[i], north[j] - north[i]) for i, j in pairwise(stops)]
        return np.asarray(np.sum(chords, axis=0))

    chord, two, four = over(here, ahead), over(here, at[2], ahead), over(*at, ahead)
    whole = (fixes.piece[ahead] == fixes.piece[here]) & (unknown[ahead + 1] == unknown[here])
    use = whole & (chord > straight * two) & (chord > SLOWEST_POSITION_SPEED_MPS * (time[ahead] - time[here]))
    way = four + (four - two) / 3
    here, ahead = here[use], ahead[use]
    return travelled[ahead] - travelled[here], way[use], time[here], time[ahead] - time[here]


def rounding_step_mps(speed_mps: FloatArray) -> float:
    """Return the step in which speeds were written, zero where it is too fine to matter. [m/s].

    Whole units of any kind, their halves, fifths and tenths are tried; loggers convert and round again, so a
    hundredth of a metre a second is let pass.
    """
    known = speed_mps[np.isfinite(speed_mps) & (speed_mps > 1.0)]
    if len(np.unique(np.round(known, 2))) < _FEWEST_VALUES:
        return 0.0
    steps = sorted((size / part for size in SPEED_UNIT_MPS.values() for part in (1, 2, 5, 10)), reverse=True)
    for step in steps:
        if step < STEP_NOTICED_MPS:
            break
        off = np.abs(known / step - np.round(known / step)) * step
        if np.quantile(off, 0.98) < min(0.011, 0.06 * step):
            return float(step)
    return 0.0


def _rounding(fixes: _Fixes, speed: FloatArray, east: FloatArray, north: FloatArray) -> tuple[float, float, float]:
    """Return the step of recorded speed, how much it lies low for being cut, and how well that is known. [m/s].

    Cut speeds lie half a step below the speed of the positions over straight stretches, rounded ones beside it.
    """
    step = rounding_step_mps(speed)
    if not step:
        return 0.0, 0.0, 0.0
    away, u = _recorded_less_positions(fixes, speed, east, north)
    if not np.isfinite(away) or u > step / 4:
        return step, step / 4, step / 4
    log_odds = -0.5 * ((away / u) ** 2 - ((away + step / 2) / u) ** 2)
    cut = 1 / (1 + np.exp(np.clip(log_odds, -500, 500)))
    return step, float(cut) * step / 2, float(np.sqrt(cut * (1 - cut))) * step / 2


def _recorded_less_positions(
    fixes: _Fixes, speed: FloatArray, east: FloatArray, north: FloatArray
) -> tuple[float, float]:
    """Return the mean of recorded speed less that of the positions while driving straight, and its uncertainty."""
    travelled, way, _, span = _straight_stretches(fixes, speed, east, north)
    if len(way) < 3 * FEWEST_FIXES:
        return np.nan, np.inf
    away = (travelled - way) / span
    middle = float(np.median(away))
    spread = robust_scale(away - middle)
    independent = max(len(away) * float(np.median(np.diff(fixes.time))) / STRETCH_S, 3.0)
    bends = BENDS_LEFT_U * float(np.median(way / span))
    return middle, float(np.linalg.norm([1.25 * spread / np.sqrt(independent), RECEIVER_U_MPS, bends]))


def _scatter(time: FloatArray, piece: IntArray, speed: FloatArray) -> float:
    """Estimate the noise of a recorded speed from its second differences, which a smooth drive hardly has."""
    whole = piece[2:] == piece[:-2]
    second = (speed[2:] - 2 * speed[1:-1] + speed[:-2])[whole & (speed[1:-1] > 2.0)]
    if len(second) < 20 or float(np.median(np.diff(time))) > 1.5:  # at wide spacing this would measure the driver
        return RECORDED_U_MPS
    return float(np.clip(robust_scale(second) / np.sqrt(6), 0.02, None))
