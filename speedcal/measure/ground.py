"""Ground speed of a track: recorded by the receiver, or from positions, on the receiver's own uneven times."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np

from speedcal.errors import FitError
from speedcal.logs.model import Track
from speedcal.measure.geodesy import local_east_north_m
from speedcal.measure.model import SpeedSource
from speedcal.units import SPEED_UNIT_MPS
from speedcal.values import BoolArray, Finding, FloatArray, IntArray

_GAP_S, _GAP_INTERVALS = 3.0, 3.0
_POSSIBLE_SPEED_MPS = 110.0
_POSSIBLE_ACCELERATION = 15.0
_USABLE_RECORDED_SPEED_MPS = 2.8
_USABLE_POSITION_SPEED_MPS = 4.0
_STRAIGHT_RAD_PER_S = 0.05
"""Position speed counts only while the course turns slower than this. Receivers and the local fit both cut corners, by
(turning rate x time constant)²/2: at 0.05 rad/s and one second 0.1 %, in a street corner several per cent."""
_RECORDED_U_MPS = 0.1
"""Standard uncertainty of a recorded speed when its own scatter does not tell more: 0.2 m/s at 95 % (NAVSTAR GPS
User Equipment Introduction, section 3.3)."""
_SMOOTHING_S = 2.0
_GRADE_WINDOW_S = 15.0
_STEEPEST_GRADE = 0.2


@dataclass(frozen=True, slots=True)
class GroundSpeed:
    """Speed over ground of one drive; between fixes of one piece it is taken as linear in time.

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
    distance_m: FloatArray
    """Path length since the first fix of the drive; the steps across gaps are missing from it."""
    dropped: Mapping[str, int] = field(default_factory=dict)
    findings: tuple[Finding, ...] = ()

    def place(self, time_s: FloatArray) -> tuple[IntArray, BoolArray]:
        """Return for each time the fix before it, and whether the time lies inside an unbroken piece."""
        before = np.clip(np.searchsorted(self.time_s, time_s, side="right") - 1, 0, len(self.time_s) - 2)
        inside = (time_s >= self.time_s[0]) & (time_s <= self.time_s[-1])
        return before, inside & (self.piece[before] == self.piece[before + 1])

    def at(self, time_s: FloatArray) -> tuple[FloatArray, FloatArray, BoolArray]:
        """Return speed, acceleration and whether there is a speed at all, at any times. [m/s, m/s², 1]."""
        before, inside = self.place(time_s)
        span = self.time_s[before + 1] - self.time_s[before]
        slope = (self.speed_mps[before + 1] - self.speed_mps[before]) / span
        return self.speed_mps[before] + slope * (time_s - self.time_s[before]), slope, inside

    def usable_at(self, time_s: FloatArray) -> BoolArray:
        """Return whether the speed at each time may carry the error factor."""
        before, inside = self.place(time_s)
        return inside & self.usable[before] & self.usable[before + 1]

    def travelled_m(self, time_s: FloatArray) -> tuple[FloatArray, IntArray, BoolArray]:
        """Return the path length up to each time, the piece it lies in, and whether it lies in one."""
        before, inside = self.place(time_s)
        speed, _, _ = self.at(time_s)
        since = time_s - self.time_s[before]
        return self.distance_m[before] + since * (self.speed_mps[before] + speed) / 2, self.piece[before], inside


def ground_speed(track: Track) -> GroundSpeed:
    """Return the ground speed of a track.

    A speed recorded with the fixes is used when most fixes carry it, after holding it against the positions: a
    column in km/h, mph or knots shows as a ratio of 3.6, 2.237 or 1.944 and is converted, with a finding. Without
    one, a local quadratic is fitted to the positions over about four seconds on their true times, which carries
    uneven sampling and constant acceleration; the bias of the norm of a noisy velocity is removed. Nothing is
    computed across a gap of more than three seconds or three intervals.

    Raises
    ------
    FitError
        Fewer than ten usable fixes.
    """
    keep, dropped = _plausible(track)
    time = track.time_s[keep]
    if len(time) < 10:
        raise FitError(
            f"the track has {len(time)} usable fixes",
            source=track.source,
            remedy="Record a drive of at least ten minutes with one fix a second",
        )
    interval = float(np.median(np.diff(time)))
    piece = _pieces(time, track.segment[keep], interval)
    elevation = track.elevation_m[keep]
    east, north = local_east_north_m(track.latitude_deg[keep], track.longitude_deg[keep], elevation_m=elevation)
    recorded = track.speed_mps[keep]
    findings: list[Finding] = []
    has_speed = np.isfinite(recorded)
    if has_speed.mean() > 0.5:
        recorded, unit_findings = _in_metres_per_second(time, piece, east, north, recorded)
        findings += unit_findings
        time, piece, elevation, speed = (a[has_speed] for a in (time, piece, elevation, recorded))
        if not has_speed.all():
            dropped["no recorded speed"] = int((~has_speed).sum())
            piece = _pieces(time, piece, interval)
        steady, spikes = _without_spikes(time, piece, speed)
        if spikes:
            dropped["impossible acceleration"] = spikes
            time, piece, elevation, speed = (a[steady] for a in (time, piece, elevation, speed))
            piece = _pieces(time, piece, interval)
        source: SpeedSource = "recorded"
        u = min(_scatter(time, piece, speed), 3 * _RECORDED_U_MPS)
        usable = speed >= _USABLE_RECORDED_SPEED_MPS
    else:
        speed, turning, u = _speed_from_positions(time, piece, east, north, interval)
        source = "positions"
        usable = (speed >= _USABLE_POSITION_SPEED_MPS) & (turning <= _STRAIGHT_RAD_PER_S)
    speed = speed * _slope_length(time, piece, elevation, speed)
    step = np.diff(time) * (speed[1:] + speed[:-1]) / 2
    step[np.diff(piece) != 0] = 0.0
    return GroundSpeed(
        time_s=time,
        speed_mps=speed,
        piece=piece,
        u_speed_mps=u,
        usable=usable,
        interval_s=interval,
        source=source,
        distance_m=np.concatenate(([0.0], np.cumsum(step))),
        dropped=dropped,
        findings=tuple(findings),
    )


def _pieces(time: FloatArray, segment: IntArray, interval: float) -> IntArray:
    """Number the unbroken pieces: a new one at every segment break and every gap."""
    breaks = (np.diff(time) > max(_GAP_S, _GAP_INTERVALS * interval)) | (np.diff(segment) != 0)
    return np.concatenate(([0], np.cumsum(breaks))).astype(np.int64)


def _plausible(track: Track) -> tuple[BoolArray, dict[str, int]]:
    """Return which fixes to keep; a fix that is impossibly far from both neighbours is a jump."""
    keep = np.ones(len(track), bool)
    if len(track) < 3:
        return keep, {}
    east, north = local_east_north_m(track.latitude_deg, track.longitude_deg)
    length, span = np.hypot(np.diff(east), np.diff(north)), np.diff(track.time_s)
    fast = length > _POSSIBLE_SPEED_MPS * span + 30.0
    keep[1:-1] = ~(fast[:-1] & fast[1:])
    jumps = int((~keep).sum())
    return keep, {"impossible jump": jumps} if jumps else {}


def _without_spikes(time: FloatArray, piece: IntArray, speed: FloatArray) -> tuple[BoolArray, int]:
    """Return which speeds to keep: those that no impossible acceleration leads to and away from."""
    rate = np.diff(speed) / np.diff(time)
    impossible = (np.abs(rate) > _POSSIBLE_ACCELERATION) & (np.diff(piece) == 0)
    spike = np.zeros(len(speed), bool)
    spike[1:-1] = impossible[:-1] & impossible[1:] & (np.sign(rate[:-1]) != np.sign(rate[1:]))
    return ~spike, int(spike.sum())


def _in_metres_per_second(
    time: FloatArray, piece: IntArray, east: FloatArray, north: FloatArray, recorded: FloatArray
) -> tuple[FloatArray, list[Finding]]:
    """Hold recorded speeds against positions and convert a column that was written in another unit."""
    span = np.diff(time)
    moved = np.hypot(np.diff(east), np.diff(north)) / span
    mean = (recorded[1:] + recorded[:-1]) / 2
    use = np.isfinite(mean) & (moved > _USABLE_POSITION_SPEED_MPS) & (np.diff(piece) == 0)
    if use.sum() < 10:
        return recorded, [
            Finding("speed-unit-unchecked", "The positions move too little to check the unit of the recorded speed.")
        ]
    ratio = float(np.median(mean[use] / moved[use]))
    for unit, factor in SPEED_UNIT_MPS.items():
        if abs(ratio * factor - 1) < 0.1:
            if unit == "m/s":
                break
            text = (
                f"The recorded speed is {ratio:.2f} times the speed of the positions: the logger wrote {unit} where "
                "the format means m/s. It was converted."
            )
            return recorded * factor, [Finding("speed-unit", text)]
    else:
        raise FitError(
            f"the recorded speed is {ratio:.2f} times the speed of the positions, which no unit of speed explains",
            remedy="Export the track without its speed column, so that the positions are used",
        )
    if abs(ratio - 1) > 0.02:
        text = f"The recorded speed is {ratio:.3f} times the speed of the positions; one of the two is off."
        return recorded, [Finding("speed-against-positions", text)]
    return recorded, []


def _scatter(time: FloatArray, piece: IntArray, speed: FloatArray) -> float:
    """Estimate the noise of a recorded speed from its second differences, which a smooth drive hardly has."""
    whole = piece[2:] == piece[:-2]
    second = (speed[2:] - 2 * speed[1:-1] + speed[:-2])[whole & (speed[1:-1] > 2.0)]
    if len(second) < 20 or float(np.median(np.diff(time))) > 1.5:  # at wide spacing this would measure the driver
        return _RECORDED_U_MPS
    return float(np.clip(1.4826 * np.median(np.abs(second)) / np.sqrt(6), 0.02, None))


def _speed_from_positions(
    time: FloatArray, piece: IntArray, east: FloatArray, north: FloatArray, interval: float
) -> tuple[FloatArray, FloatArray, float]:
    """Fit a quadratic of time to the positions around every fix; return speed, turning rate, noise of the speed."""
    reach = int(np.clip(round(_SMOOTHING_S / interval), 1, 12))
    n = len(time)
    neighbours = np.arange(n)[:, None] + np.arange(-reach, reach + 1)[None, :]
    inside = (neighbours >= 0) & (neighbours < n)
    neighbours = np.clip(neighbours, 0, n - 1)
    inside &= piece[neighbours] == piece[:, None]
    u = np.where(inside, time[neighbours] - time[:, None], 0.0) / (reach * interval)
    weight = inside.astype(float)
    moments = [np.sum(weight * u**k, axis=1) for k in range(5)]
    normal = np.empty((n, 3, 3))
    for i in range(3):
        for j in range(3):
            normal[:, i, j] = moments[i + j]
    lonely = inside.sum(axis=1) < 4
    normal[:, 2, 2] += np.where(lonely, 1e6, 1e-12)  # too few fixes for a curvature: a straight line instead
    normal[:, 1, 1] += 1e-12
    basis = np.stack([weight, weight * u, weight * u * u], axis=2)
    rows = np.linalg.solve(normal, np.transpose(basis, (0, 2, 1)))
    velocity, residual = [], []
    for coordinate in (east, north):
        local = np.where(inside, coordinate[neighbours] - coordinate[:, None], 0.0)
        fit = np.einsum("nkm,nm->nk", rows, local)
        velocity.append(fit[:, 1] / (reach * interval))
        residual.append(np.where(inside, local - np.einsum("nmk,nk->nm", basis, fit), 0.0))
    speed = np.hypot(*velocity)
    gain = np.sum(rows[:, 1, :] ** 2, axis=1) / (reach * interval) ** 2
    full = (inside.sum(axis=1) == 2 * reach + 1) & (speed > _USABLE_POSITION_SPEED_MPS)
    spare = max(2 * reach + 1 - 3, 1)
    squares = sum(np.sum(r**2, axis=1) for r in residual) / 2 / spare
    variance = float(np.mean(np.minimum(squares[full], 4 * np.median(squares[full])))) if full.any() else 1.0
    # the slow wander of positions does not show in the residuals of a short fit, hence a floor
    u_speed = max(float(np.sqrt(variance * np.median(gain))), _RECORDED_U_MPS)
    # E|v + noise| = |v| + u²/(2|v|): the part of the noise across the course only ever lengthens a velocity
    speed = np.maximum(speed - variance * gain / (2 * np.maximum(speed, 1.0)), 0.0)
    course = np.arctan2(*velocity)
    first, last = np.maximum(np.arange(n) - reach, 0), np.minimum(np.arange(n) + reach, n - 1)
    turn = np.abs((course[last] - course[first] + np.pi) % (2 * np.pi) - np.pi)
    return speed, turn / np.maximum(time[last] - time[first], interval), u_speed


def _slope_length(time: FloatArray, piece: IntArray, elevation: FloatArray, speed: FloatArray) -> FloatArray:
    """Return road length over horizontal length, 1/cos(grade), from the elevation smoothed over half a minute."""
    if not np.isfinite(elevation).all() or len(time) < 3:
        return np.ones(len(time))
    first = np.searchsorted(time, time - _GRADE_WINDOW_S)
    last = np.minimum(np.searchsorted(time, time + _GRADE_WINDOW_S, side="right") - 1, len(time) - 1)
    span = time[last] - time[first]
    travelled = np.concatenate(([0.0], np.cumsum(np.diff(time) * (speed[1:] + speed[:-1]) / 2)))
    length = travelled[last] - travelled[first]
    whole = (piece[first] == piece[last]) & (span > _GRADE_WINDOW_S) & (length > _USABLE_POSITION_SPEED_MPS * span)
    totals = [np.concatenate(([0.0], np.cumsum(a))) for a in (elevation, elevation * travelled, travelled, travelled**2)]
    count = last - first + 1.0
    sums = [total[last + 1] - total[first] for total in totals]
    spread = sums[3] - sums[2] ** 2 / count
    grade = np.where(whole, (sums[1] - sums[0] * sums[2] / count) / np.where(spread > 0, spread, 1.0), 0.0)
    return np.asarray(np.sqrt(1 + np.clip(grade, -_STEEPEST_GRADE, _STEEPEST_GRADE) ** 2))
