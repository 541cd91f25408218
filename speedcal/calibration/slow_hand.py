"""Notes whose times are written down late, by some seconds that are others each time, as those of dictation are."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import suppress
from dataclasses import replace

import numpy as np

from speedcal.calibration.measured import MeasuredLine, with_shared
from speedcal.calibration.rival_odds import SECOND_READER
from speedcal.calibration.tuning import DOUBTED_FROM, SLOW_HAND_DOUBT, SLOW_HAND_ODDS, SLOW_HAND_S
from speedcal.errors import AlignmentError


def with_slow_hand(fit: Callable[[float], MeasuredLine], usual: MeasuredLine) -> MeasuredLine:
    """Return notes that look like those of two watches as of one slow hand, where that is the likelier.

    What doubts them is held against one reader of either hand.

    Parameters
    ----------
    fit
        Fits the notes for a standard uncertainty of their times. [s]
    usual
        What it makes of them at the usual one.
    """
    if usual.doubt > SLOW_HAND_DOUBT or all(reason.code != "two_readers" for reason in usual.reasons):
        return usual
    with suppress(AlignmentError):
        slow = fit(SLOW_HAND_S)
        log_odds = float(np.log(SLOW_HAND_ODDS)) + slow.log_evidence - usual.log_evidence
        doubt = np.logaddexp(usual.doubt, slow.doubt + log_odds) - np.logaddexp(0.0, log_odds)
        if log_odds > 0 and max(doubt, slow.doubt) < DOUBTED_FROM:
            return _with_part_of(usual, slow, 1 / (1 + np.exp(log_odds)))
    return usual


def _with_part_of(usual: MeasuredLine, slow: MeasuredLine, part: float) -> MeasuredLine:
    """Return the fit of a slow hand; as far as it is the usual one, a second reader may have seen otherwise."""
    beside = part * np.full_like(slow.habits[SECOND_READER], usual.habits[SECOND_READER][0, 0])
    wider = with_shared(slow, {SECOND_READER: beside})
    return replace(wider, habits={**wider.habits, SECOND_READER: slow.habits[SECOND_READER] + beside})
