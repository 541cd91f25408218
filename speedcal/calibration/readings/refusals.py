"""Drives that carry no calibration, and answers that no instrument gives."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from speedcal.calibration.readings.looseness import LOOSE, why_no_dial
from speedcal.calibration.result import Calibration
from speedcal.calibration.speed.ground_speed import GroundSpeed
from speedcal.calibration.tuning import general as tuned
from speedcal.calibration.tuning.notes import COARSE_U_MPS
from speedcal.errors import AlignmentError, FitError, SpeedcalError
from speedcal.finding import Finding, codes_of
from speedcal.interval import FloatArray, IntArray, median
from speedcal.logs.drive.readings import Readings
from speedcal.units import display_unit_of

_MINUTE_S = 60.0
_LAID_BY_STEPS = {"clock_stepped", "large_scatter", "log_strays"}
_OF_THE_FILES = (
    "foreign_readings",
    "readings_do_not_follow",
    "few_rows_between_ends",
    "two_clocks",
    "two_clocks_for_log",
)
"""Refusals that send people to look for other files, or for the time."""

_CLOCK_STEP_S, _ONE_SPEED_MPS = 5.0, 2 * tuned.FOLLOWS_MPS


def refuse_hopeless(ground: GroundSpeed, readings: Readings) -> None:
    """Raise :class:`FitError` for a drive that cannot carry a result whatever is done with it."""
    refuse_too_few(len(usable_readings(readings)), readings)
    if readings.clock != "none" and len(np.unique(readings.time_s[usable_readings(readings)])) < tuned.FEWEST_READINGS:
        raise FitError("few_times", source=readings.source)
    shown = readings.speed_mps[np.isfinite(readings.speed_mps)]
    if np.mean(shown >= tuned.ABSURD_READING_MPS) > tuned.MANY_WRONG:  # another unit or column
        raise FitError("readings_do_not_follow", source=readings.source)
    fastest = float(np.percentile(ground.speed_mps, 99))
    if fastest < tuned.SLOWEST_DRIVE_MPS:
        raise FitError("hardly_moved", fastest_mps=fastest)


def refuse_too_few(count: int, readings: Readings) -> None:
    """Raise :class:`FitError` when fewer readings can be used than a line needs."""
    if count < tuned.FEWEST_READINGS:
        raise FitError("too_few_readings", source=readings.source, count=count)


def usable_readings(readings: Readings) -> IntArray:
    """Return the indices of readings that have a speed a road vehicle can show, and a time if times matter."""
    speed = readings.speed_mps
    usable = np.isfinite(speed) & (np.nan_to_num(speed) >= 0) & (np.nan_to_num(speed) < tuned.ABSURD_READING_MPS)
    if readings.clock != "none":
        usable &= np.isfinite(readings.time_s)
    return np.flatnonzero(usable)


def unless_it_stands(refused: SpeedcalError, ground: GroundSpeed, readings: Readings) -> SpeedcalError:
    """Return that the needle stood, where readings that were refused say nothing else; a needle is no wrong file.

    Nor are readings that were all taken at one speed.
    """
    rows, unit = usable_readings(readings), display_unit_of(readings.speed_unit)
    shown = readings.speed_mps[rows]
    slow, fast = np.percentile(ground.speed_mps, [10, 90])
    middle, apart = median(shown), float(np.ptp(shown))
    if refused.code == "foreign_readings":
        few = {"count": len(rows)} if len(rows) < tuned.FEW_READINGS else {}
        to_minutes = {"step_s": readings.time_resolution_s} if readings.time_resolution_s >= _MINUTE_S else {}
        refused.values = {**refused.values, **few, **to_minutes}
    step_mps = readings.speed_resolution_mps
    if refused.code in ("foreign_readings", LOOSE) and step_mps > np.sqrt(12) * COARSE_U_MPS:
        refused.values = {**refused.values, "marks_mps": step_mps, "unit": unit}
    if refused.code not in _OF_THE_FILES or apart > _ONE_SPEED_MPS or fast - slow < tuned.MOVES_MPS:
        return refused
    if middle >= tuned.SLOWEST_DRIVE_MPS and _taken_at_one_speed(ground, readings.time_s[rows]):
        return AlignmentError("one_speed_noted", source=readings.source, shown_mps=middle)
    if apart > tuned.STANDS_MPS:
        return refused
    speeds: dict[str, Any] = {"shown_mps": middle, "slow_mps": float(slow), "fast_mps": float(fast)}
    return FitError("needle_stands", source=readings.source, unit=unit, **speeds)


def _taken_at_one_speed(ground: GroundSpeed, time_s: FloatArray) -> bool:
    """Tell whether the vehicle may have held one speed whenever it was looked at, whatever the clock."""
    first, last = ground.time_s[0] - time_s.min(), ground.time_s[-1] - time_s.max()
    speed, _, inside = ground.at(time_s + np.arange(first, last, _CLOCK_STEP_S)[:, None])
    held = (np.ptp(speed, axis=1) <= _ONE_SPEED_MPS) & (speed.min(axis=1) >= tuned.SLOWEST_DRIVE_MPS)
    return bool((held & inside.all(axis=1)).any())


def refuse_nonsense(
    calibration: Calibration, readings: Readings, seen: tuple[Finding, ...], range_gains: Sequence[float]
) -> None:
    """Raise :class:`FitError` for an answer that no instrument in use gives, or that rests on how it was laid alone.

    A log of the same road on another day lies on the track piece by piece, its clock set wherever that makes it fit;
    ``seen`` is what tells so, where the track tells the speed well; of ``range_gains`` any may have been driven in.
    """
    shown = readings.speed_mps[usable_readings(readings)]
    slow, fast = np.percentile(shown, [2, 98])
    if fast - slow <= _ONE_SPEED_MPS and np.diag(calibration.covariance).min() <= 0:  # nothing tells of a slope
        raise AlignmentError("one_speed_noted", source=readings.source, shown_mps=median(shown))
    factor = calibration.error_factor
    scatter = float(np.sqrt(max(calibration.scatter_mps**2 - readings.speed_resolution_mps**2 / 12, 0.0)))
    if scatter > tuned.FOLLOWS_MPS or set(codes_of(seen)) >= _LAID_BY_STEPS:
        used = calibration.readings[calibration.readings["used"]]
        away, shown = (used[column].to_numpy(float) for column in ("residual_mps", "indicated_mps"))
        code, values = why_no_dial(away, shown, scatter)
        raise FitError(code, source=readings.source, unit=calibration.unit, **values)
    if not any(_has_a_cause(factor.value / gain) for gain in (1.0, *range_gains)):
        raise FitError("impossible_factor", source=readings.source, factor=factor.value)


def _has_a_cause(factor: float) -> bool:
    """Tell whether tires, gears, a unit or a pulse count can make an error factor."""
    slack = 1 + tuned.PULSE_SLACK
    ranges = ((0.5, 2.0), *((pulses, pulses) for pulses in tuned.PULSE_FACTORS))
    return any(low / slack < factor < high * slack for low, high in ranges)
