"""Fit of readings that a person noted: few, with stamps that are a little off, some of them wrong."""

from __future__ import annotations

import numpy as np

from speedcal.calibration.dial.dial_mixture import Basis, Laid, Mixed, PointerPlay, mixed_dial
from speedcal.calibration.dial.measured import NO_GROUND, TOO_SLOW, WRONG, MeasuredLine
from speedcal.calibration.noted.clock_posterior import Cells, best_moments
from speedcal.calibration.noted.coarse_marks import within_marks
from speedcal.calibration.noted.looks import any_moment, left_open, on_the_line
from speedcal.calibration.noted.note_lines import Notes
from speedcal.calibration.noted.rival_odds import weigh_rivals
from speedcal.calibration.noted.slips import with_slips
from speedcal.calibration.noted.weigh_noted import Weighed
from speedcal.calibration.readings.habits import Habit
from speedcal.calibration.readings.looseness import how_loose
from speedcal.calibration.speed.ground_speed import GroundSpeed
from speedcal.calibration.speed.runs import SteadyRuns
from speedcal.calibration.tuning import notes as tuned
from speedcal.calibration.tuning.general import WRONG_BELOW
from speedcal.calibration.tuning.track import SLOWEST_MPS, SPARSE_FROM_S
from speedcal.errors import AlignmentError
from speedcal.finding import Finding
from speedcal.interval import COVERAGE_FACTOR, FloatArray, IntArray


def fit_noted(weighed: Weighed, *, runs: SteadyRuns, habit: Habit, source: str = "") -> MeasuredLine:
    """Fit a dial and a clock offset to noted readings, once they are known to belong to the track.

    Raises
    ------
    AlignmentError
        The readings are no likelier on this track than on any other, do not follow it, or do so at two clock offsets
        that lead to different answers.
    """
    ground, notes, cells, evidence = weighed.ground, weighed.notes, weighed.cells, weighed.log_evidence
    scatter = float(np.sqrt(cells.weight @ cells.scatter_mps**2))
    _refuse_foreign(cells, evidence, scatter, ground, source)
    best = int(np.argmax(cells.log_mass))
    good, moment, speed, inside = best_moments(ground, notes, cells, best)
    right = (good > WRONG_BELOW) & inside
    used = right & (speed >= SLOWEST_MPS)
    if used.sum() < 2 or right.sum() < 4:
        raise AlignmentError("readings_do_not_follow", source=source, right=int(right.sum()), count=len(right))
    basis = Basis.driven_at(speed[used])
    chosen = [_pairs(notes, cells, cell) for cell in range(len(cells.weight))]
    mixed = _mixed(weighed, runs, habit, chosen, basis)
    low, clock, high = _quantiles(cells)
    _refuse_two_clocks(cells, mixed, best, source)
    rivals = weigh_rivals(weighed, mixed, basis)
    # a bend is no looseness, nor is a wrong reading, but a needle that jumps is
    about_dial = float(np.hypot(min(scatter, mixed.scatter_mps), tuned.JUMPS_LOOSE * weighed.jumps_mps))
    of_track = tuned.GROUND_LOOSE * ground.u_speed_mps
    about_dial = float(np.sqrt(max(about_dial**2 - of_track**2, 0.0)))
    belongs = evidence + rivals.log_of_this_drive
    refused_below, doubted_below = _loose_below(weighed, about_dial)
    if belongs < refused_below:
        if belongs < tuned.ASSOCIATION_FROM or ground.covered < tuned.MUCH_COVERED:
            raise _foreign(ground, evidence, about_dial, source)
        away = notes.indicated_mps - mixed.dial.indicated(np.where(inside, speed, np.nan))
        code, values = how_loose(away[inside], about_dial, half_step_mps=float(np.sqrt(3)) * notes.u_rounding_mps)
        if ground.interval_s > SPARSE_FROM_S:
            values["interval_s"] = ground.interval_s
        raise AlignmentError(code, source=source, **values)
    if left_open(notes, cells):  # whether they belong was told by the moments that fit, which foreign ones lack
        opened = [any_moment(ground, notes, cells, cell) for cell in range(len(cells.weight))]
        mixed = _mixed(weighed, runs, habit, opened, basis)
    knots = mixed.dial.knots_mps
    habits = habit.covariances(knots) | rivals.covariances(knots)
    loose = Finding("loosely_followed", scatter_mps=about_dial)
    dial = mixed.dial.shifted(sum(habits.values()))
    return MeasuredLine(
        dial=dial,
        clock_offset_s=clock,
        u_clock_offset_s=(high - low) / (2 * COVERAGE_FACTOR),
        scatter_mps=float(np.hypot(mixed.scatter_mps, notes.u_rounding_mps)),
        time_share=mixed.between,
        time_s=moment,
        ground_mps=np.where(inside, speed, np.nan),
        reason=tuple(np.select([~inside, ~right, ~used], [NO_GROUND, WRONG, TOO_SLOW], "").tolist()),
        reasons=(*((loose,) if belongs < doubted_below else ()), *rivals.doubts(scatter, ground, notes.u_rounding_mps)),
        reading_shift_mps=habit.shift_mps,
        habits=habits,
        u_rounding_mps=notes.u_rounding_mps,
        rests_mps=rivals.kinks.rests_mps,
        log_doubt=rivals.log_doubt,
        log_belongs=belongs,
    )


def _refuse_foreign(cells: Cells, evidence: float, scatter: float, ground: GroundSpeed, source: str) -> None:
    """Raise when the readings are hardly likelier on this track than on another, or follow it badly."""
    if evidence < tuned.ASSOCIATION_FROM:
        raise _foreign(ground, evidence, scatter, source)
    seen = cells.on_track.sum(axis=1)
    following = float(cells.weight @ ((cells.on_track * cells.right).sum(axis=1) / np.maximum(seen, 1e-9)))
    if following < tuned.FOLLOWING_SHARE:
        count = round(float(cells.weight @ seen))
        raise AlignmentError("readings_do_not_follow", source=source, right=round(following * count), count=count)


def _foreign(ground: GroundSpeed, evidence: float, scatter: float, source: str) -> AlignmentError:
    if ground.covered < tuned.MUCH_COVERED:
        return AlignmentError("track_gaps", source=source, covered=ground.covered)
    return AlignmentError("foreign_readings", source=source, log_evidence=evidence, scatter_mps=scatter)


def _loose_below(weighed: Weighed, scatter: float) -> tuple[float, float]:
    """Return the log odds that readings of this scatter about a dial must have for an answer, and for trust in it.

    They are more, the more often one looked.
    """
    cells, notes = weighed.cells, weighed.notes
    least = tuned.LOOSE_EVIDENCE if scatter > tuned.LOOSE_SCATTER_MPS else 0.0
    if notes.u_rounding_mps >= tuned.COARSE_U_MPS:  # coarse marks hide more than looseness does
        return least, least
    looked_s = np.sort(np.concatenate([notes.time_s[cells.seen], weighed.at_end_s]))
    looks = 1 + int((np.diff(looked_s) > tuned.SAME_LOOK_S).sum())
    a_look = tuned.LOOSE_A_LOOK * (tuned.END_LOOSE if len(weighed.at_end_s) else 1.0)
    a_scatter = a_look * looks * (1 - float(cells.weight @ cells.wrong_share))
    return a_scatter * min(scatter, tuned.LOOSE_AT_MOST_MPS), max(least, a_scatter * scatter)


def _refuse_two_clocks(cells: Cells, mixed: Mixed, best: int, source: str) -> None:
    """Raise when clock offsets far from the best hold real mass and tell another answer."""
    low, high = mixed.dial.driven_mps
    speeds = np.array([low, (low + high) / 2, high])
    shown = cells.offset_mps[:, None] + cells.gain[:, None] * speeds
    spread = np.sqrt(
        cells.covariance[best, 0, 0]
        + 2 * cells.covariance[best, 0, 1] * speeds
        + cells.covariance[best, 1, 1] * speeds**2
    )
    differs = (np.abs(shown - shown[best]) > 2.5 * spread).any(axis=1)
    far = np.abs(cells.clock_s - cells.clock_s[best]) > tuned.FAR_CLOCK_S
    other = far & differs
    if cells.weight[other].sum() <= tuned.CLOCK_DOUBT:
        return
    second = int(np.flatnonzero(other)[np.argmax(cells.log_mass[other])])
    raise AlignmentError(
        "two_clocks",
        source=source,
        clock_offset_s=float(cells.clock_s[best]),
        factor=float(cells.gain[best]),
        other_clock_offset_s=float(cells.clock_s[second]),
        other_factor=float(cells.gain[second]),
    )


def _quantiles(cells: Cells) -> tuple[float, float, float]:
    """Return the ends of the 95 % interval of the clock offset and its mean."""
    order = np.argsort(cells.clock_s, kind="stable")
    clock, mass = cells.clock_s[order], np.cumsum(cells.weight[order])
    ends = np.minimum(np.searchsorted(mass, [0.025, 0.975]), len(clock) - 1)
    low, high = (float(end) for end in clock[ends])
    return low - tuned.CELL_S / 2, float(cells.weight @ cells.clock_s), high + tuned.CELL_S / 2


def _mixed(weighed: Weighed, runs: SteadyRuns, habit: Habit, pairs: list[FloatArray], basis: Basis) -> Mixed:
    """Return the dial by the pairs of speeds of each cell."""
    ways = within_marks(_ways(weighed, runs, habit, pairs), basis)
    return mixed_dial(with_slips(ways, basis, float(weighed.cells.weight @ weighed.cells.wrong_share)), basis)


def _ways(weighed: Weighed, runs: SteadyRuns, habit: Habit, pairs: list[FloatArray]) -> list[Laid]:
    """Return the clock offsets in groups of like mass, each with its pairs of speeds, those of each cell given."""
    ground, notes, cells = weighed.ground, weighed.notes, weighed.cells
    order = np.argsort(cells.clock_s, kind="stable")
    weight = cells.weight[order]
    group = (np.clip(np.cumsum(weight) - weight / 2, 0.0, 1 - 1e-9) * tuned.CLOCKS_KEPT).astype(int)
    play = PointerPlay.along(ground)
    ways = []
    for number in np.unique(group):
        inside = np.flatnonzero(group == number)
        mass = weight[inside]
        right, told = _over_clocks(mass, np.array([pairs[order[k]] for k in inside]))
        use = right > tuned.LEAST_RIGHT
        moment, speed, widening = told[:, use]
        ways.append(
            Laid(
                weight=float(mass.sum()),
                speed_mps=speed,
                shown_mps=notes.indicated_mps[use],
                widening=widening,
                known_variance=(notes.u_stated_mps[use] ** 2 + ground.variance_at(moment)) * widening,
                run=_together(runs.number_at(moment), moment),
                play=play.at(moment),
                moment_s=moment,
                rounding_variance=notes.u_rounding_mps**2,
                scatter_scale=tuned.FIGURES_SCATTER if habit.of_figures else 1.0,
            )
        )
    return ways


def _over_clocks(mass: FloatArray, pairs: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return how probably each reading is right, and the rest of its pair, on the mean of some clock offsets.

    Where it is wrong or off the track, an offset tells nothing of its speed.

    Parameters
    ----------
    mass
        Of each offset, shape (k,).
    pairs
        As those of :func:`_pairs`, shape (k, 4, n).
    """
    good = mass[:, None] * pairs[:, 0]
    every = good.sum(axis=0)
    return every / mass.sum(), np.einsum("kn,kcn->cn", good, pairs[:, 1:]) / np.maximum(every, 1e-12)


def _together(run: IntArray, moment_s: FloatArray) -> IntArray:
    """Return a number for each group of readings that share an error: one steady run, or one after the other."""
    order = np.argsort(moment_s, kind="stable")
    group = np.empty(len(run), np.int64)
    group[order] = np.concatenate(([0], np.cumsum(np.diff(moment_s[order]) > tuned.CLUSTER_S)))
    alone = np.bincount(group, minlength=len(run))[group] == 1
    return np.where(run >= 0, run, np.where(alone, -1, len(run) + run.max(initial=0) + 1 + group))


def _pairs(notes: Notes, cells: Cells, cell: int) -> FloatArray:
    """Return how probably each reading is right in a cell, its moment, its true speed and how much wider it is.

    The moments of a reading are weighed by how well they fit, which draws the mean speed towards the line by a part
    kappa of its distance; that is undone, and the variance is what it was before the moment was known.
    """
    right, share, speed, hidden = on_the_line(notes, cells, cell)
    to_minutes = notes.at.half_width_s > tuned.LONG_STEP_S
    most = tuned.MINUTES_MOST_DRAWN if to_minutes else tuned.MOST_DRAWN
    gain, kappa = cells.gain[cell], np.minimum(hidden, most)
    residual = notes.indicated_mps - cells.offset_mps[cell] - gain * speed
    speed = speed - residual * kappa / (1 - kappa) / gain
    moment = notes.time_s + cells.clock_s[cell] + share @ notes.at.delay_s
    return np.stack([right, moment, speed, 1 / ((1 - kappa) * np.clip(right, tuned.LEAST_RIGHT, 1.0))])
