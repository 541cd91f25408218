"""What more driving would settle a verdict that is not proven: more readings, more drives, a longer way, or none."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from speedcal.calibration.readings.habits import PARALLAX, ROUNDING_HABIT, STATED
from speedcal.conformity.decision import drives_to_settle, readings_to_settle
from speedcal.conformity.tolerance import ShownLimits, Tolerance
from speedcal.finding import Finding
from speedcal.interval import COVERAGE_FACTOR, FloatArray, Interval

if TYPE_CHECKING:
    from speedcal.calibration.result import Calibration

_LEAST_SCATTER_MPS = 0.05
"""Scatter of a reading that more readings are planned with at least."""
_LONGEST_TIMES = 20
"""An odometer test longer than this many times the drive is not worth naming."""
_BY_HAND = 100
"""Readings that a person notes on a drive at most; more are a log or a film, whose rows do not err one by one."""
_MOST_PLACES = 5
"""Speeds that more readings are shared among at most."""
_SAME_AGAIN = frozenset({PARALLAX, ROUNDING_HABIT, STATED})
"""Lines of the budget that the next drive has in common with this one, if the dial is read in the same way."""


def driving_to_settle(
    after: Calibration, limits: ShownLimits, rule: Tolerance, judged_mps: tuple[float, ...]
) -> tuple[Finding, int | None, tuple[float, ...]]:
    """Return what would settle it; with how many more readings at which speeds [m/s], where readings are what helps.

    Nobody is sent to drive faster than in the road test where that can be helped, nor to read what the way of reading
    leaves open: that stays, however many readings there are.

    Parameters
    ----------
    after
        The drive that was judged, or several pooled.
    judged_mps
        True speeds that were judged. [m/s]
    """
    shared = _same_again(after)
    if int(after.readings["used"].sum()) > _BY_HAND:
        drives = drives_to_settle(limits, after.dial, rule.confidence, shared=shared)
        if drives is not None:
            return Finding("more_drives", count=drives), None, ()
    else:
        found = _readings(after, limits, rule, judged_mps, shared)
        if found is not None:
            count, speeds = found
            beyond = max(speeds) > _top(after)
            values = {"count": count, "speeds_mps": speeds, "beyond_driven": beyond, "unit": after.unit}
            return Finding("more_readings", **values), count, speeds
    u_mps = float(np.sqrt(shared[0, 0]))
    if _is_of_the_eye(after) and _readings(after, limits, rule, judged_mps, 0 * shared) is not None:
        return Finding("within_way_of_reading", half_width_mps=COVERAGE_FACTOR * u_mps, unit=after.unit), None, ()
    return Finding("on_the_limit", speed_mps=_tightest(limits, after), unit=after.unit), None, ()


def _tightest(limits: ShownLimits, after: Calibration) -> float:
    """Return the true speed at which the dial is nearest to a limit, by what it is known to there. [m/s]."""
    shown = after.indicated(limits.speeds_mps)
    room = np.minimum(shown - limits.low_mps, limits.high_mps - shown)
    return float(limits.speeds_mps[np.argmin(room / after.half_width(limits.speeds_mps))])


def _readings(
    after: Calibration, limits: ShownLimits, rule: Tolerance, judged_mps: tuple[float, ...], shared: FloatArray
) -> tuple[int, tuple[float, ...]] | None:
    """Return how many at which speeds: at one not above those driven, else at several, else beyond, else at all."""
    high = after.speed_range_mps[1]
    low = min(max(after.speed_range_mps[0], float(limits.speeds_mps.min())), high)  # slower ones are not judged
    within = tuple(v for v in judged_mps if low <= v <= _top(after))
    singles = [(v,) for v in (*judged_mps, low, high) if v <= _top(after)]
    several = [(low, high), *([within] if 2 < len(within) <= _MOST_PLACES else [(low, (low + high) / 2, high)])]
    u_reading_mps = max(after.scatter_mps, _LEAST_SCATTER_MPS)
    beyond = [(v,) for v in judged_mps]
    together = [judged_mps] if 1 < len(judged_mps) <= _MOST_PLACES else []  # where both ends are open
    for places in (singles, several, beyond, together):
        found = readings_to_settle(
            limits, after.dial, rule.confidence, places=places, u_reading_mps=u_reading_mps, shared=shared
        )
        if found is not None:
            return found
    return None


def _same_again(after: Calibration) -> FloatArray:
    """Return the covariance at the dial's knots of what a further drive errs by as this one did. [m2/s2].

    What stands in the budget is taken to be alike at all speeds; the dial cannot know less than it.
    """
    knots = len(after.dial.knots_mps)
    variance = sum(line.u_indicated_mps**2 for line in after.budget if line.component in _SAME_AGAIN)
    whole = after.dial.knot_covariance
    if not variance > 0:
        return np.zeros_like(whole)
    jitter = 1e-9 * float(np.trace(whole)) / knots
    least = 1 / float(np.linalg.solve(whole + jitter * np.eye(knots), np.ones(knots)).sum())
    return np.full_like(whole, min(variance, max(least, 0.0)))


def _is_of_the_eye(after: Calibration) -> bool:
    """Tell whether another way of reading would leave less open: this one is no film and no log."""
    lines = {line.component for line in after.budget if line.share > 0}
    return bool(lines & {PARALLAX, ROUNDING_HABIT}) and STATED not in lines


def _top(after: Calibration) -> float:
    return after.speed_range_mps[1] * (1 + 1e-9)


def way_to_settle(factor: Interval, low: float, high: float) -> Finding:
    """Return how many times as far would settle what an odometer counts."""
    room = min(abs(factor.value - low), abs(factor.value - high))
    times = float(np.ceil(1.5 * factor.half_width / room)) if room > 0 else np.inf
    return Finding("longer_distance", times=times) if times <= _LONGEST_TIMES else Finding("on_the_limit")
