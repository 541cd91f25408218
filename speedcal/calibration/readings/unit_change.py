"""Readings that are in miles an hour up to some row and in kilometers from there on, or the other way round."""

from __future__ import annotations

import numpy as np

from speedcal.calibration.tuning import general as tuned
from speedcal.interval import FloatArray, median
from speedcal.units import MILE_M

_LN_UNITS = float(np.log(MILE_M / 1000))


def unit_change(ground_mps: FloatArray, indicated_mps: FloatArray) -> tuple[int, bool] | None:
    """Return the place of the first reading in the other unit, and whether those from there on are the larger ones.

    Parameters
    ----------
    ground_mps, indicated_mps
        True speed and reading in order of time, NaN where one is not known, shape (n,). [m/s]
    """
    with np.errstate(invalid="ignore"):
        rows = np.flatnonzero((ground_mps > tuned.UNIT_CHANGE_FROM_MPS) & (indicated_mps > 0))
    ratio = np.log(indicated_mps[rows] / ground_mps[rows])
    n = len(rows)
    fewest = max(tuned.UNIT_CHANGE_FEWEST, int(tuned.UNIT_CHANGE_PART * n))
    if n < 2 * fewest:
        return None
    clipped = np.clip(ratio, *(median(ratio) + 1.5 * _LN_UNITS * np.array([-1.0, 1.0])))
    first = np.arange(fewest, n - fewest + 1)
    before = np.cumsum(clipped)[first - 1]
    apart = (clipped.sum() - before) / (n - first) - before / first
    split = int(first[np.argmax(apart**2 * first * (n - first))])
    parts = ratio[:split], ratio[split:]
    step = median(parts[1]) - median(parts[0])
    near = np.concatenate([np.abs(part - median(part)) < tuned.UNIT_CHANGE_NEAR for part in parts])
    if abs(abs(step) - _LN_UNITS) > tuned.UNIT_CHANGE_WITHIN or near.mean() < tuned.UNIT_CHANGE_SHARE:
        return None
    return int(rows[split]), step > 0
