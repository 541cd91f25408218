"""Ground speed of a track: recorded by the receiver, or from positions, on the receiver's own uneven times."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from speedcal.calibration.speed.between_fixes import way_between
from speedcal.calibration.speed.geodesy import local_east_north_m
from speedcal.calibration.speed.grades import road_over_level
from speedcal.calibration.speed.ground_speed import GroundSpeed, slope_over
from speedcal.calibration.speed.positions import LocalFit, speed_from_positions, without_jumps, without_spikes
from speedcal.calibration.speed.put_between import measured
from speedcal.calibration.speed.recorded_speed import (
    KeptFixes,
    against_positions,
    rounding,
    rounding_step_mps,
    scatter,
    told_by_positions,
    unit_of_recorded,
)
from speedcal.calibration.tuning import track as tuned
from speedcal.errors import FitError
from speedcal.finding import Finding
from speedcal.interval import BoolArray, FloatArray, IntArray
from speedcal.logs.drive.readings import Terrain
from speedcal.logs.drive.track import Track

_ABSURD = 1000.0
"""No vehicle has this speed in any unit."""


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
    if not track.has_positions:
        return _of_speeds_alone(track, terrain)
    track, made = measured(track)
    keep, segment, dropped = without_jumps(track)
    speed = _possible(track)
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
    fixes, kept = _sound(replace(fixes, recorded=fixes.recorded * factor), dropped)
    east, north = east[kept], north[kept]
    rounded = rounding(fixes, fixes.recorded, east, north)
    against, doubt = against_positions(fixes, fixes.recorded + rounded[1], east, north)
    ground = _recorded(fixes, dropped, [*findings, *against], rounded)
    return replace(_along(ground, east, north), east_m=east, north_m=north, u_receiver=doubt)


def _of_speeds_alone(track: Track, terrain: Terrain | None) -> GroundSpeed:
    """Use the receiver's speed as it was written, of a log without positions: its road is taken for straight."""
    speed, dropped = _possible(track), dict[str, int]()
    if np.isfinite(speed).sum() < tuned.FEWEST_FIXES:
        raise FitError("few_fixes", source=track.source, count=int(np.isfinite(speed).sum()))
    fixes, _ = _sound(KeptFixes(track.time_s, track.segment, track.elevation_m, speed, terrain), dropped)
    step = rounding_step_mps(fixes.recorded)
    ground = _recorded(fixes, dropped, [], (step, step / 4, step / 4))
    beside = np.zeros_like(ground.distance_m)
    return replace(ground, east_m=ground.distance_m, north_m=beside, u_receiver=tuned.UNCHECKED_RECEIVER_U)


def _possible(track: Track) -> FloatArray:
    return np.where(np.abs(np.nan_to_num(track.speed_mps, nan=np.inf)) < _ABSURD, track.speed_mps, np.nan)


def _sound(fixes: KeptFixes, dropped: dict[str, int]) -> tuple[KeptFixes, IntArray]:
    """Return the fixes that have a possible speed, and which they are; count the others."""
    kept = np.flatnonzero(np.isfinite(fixes.recorded))
    if len(kept) < len(fixes.time):
        dropped["no_recorded_speed"] = len(fixes.time) - len(kept)
    smooth = without_spikes(fixes.time[kept], fixes.recorded[kept])
    if not smooth.all():
        dropped["impossible_acceleration"] = int((~smooth).sum())
        kept = kept[smooth]
    return fixes.only(kept), kept


def _recorded(
    fixes: KeptFixes, dropped: dict[str, int], findings: list[Finding], rounded: tuple[float, float, float]
) -> GroundSpeed:
    return _finished(
        fixes,
        fixes.recorded,
        u_speed_mps=min(scatter(fixes.time, fixes.piece, fixes.recorded), 3 * tuned.RECORDED_U_MPS),
        usable=fixes.recorded >= tuned.SLOWEST_MPS,
        local_fit=None,
        dropped=dropped,
        findings=findings,
        rounded=rounded,
    )


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
        acceleration=slope_over(
            fixes.time, piece, speed, reach=max(1, round(tuned.ACCELERATION_REACH_S / fixes.interval))
        ),
        slope=slope_over(fixes.time, piece, speed, reach=1),
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
