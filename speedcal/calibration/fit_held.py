"""Speeds held one after the other and noted without times: which steady run of the drive is which."""

from __future__ import annotations

import numpy as np

from speedcal.calibration.climb import Mode, add_mode, mixture, mode_weights
from speedcal.calibration.clock_search import log_offset_prior
from speedcal.calibration.measured import UNMATCHED, MeasuredLine
from speedcal.calibration.runs import SteadyRuns
from speedcal.calibration.tuning import WRONG_SPREAD_MPS
from speedcal.errors import AlignmentError
from speedcal.interval import FloatArray, IntArray
from speedcal.units import MPH_MPS

_HOLD_U_MPS, _HOLD_LOG_SD = 0.6 * MPH_MPS, 0.4
"""A driver holds the needle on a mark to about 0.6 mph on average over the run; from memory."""
_EXTRA_LONG, _EXTRA_SHORT, _SHORT_S = 0.15, 0.5, 25.0
"""Chance that a steady run was not noted: a long one seldom, a short one often."""
_MISSED = 0.04
"""Chance that a noted speed has no steady run."""
_GAINS = np.arange(0.70, 1.42, 0.004)
_OFFSETS_MPS = np.array([-2.0, -1.0, 0.0, 1.0, 2.0]) * MPH_MPS
_STEP = np.array([5e-3, 3e-4, 3e-2])
_LONGEST = np.array([1.0, 0.02, 0.5])
_SAME = np.array([0.05, 0.002, 0.1])
_DOUBT = 0.05
_MOST_PEAKS = 6
_MOST_NOTES_A_RUN = 2


def fit_held(runs: SteadyRuns, indicated_mps: FloatArray, *, source: str = "") -> MeasuredLine:
    """Fit offset and gain to speeds that were held in this order, without knowing when.

    For every offset and gain the likelihood is summed over all ways to lay the noted list on the steady runs in
    order, with runs that were not noted and notes that have no run (the forward recursion of hidden Markov models,
    L. E. Baum et al., Ann. Math. Statist. 41, 1970, 164-171). So an answer that rests on one assignment is as certain
    as that assignment is; when another gain keeps more than a twentieth of the posterior, none is given.

    Parameters
    ----------
    runs
        Steady runs of the drive, in order.
    indicated_mps
        Speeds held, in order, shape (n,). [m/s]
    source
        Name of the readings for messages.

    Raises
    ------
    AlignmentError
        Fewer than four speeds or runs, far more speeds than runs, or an order that does not tell which run is which.
    """
    if len(indicated_mps) < 4 or len(runs) < 4:
        raise AlignmentError(
            f"{len(indicated_mps)} held speeds and {len(runs)} steady runs in the track are too few to match",
            source=source,
            remedy="Hold at least four different speeds, half a minute each, or note the time of every reading",
        )
    if len(indicated_mps) > _MOST_NOTES_A_RUN * len(runs):
        raise AlignmentError(
            f"{len(indicated_mps)} speeds without times cannot belong to {len(runs)} steady runs",
            source=source,
            remedy="Give one speed for each steady run, or the time of every reading",
        )
    density = _Assignments(runs, indicated_mps)
    place, covariance = _only_answer(density, source)
    number = density.most_likely(place)
    matched = number >= 0
    if matched.sum() < max(4.0, 0.6 * len(number)):
        raise AlignmentError(
            f"only {matched.sum()} of {len(number)} held speeds find a steady run of the track in this order",
            source=source,
            remedy="Check that the list and the track are of the same drive and that the list is in order",
        )
    middle = (runs.begin_s + runs.end_s) / 2
    return MeasuredLine(
        offset_mps=float(place[0]),
        gain=float(place[1]),
        covariance=covariance[:2, :2],
        degrees_of_freedom=max(float(matched.sum()) - 2, 1.0),
        clock_offset_s=None,
        u_clock_offset_s=0.0,
        scatter_mps=float(np.exp(place[2])),
        time_share=0.0,
        time_s=np.where(matched, middle[number], np.nan),
        ground_mps=np.where(matched, runs.speed_mps[number], np.nan),
        reason=tuple("" if ok else UNMATCHED for ok in matched),
    )


class _Assignments:
    """Log posterior of (offset, gain, log scatter), summed over assignments; rows of points at once."""

    def __init__(self, runs: SteadyRuns, indicated_mps: FloatArray) -> None:
        self.speed, self.indicated = runs.speed_mps, indicated_mps
        short = runs.end_s - runs.begin_s < _SHORT_S
        self.skip_run = np.log(np.where(short, _EXTRA_SHORT, _EXTRA_LONG))
        self.take_run = np.log(np.where(short, 1 - _EXTRA_SHORT, 1 - _EXTRA_LONG))
        self.skip_note = np.log(_MISSED / WRONG_SPREAD_MPS)

    def _match(self, points: FloatArray, note: int) -> FloatArray:
        """Return the log density of a note at each run, shape (rows, runs)."""
        offset, gain, scatter = points[:, 0:1], points[:, 1:2], points[:, 2:3]
        residual = (self.indicated[note] - offset - gain * self.speed) / np.exp(scatter)
        # The mark is exact and the speed at which it is held is not: the density is one of ground speeds.
        density = -0.5 * residual**2 - scatter + np.log(gain) - 0.5 * np.log(2 * np.pi)
        return np.asarray(density + np.log(1 - _MISSED) + self.take_run)

    def __call__(self, points: FloatArray) -> FloatArray:
        """Return the log posterior of each row of points, shape (rows, 3)."""
        skipped = np.concatenate(([0.0], np.cumsum(self.skip_run)))
        row = np.tile(skipped, (len(points), 1))
        for note in range(len(self.indicated)):
            # a note taken at run r follows anything that ends before r; the runs between are skipped
            taken = np.full_like(row, -np.inf)
            taken[:, 1:] = row[:, :-1] + self._match(points, note)
            arrived = np.logaddexp.accumulate(taken - skipped, axis=1) + skipped
            row = np.logaddexp(arrived, row + self.skip_note)
        prior = log_offset_prior(points[:, 0])
        prior -= 0.5 * ((points[:, 2] - np.log(_HOLD_U_MPS)) / _HOLD_LOG_SD) ** 2
        return np.asarray(row[:, -1] + prior)

    def most_likely(self, point: FloatArray) -> IntArray:
        """Return the run of each note in the most likely assignment, -1 where it has none."""
        notes, count = len(self.indicated), len(self.speed)
        skipped = np.concatenate(([0.0], np.cumsum(self.skip_run)))
        row = skipped.copy()
        choice = np.full((notes, count + 1), -1)
        for note in range(notes):
            taken = np.full(count + 1, -np.inf)
            taken[1:] = row[:-1] + self._match(point[None, :], note)[0]
            level = taken - skipped
            best = np.maximum.accumulate(level)
            where = np.maximum.accumulate(np.where(level >= best, np.arange(count + 1), 0))
            arrived, left_out = best + skipped, row + self.skip_note
            choice[note] = np.where(arrived > left_out, where, -1)
            row = np.maximum(arrived, left_out)
        number, at = np.full(notes, -1, np.int64), count
        for note in reversed(range(notes)):
            if choice[note, at] > 0:
                at = int(choice[note, at])
                number[note], at = at - 1, at - 1
        return number


def _only_answer(density: _Assignments, source: str) -> tuple[FloatArray, FloatArray]:
    """Return mean and covariance of the answer; raise when another assignment holds real posterior mass."""
    grid = np.array([(a, b, np.log(1.5 * _HOLD_U_MPS)) for b in _GAINS for a in _OFFSETS_MPS])
    best = density(grid).reshape(len(_GAINS), len(_OFFSETS_MPS)).max(axis=1)
    inner = np.flatnonzero((best >= np.append(best[1:], -np.inf)) & (best >= np.append(-np.inf, best[:-1])))
    inner = inner[np.argsort(-best[inner])][:_MOST_PEAKS]
    modes: list[Mode] = []
    for peak in inner:
        start = np.array([0.0, _GAINS[peak], np.log(_HOLD_U_MPS)])
        add_mode(modes, density, start, step=_STEP, longest=_LONGEST, same=_SAME)
    modes.sort(key=lambda mode: -mode.log_weight)
    weight = mode_weights(modes)
    assignment = density.most_likely(modes[0].theta)
    other = [i for i, mode in enumerate(modes) if np.any(density.most_likely(mode.theta) != assignment)]
    if weight[other].sum() > _DOUBT:
        first, second = modes[0].theta[1], modes[other[0]].theta[1]
        raise AlignmentError(
            f"the held speeds can be laid on the drive in more than one way: error factors of {first:.3f} and "
            f"{second:.3f} fit nearly equally well",
            source=source,
            remedy="Note the time of each reading, or hold the speeds in an order that is not evenly rising or falling",
        )
    return mixture([mode for i, mode in enumerate(modes) if i not in other])
