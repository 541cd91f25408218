"""Whether two speeds are one series, moved in time, shifted by a constant or written in another unit."""

from __future__ import annotations

import numpy as np

from speedcal.interval import FloatArray, IntArray
from speedcal.units import SPEED_UNIT_MPS

Series = tuple[FloatArray, FloatArray, float]
"""Times [s], speeds [m/s] and the step of the speeds [m/s]."""

_MOST_ROWS, _ENOUGH_ROWS = 1500, 300
"""Rows that are held against the track, and those that tell how late a copy is."""
_FEWEST_CHANGING = 60
_DELAYS_S = np.arange(-3.0, 3.01, 0.25)
_FINER_S = np.arange(-0.25, 0.251, 0.05), np.arange(-0.04, 0.041, 0.02)
_LONGEST_STEP_S = 6.0
_ACCELERATING_MPS2 = 0.4
_MOVING_MPS = 2.0
_NEAR_UNIT = 0.004
"""How far the ratio of two series may be from one of units; beyond, it is the error of an instrument."""
_ROUNDED_SLOPE = 0.25
"""How much rounding turns a series whose turning points lie between two steps: so many steps over its whole range."""
_ROUNDING, _SAME_MPS, _FINE_MPS, _SAME_FINE_MPS = 0.505, 0.02, 0.05, 0.06
_SHARE = 0.97
_LARGEST_OFFSET_MPS = 3.0
_MEAN_SIGMAS = 4.0
_EVEN = 1.15
"""Times the spread that one rounding leaves; two series that were each rounded for themselves lie farther apart."""
_GRID_S, _LONGEST_GRID = 1.0, 1 << 20
_RATIOS = np.array(sorted({round(a / b, 9) for a in SPEED_UNIT_MPS.values() for b in SPEED_UNIT_MPS.values()}))


def is_moved_copy(recorded: Series, shown: Series, shifts: list[float]) -> bool:
    """Tell whether what was shown is the recorded speed over again.

    Whatever was done to it, a copy has no scatter beyond rounding when the vehicle speeds up; an instrument of its own
    has its own.

    Parameters
    ----------
    shifts
        What the clock of the second may be off, to the nearest seconds; where it is off altogether is found. [s]
    """
    clock, speed, _ = recorded
    keep = slice(None, None, max(len(shown[0]) // _MOST_ROWS, 1))
    time_s, values = shown[0][keep], shown[1][keep]
    some = slice(None, None, max(len(time_s) // _ENOUGH_ROWS, 1))
    tried: list[float] = []
    for shift in (*shifts, _likeliest(clock, speed, shown[0], shown[1])):
        if any(abs(shift - other) < _DELAYS_S[-1] / 2 for other in tried):
            continue
        tried.append(shift)
        best = _closest(_DELAYS_S + shift, clock, speed, time_s[some], values[some])
        pair = _pair(clock, speed, time_s + best, values)
        if abs(_unit_and_slope(*pair)[1] - 1.0) > 2 * _near_unit(pair[1], shown[2]):
            continue
        for steps in _FINER_S:
            best = _closest(steps + best, clock, speed, time_s, values)
        if _is_same(recorded, (time_s + best, values, shown[2])):
            return True
    return False


def _likeliest(clock: FloatArray, speed: FloatArray, time_s: FloatArray, shown: FloatArray) -> float:
    """Return the shift at which the two go together best, by the correlation of both on a grid. [s]."""
    one, other = _on_grid(clock, speed), _on_grid(time_s, shown)
    n = len(one) + len(other)
    if n > _LONGEST_GRID:
        return 0.0
    product = np.fft.irfft(np.fft.rfft(one, n) * np.conj(np.fft.rfft(other, n)), n)
    lag = int(np.argmax(product))
    return float(clock[0] - time_s[0] + _GRID_S * (lag if lag < len(one) else lag - n))


def _on_grid(time_s: FloatArray, speed: FloatArray) -> FloatArray:
    span = float(min(time_s.max() - time_s.min(), _LONGEST_GRID))
    grid = time_s.min() + _GRID_S * np.arange(int(span / _GRID_S) + 1)
    order = np.argsort(time_s, kind="stable")
    found = np.interp(grid, time_s[order], speed[order])
    return np.asarray(found - found.mean())


def _beside(clock: FloatArray, speed: FloatArray, time_s: FloatArray) -> FloatArray:
    """Return the recorded speed at each time; NaN outside and across gaps."""
    found = np.interp(time_s, clock, speed, left=np.nan, right=np.nan)
    step_s = np.diff(clock)
    if step_s.max() > _LONGEST_STEP_S:
        found[step_s[_step_of(clock, time_s)] > _LONGEST_STEP_S] = np.nan
    return found


def _step_of(clock: FloatArray, time_s: FloatArray) -> IntArray:
    """Return which of the steps from fix to fix each time lies in."""
    return np.clip(np.searchsorted(clock, time_s), 1, len(clock) - 1) - 1


def _pair(clock: FloatArray, speed: FloatArray, time_s: FloatArray, shown: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return what was recorded and what was shown under way at the same times."""
    truth = _beside(clock, speed, time_s)
    moving = np.isfinite(truth) & (truth > _MOVING_MPS)
    return truth[moving], shown[moving]


def _unit_and_slope(truth: FloatArray, shown: FloatArray) -> tuple[float, float]:
    """Return the ratio of units nearest to that of two series, and how far theirs is from it, 1 for not at all."""
    if len(truth) < _FEWEST_CHANGING or not np.ptp(truth):
        return 1.0, np.inf
    slope = float(np.polyfit(truth, shown, 1)[0])
    ratio = float(_RATIOS[np.argmin(np.abs(_RATIOS - slope))])
    return ratio, slope / ratio


def _near_unit(shown: FloatArray, step: float) -> float:
    """Return how far the ratio of two series may be from one of units, the second in steps."""
    return _NEAR_UNIT + _ROUNDED_SLOPE * step / max(float(np.ptp(shown)) if len(shown) else 0.0, step, 1e-9)


def _closest(shifts: FloatArray, clock: FloatArray, speed: FloatArray, time_s: FloatArray, shown: FloatArray) -> float:
    """Return the shift at which the shown speed scatters least about a line through the recorded one."""
    truth = _beside(clock, speed, (time_s + shifts[:, None]).ravel()).reshape(len(shifts), -1)
    known = np.isfinite(truth)
    count = known.sum(axis=1)
    x, y = np.where(known, truth, 0.0), np.where(known, shown, 0.0)
    mean_x, sum_y = x.sum(axis=1) / np.maximum(count, 1), y.sum(axis=1)
    xx, xy, yy = ((one * other).sum(axis=1) for one, other in ((x, x), (x, y), (y, y)))
    variance = xx - mean_x**2 * count
    scatter = yy - sum_y**2 / np.maximum(count, 1) - (xy - mean_x * sum_y) ** 2 / np.maximum(variance, 1e-9)
    told = (count >= max(_FEWEST_CHANGING, len(shown) // 2)) & (variance > 0)
    return float(shifts[np.argmin(np.where(told, scatter / np.maximum(count, 1), np.inf))])


def _is_same(recorded: Series, shown: Series) -> bool:
    clock, speed, _ = recorded
    truth, step = _beside(clock, speed, shown[0]), _step_of(clock, shown[0])
    rate = np.abs(np.diff(speed) / np.diff(clock))[step]
    known = np.isfinite(truth) & (truth > _MOVING_MPS)
    changing = known & (rate >= _ACCELERATING_MPS2)
    if changing.sum() < _FEWEST_CHANGING:
        return False
    ratio, slope = _unit_and_slope(truth[known], shown[1][known])
    if abs(slope - 1.0) > _near_unit(shown[1][known], shown[2]):
        return False
    left = shown[1] - ratio * truth
    middle, mean = float(np.mean(np.quantile(left[changing], (0.01, 0.99)))), float(left[changing].mean())
    loose = _MEAN_SIGMAS * float(left[changing].std()) / np.sqrt(changing.sum()) + _SAME_MPS
    offset = middle if abs(middle - mean) <= loose else mean  # rounding spreads evenly: then its middle is sharp
    slack = _ROUNDING * shown[2] + (_SAME_MPS if shown[2] > _FINE_MPS else _SAME_FINE_MPS)
    if left[changing].std() > _EVEN * shown[2] / np.sqrt(12) + slack - _ROUNDING * shown[2]:
        return False
    same = np.abs(left - offset) <= slack
    return abs(offset) < _LARGEST_OFFSET_MPS and bool(same[known].mean() >= _SHARE <= same[changing].mean())
