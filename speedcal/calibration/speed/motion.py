"""How a vehicle moves: what is expected of its speed before instruments are heard, learnt from the drive itself.

Its acceleration changes by a jerk of a size that differs from place to place. Where the speed is held, by foot or by
cruise control, it wanders besides, and changes from second to second by a size that one run has in common: a jerk alone
would let it wander too little for a minute or too much for a second. Both sizes are those of greatest evidence
(D. J. C. MacKay, Neural Computation 4, 1992, 415-447).
"""

from __future__ import annotations

import numpy as np

from speedcal.calibration.speed.banded import Banded
from speedcal.calibration.speed.runs import SteadyRuns
from speedcal.calibration.speed.speed_spline import SplineGrid
from speedcal.calibration.tuning.logs import LEAST_JERK, LEAST_WANDER, LOCAL_KNOTS, RUN_EDGE_S, RUN_POOL, RUNS_DIFFER
from speedcal.interval import FloatArray, IntArray

_LOOSE = 1e-6
_HALF = 0.5
_FREE = 1e6
"""Variance of a change that nothing is expected of."""


class Motion:
    """Sizes of jerk and wander at every coefficient of a spline, renewed round by round.

    Parameters
    ----------
    grid
        The spline.
    coefficients
        The speed, a little smoothed, to start from, shape (n,).
    runs
        Steady runs of the drive.
    """

    def __init__(self, grid: SplineGrid, coefficients: FloatArray, runs: SteadyRuns) -> None:
        self.grid = grid
        self.run = _run_of(grid, runs)
        self._inside = np.flatnonzero(self.run >= 0)
        square = grid.bending(coefficients) ** 2
        self.jerk2 = np.maximum(local_sum(square, LOCAL_KNOTS) / (2 * LOCAL_KNOTS + 1), LEAST_JERK**2)
        self.wander2 = self._of_runs(grid.changes(coefficients) ** 2, np.ones(len(grid)))
        self._band = self._informed()

    def band(self) -> FloatArray:
        """Return the band of the information about the coefficients, shape (4, n), for others to add theirs."""
        return self._band.copy()

    def _informed(self) -> FloatArray:
        band = self.grid.stiffness(1 / self.jerk2) + self.grid.tautness(1 / self.wander2)
        band[0] += _LOOSE
        return band

    def renew(self, coefficients: FloatArray, inverse: FloatArray) -> None:
        """Renew the sizes by the speed as it is known now: its coefficients and the band of their covariance."""
        grid = self.grid
        before = Banded(self._band).inverse() if len(self._inside) else None
        square = grid.bending(coefficients) ** 2
        expected = self.jerk2 if before is None else grid.bending_variances(before)
        learnt = _learnt(self.jerk2, expected, grid.bending_variances(inverse))
        self.jerk2 = np.maximum(
            (local_sum(square, LOCAL_KNOTS) + _HALF * self.jerk2)
            / (local_sum(learnt * grid.inner, LOCAL_KNOTS) + _HALF),
            LEAST_JERK**2,
        )
        if before is not None:
            learnt = _learnt(self.wander2, grid.change_variances(before), grid.change_variances(inverse))
            self.wander2 = self._of_runs(grid.changes(coefficients) ** 2, learnt)
        self._band = self._informed()

    def _of_runs(self, square: FloatArray, learnt: FloatArray) -> FloatArray:
        """Return the size of the wander at each coefficient, that of its run, and none outside of runs."""
        size2 = np.full(len(square), _FREE)
        if len(self._inside):
            run = self.run[self._inside]
            total, count = (np.bincount(run, weights=x[self._inside]).astype(float) for x in (square, learnt))
            size2[self._inside] = np.exp(_pooled(total, count))[run]
        return size2


def _pooled(total: FloatArray, count: FloatArray) -> FloatArray:
    """Return the logarithm of the size of the wander of each run, the nearer to that of all the less they differ.

    Of ``count`` values a run has its own with a variance of ``2 / count``; how much runs differ beyond that is their
    scatter about their mean (R. DerSimonian and N. Laird, Controlled Clinical Trials 7, 1986, 177-188).
    """
    least = np.log(LEAST_WANDER**2)
    own = np.maximum(np.log(np.maximum(total, 1e-300) / np.maximum(count, 1e-300)), least)
    weight = count / 2
    whole = float(weight.sum())
    if not whole:
        return np.full(len(count), least)
    usual = float(weight @ own) / whole
    beyond = float(weight @ (own - usual) ** 2) - (np.count_nonzero(count) - 1)
    differ = beyond / max(whole - float(weight @ weight) / whole, 1e-9) - RUNS_DIFFER
    pool = 2 / max(differ, 2 / RUN_POOL)
    return np.maximum((count * own + pool * usual) / (count + pool), least)


def _learnt(size2: FloatArray, before: FloatArray, after: FloatArray) -> FloatArray:
    """Return how much of each size the drive told, 0 to 1, by the variances before and after it was seen."""
    return np.clip((before - after) / size2, 0.0, 1.0)


def local_sum(values: FloatArray, reach: int) -> FloatArray:
    """Return the sum over the values up to ``reach`` before and after each."""
    count, after = len(values), reach + 1 + len(values)
    total = np.zeros(count + 2 * reach + 1)
    np.cumsum(values, out=total[reach + 1 : after])
    total[after:] = total[after - 1]
    return np.asarray(total[2 * reach + 1 :] - total[:count])


def _run_of(grid: SplineGrid, runs: SteadyRuns) -> IntArray:
    """Return the run in which each coefficient and the one after it lie, away from its ends; -1 where in none."""
    time = grid.knots_s
    run = runs.number_at(time)
    same = (runs.number_at(time - RUN_EDGE_S) == run) & (runs.number_at(time + grid.spacing_s + RUN_EDGE_S) == run)
    return np.where(same & grid.joined, run, -1)
