"""Readings that disagree one after the other, not strewn over all of them: then something was different there."""

from __future__ import annotations

import numpy as np

from speedcal.calibration.measured import WRONG
from speedcal.calibration.result import Calibration
from speedcal.calibration.tuning_rivals import FEWEST_ON_A_SIDE, WRONG_TOGETHER_EVIDENCE
from speedcal.finding import Finding
from speedcal.interval import BoolArray, FloatArray, IntArray


def wrong_together(calibration: Calibration) -> Finding | None:
    """Return the reason that notes of one stretch of the file disagree with all others, None where they are strewn."""
    table = calibration.readings
    wrong, line = table["reason"].to_numpy() == WRONG, table["line"].to_numpy(int)
    if wrong.sum() < FEWEST_ON_A_SIDE:
        return None
    told = np.flatnonzero(wrong | table["used"].to_numpy(bool))
    told = told[np.argsort(line[told], kind="stable")]
    wrong, lines = wrong[told], line[told]
    if wrong.all():
        return None
    first, beyond = np.triu_indices(len(wrong) + 1, 1)
    gain = log_apart(wrong, first, beyond)
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


def _log_share(part: IntArray, count: IntArray) -> FloatArray:
    """Return the log likelihood of so many of all at their own share."""
    share = np.clip(part / np.maximum(count, 1), 1e-9, 1 - 1e-9)
    return np.asarray(part * np.log(share) + (count - part) * np.log(1 - share))
