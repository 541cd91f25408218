"""Times that count the seconds of a week, beside a column with the number of the week (IS-GPS-200, 3.3.4)."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from speedcal.logs.drive.readings_built import Stamps
from speedcal.logs.tables.tabular import Table
from speedcal.logs.writing.headers import normal
from speedcal.logs.writing.numbers import parse_numbers
from speedcal.logs.writing.patterns import late_pattern

_WEEK = late_pattern(r"(?:gps|gnss)? ?(?:week|wk|wn|wno)(?: ?(?:no\.?|nr\.?|num|number))?")
_BEGIN_S, _WEEK_S = 315_964_800.0, 604_800.0
_FIRST_WEEK = 1024
"""A smaller number is one of ten bits, which begins anew every 1024 weeks and so tells no date."""
_LEAPS_S = (1_341_100_800.0, 1_435_708_800.0, 1_483_228_800.0)
"""UTC from which GPS has been 16, 17 and 18 s ahead of it (IERS Bulletins C 43, 49, 52); 15 s before."""


def in_weeks(table: Table, stamps: Stamps) -> Stamps:
    """Return elapsed times as the instants they are in the weeks of their rows; as they are without such a column."""
    index = next((i for i, name in enumerate(table.header) if _WEEK.fullmatch(normal(name))), None)
    if index is None or stamps.clock != "elapsed":
        return stamps
    week = parse_numbers(table.column(index), decimal_comma=False).values
    known = np.isfinite(week) & np.isfinite(stamps.time_s)
    of_week = (stamps.time_s[known] >= 0) & (stamps.time_s[known] <= _WEEK_S)
    if not known.any() or not of_week.all() or week[known].min() < _FIRST_WEEK or (week[known] % 1).any():
        return stamps
    time_s = _BEGIN_S + _WEEK_S * week + stamps.time_s
    time_s -= 15 + np.searchsorted(_LEAPS_S, time_s - 18, "right")
    return replace(stamps, time_s=time_s, clock="utc", findings=[])
