"""Notes of a scale that ends below the speeds driven: the needle lies at its stop, or a display shows its last figure.

Such readings turn every line, and then nothing fits the drive. With a dial that goes no farther than its end they tell
when they were taken, and nothing of the dial; the others tell the dial as ever.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np

from speedcal.calibration.dial.measured import MeasuredLine
from speedcal.calibration.noted.clock_posterior import best_moments
from speedcal.calibration.noted.weigh_noted import Weighed
from speedcal.calibration.readings.clock_search import Shift
from speedcal.calibration.tuning import notes as tuned
from speedcal.errors import AlignmentError
from speedcal.interval import BoolArray, FloatArray


def with_scale_end(
    plainly: Callable[[], MeasuredLine],
    indicated_mps: FloatArray,
    step_mps: float,
    *,
    search: Callable[[BoolArray], list[Shift]],
    weigh: Callable[..., Weighed],
    fit: Callable[[Weighed], MeasuredLine],
) -> tuple[MeasuredLine, BoolArray]:
    """Return a fit of notes, of those below the end of the scale where nothing else makes them fit, and who is not.

    Parameters
    ----------
    plainly
        Fits them as those of a scale that does not end, or refuses them.
    indicated_mps, step_mps
        Readings, shape (n,), and their step. [m/s]
    search
        Finds clock offsets for some of them.
    weigh
        Weighs all of them, from other shifts and with a scale that ends if those are given.
    fit
        Fits weighed notes.
    """
    try:
        return plainly(), np.zeros(len(indicated_mps), bool)
    except AlignmentError:
        ended = _ended(indicated_mps, step_mps, search, weigh)
        if ended is None:
            raise
        below, at_end = ended
        return fit(below), at_end


def _ended(
    indicated_mps: FloatArray,
    step_mps: float,
    search: Callable[[BoolArray], list[Shift]],
    weigh: Callable[..., Weighed],
) -> tuple[Weighed, BoolArray] | None:
    """Return the notes below the end of a scale, with the odds of all that they belong, and who is not of them.

    None where nothing says that it ends.
    """
    # who looks at an end notes one of two or three figures
    shows_end = indicated_mps >= indicated_mps.max() - 2.5 * step_mps
    if (
        shows_end.sum() < max(tuned.FEWEST_NOTES_AT_STOP, tuned.END_SHOWN * len(shows_end))
        or (~shows_end).sum() < tuned.FEWEST_BELOW_END
    ):
        return None
    weighed = weigh(shifts=search(~shows_end), top_mps=float(np.median(indicated_mps[shows_end])))
    log_evidence = weighed.log_evidence + float(np.log(tuned.END_SHARE))
    if log_evidence < tuned.END_RESCUES or weighed.log_evidence - weigh().log_evidence < tuned.END_EVIDENCE:
        return None
    notes, cells = weighed.notes, weighed.cells
    best = int(np.argmax(cells.log_mass))
    # by speed too: those shown alone would leave the ones that err away from the end
    _, _, speed, inside = best_moments(weighed.ground, notes, cells, best)
    at_end = shows_end | (inside & (cells.offset_mps[best] + cells.gain[best] * speed > notes.top_mps))
    below = np.flatnonzero(~at_end)
    if len(below) < tuned.FEWEST_BELOW_END:
        return None
    of_notes = {name: getattr(cells, name)[:, below] for name in ("right", "on_track", "share", "speed_mps")}
    of_below = replace(weighed, notes=notes.only(below), cells=replace(cells, **of_notes), log_evidence=log_evidence)
    return replace(of_below, at_end_s=notes.time_s[at_end]), at_end
