"""Noted readings beside a drive: which clock offsets and lines they may have, and how well they fit it at all."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from functools import partial

import numpy as np

from speedcal.calibration.noted.association import log_unrelated, stray_density
from speedcal.calibration.noted.clock_posterior import Cells, best_moments, clock_cells
from speedcal.calibration.noted.held_on_marks import held_on_marks
from speedcal.calibration.noted.note_lines import Notes
from speedcal.calibration.readings.clock_search import Shift
from speedcal.calibration.readings.habits import Habit, u_of_heaps, u_of_heaps_above
from speedcal.calibration.readings.moments import Moments
from speedcal.calibration.speed.ground_speed import GroundSpeed
from speedcal.calibration.tuning import notes as tuned
from speedcal.calibration.tuning.rivals import FEWEST_ON_A_SIDE
from speedcal.calibration.tuning.track import SLOWEST_MPS
from speedcal.interval import FloatArray


@dataclass(frozen=True, slots=True)
class Weighed:
    """Noted readings beside a drive, with the clock offsets and lines that they may have."""

    ground: GroundSpeed
    notes: Notes
    cells: Cells
    log_evidence: float
    """How much better they fit it than readings of anything else would."""
    set_s: float = np.nan
    """Moment from which on they are timed by another clock, NaN if it is one all the way."""
    jumps_mps: float = 0.0
    """By how much more than others those scatter of a needle that jumps, rms over all."""
    steady: Notes | None = None
    """The readings as those of a needle that does not jump, None if it does not."""
    log_jumps: float = 0.0
    """Log odds of the one that jumps against that."""
    at_end_s: FloatArray = field(default_factory=lambda: np.zeros(0))
    """Stamps of readings at the end of the scale, beside these. [s]"""


def weigh_notes(
    ground: GroundSpeed,
    time_s: FloatArray,
    indicated_mps: FloatArray,
    *,
    shifts: list[Shift],
    at: Moments,
    by_hand: Moments | None,
    u_rounding_mps: float,
    u_stated_mps: FloatArray,
    log_prior: Callable[[FloatArray], FloatArray],
    habit: Habit,
    top_mps: float = np.inf,
) -> Weighed:
    """Weigh the clock offsets and lines that noted readings may have.

    Parameters
    ----------
    at
        When each reading may have been taken.
    by_hand
        The same if its stamp was rounded by hand; None where that is out of the question.
    u_rounding_mps
        Standard uncertainty from writing a reading in steps. [m/s]
    u_stated_mps
        What each reading states of itself, 0 where it states nothing, shape (n,). [m/s]
    log_prior
        Log density of clock offsets, normalised over all that were searched.
    top_mps
        Reading at which the scale ends. [m/s]
    """
    step_mps = float(np.sqrt(12)) * u_rounding_mps
    heaps = u_of_heaps(indicated_mps, step_mps)
    above = u_of_heaps_above(indicated_mps, step_mps)
    indicated_mps = indicated_mps + habit.shift_mps
    stray = stray_density(ground, indicated_mps)
    notes = Notes(time_s, indicated_mps, stray, at, u_rounding_mps, u_stated_mps, top_mps + habit.shift_mps)
    weigh = partial(clock_cells, ground, shifts=shifts, log_prior=log_prior)
    cells = weigh(notes)
    if by_hand is not None:
        notes, cells = _likelier(notes, cells, replace(notes, at=by_hand), weigh, by=0.0)
    if u_rounding_mps >= tuned.COARSE_U_MPS and not habit.shift_mps:
        marks = replace(notes, u_rounding_mps=min(u_rounding_mps / 3, tuned.MARKS_U_MPS))
        exact = weigh(marks)
        held = held_on_marks(ground, marks, exact, u_rounding_mps)
        odds = min(exact.log_evidence - cells.log_evidence, held.log_odds)
        if habit.is_exact or (odds > tuned.MARKS_EVIDENCE and held.log_odds_by_gps > tuned.MARKS_BY_GPS):
            notes, cells = marks, exact
        elif odds > tuned.MARKS_EVIDENCE and held.u_rounding_mps < u_rounding_mps:
            notes = replace(notes, u_rounding_mps=held.u_rounding_mps)
            cells = weigh(notes)
    for some, beyond_chance in above if heaps is None else ((heaps, 0.0), *above):
        loose = replace(notes, u_stated_mps=np.hypot(u_stated_mps, some))
        notes, cells = _likelier(notes, cells, loose, weigh, by=tuned.HEAPED_EVIDENCE - beyond_chance)
    steady, log_steady, jumps_mps = notes, cells.log_evidence, 0.0
    for least in (tuned.JUMPS_EVIDENCE, 0.0):  # the line by which jumps are told is better once they are told
        # a speed guessed between fixes far apart scatters by itself where the vehicle is slow
        jumps = None if ground.between_is_guessed or np.isfinite(top_mps) else _jumps_when_slow(ground, notes, cells)
        if jumps is None:
            break
        before, loose = notes, replace(notes, u_stated_mps=np.hypot(steady.u_stated_mps, jumps))
        notes, cells = _likelier(notes, cells, loose, weigh, by=least)
        if notes is before:
            break
        jumps_mps = float(np.sqrt(np.mean(jumps**2)))
    least_s = tuned.LEAST_MINUTE_STEP_S if notes.at.half_width_s > tuned.LONG_STEP_S else 1.0
    seen = cells.seen
    unrelated = log_unrelated(time_s[seen], indicated_mps[seen], stray[seen], least_s=least_s)
    # those of another drive in the same file are alike as well, and the track has nothing to say of them
    evidence = cells.log_evidence - float(np.log(stray[~seen]).sum()) - unrelated
    if not jumps_mps:
        return Weighed(ground, notes, cells, evidence)
    return Weighed(
        ground, notes, cells, evidence, jumps_mps=jumps_mps, steady=steady, log_jumps=cells.log_evidence - log_steady
    )


def _likelier(
    notes: Notes, cells: Cells, other: Notes, weigh: Callable[[Notes], Cells], *, by: float
) -> tuple[Notes, Cells]:
    """Return notes with their cells, or others with theirs where those are likelier by so much."""
    seen = weigh(other)
    return (other, seen) if seen.log_evidence - cells.log_evidence > by else (notes, cells)


def _jumps_when_slow(ground: GroundSpeed, notes: Notes, cells: Cells) -> FloatArray | None:
    """Return by how much more each reading scatters where a needle jumps below some speed, None where nothing says so.

    Asked of the likelihood of normal errors with two scatters, against those with one.
    """
    best = int(np.argmax(cells.log_mass))
    _, _, speed, inside = best_moments(ground, notes, cells, best)
    use = np.flatnonzero(inside & (speed >= SLOWEST_MPS))
    counts = np.arange(FEWEST_ON_A_SIDE, len(use) - FEWEST_ON_A_SIDE + 1)
    if not len(counts):
        return None
    up = use[np.argsort(speed[use])]
    off = np.abs(notes.indicated_mps - cells.offset_mps[best] - cells.gain[best] * speed)[up]
    square = np.cumsum(np.minimum(off, tuned.MOST_JUMP_MPS) ** 2)
    least = tuned.SCATTER_MPS**2 + notes.u_rounding_mps**2
    slow, fast = square[counts - 1] / counts, (square[-1] - square[counts - 1]) / (len(up) - counts)
    log = -0.5 * (counts * np.log(np.maximum(slow, least)) + (len(up) - counts) * np.log(np.maximum(fast, least)))
    log += 0.5 * len(up) * np.log(max(square[-1] / len(up), least))
    log[slow <= fast] = 0.0
    split = int(np.argmax(log))
    if log[split] < tuned.JUMPS_ASKED_FROM:
        return None
    jumps = np.zeros(len(speed))
    jumps[up[: counts[split]]] = np.sqrt(slow[split] - max(fast[split], least))
    return jumps
