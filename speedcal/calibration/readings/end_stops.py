"""Readings at which the needle lay at an end of its scale and told nothing more."""

from __future__ import annotations

import numpy as np

from speedcal.calibration.tuning import logs as tuned
from speedcal.calibration.tuning.track import SLOWEST_MPS
from speedcal.interval import BoolArray, FloatArray, IntArray, median

_FEWEST_NEXT_TO, _LEAST_RANGE_MPS, _NEAR, _NEAR_MPS = 20, 2.0, 2.0, 0.1
_LEAST_PART = 0.5
"""Of the rows that show the end, those farther out than others: fewer are where noise of the speed has put them."""
_HELD_ROWS, _FEWEST_HELD = 5, 5
"""Rows for which one value must be shown to be held, and how often that must happen to be a habit of the dial."""


def at_stops(
    ground_mps: FloatArray,
    indicated_mps: FloatArray,
    step_mps: float,
    *,
    fewest: int = tuned.STOP_ROWS,
    settled: bool = False,
) -> BoolArray:
    """Tell for each reading in order of time whether the needle lay at a stop, shape (n,).

    It does where the greatest or the least value was shown at speeds farther apart than rounding and lag explain, or
    farther out than the rows next to it lead to, and hardly anything else was shown beyond. Rows are left out by speed
    too, since those shown alone would leave the rows that err away from the stop.

    Parameters
    ----------
    ground_mps, indicated_mps
        Speed at each row, NaN where it is not known, and what was shown, shape (n,). [m/s]
    fewest
        Readings that show a stop.
    settled
        The clock is known as well as a fit knows it, and not to a second or two.
    """
    moving = ground_mps > SLOWEST_MPS
    stopped = np.zeros(len(ground_mps), bool)
    if not moving.any():
        return stopped
    ends = _ends(indicated_mps[moving], step_mps, fewest)
    a_step_mps = step_mps / max(median(indicated_mps[moving] / ground_mps[moving]), 1e-3)
    held_mps = max(held_spread(ground_mps[moving], indicated_mps[moving], step_mps), a_step_mps)
    spread = tuned.STOP_SETTLED_SPREAD if settled else (tuned.STOP_SPREAD_STEPS, tuned.STOP_SPREAD_MPS)
    farther = tuned.STOP_SETTLED_BEYOND if settled else (tuned.STOP_SPREAD_STEPS, tuned.STOP_BEYOND_MPS)
    most_wide, most_beyond = (steps * held_mps + lag_mps for steps, lag_mps in (spread, farther))
    edge_mps = float(np.dot(tuned.STOP_EDGE, (held_mps, 1.0)))
    for end, toward in zip(ends, (-1.0, 1.0), strict=True):
        here = moving & (np.abs(indicated_mps - end) <= step_mps / 2)
        farthest_first = np.flatnonzero(moving)[np.argsort(-toward * ground_mps[moving])]
        apart = np.cumsum(np.where(here[farthest_first], 1, -1))
        beyond = farthest_first[: int(np.argmax(apart)) + 1]  # where speed tells best who is at the end
        at_end = ground_mps[beyond[here[beyond]]]
        if len(at_end) < max(fewest, tuned.STOP_SHARE * len(beyond), _LEAST_PART * here.sum()):
            continue
        farther_out = at_end[:-1]  # the innermost may be one that was noted late
        wide = np.subtract(*np.percentile(farther_out, [90, 10])) > most_wide
        next_to = moving & ~here & (np.abs(indicated_mps - end) <= tuned.STOP_NEAR_MPS)
        led_to = _continued(ground_mps[next_to], indicated_mps[next_to], end)
        if wide or toward * (median(at_end) - led_to) > most_beyond:
            stopped |= here
            stopped[beyond] = True
            if settled and np.isfinite(led_to):  # by speed alone, or those left at the edge err away from the stop
                stopped |= moving & (toward * (ground_mps - led_to) > -edge_mps)
    return stopped


def _ends(indicated_mps: FloatArray, step_mps: float, fewest: int) -> tuple[float, float]:
    """Return the least and the greatest value that was shown by enough rows to be an end of the scale.

    Farther out there may be a broken row in a hundred, or so; where there are more, the extremes count.
    """
    shown = np.sort(indicated_mps)
    values = np.unique(shown)
    first = np.searchsorted(shown, values - step_mps / 2)
    last = np.searchsorted(shown, values + step_mps / 2, side="right")
    often = np.flatnonzero(last - first >= fewest)
    few = tuned.STOP_BROKEN * len(shown)
    low = values[often[0]] if len(often) and first[often[0]] <= few else shown[0]
    high = values[often[-1]] if len(often) and len(shown) - last[often[-1]] <= few else shown[-1]
    return float(low), float(high)


def _continued(ground_mps: FloatArray, indicated_mps: FloatArray, shown_mps: float) -> float:
    """Return the speed at which a line through rows gets to a value, NaN where they are too few or too alike."""
    near, line = np.ones(len(ground_mps), bool), np.array([np.nan])
    for _ in range(2):
        if near.sum() < _FEWEST_NEXT_TO or np.ptp(indicated_mps[near]) < _LEAST_RANGE_MPS:
            return float("nan")
        line = np.polyfit(indicated_mps[near], ground_mps[near], 1)
        off = np.abs(ground_mps - np.polyval(line, indicated_mps))
        near = off <= _NEAR * median(off) + _NEAR_MPS  # without broken rows
    return float(np.polyval(line, shown_mps))


def sticking_step(ground_mps: FloatArray, indicated_mps: FloatArray, step_mps: float) -> float:
    """Return the step in which a display of figures moves that sticks, those of the figures where it does not. [m/s].

    One that sticks jumps when it moves, and never by little; one with play, or none, goes on as the speed does.

    Parameters
    ----------
    ground_mps, indicated_mps
        Speed at each row in order of time, and what was shown, shape (n,). [m/s]
    """
    begin, length = _holds(indicated_mps, step_mps)
    long = length[:-1] >= _HELD_ROWS
    if long.sum() < _FEWEST_HELD or length[length >= _HELD_ROWS].sum() < tuned.STICKS_SHARE * len(indicated_mps):
        return step_mps
    jumps = np.abs(np.diff(indicated_mps[begin]))[long]
    if np.percentile(jumps, 25) < tuned.STICKS_STEPS * step_mps + tuned.STICKS_MPS:
        return step_mps
    return held_spread(ground_mps, indicated_mps, step_mps)


def _holds(indicated_mps: FloatArray, step_mps: float) -> tuple[IntArray, IntArray]:
    """Return first row and number of rows of each stretch that shows one value."""
    begin = np.flatnonzero(np.concatenate(([True], np.abs(np.diff(indicated_mps)) > step_mps / 2)))
    return begin, np.diff(np.append(begin, len(indicated_mps)))


def held_spread(ground_mps: FloatArray, indicated_mps: FloatArray, step_mps: float) -> float:
    """Return by how much speeds differ while one value is shown anywhere but at the ends; a step at the least. [m/s].

    A needle that sticks, or a display of coarser steps than its figures, holds a value for longer than rounding does.
    """
    begin, length = _holds(indicated_mps, step_mps)
    shown = indicated_mps[begin]
    low, high = _ends(indicated_mps, step_mps, tuned.STOP_ROWS)
    inner = (length >= _HELD_ROWS) & (shown > low + step_mps / 2) & (shown < high - step_mps / 2)
    if inner.sum() < _FEWEST_HELD:
        return step_mps
    spread = np.maximum.reduceat(ground_mps, begin) - np.minimum.reduceat(ground_mps, begin)
    return max(step_mps, float(np.percentile(spread[inner], 75)))
