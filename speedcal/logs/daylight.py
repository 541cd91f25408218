"""The hour that local clocks leave out or show twice when daylight saving changes in the middle of a drive."""

from __future__ import annotations

import numpy as np

from speedcal.finding import Finding
from speedcal.interval import FloatArray

_HOUR_S = 3600.0
_LONGEST_PAUSE_S = 600.0


def undo_change(values_s: FloatArray) -> tuple[FloatArray, list[Finding]]:
    """Return local times with a change of daylight saving taken out, so that they run on from the first part.

    Clocks change at a full hour. A step back from just before a full hour to just after the one before is taken as
    the end of daylight saving (at least six stamps, usually within ten minutes of each other); a step from just
    before a full hour to just after the next as its begin, only in dense logs (at least 20 stamps, one every 10 s
    or oftener), where a pause of exactly an hour is no chance.
    """
    times = values_s[np.isfinite(values_s)]
    steps = np.diff(times)
    usual = float(np.median(np.abs(steps))) if len(steps) else np.inf
    if len(times) < 6 or usual > _LONGEST_PAUSE_S:
        return values_s, []
    slack = max(120.0, 3 * usual) if usual > 10 else max(5.0, 3 * usual)
    before, after = times[:-1] % _HOUR_S, times[1:] % _HOUR_S
    at_hour = (before >= _HOUR_S - slack) & (after <= slack)
    back = at_hour & (np.abs(steps + _HOUR_S - usual) <= 2 * slack) & (steps < -_HOUR_S / 2) & (steps >= -_HOUR_S)
    ahead = at_hour & (np.abs(steps - _HOUR_S - usual) <= 2 * slack) & (len(times) >= 20) & (usual <= 10)
    changes = np.flatnonzero(back | ahead)
    if len(changes) != 1:
        return values_s, []
    ends = bool(back[changes[0]])
    position = np.flatnonzero(np.isfinite(values_s))[changes[0]]
    result = values_s.copy()
    result[position + 1 :] += _HOUR_S if ends else -_HOUR_S
    word = "end" if ends else "begin"
    text = f"the clock jumps by an hour at a full hour: taken as the {word} of daylight saving and undone"
    return result, [Finding("daylight_saving", text)]
