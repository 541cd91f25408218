"""Notes that one clock leaves in doubt, laid on the track by a watch that was set on the way where they ask for it."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass, replace
from functools import partial

import numpy as np

from speedcal.calibration.dial.measured import NO_GROUND, WRONG, MeasuredLine
from speedcal.calibration.noted.watch_steps import likeliest_step
from speedcal.calibration.noted.weigh_noted import Weighed
from speedcal.calibration.noted.wrong_together import log_apart
from speedcal.calibration.readings.clock_search import Shift
from speedcal.calibration.speed.ground_speed import GroundSpeed
from speedcal.calibration.tuning.general import WRONG_BETA
from speedcal.calibration.tuning.notes import ASSOCIATION_FROM
from speedcal.calibration.tuning.rivals import WATCH_ASKED_FROM, WATCH_SET_EVIDENCE, WATCH_SET_RESCUES
from speedcal.errors import AlignmentError
from speedcal.finding import Finding
from speedcal.interval import FloatArray, IntArray

_LOG_WRONG = float(np.log(WRONG_BETA[0] / sum(WRONG_BETA)))
"""What a note costs that a step moves off the track: as much as a wrong one."""
_ROUGHLY = 4.0
"""By how much the odds of the search may be wrong."""


def with_watch_set(
    weigh: Callable[..., Weighed],
    fit: Callable[[Weighed, Callable[[GroundSpeed], Weighed]], MeasuredLine],
    ground: GroundSpeed,
    shifts: list[Shift],
    log_prior: Callable[[FloatArray], FloatArray],
    lines: IntArray,
) -> MeasuredLine:
    """Return a fit of notes, with their watch set on the way where one clock leaves doubts and they say so.

    Parameters
    ----------
    weigh
        Weighs the notes beside any course of the speed, with other times and shifts if they are given.
    fit
        Fits weighed notes, and weighs them beside other courses as it likes.
    shifts, log_prior
        Clock offsets with lines to start from, and the log density of clock offsets.
    lines
        Where each note stands in the file, shape (n,).
    """
    one = weigh(ground)
    set_once = partial(_set_once, weigh, one, ground, shifts, log_prior, lines)
    try:
        plain = fit(one, weigh)
    except AlignmentError:
        # most of the notes that one clock leaves out altogether are of another drive
        if (stepped := set_once(WATCH_SET_RESCUES)) is None:
            raise
        return stepped.fitted(fit)
    if _doubtful(plain, lines) and (stepped := set_once(WATCH_SET_EVIDENCE)):
        with suppress(AlignmentError):
            return stepped.fitted(fit)
    return plain


def _doubtful(line: MeasuredLine, lines: IntArray) -> bool:
    """Tell whether one clock leaves doubts: another explanation of the notes, or wrong ones that lie together.

    Those at one end are held against as many strewn over all of them, by the likelihood of two shares and of one.
    """
    wrong = np.array([reason in (WRONG, NO_GROUND) for reason in line.reason])[np.argsort(lines)]
    split, none = np.arange(1, len(wrong)), np.zeros(len(wrong) - 1, np.int64)
    at_begin, at_end = log_apart(wrong, none, split), log_apart(wrong, split, none + len(wrong))
    return bool(line.reasons) or max(at_begin.max(initial=0.0), at_end.max(initial=0.0)) > WATCH_ASKED_FROM


@dataclass(frozen=True, slots=True)
class _Stepped:
    """Notes as a watch that was set puts them."""

    weighed: Weighed
    weigh: Callable[[GroundSpeed], Weighed]
    """Weighs them beside another course of the speed."""
    step: Finding

    def fitted(self, fit: Callable[[Weighed, Callable[[GroundSpeed], Weighed]], MeasuredLine]) -> MeasuredLine:
        """Fit them, and tell the step."""
        return replace(fit(self.weighed, self.weigh), findings=(self.step,))


def _set_once(
    weigh: Callable[..., Weighed],
    one: Weighed,
    ground: GroundSpeed,
    shifts: list[Shift],
    log_prior: Callable[[FloatArray], FloatArray],
    lines: IntArray,
    least: float,
) -> _Stepped | None:
    """Return notes as a watch that was set puts them, None where that is not so much likelier than one clock."""
    order = np.argsort(lines)
    step = likeliest_step(ground, one.notes.only(order), shifts, log_prior)
    if step is None or step.log_odds + min(0.0, one.log_evidence - ASSOCIATION_FROM) < least - _ROUGHLY:
        return None
    time = one.notes.time_s.copy()
    time[order] += step.late_s
    set_s = float(time[order][step.first - 1 : step.first + 1].mean()) + step.shift.offset_s

    def beside(course: GroundSpeed) -> Weighed:
        weighed = weigh(course, time_s=time, shifts=[step.shift])
        return replace(weighed, log_evidence=weighed.log_evidence + step.log_paid, set_s=set_s)

    weighed = beside(ground)
    beside_track = int(one.cells.seen.sum()) - int(weighed.cells.seen.sum())
    gain = weighed.cells.log_evidence + step.log_paid - one.cells.log_evidence
    if gain + max(beside_track, 0) * _LOG_WRONG < least:
        return None
    rows = [{"line": int(lines[order[step.first]]), "forward_s": step.forward_s}]
    return _Stepped(weighed, beside, Finding("clock_stepped", rows=rows))
