"""Notes beside other courses of the speed than that of the track: how much likelier, and one answer of several.

A needle that hangs follows another course, and so does a vehicle whose positions were smoothed.
"""

from __future__ import annotations

import numpy as np

from speedcal.calibration.dial.measured import MeasuredLine, with_shared
from speedcal.calibration.noted.clock_posterior import best_moments
from speedcal.calibration.noted.weigh_noted import Weighed
from speedcal.calibration.tuning.general import FEW_READINGS, WRONG_BELOW
from speedcal.calibration.tuning.track import SLOWEST_MPS
from speedcal.interval import FloatArray

_EXACT = 1e-9
"""Sum of squares below which readings lie on a line for all that matters."""


def gain_by(more_mps: FloatArray, weighed: Weighed) -> float:
    """Return the log likelihood ratio of a course with so much more speed at each fix, shape (n,) [m/s], roughly.

    Of normal errors about a line, at the moments found without it; what a late clock does as well is left out of both.
    """
    ground, notes, cells = weighed.ground, weighed.notes, weighed.cells
    good, moment, speed, inside = best_moments(ground, notes, cells, int(np.argmax(cells.log_mass)))
    use = (good > WRONG_BELOW) & inside & (speed >= SLOWEST_MPS)
    if use.sum() < FEW_READINGS:
        return -np.inf
    moment, speed, shown = moment[use], speed[use], notes.indicated_mps[use]
    rate = ground.at(moment)[1]

    def left(course_mps: FloatArray) -> float:
        design = np.column_stack([np.ones(len(shown)), course_mps, rate])
        off = shown - design @ np.linalg.lstsq(design, shown, rcond=None)[0]
        return float(off @ off)

    along = left(speed + np.interp(moment, ground.time_s, more_mps))
    return float(len(shown) / 2 * np.log(max(left(speed), _EXACT) / max(along, _EXACT)))


def likeliest(ways: list[tuple[float, MeasuredLine]], why: str) -> MeasuredLine:
    """Return the likeliest of several fits by their shares, with how far the others tell otherwise as a budget line."""
    _, best = max(ways, key=lambda way: way[0])
    if len(ways) == 1:
        return best
    knots, whole = best.dial.knots_mps, sum(share for share, _ in ways)
    apart = [(share / whole, one.dial.indicated(knots) - best.dial.shown_mps) for share, one in ways]
    return with_shared(best, {why: np.sum([share * np.outer(off, off) for share, off in apart], axis=0)})
