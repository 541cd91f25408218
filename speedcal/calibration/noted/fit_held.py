"""Speeds held one after the other and noted without times: which hold of the drive is which."""

from __future__ import annotations

from bisect import bisect_right

import numpy as np

from speedcal.calibration.dial.dial_mixture import Basis, Laid, PointerPlay, mixed_dial
from speedcal.calibration.dial.measured import UNMATCHED, MeasuredLine
from speedcal.calibration.noted.association import log_unrelated, stray_density
from speedcal.calibration.noted.coarse_marks import within_marks
from speedcal.calibration.noted.held_on_marks import over_receiver, steps_of
from speedcal.calibration.noted.held_posterior import HeldModes, held_modes
from speedcal.calibration.noted.holds import Holds, holds_of
from speedcal.calibration.readings.habits import Habit
from speedcal.calibration.speed.ground_speed import GroundSpeed
from speedcal.calibration.speed.runs import SteadyRuns
from speedcal.calibration.tuning import notes as tuned
from speedcal.errors import AlignmentError
from speedcal.finding import Finding
from speedcal.interval import BoolArray, FloatArray, IntArray

_WAYS = 6


def fit_held(
    ground: GroundSpeed,
    runs: SteadyRuns,
    indicated_mps: FloatArray,
    *,
    u_stated_mps: FloatArray,
    step_mps: float,
    habit: Habit,
    source: str = "",
) -> MeasuredLine:
    """Fit a dial to speeds that were held in this order, without knowing when.

    The likelihood is summed over all ways to lay the list on the holds of the drive in order, with holds that were not
    noted and notes that have no hold. So an answer that rests on one assignment is as certain as that assignment is.

    Parameters
    ----------
    indicated_mps
        Speeds held, in order, shape (n,). [m/s]
    step_mps
        In which they were written. [m/s]

    Raises
    ------
    AlignmentError
        Too few speeds or holds, far more speeds than holds, or an order that does not tell which hold is which.
    """
    holds = holds_of(ground, runs)
    again = np.concatenate(([False], np.diff(indicated_mps) == 0))
    _refuse_unmatchable(indicated_mps, again, holds, source)
    stray = stray_density(ground, indicated_mps)
    modes = held_modes(holds, indicated_mps, again, stray, u_stated_mps)
    doubt = _doubt_of_order(modes, holds, source)
    taken = _taken(modes, again)
    if (taken >= 0).sum() < max(tuned.FEWEST_HELD, tuned.HELD_MATCHED_SHARE * len(taken)):
        raise AlignmentError("held_unmatched", source=source, matched=int((taken >= 0).sum()), count=len(taken))
    basis = Basis.driven_at(holds.speed_mps[taken[taken >= 0]])
    u_rounding_mps = 0.0 if habit.is_exact else _u_rounding(modes, holds, indicated_mps, taken, step_mps)
    ways = _ways(ground, holds, modes, indicated_mps, u_stated_mps, u_rounding_mps)
    mixed = mixed_dial(within_marks(ways, basis), basis)
    apart = np.where(again, tuned.HOLD_APART_S / 10, tuned.HOLD_APART_S)
    unrelated = log_unrelated(np.cumsum(apart), indicated_mps, stray, least_s=1.0)
    evidence = float(np.logaddexp.reduce(modes.log_mass)) - unrelated
    if evidence < tuned.HELD_LIKELIER_FROM:
        raise AlignmentError("foreign_readings", source=source, log_evidence=evidence)
    habits = habit.covariances(mixed.dial.knots_mps)
    dial = mixed.dial.shifted(sum(habits.values()))
    matched = taken >= 0
    return MeasuredLine(
        dial=dial,
        clock_offset_s=None,
        u_clock_offset_s=0.0,
        scatter_mps=float(np.hypot(mixed.scatter_mps, u_rounding_mps)),
        time_share=mixed.between,
        time_s=np.where(matched, holds.middle_s[taken], np.nan),
        ground_mps=np.where(matched, holds.speed_mps[taken], np.nan),
        reason=tuple("" if ok else UNMATCHED for ok in matched),
        reasons=_doubts(indicated_mps[~again], evidence, doubt, modes.log_usual),
        habits=habits,
        u_rounding_mps=u_rounding_mps if _is_coarse(step_mps) else None,
    )


def _doubts(marks: FloatArray, evidence: float, doubt: float, log_usual: float) -> tuple[Finding, ...]:
    """Say that a list proves nothing of its drive when it fits little better than any, or may lie otherwise.

    One that (nearly) only rises or falls, or goes up and down once, has the order of many drives: other marks in that
    order fit as well, but by a needle that sits wrong or a factor that is far off.
    """
    regular = _is_regular(marks)
    if evidence < tuned.HELD_PROVEN_FROM or doubt > tuned.CLOCK_DOUBT or (regular and log_usual < tuned.USUAL_LINE):
        return (Finding("association_unproven", log_evidence=evidence, regular=regular),)
    return ()


def _is_regular(marks: FloatArray) -> bool:
    """Tell whether marks turn once at most, or (nearly) only rise or fall."""
    steps = np.sign(np.diff(marks))
    turns = int(np.count_nonzero(np.diff(steps[steps != 0])))
    return turns <= 1 or max(_longest_rise(marks), _longest_rise(-marks)) >= len(marks) - tuned.ONE_OUT_OF_ORDER


def _longest_rise(marks: FloatArray) -> int:
    """Return how many notes are left at most when those that break a rise are struck out (patience sorting)."""
    tops: list[float] = []
    for mark in marks.tolist():
        place = bisect_right(tops, mark)
        tops[place : place + 1] = [mark]
    return len(tops)


def _refuse_unmatchable(indicated: FloatArray, again: BoolArray, holds: Holds, source: str) -> None:
    marks, count = int((~again).sum()), len(holds)
    if marks < tuned.FEWEST_HELD or count < tuned.FEWEST_HELD:
        raise AlignmentError("too_few_held", source=source, count=marks, holds=count)
    if marks > tuned.MOST_NOTES_A_HOLD * count or len(indicated) > tuned.MOST_LISTED:
        raise AlignmentError("too_many_held", source=source, count=len(indicated), holds=count)


def _doubt_of_order(modes: HeldModes, holds: Holds, source: str) -> float:
    """Return the mass of other assignments that tell another dial; raise where it is large."""
    weight, best = modes.weight, int(np.argmax(modes.log_mass))
    own = modes.assignment(best)
    speeds = holds.speed_mps
    shown = modes.offset_mps[:, None] + modes.gain[:, None] * np.array([speeds.min(), speeds.max()])
    differs = (np.abs(shown - shown[best]) > 2 * tuned.HOLD_SCATTER_MPS).any(axis=1)
    other = [k for k in np.flatnonzero(differs).tolist() if np.any(modes.assignment(k) != own)]
    doubt = float(weight[other].sum())
    if doubt <= tuned.ORDER_DOUBT:
        return doubt
    second = other[int(np.argmax(modes.log_mass[other]))]
    raise AlignmentError(
        "two_orders", source=source, factor=float(modes.gain[best]), other_factor=float(modes.gain[second])
    )


def _taken(modes: HeldModes, again: BoolArray) -> IntArray:
    """Return the hold of each note, -1 where it has none; a mark listed again has the hold of the one before."""
    taken = modes.assignment(int(np.argmax(modes.log_mass)))
    for note in np.flatnonzero(again):
        if taken[note] < 0:
            taken[note] = taken[note - 1]
    return taken


def _is_coarse(step_mps: float) -> bool:
    """Tell whether a list is one of marks: what is written in finer steps was read between them."""
    return step_mps >= float(np.sqrt(12)) * tuned.COARSE_U_MPS


def _u_rounding(modes: HeldModes, holds: Holds, indicated: FloatArray, taken: IntArray, step_mps: float) -> float:
    """Return what marks were rounded by, standard: nothing unless a receiver kept the holds, a step apart."""
    if not _is_coarse(step_mps):
        return 0.0
    best, matched = int(np.argmax(modes.log_mass)), taken >= 0
    shown, speed = indicated[matched], holds.speed_mps[taken[matched]]
    step_mps, rounded = steps_of(shown, step_mps)
    needle_mps = float(modes.offset_mps[best])
    off = shown - needle_mps - modes.gain[best] * speed
    held = over_receiver(shown, off, speed, step_mps, rounded, needle_mps=needle_mps) + tuned.LISTED_HELD
    return 0.0 if held > 0 else rounded / float(np.sqrt(12))


def _ways(
    ground: GroundSpeed,
    holds: Holds,
    modes: HeldModes,
    indicated: FloatArray,
    u_stated: FloatArray,
    u_rounding_mps: float,
) -> list[Laid]:
    """Return the heaviest modes, each with its pairs of speeds."""
    play = PointerPlay.along(ground).at(holds.middle_s)
    ways = []
    for k in np.argsort(-modes.log_mass)[:_WAYS]:
        match = modes.match[k]
        right = match.sum(axis=1)
        use = right > tuned.LEAST_RIGHT
        share = match[use] / right[use, None]
        speed = share @ holds.speed_mps
        spread = share @ (holds.speed_mps**2) - speed**2
        ways.append(
            Laid(
                weight=float(modes.weight[k]),
                speed_mps=speed,
                shown_mps=indicated[use],
                widening=modes.widening[k][use] / right[use],
                known_variance=u_stated[use] ** 2
                + modes.gain[k] ** 2 * (np.maximum(spread, 0.0) + share @ modes.u_speed_mps**2),
                run=np.full(int(use.sum()), -1, np.int64),
                play=share @ play,
                rounding_variance=u_rounding_mps**2,
            )
        )
    return ways
