"""Readings that were left out because the needle stood lower than the others say, in spells, and came up again.

A gear that skips, a cable that slips and a sensor that misses pulses lose turns and win none, so the dial falls to a
share of the speed, or to nothing. A person's slips, and a track that errs, lie on both sides.
"""

from __future__ import annotations

import math

import numpy as np

from speedcal.calibration.dial.measured import WRONG
from speedcal.calibration.judged.noticed import is_of_log
from speedcal.calibration.result import Calibration
from speedcal.calibration.tuning.general import FALLS_APART_S, FALLS_BELOW, FALLS_BY_CHANCE, FALLS_LAST_S, FEWEST_FALLS
from speedcal.finding import Finding
from speedcal.interval import BoolArray, FloatArray

_USUAL = (0.1, 0.9)
"""Quantiles between which most falls lie."""


def falls_in_spells(calibration: Calibration) -> tuple[Finding, ...]:
    """Return the finding that the needle falls in spells, where what was left out says so."""
    table = calibration.readings
    wrong, away = table["reason"].to_numpy() == WRONG, table["residual_mps"].to_numpy()
    if not (wrong & (away < 0)).any():
        return ()
    time = table["time_s"].to_numpy()
    told = np.flatnonzero(wrong | table["used"].to_numpy(bool))
    told = told[np.argsort(time[told], kind="stable")]
    wrong, away = wrong[told], away[told]
    low, spells = wrong & (away < 0), 0
    if is_of_log(calibration):
        low, spells = _lasting(time[told], low)
        falls = spells >= FEWEST_FALLS and low.sum() >= FALLS_BELOW * wrong.sum()
    else:
        falls = _by_chance(int(low.sum()), int(wrong.sum())) <= FALLS_BY_CHANCE
    if not falls:
        return ()
    down = -away[low] / table["predicted_mps"].to_numpy()[told[low]]
    least, most = (float(share) for share in np.clip(np.quantile(down, _USUAL), 0.0, 1.0))
    return (Finding("needle_falls", count=int(low.sum()), total=len(told), spells=spells, least=least, most=most),)


def _lasting(time_s: FloatArray, low: BoolArray) -> tuple[BoolArray, int]:
    """Return which rows of a log lie low in spells that last, shape (n,), and how many spells those are.

    A row alone may be a broken one.
    """
    rows = np.flatnonzero(low)
    spell = np.concatenate(([0], np.cumsum(np.diff(time_s[rows]) > FALLS_APART_S)))
    first = np.flatnonzero(np.diff(spell, prepend=-1))
    last = np.append(first[1:], len(rows)) - 1
    lasts = time_s[rows[last]] - time_s[rows[first]] >= FALLS_LAST_S
    within = np.zeros(len(low), bool)
    within[rows[lasts[spell]]] = True
    return within, int(lasts.sum())


def _by_chance(low: int, wrong: int) -> float:
    """Return the chance that of readings wrong either way alike so many or more are low."""
    return sum(math.comb(wrong, k) for k in range(low, wrong + 1)) / 2.0**wrong
