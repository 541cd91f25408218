"""Clocks that were never set: the seconds since they began are all that their times say."""

from __future__ import annotations

import numpy as np

from speedcal.interval import FloatArray
from speedcal.logs import limits


def since_begin(time_s: FloatArray) -> tuple[int, FloatArray] | None:
    """Return the year in which the clock begins, and the seconds since; None for a clock that was set.

    Parameters
    ----------
    time_s
        Seconds since 1970-01-01 UTC, NaN where there is none.
    """
    known = time_s[np.isfinite(time_s)]
    for begin_s, year in limits.CLOCKS_BEGIN_S.items():
        if len(known) and (np.abs(known - begin_s - limits.UNSET_MIDDLE_S) <= limits.UNSET_REACH_S).all():
            return year, time_s - begin_s
    return None
