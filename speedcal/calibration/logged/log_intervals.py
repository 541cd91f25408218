"""How well a log knows its dial: what the model says, what whole minutes say, and what rounding hides.

The model takes its noise as independent; the jackknife over minutes sees what neighbours share (A. C. Cameron and
D. L. Miller, J. Human Resources 50, 2015, 317-372, section VI). Where a speed is held so still that all readings round
alike, neither sees the rounding error that they have in common.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from speedcal.calibration.dial.curve import dial_through
from speedcal.calibration.dial.dial import Dial
from speedcal.calibration.logged.held_rounding import HeldRounding, mean_rounding
from speedcal.calibration.logged.latent_model import NUISANCES, UNEVEN, Fit
from speedcal.calibration.tuning import logs as tuned
from speedcal.interval import COVERAGE_FACTOR, FloatArray, IntArray

_NO_PLAY_MPS = 1e-6
_BROKEN_MPS = 1.0
_LONG_VISIT, _FEWEST_VISITS, _TAKEN_BY_DIAL = 10, 8, 3
"""Readings from which on the mean of a visit tells where the pointer hung, how many visits tell how far it strays, and
how many of them the dial takes up."""
_LOOSE = 1e-3
"""Information of a knot that nothing is known of. [s2/m2]"""


def log_dial(
    fit: Fit, *, run: IntArray, held: HeldRounding, used: FloatArray, step_mps: float, u_common_mps: float
) -> tuple[Dial, float]:
    """Return the dial with its covariance, and the standard uncertainty of the clock offset.

    Parameters
    ----------
    run
        Number of the steady run each reading lies in, -1 outside.
    held
        What the readings are rounded by alike.
    u_common_mps
        Standard uncertainty that all recorded speeds share. [m/s]
    """
    knots = fit.dial.knots_mps
    weight, left = fit.information
    information = weight.T @ left
    information = (information + information.T) / 2
    prior = np.zeros_like(information)
    prior[:NUISANCES, :NUISANCES] = fit.prior[:NUISANCES, :NUISANCES]
    loose = prior + np.diag(np.concatenate([np.zeros(NUISANCES), np.full(len(knots), _LOOSE)]))
    covariance = np.linalg.pinv(information + loose, hermitian=True)
    pull = fit.score.sum(axis=0)
    pull[:NUISANCES] = 0.0
    shown = fit.dial.shown_mps + (covariance @ pull)[NUISANCES:]
    noise = covariance[NUISANCES:, NUISANCES:]
    doubt = _doubt_of_uneven(fit, covariance)
    line = np.column_stack([np.ones(len(knots)), knots])
    narrow = np.zeros((len(covariance), NUISANCES + 2))
    narrow[:NUISANCES, :NUISANCES] = np.eye(NUISANCES)
    narrow[NUISANCES:, NUISANCES:] = line
    model, minutes, freedom = leaving_out_blocks(
        fit.score @ narrow,
        weight @ narrow,
        left @ narrow,
        block=np.floor((fit.time_s - fit.time_s.min()) / tuned.LOG_BLOCK_S),
        prior=narrow.T @ fit.prior @ narrow,
    )
    holds = _Holds.of(fit, narrow, run=run, step_mps=step_mps) if (run >= 0).any() else None
    jackknife = minutes[-2:, -2:]
    if holds is not None and fit.play_mps > _NO_PLAY_MPS:
        jackknife = jackknife + _positive(holds.strayed() - jackknife)
    noise = scaled_noise(noise, line, model=model[-2:, -2:], jackknife=jackknife, freedom=freedom)
    moved = line @ model[-2:, -2:] @ (weight @ narrow)[-len(run) :, -2:].T @ held.columns(held.time_s)
    noise = noise + moved @ moved.T
    if holds is not None:
        noise = noise + line @ holds.shared(fit) @ line.T
    dial = dial_through(knots, shown, (noise + noise.T) / 2, used_mps=used)
    u_clock = float(np.sqrt(max(minutes[0, 0], model[0, 0])))
    moved = replace(fit.dial, shown_mps=doubt).indicated(dial.knots_mps)
    dial = replace(dial, shown_mps=dial.shown_mps - moved)
    return dial.shifted(np.outer(moved, moved) + u_common_mps**2), u_clock


def _doubt_of_uneven(fit: Fit, covariance: FloatArray) -> FloatArray:
    """Return half of what an uneven lag does to the dial at its knots, where it may be another's than the display's."""
    if abs(fit.uneven_s) >= tuned.UNEVEN_SURE_S:
        return np.zeros(len(fit.dial.knots_mps))
    return np.asarray(fit.uneven_s / 2 * covariance[NUISANCES:, UNEVEN] / covariance[UNEVEN, UNEVEN])


def leaving_out_blocks(
    score: FloatArray, weight: FloatArray, left: FloatArray, *, block: FloatArray, prior: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return the covariance of p parameters by the model and by the jackknife over blocks, and its degrees of freedom.

    The last two parameters are offset and factor; the degrees of freedom are those of the blocks that really move the
    level where it does not hang together with the factor, and the factor, shape (2,).

    Parameters
    ----------
    score
        Gradient of the log likelihood from each value, shape (n, p).
    weight, left
        Outer factors of the information of each value, shape (n, p) each.
    block
        Label of the block of each value, shape (n,).
    prior
        Information of the prior, shape (p, p).
    """
    order = np.argsort(block, kind="stable")
    edges = np.flatnonzero(np.diff(block[order], prepend=np.nan, append=np.nan))
    blocks = len(edges) - 1
    score, weight, left = score[order], weight[order], left[order]
    pulls = np.add.reduceat(score, edges[:-1])
    parts = np.stack([weight[a:b].T @ left[a:b] for a, b in pairwise(edges)])
    parts = (parts + np.swapaxes(parts, 1, 2)) / 2
    whole = parts.sum(axis=0) + prior
    model = np.linalg.inv(whole)
    pulls = pulls - pulls.mean(axis=0)
    least = 0.02 * np.diag(np.diag(whole))
    moved = np.linalg.solve(_lifted(whole - parts, least), pulls[:, :, None])[:, :, 0]
    jackknife = moved.T @ moved * (blocks - 1) / max(blocks, 1)
    told = model[:, -2:] @ np.array([[1.0, 0.0], [-model[-2, -1] / model[-1, -1], 1.0]])
    return model, jackknife, freedom_of(np.maximum(np.einsum("ik,bij,jk->kb", told, parts, told), 0.0))


def freedom_of(share: FloatArray) -> FloatArray:
    """Return the degrees of freedom of variances that blocks have these shares in, shape (k, blocks)."""
    return np.asarray(np.maximum(share.sum(axis=1) ** 2 / np.maximum(np.sum(share**2, axis=1), 1e-300) - 1, 1.0))


def scaled_noise(
    noise: FloatArray, line: FloatArray, *, model: FloatArray, jackknife: FloatArray, freedom: FloatArray
) -> FloatArray:
    """Return the covariance of a dial's knots, of shape (m, m), with what the jackknife saw of its line.

    It is that of a normal distribution whose 95 % interval is as wide as Student's, so that what is known otherwise
    adds to it without being widened for blocks that it does not come from.

    Parameters
    ----------
    noise
        Covariance of the knots by the model.
    line
        What offset and factor do at the knots, shape (m, 2).
    model, jackknife
        Covariance of offset and factor, shape (2, 2).
    freedom
        Degrees of freedom of level and factor, as of :func:`leaving_out_blocks`.
    """
    from scipy.special import stdtrit

    size = max(float(np.trace(np.linalg.solve(model, jackknife))) / 2, tuned.LUCK)
    both = size * model + _positive(jackknife - size * model)
    # where offset and factor do not hang together the level has luck, or none, of its own
    pivot = np.array([1.0, -both[0, 1] / both[1, 1]])
    less = pivot @ both @ pivot - max(pivot @ jackknife @ pivot, tuned.LUCK * (pivot @ model @ pivot))
    both[0, 0] -= less
    wider_level, wider_factor = (stdtrit(freedom, 0.975) / COVERAGE_FACTOR) ** 2
    alone = np.zeros((2, 2))
    alone[0, 0] = pivot @ both @ pivot
    both = wider_level * alone + wider_factor * (both - alone)
    return np.asarray(wider_level * size * _positive(noise - line @ model @ line.T) + line @ both @ line.T)


def _lifted(matrices: FloatArray, least: FloatArray) -> FloatArray:
    """Return symmetric matrices with no eigenvalue below 1, in units of ``least``, a diagonal matrix."""
    root = np.sqrt(np.diag(least))
    values, vectors = np.linalg.eigh(matrices / np.outer(root, root))
    lifted = (vectors * np.maximum(values, 1.0)[:, None, :]) @ np.swapaxes(vectors, 1, 2)
    return np.asarray(lifted * np.outer(root, root))


def _positive(matrix: FloatArray) -> FloatArray:
    """Return the part of a symmetric matrix whose eigenvalues are positive."""
    values, vectors = np.linalg.eigh((matrix + matrix.T) / 2)
    return np.asarray((vectors * np.maximum(values, 0.0)) @ vectors.T)


@dataclass(frozen=True, slots=True)
class _Holds:
    """Visits to held speeds, and what errors that all readings of one share do to offset and factor."""

    visit: IntArray
    """Which visit each steady reading belongs to."""
    count: IntArray
    """Readings of each visit."""
    rounding2: FloatArray
    """Variance of the rounding error that is left in the mean of each visit. [m2/s2]"""
    wander2: FloatArray
    """By how much the speed shown changes within each visit, a variance. [m2/s2]"""
    off_mps: FloatArray
    """Mean distance of each visit from the dial."""
    weight: FloatArray
    """What offset and factor take of each steady reading, shape (n, 2)."""
    taken: FloatArray
    """The same where the speed itself gives way to the reading."""
    covariance: FloatArray
    """Of offset and factor by the model, shape (2, 2)."""

    @classmethod
    def of(cls, fit: Fit, narrow: FloatArray, *, run: IntArray, step_mps: float) -> _Holds:
        """Return the visits of a log, of which there is one at least."""
        steady = run >= 0
        speed, off = fit.speed_mps[steady], np.clip(fit.off_mps[steady], -_BROKEN_MPS, _BROKEN_MPS)
        gain = fit.dial.line.error_factor
        _, visit = np.unique(run[steady], return_inverse=True)
        count = np.bincount(visit)
        level = np.bincount(visit, weights=speed) / count
        off2 = (speed - level[visit]) ** 2 + fit.u_speed_mps[steady] ** 2
        wander = np.bincount(visit, weights=off2) / count * gain**2
        weight, left = (rows[-len(run) :][steady] @ narrow[:, -2:] for rows in fit.information)
        whole = narrow.T @ (fit.information[0].T @ fit.information[1] + fit.prior) @ narrow
        return cls(
            visit=visit,
            count=count,
            rounding2=mean_rounding(wander, step_mps),
            wander2=wander,
            off_mps=np.bincount(visit, weights=off) / count,
            weight=weight,
            taken=weight[:, :1] * left,  # a reading of an offset of one weighs as much as itself
            covariance=np.linalg.inv((whole + whole.T) / 2)[-2:, -2:],
        )

    def shared(self, fit: Fit) -> FloatArray:
        """Return the covariance of offset and factor from errors that all readings of a held speed share.

        Where in its play a pointer hangs is known as well as the speed that it hangs behind, at every visit anew, until
        that wanders by more.
        """
        u_hangs = min(fit.play_mps, tuned.HANG_U_MPS)
        hangs = u_hangs * np.exp(-self.wander2 / (2 * max(u_hangs, _NO_PLAY_MPS) ** 2))[self.visit]
        return self._carried(_summed(self.weight * hangs[:, None], self.visit))

    def strayed(self) -> FloatArray:
        """Return the covariance of offset and factor from how visits stray from the dial beyond what is usual.

        A needle that sticks hangs farther behind, and otherwise each time, than one with the play that was fitted.
        """
        weight, taken = (np.bincount(self.visit, weights=rows[:, 0]) for rows in (self.weight, self.taken))
        long = (self.count >= _LONG_VISIT) & (weight > 0) & (taken > 0)
        if long.sum() < _FEWEST_VISITS:
            return np.zeros((2, 2))
        # the speed has given way to a reading that strays, so that less of it is seen
        seen2 = (taken[long] / weight[long]) ** 2
        strayed = float(np.sum(self.off_mps[long] ** 2 - seen2 * self.rounding2[long]) / np.sum(seen2))
        more = strayed * long.sum() / (long.sum() - _TAKEN_BY_DIAL) - tuned.HOLDS_STRAY_MPS**2
        return self._carried(_summed(self.taken * np.sqrt(max(more, 0.0)), self.visit))

    def _carried(self, score: FloatArray) -> FloatArray:
        return np.asarray(self.covariance @ score.T @ score @ self.covariance)


def _summed(rows: FloatArray, label: IntArray) -> FloatArray:
    """Return the sum of the rows (n, 2) of each label."""
    return np.stack([np.bincount(label, weights=column) for column in rows.T], axis=1)
