"""Notes of a needle that fell during the drive and stayed down: a cable that broke, a sensor that died.

No dial shows such readings at speed, so all of them together fit no drive; those before it fell tell the dial as ever.
"""

from __future__ import annotations

from collections.abc import Callable
from contextlib import suppress
from dataclasses import replace

import numpy as np

from speedcal.calibration.dial.measured import DOWN, NO_GROUND, TOO_SLOW, WRONG, MeasuredLine
from speedcal.calibration.speed.ground_speed import GroundSpeed
from speedcal.calibration.tuning.notes import DOWN_BELOW, FEWEST_BELOW_END, FEWEST_NOTES_AT_STOP
from speedcal.calibration.tuning.track import SLOWEST_MPS
from speedcal.errors import AlignmentError
from speedcal.finding import Finding
from speedcal.interval import IntArray
from speedcal.logs.drive.readings import Readings


def with_needle_down(
    fit: Callable[[IntArray], MeasuredLine], readings: Readings, order: IntArray, ground: GroundSpeed
) -> MeasuredLine:
    """Return a fit of notes, of those before the needle fell for good where the rest fits no dial.

    Parameters
    ----------
    fit
        Fits some of the readings, in the order of all of them.
    readings
        What the instrument showed; ``order`` is that of their times.
    ground
        Ground speed of the drive: the vehicle has to go on while the needle is down.
    """
    shown = readings.speed_mps[order]
    up = 1 + int(np.flatnonzero(shown >= DOWN_BELOW * np.percentile(shown, 90))[-1])
    if up < FEWEST_BELOW_END or len(order) - up < FEWEST_NOTES_AT_STOP:
        return fit(order)
    line, refused = None, None
    try:
        line = fit(order)
    except AlignmentError as error:
        refused = error
    if line is None or {line.reason[row] for row in order[up:]} <= {WRONG, TOO_SLOW, NO_GROUND}:
        with suppress(AlignmentError):
            line = _before_it_fell(fit, readings, order, up, ground) or line
    if line is None:
        raise refused or AssertionError
    return line


def _before_it_fell(
    fit: Callable[[IntArray], MeasuredLine], readings: Readings, order: IntArray, up: int, ground: GroundSpeed
) -> MeasuredLine | None:
    """Return the fit of the first readings, the others told to be of a needle that is down; None if it was not."""
    line = fit(order[:up])
    speed, _, inside = ground.at(line.time_s[order[up:]])
    down = order[up:][inside & (speed >= SLOWEST_MPS)]
    if len(down) < FEWEST_NOTES_AT_STOP:
        return None
    reason = np.array(line.reason, object)
    reason[down] = DOWN
    found = Finding("needle_down", count=len(down), line=int(readings.line[down[0]]))
    return replace(line, reason=tuple(reason), reasons=(found, *line.reasons))
