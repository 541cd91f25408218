"""Minutes in which one of log and track stands still, or is stuck, while the other goes on: no evidence about a dial.

A vehicle on a ferry, on a trailer or on the hook with its ignition off reads zero while the receiver moves; its wheels
turn on a stand, or out of the receiver's sight, while the track stands; a display hangs. All of these show what a dial
cannot that shows more at a higher speed, which a needle at an end of its scale and a dial with a lowest mark can.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from speedcal.calibration.dial.measured import APART
from speedcal.calibration.speed.ground_speed import GroundSpeed
from speedcal.calibration.tuning.logs import APART_MPS, APART_S
from speedcal.calibration.tuning.track import SLOWEST_MPS
from speedcal.finding import Finding
from speedcal.interval import BoolArray, FloatArray, median
from speedcal.units import DisplayUnit

if TYPE_CHECKING:
    import pandas as pd

_FEWEST_OF_SPEED = 5
"""Rows by which it is known what is shown at speeds a m/s wide."""
_TOP_MPS = 100.0


def rows_apart(time_s: FloatArray, ground_mps: FloatArray, indicated_mps: FloatArray, step_mps: float) -> BoolArray:
    """Tell for each row of a log whether it lies in minutes in which log and track do not belong together, shape (n,).

    Parameters
    ----------
    time_s
        Times in order, shape (n,). [s]
    ground_mps, indicated_mps
        Speed at each row, NaN where it is not known, and what was shown, shape (n,). [m/s]
    """
    known = np.isfinite(ground_mps)
    ground = np.clip(np.where(known, ground_mps, 0.0), 0.0, _TOP_MPS)
    stuck = np.concatenate(([False], np.abs(np.diff(indicated_mps)) <= step_mps / 2))
    stands = known & (ground < SLOWEST_MPS)
    stretches = [*_lasting(time_s, ~stuck), *_lasting(time_s, ~stands | np.concatenate(([True], ~stands[:-1])))]
    apart = np.zeros(len(time_s), bool)
    if not stretches:
        return apart
    plain = known.copy()
    for rows in stretches:
        plain[rows] = False
    least, most = _shown_at(ground[plain], indicated_mps[plain])
    cell = ground.astype(np.int64)
    against = known & (np.maximum(least[cell] - indicated_mps, indicated_mps - most[cell]) > APART_MPS)
    usual_s = median(np.diff(time_s))  # of a logger that pauses two rows may span minutes
    for rows in stretches:
        here = rows.start + np.flatnonzero(against[rows])
        if len(here) * usual_s >= APART_S:
            apart[here[0] : here[-1] + 1] = True
    return apart


def minutes_apart(table: pd.DataFrame, ground: GroundSpeed, unit: DisplayUnit) -> tuple[Finding, ...]:
    """Return the finding that minutes were left out, and which."""
    if not (table["reason"].to_numpy() == APART).any():
        return ()
    table = table[np.isfinite(table["time_s"])].sort_values("time_s", kind="stable")
    apart = (table["reason"] == APART).to_numpy()
    number = np.cumsum(np.diff(apart, prepend=False))
    table = table.assign(ground_mps=ground.at(table["time_s"].to_numpy())[0])
    rows = [
        {
            "first": int(part["line"].iloc[0]),
            "last": int(part["line"].iloc[-1]),
            "lasts_s": float(np.ptp(part["time_s"])),
            "shown_mps": float(part["indicated_mps"].median()),
            "ground_mps": float(part["ground_mps"].median()),
        }
        for _, part in table[apart].groupby(number[apart])
    ]
    return (Finding("minutes_apart", rows=rows, unit=unit),)


def _lasting(time_s: FloatArray, begins: BoolArray) -> list[slice]:
    """Return the rows of each stretch that is long enough to count, of those that begin where it is said."""
    first = np.flatnonzero(begins)
    end = np.append(first[1:], len(time_s))
    long = time_s[end - 1] - time_s[first] >= APART_S
    return [slice(int(a), int(b)) for a, b in zip(first[long], end[long], strict=True)]


def _shown_at(ground_mps: FloatArray, indicated_mps: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return the least and the most that a dial shows at speeds a m/s apart, by what it shows below and above them."""
    speeds = np.arange(_TOP_MPS + 1)
    cell = ground_mps.astype(np.int64)
    shown = indicated_mps[np.lexsort((indicated_mps, cell))]
    count = np.bincount(cell, minlength=len(speeds))
    middle = np.cumsum(count) - (count + 1) // 2
    known = np.flatnonzero(count >= _FEWEST_OF_SPEED)
    if not len(known):
        return np.full(len(speeds), -np.inf), np.full(len(speeds), np.inf)
    usual = np.full(len(speeds), np.nan)
    usual[known] = shown[middle[known]]
    above = known[np.minimum(np.searchsorted(known, speeds), len(known) - 1)]
    # in a gap it is a share of the next one above, since no dial waits for a high speed with its first mark
    filled = np.where(np.isnan(usual) & (speeds < above), usual[above] * speeds / above.clip(1), usual)
    least = np.fmax.accumulate(filled)
    most = np.fmin.accumulate(usual[::-1])[::-1]
    return np.nan_to_num(least, nan=-np.inf), np.nan_to_num(most, nan=np.inf)
