"""Rows that a free-running timer took, every 1.03 or 5.04 s, say, while their stamps were cut to whole seconds.

Most stamps are then as far apart as the usual step, and now and then one is skipped or stands twice, though the vehicle
went no farther and no less. Speed from positions every 1.03 s is 3 % too high nearly everywhere, and far too low where
one is skipped.
"""

from __future__ import annotations

import numpy as np

from speedcal.interval import FloatArray, IntArray

_FEWEST_ODD, _FEWEST_FIXES = 4, 60
"""Odd steps under way, and fixes, without which nothing is said of a cadence."""
_MOST_OF_TIME = 0.4
"""Share of what the time of a step is odd by that its way may be. Missing fixes come to 1, cut stamps to 0."""
_NEAR_LINE_S = 2.0
"""How far stamps of even fixes spread about their line: a second for the cut, and one for a timer that wanders."""
_LONGEST_STEP_S, _SLOWEST_M, _FARTHEST = 3.0, 2.0, 4.0
"""Longer steps are gaps; shorter ways tell nothing; a way that is odder is a jump of the receiver."""
_DEGREE_M, _MOSTLY_RECORDED = 111_200.0, 0.5
_FEWEST_LONGER, _EVEN_SPREAD, _MOST_OTHERS = 8, 0.3, 0.05
"""Longer steps that tell a timer, by how much the way from one to the next may vary (of missing rows it does by 1),
and the share of the rows that may step otherwise."""


def evenly_taken(
    time_s: FloatArray, segment: IntArray, latitude: FloatArray, longitude: FloatArray, speed: FloatArray
) -> tuple[FloatArray, float]:
    """Return times and period of fixes that were taken evenly, about a second apart; else the stamps, and 0.

    With a recorded speed stamps stay: it is right whatever they are, and readings of the same logger have the same.
    Those of a log would stray from it by a third of a second, and the answer be half as wide again.

    Parameters
    ----------
    time_s
        Stamps in the order of the file, shape (n,). [s]
    segment
        Piece of the track each lies in.
    latitude, longitude, speed
        Where they are, and what was recorded of the speed, NaN where nothing. [degrees, m/s]
    """
    step = np.diff(time_s)
    if len(time_s) < _FEWEST_FIXES or np.isfinite(speed).mean() > _MOSTLY_RECORDED:
        return time_s, 0.0
    if (step < 0).any() or (time_s != np.floor(time_s)).any() or np.median(step) != 1:
        return time_s, 0.0
    run = np.concatenate(([0], np.cumsum((step > _LONGEST_STEP_S) | (np.diff(segment) != 0))))
    if not _way_is_even(step, run, latitude, longitude):
        return time_s, 0.0
    place, since_s = np.arange(len(time_s), dtype=float), time_s - time_s[0]
    along, beside = place - mean_of_run(run, place), since_s - mean_of_run(run, since_s)
    period_s = float(along @ beside / (along @ along))
    left = beside - period_s * along
    return (time_s, 0.0) if np.ptp(left) > _NEAR_LINE_S else (time_s - left, period_s)


def mean_of_run(run: IntArray, values: FloatArray) -> FloatArray:
    """Return for each value the mean of its run."""
    return np.asarray((np.bincount(run, weights=values) / np.bincount(run))[run])


def _way_is_even(step: FloatArray, run: IntArray, latitude: FloatArray, longitude: FloatArray) -> bool:
    """Tell whether the way between fixes stays the same where the step of their stamps is not the usual second."""
    way = way_of_steps_m(latitude, longitude)
    beside = (way[:-2] + way[2:]) / 2
    odd = (step[1:-1] != 1) & (step[:-2] == 1) & (step[2:] == 1) & (beside > _SLOWEST_M) & (run[:-3] == run[3:])
    if odd.sum() < _FEWEST_ODD:
        return False
    by_time, by_way = step[1:-1][odd] - 1, np.minimum(way[1:-1][odd] / beside[odd], _FARTHEST) - 1
    return float(by_time @ by_way) < _MOST_OF_TIME * float(by_time @ by_time)


def way_of_steps_m(latitude: FloatArray, longitude: FloatArray) -> FloatArray:
    """Return about how far each fix lies from the one before it, shape (n - 1,). [m]."""
    east = np.diff(longitude) * np.cos(np.radians(latitude[:-1]))
    return np.asarray(_DEGREE_M * np.hypot(east, np.diff(latitude)))


def of_a_timer(time_s: FloatArray) -> tuple[FloatArray, float]:
    """Return times and period of rows that a timer wrote with stamps cut to whole seconds; else the stamps, and 0.

    A timer of 5.04 s steps by 5 s, and by 6 s every 24 rows, as evenly as nothing else does. So cut, each way between
    two rows but the longer ones is driven in less time than it took. A step of 2 s among steps of 1 s may as well be a
    row that is missing, and is left to :func:`evenly_taken`.

    Parameters
    ----------
    time_s
        Stamps, increasing, shape (n,). [s]
    """
    step = np.diff(time_s)
    if len(step) < _FEWEST_LONGER or (time_s != np.round(time_s)).any():
        return time_s, 0.0
    usual = float(np.median(step))
    sign = 1.0 if np.count_nonzero(step == usual + 1) > np.count_nonzero(step == usual - 1) else -1.0
    odd = step == usual + sign
    if np.mean(~odd & (step != usual)) > _MOST_OTHERS or usual < 2:
        return time_s, 0.0
    times, periods = time_s.copy(), []
    for piece in np.split(np.arange(len(time_s)), np.flatnonzero(~odd & (step != usual)) + 1):
        longer = np.flatnonzero(odd[piece[:-1]]) + 0.5
        apart = np.diff(longer)
        if len(longer) >= _FEWEST_LONGER and np.std(apart) <= _EVEN_SPREAD * np.mean(apart):
            period_s = usual + sign / float(apart.mean())
            ends = [longer[0] - 2 * apart.mean(), *longer, longer[-1] + 2 * apart.mean()]
            gained_s = np.interp(
                np.arange(len(piece)), ends, sign * np.array([-2, *range(len(longer)), len(longer) + 1])
            )
            times[piece] = usual * np.arange(len(piece)) + gained_s
            times[piece] += np.mean(time_s[piece] - times[piece])
            periods.append(period_s)
    return times, float(np.median(periods)) if periods else 0.0
