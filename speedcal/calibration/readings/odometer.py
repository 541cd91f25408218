"""The odometer: its factor is the error factor without any needle offset."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from speedcal.calibration.speed.ground_speed import GroundSpeed
from speedcal.calibration.tuning import general as tuned
from speedcal.calibration.tuning.track import TRACK_LENGTH_U
from speedcal.finding import Finding
from speedcal.interval import BoolArray, FloatArray, IntArray, median
from speedcal.logs.drive.readings import Readings
from speedcal.units import MILE_M

_TAKEN_FOR_OTHER = {"km": 1000.0 / MILE_M, "mi": MILE_M / 1000.0}
"""Unit that an odometer counts, and what its figures come to once they are no longer taken for the other."""


@dataclass(frozen=True, slots=True)
class OdometerFactor:
    """What the odometer counts for one unit of true distance."""

    value: float
    u: float
    """Standard uncertainty."""
    left_out: IntArray
    """Indices of readings that do not follow the others."""
    over_m: float
    """How far it was driven from the first of the others to the last."""


def odometer_factor(
    ground: GroundSpeed,
    moment_s: FloatArray,
    odometer_m: FloatArray,
    *,
    resolution_m: float,
    u_time_s: float,
    u_clock_s: float,
) -> OdometerFactor | None:
    """Return the factor of the odometer, or None when the drive does not carry one.

    A line through odometer readings against the distance really travelled, stretch by stretch: distance across a gap
    is not known, and an odometer that falls or leaps has been put back, has rolled over or was misread. Readings that
    do not follow the others are left out. An odometer cut off at its last digit shifts all of its readings alike;
    what is left is uniform over one step (JCGM 100:2008, F.2.2.1).

    Parameters
    ----------
    moment_s, odometer_m
        When each reading was taken on the GPS clock, and what it was, shape (n,); NaN where there is none. [s, m]
    u_time_s, u_clock_s
        Standard uncertainty of each moment by itself, and of the clock that all of them share: noted at two speeds, the
        way between two readings is off by the difference of the speeds times what the clock is off.
    """
    known = (np.abs(odometer_m) < tuned.ODOMETER_MOST_M) & np.isfinite(moment_s) & np.isfinite(resolution_m)
    distance, piece, inside = ground.travelled_m(np.where(known, moment_s, ground.time_s[0]))
    use = np.flatnonzero(known & inside)
    use = use[np.argsort(distance[use], kind="stable")]
    if len(use) < 2:
        return None
    turned = np.diff(odometer_m[use], prepend=np.nan) != 0  # a figure that stands still is one reading, not many
    resolution_m = _step(distance[use], odometer_m[use], resolution_m)
    use = use[turned | (np.diff(moment_s[use], prepend=-np.inf) > tuned.ODOMETER_STANDS_S)]
    distance, shown = distance[use], odometer_m[use] - odometer_m[use[0]]  # one that stands has a factor of exactly 0
    speed, _, _ = ground.at(moment_s[use])
    figure = np.cumsum(np.diff(shown, prepend=np.nan) != 0) - 1
    cut = resolution_m**2 / 12 * np.bincount(figure)[figure]  # readings of one figure are cut off alike
    variance = cut + (speed * u_time_s) ** 2 + tuned.ODOMETER_LEAST_U_M**2
    stretch = _stretches(distance, shown, piece[use], resolution_m)
    right = _follow(distance, shown, stretch, np.sqrt(variance))
    distance, shown, stretch, weight = distance[right], shown[right], stretch[right], 1 / variance[right]
    speed = speed[right]
    _, label = np.unique(stretch, return_inverse=True)
    total = np.bincount(label, weights=weight)
    away, risen = (a - (np.bincount(label, weights=weight * a) / total)[label] for a in (distance, shown))
    longest = max((float(np.ptp(distance[label == k])) for k in range(len(total))), default=0.0)
    if longest < (tuned.ODOMETER_SHORTEST_M if shown.any() else max(tuned.ODOMETER_SHORTEST_M, 2 * resolution_m)):
        return None
    spread = float(np.sum(weight * away**2))
    factor = float(np.sum(weight * away * risen)) / spread
    hills = np.hypot(
        ground.u_road_over_level, np.average(ground.u_by_climbing(ground.speed_mps), weights=ground.speed_mps)
    )
    clock = factor * float(np.sum(weight * away * speed)) / spread * u_clock_s
    truth = factor * np.array([ground.u_distance, ground.u_receiver, hills])
    u = float(np.linalg.norm([1 / np.sqrt(spread), TRACK_LENGTH_U, *truth, clock]))
    return OdometerFactor(factor, u, use[~right], float(np.ptp(distance)))


def unit_by_speed(readings: Readings, ratio: float) -> str:
    """Return the unit of an odometer that states none, where the speed tells another than was assumed; else nothing.

    Both follow the same wheels: what counts 1.61 of what the speed tells counts kilometers, and was taken for miles.

    Parameters
    ----------
    ratio
        Factor of the odometer over that of the dial.
    """
    assumed = next((f.values["length_unit"] for f in readings.findings if f.code == "odometer_unit_assumed"), "")
    other = {"mi": "km", "km": "mi"}.get(assumed, "")
    return other if other and abs(ratio * _TAKEN_FOR_OTHER[other] - 1) < tuned.SAME_WHEELS else ""


def counted_in(readings: Readings, unit: str) -> Readings:
    """Return the readings with an odometer that counts another unit than was assumed."""
    length, told = _TAKEN_FOR_OTHER[unit], Finding("odometer_unit_by_speed", length_unit=unit)
    return replace(
        readings,
        odometer_m=readings.odometer_m * length,
        odometer_resolution_m=readings.odometer_resolution_m * length,
        findings=tuple(told if f.code == "odometer_unit_assumed" else f for f in readings.findings),
    )


def _step(distance: FloatArray, shown: FloatArray, written_m: float) -> float:
    """Return the step of the odometer: as its figures are written, or as they rise after standing on the way.

    One in hundreds of miles, or in whole kilometres told as miles with decimals, is written finer than it counts.
    """
    first = np.flatnonzero(np.diff(shown, prepend=np.nan) != 0)
    stood = distance[first[1:] - 1] - distance[first[:-1]] > tuned.ODOMETER_STANDS_STEPS * written_m
    rise = np.diff(shown[first])[stood]
    rise = rise[rise > 0]
    return max(written_m, median(rise)) if len(rise) and len(rise) > (len(first) - 1) / 3 else written_m


def _stretches(distance: FloatArray, shown: FloatArray, piece: IntArray, resolution_m: float) -> IntArray:
    """Return the stretch of each reading over which the odometer only counts; a gap, a fall or a leap ends one."""
    rise, way = np.diff(shown), np.diff(distance)
    broken = (
        (rise < -resolution_m) | (rise > tuned.ODOMETER_MOST_FACTOR * way + 5 * resolution_m) | (np.diff(piece) != 0)
    )
    return np.concatenate(([0], np.cumsum(broken))).astype(np.int64)


def _follow(distance: FloatArray, shown: FloatArray, stretch: IntArray, u: FloatArray) -> BoolArray:
    """Return which readings follow the others: the median slope of all pairs of a stretch decides."""
    some = np.unique(np.linspace(0, len(shown) - 1, min(len(shown), tuned.ODOMETER_PAIRS_OF)).astype(int))
    i, j = np.triu_indices(len(some), 1)
    i, j = some[i], some[j]
    pair = (stretch[i] == stretch[j]) & (distance[j] - distance[i] > tuned.ODOMETER_SHORTEST_M / 5)
    if not pair.any():
        return np.zeros(len(shown), bool)
    slope = median(((shown[j] - shown[i]) / np.maximum(distance[j] - distance[i], 1e-9))[pair])
    level = shown - slope * distance
    middle = np.array([np.median(level[stretch == number]) for number in range(stretch[-1] + 1)])
    return np.asarray(
        np.abs(level - middle[stretch])
        <= tuned.ODOMETER_WRONG_FROM * u + tuned.ODOMETER_SLOPE_SLACK * np.abs(distance - distance.mean())
    )
