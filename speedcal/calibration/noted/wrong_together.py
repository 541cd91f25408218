"""Readings that disagree one after the other, not strewn over all of them: then something was different there.

The more so where all of them disagree by one part of the speed, as those of another dial or on other tires do.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from speedcal.calibration.dial.measured import NO_GROUND, WRONG
from speedcal.calibration.result import Calibration
from speedcal.calibration.tuning.general import WRONG_BETA, WRONG_SPREAD_MPS
from speedcal.calibration.tuning.notes import SCATTER_MPS
from speedcal.calibration.tuning.rivals import FEWEST_ON_A_SIDE, OTHER_DIAL_MOST, RAN_BACK_S, WRONG_TOGETHER_EVIDENCE
from speedcal.finding import Finding
from speedcal.interval import BoolArray, FloatArray, IntArray

if TYPE_CHECKING:
    import pandas as pd

_PARTS = 121


def wrong_together(calibration: Calibration) -> Finding | None:
    """Return the reason that notes of one stretch of the file disagree with all others, None where they are strewn."""
    table = calibration.readings.sort_values("line", kind="stable")
    wrong, line = table["reason"].to_numpy() == WRONG, table["line"].to_numpy(int)
    if np.diff(table["time_s"].to_numpy(float)).min(initial=0.0) < -RAN_BACK_S:
        # a clock was set there; what then lies beside the track may be beside it for being of another drive
        wrong |= table["reason"].to_numpy() == NO_GROUND
    if wrong.sum() < FEWEST_ON_A_SIDE:
        return None
    told = np.flatnonzero(wrong | table["used"].to_numpy(bool))
    wrong, lines = wrong[told], line[told]
    if wrong.all():
        return None
    first, beyond = np.triu_indices(len(wrong) + 1, 1)
    gain = log_apart(wrong, first, beyond) + _log_alike(table.iloc[told], wrong, first, beyond, calibration.scatter_mps)
    at_end = (first == 0) | (beyond == len(wrong))
    gain = np.where(at_end, gain - np.log(at_end.sum()), gain - np.log(max((~at_end).sum(), 1)))
    best = int(np.argmax(gain))
    if gain[best] < WRONG_TOGETHER_EVIDENCE:
        return None
    row = slice(int(first[best]), int(beyond[best]))
    return Finding(
        "wrong_together",
        first_line=int(lines[row][0]),
        last_line=int(lines[row][-1]),
        wrong=int(wrong[row].sum()),
        total=int(wrong[row].size),
    )


def log_apart(wrong: BoolArray, first: IntArray, beyond: IntArray) -> FloatArray:
    """Return the log likelihood ratio of a greater share of wrong readings in each stretch against one share for all.

    Parameters
    ----------
    wrong
        Which readings are wrong, in the order of the file, shape (n,).
    first, beyond
        Number of the first reading of each stretch, and of the first after it, shape (m,).
    """
    before = np.concatenate(([0], np.cumsum(wrong)))
    inside, length = before[beyond] - before[first], beyond - first
    outside, rest = before[-1] - inside, len(wrong) - length
    gain = _log_share(inside, length) + _log_share(outside, rest) - _log_share(before[-1:], np.array([len(wrong)]))
    return np.asarray(np.where(inside * rest > outside * length, gain, 0.0))


def _log_alike(
    table: pd.DataFrame, wrong: BoolArray, first: IntArray, beyond: IntArray, scatter_mps: float
) -> FloatArray:
    """Return how much likelier the wrong readings of each stretch are if they may all be of one other dial.

    Such a dial shows one part more or less than this one; what is wrong otherwise may be anything.
    """
    wrong = wrong & (table["reason"].to_numpy() == WRONG)
    parts = np.linspace(-OTHER_DIAL_MOST, OTHER_DIAL_MOST, _PARTS)
    off, shown = table["residual_mps"].to_numpy(float), table["predicted_mps"].to_numpy(float)
    sd = float(np.hypot(scatter_mps, SCATTER_MPS))
    density = np.exp(-0.5 * ((off[:, None] - parts * shown[:, None]) / sd) ** 2) / (sd * np.sqrt(2 * np.pi))
    share = WRONG_BETA[0] / sum(WRONG_BETA)
    gain = np.where(wrong[:, None], np.log((1 - share) * density * WRONG_SPREAD_MPS + share), 0.0)
    before = np.concatenate([np.zeros((1, _PARTS)), np.cumsum(gain, axis=0)])
    of_one = np.logaddexp.reduce(before[beyond] - before[first], axis=1) - np.log(_PARTS)
    return np.asarray(np.logaddexp(of_one, 0.0) - np.log(2))


def _log_share(part: IntArray, count: IntArray) -> FloatArray:
    """Return the log likelihood of so many of all at their own share."""
    share = np.clip(part / np.maximum(count, 1), 1e-9, 1 - 1e-9)
    return np.asarray(part * np.log(share) + (count - part) * np.log(1 - share))
