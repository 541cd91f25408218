"""A step of the fit of the latent speed: how far it goes, and what each value said of it."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass

import numpy as np

from speedcal.calibration.logged.latent_model import CLOCK, DAMPING, DRIFT, NUISANCES, PLAY, UNEVEN
from speedcal.calibration.logged.latent_views import View, WeightTable
from speedcal.calibration.speed.banded import Banded
from speedcal.calibration.tuning.logs import DAMPING_FROM, LEAST_PLAY_MPS, UNEVEN_NOTICED_S
from speedcal.interval import FloatArray

_LONGEST = np.array([0.5, 0.7, 1e-3, 0.3, 0.2])
_HIGHEST_MPS = 0.3
"""No step of an unknown beside the dial is longer, in its own unit, and none of the dial."""
_LEAST = {DAMPING: 0.0, UNEVEN: UNEVEN_NOTICED_S, PLAY: LEAST_PLAY_MPS}


def newton_step(total: FloatArray, pull: FloatArray, *, none: Collection[int]) -> tuple[FloatArray, dict[int, float]]:
    """Return a step of Newton's, not too long, and how plainly what is taken as none would move; 1 is enough.

    Parameters
    ----------
    total
        Information of the unknowns, that of the prior with it, shape (p, p).
    pull
        Gradient of the log posterior, shape (p,).
    none
        The unknowns taken as none, which stay where they are.
    """
    covariance, held = np.linalg.inv(total), list(none)
    step, surprise = covariance @ pull, {}
    if held:
        wish, u = step.copy(), np.sqrt(np.maximum(np.diag(covariance), 1e-30))
        wish[PLAY] = max(wish[PLAY], 0.0)  # no pointer hangs ahead
        surprise = {
            which: abs(float(wish[which])) / max(DAMPING_FROM * float(u[which]), _LEAST[which]) for which in held
        }
        step = step - covariance[:, held] @ np.linalg.solve(covariance[np.ix_(held, held)], step[held])
        step[held] = 0.0
    step[:NUISANCES] /= max(float(np.max(np.abs(step[:NUISANCES]) / _LONGEST)), 1.0)
    step[NUISANCES:] /= max(float(np.max(np.abs(step[NUISANCES:]))) / _HIGHEST_MPS, 1.0)
    return step, surprise


_SLOWER, _SLOWEST = 0.7, 0.35
"""A dial that goes back on its step before moves by so much less from then on, down to the second share. At 1 ten of 89
logs do not settle (cruise control, receivers that smooth, needles that stick), so one; nor do three of 16 needles that
stick where the share is kept when one more unknown is found."""


@dataclass(slots=True)
class Pace:
    """How much of its steps a dial takes, and of their new messages values: less where they go to and fro."""

    rise: FloatArray
    """The step before, shape (knots,)."""
    share: float = 1.0

    def go(self, rise: FloatArray, information: FloatArray) -> None:
        """Renew the share by the next step and the information about the dial."""
        if rise @ information @ self.rise < 0:
            self.share = max(_SLOWER * self.share, _SLOWEST)
        self.rise = rise


@dataclass(slots=True)
class LastStep:
    """The last step: what moves each value, how much each counts, and what it pulls the coefficients by.

    Of two, the first belongs to the track, which damping alone moves, shape (n,), the second to the log, shape (n, p).
    """

    views: tuple[View, View]
    table: WeightTable
    since_s: FloatArray
    """Time of each value of the log since the middle of them."""
    moved: tuple[FloatArray, FloatArray]
    precision: tuple[FloatArray, FloatArray]
    pull: tuple[FloatArray, FloatArray]
    shaky: FloatArray
    own: FloatArray
    """What the doubt about the speed itself adds, for the clock and the dial: the covariance of each value of the log
    with its own derivative, as often as the value counts."""
    carried: FloatArray
    factor: Banded
    none: tuple[int, ...]
    """What was taken as none."""
    moving: float = np.inf
    """How far the farthest went, in its size of settled."""

    def slope(self) -> FloatArray:
        """Return the gradient of the log likelihood, shape (p,)."""
        bent, moved = self.moved
        slope = np.asarray(moved.T @ self.pull[1], float)
        slope[DAMPING] += bent @ self.pull[0]
        slope[CLOCK] -= self.shaky.sum()
        slope[DRIFT] -= self.shaky @ self.since_s
        cell = self.views[1].at[0]
        slope[NUISANCES:] -= np.bincount(cell, weights=self.own, minlength=len(self.table.slope)) @ self.table.slope
        return slope

    def score_of_each(self) -> FloatArray:
        """Return :meth:`slope` from each value of track and log, shape (n, p)."""
        bent, moved = self.moved
        score = moved * self.pull[1][:, None]
        score[:, CLOCK] -= self.shaky
        score[:, DRIFT] -= self.shaky * self.since_s
        score[:, NUISANCES:] -= self.own[:, None] * self.table.slope.take(self.views[1].at[0], axis=0)
        return _of_both(bent * self.pull[0], score)

    def information_of_each(self) -> FloatArray:
        """Return the information of each value of track and log as outer factors, shape (2, n, p)."""
        answer = self.factor.solve(self.carried)
        taken_up = [view.places.brought(view.row, len(answer)).T @ answer for view in self.views]
        weight = [(precision * moved.T).T for precision, moved in zip(self.precision, self.moved, strict=True)]
        return np.stack([_of_both(*weight), _of_both(*self.moved) - np.concatenate(taken_up)])


def _of_both(track: FloatArray, log: FloatArray) -> FloatArray:
    by_damping = np.zeros((len(track), log.shape[1]))
    by_damping[:, DAMPING] = track
    return np.concatenate([by_damping, log])
