"""How well a log knows its dial: what the model says, what whole minutes say, and what rounding hides.

The model takes its noise as independent; the jackknife over minutes sees what neighbours share (A. C. Cameron and
D. L. Miller, J. Human Resources 50, 2015, 317-372, section VI). Where a speed is held so still that all readings round
alike, neither sees the rounding error that they have in common.
"""

from __future__ import annotations

import numpy as np

from speedcal.calibration.curve import dial_through
from speedcal.calibration.dial import Dial
from speedcal.calibration.latent_speed import NUISANCES, Fit
from speedcal.calibration.tuning_logs import HANG_U_MPS, LOG_BLOCK_S, LUCK, SHARED_LEFT
from speedcal.interval import FloatArray, IntArray

_NO_PLAY_MPS = 1e-6
_LOOSE = 1e-3
"""Information of a knot that nothing is known of. [s2/m2]"""


def log_dial(fit: Fit, *, run: IntArray, used: FloatArray, step_mps: float, u_common_mps: float) -> tuple[Dial, float]:
    """Return the dial with its covariance, and the standard uncertainty of the clock offset.

    Parameters
    ----------
    fit
        The fit of the log.
    run
        Number of the steady run each reading lies in, -1 outside.
    used
        True speeds of the readings used. [m/s]
    step_mps
        Step of the readings. [m/s]
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
    line = np.column_stack([np.ones(len(knots)), knots])
    narrow = np.zeros((len(covariance), NUISANCES + 2))
    narrow[:NUISANCES, :NUISANCES] = np.eye(NUISANCES)
    narrow[NUISANCES:, NUISANCES:] = line
    model, minutes, freedom = leaving_out_blocks(
        fit.score @ narrow,
        weight @ narrow,
        left @ narrow,
        block=np.floor((fit.time_s - fit.time_s.min()) / LOG_BLOCK_S),
        prior=narrow.T @ fit.prior @ narrow,
    )
    noise = scaled_noise(noise, line, model=model[-2:, -2:], jackknife=minutes[-2:, -2:])
    noise = noise + line @ _shared_in_holds(fit, narrow, run=run, step_mps=step_mps) @ line.T
    dial = dial_through(knots, shown, (noise + noise.T) / 2, used_mps=used, degrees_of_freedom=freedom)
    u_clock = float(np.sqrt(max(minutes[0, 0], model[0, 0])))
    return dial.shifted(u_common_mps**2), u_clock


def leaving_out_blocks(
    score: FloatArray, weight: FloatArray, left: FloatArray, *, block: FloatArray, prior: FloatArray
) -> tuple[FloatArray, FloatArray, float]:
    """Return the covariance of p parameters by the model and by the jackknife over blocks, and its degrees of freedom.

    The last are those of the blocks that really move the last parameter.

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
    _, label = np.unique(block, return_inverse=True)
    blocks, size = int(label.max()) + 1, score.shape[1]
    pulls = np.stack([np.bincount(label, weights=score[:, i], minlength=blocks) for i in range(size)], axis=1)
    parts = np.empty((blocks, size, size))
    for i in range(size):
        for j in range(size):
            parts[:, i, j] = np.bincount(label, weights=weight[:, i] * left[:, j], minlength=blocks)
    parts = (parts + np.swapaxes(parts, 1, 2)) / 2
    whole = parts.sum(axis=0) + prior
    model = np.linalg.inv(whole)
    pulls = pulls - pulls.mean(axis=0)
    least = 0.02 * np.diag(np.diag(whole))
    moved = np.linalg.solve(_lifted(whole - parts, least), pulls[:, :, None])[:, :, 0]
    jackknife = moved.T @ moved * (blocks - 1) / max(blocks, 1)
    share = np.maximum(np.einsum("i,bij,j->b", model[:, -1], parts, model[:, -1]), 0.0)
    freedom = max(float(share.sum() ** 2 / max(np.sum(share**2), 1e-300)) - 1, 1.0)
    return model, jackknife, freedom


def scaled_noise(noise: FloatArray, line: FloatArray, *, model: FloatArray, jackknife: FloatArray) -> FloatArray:
    """Return the covariance of a dial's knots, of shape (m, m), with what the jackknife saw of its line.

    Parameters
    ----------
    noise
        Covariance of the knots by the model.
    line
        What offset and factor do at the knots, shape (m, 2).
    model, jackknife
        Covariance of offset and factor, shape (2, 2).
    """
    size = max(float(np.trace(np.linalg.solve(model, jackknife))) / 2, LUCK)
    both = size * model + _positive(jackknife - size * model)
    # where offset and factor do not hang together the level has luck, or none, of its own
    pivot = np.array([1.0, -both[0, 1] / both[1, 1]])
    less = pivot @ both @ pivot - max(pivot @ jackknife @ pivot, LUCK * (pivot @ model @ pivot))
    both[0, 0] -= less
    return np.asarray(size * _positive(noise - line @ model @ line.T) + line @ both @ line.T)


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


def _shared_in_holds(fit: Fit, narrow: FloatArray, *, run: IntArray, step_mps: float) -> FloatArray:
    """Return the covariance of offset and factor from errors that all readings of a held speed share.

    The mean rounding error of a normal speed that wanders by s about an unknown place between two steps has the
    variance ``sum over k of step^2 / (2 pi^2 k^2) exp(-(2 pi k s / step)^2)`` (B. Widrow and I. Kollar, *Quantization
    Noise*, Cambridge 2008, chapter 9): step^2/12 under cruise control, nothing when the speed wanders by half a step.
    It is one draw for each speed that is held, the same at every visit. Values that count as intervals take up a part.
    Where in its play a pointer hangs is known as well as the speed that it hangs behind, at every visit anew, until
    that wanders by more.
    """
    steady = run >= 0
    if not steady.any():
        return np.zeros((2, 2))
    speed = fit.speed_mps[steady]
    gain = fit.dial.line.error_factor
    _, visit = np.unique(run[steady], return_inverse=True)
    count = np.bincount(visit)
    level = np.bincount(visit, weights=speed) / count
    wander = np.bincount(visit, weights=(speed - level[visit]) ** 2) / count * gain**2
    order = np.argsort(level)
    place = np.empty(len(level), np.int64)
    place[order] = np.concatenate(([0], np.cumsum(np.diff(level[order]) * gain > 0.6 * step_mps)))
    weight = (fit.information[0] @ narrow)[-len(run) :][steady][:, -2:]
    rounding = np.sqrt(_shared_rounding(wander, step_mps))[visit]
    u_hangs = min(fit.play_mps, HANG_U_MPS)
    hangs = u_hangs * np.exp(-wander / (2 * max(u_hangs, _NO_PLAY_MPS) ** 2))[visit]
    score = np.vstack([_summed(weight * rounding[:, None], place[visit]), _summed(weight * hangs[:, None], visit)])
    whole = narrow.T @ (fit.information[0].T @ fit.information[1] + fit.prior) @ narrow
    inverse = np.linalg.inv((whole + whole.T) / 2)[-2:, -2:]
    return np.asarray(inverse @ score.T @ score @ inverse)


def _shared_rounding(wander: FloatArray, step_mps: float) -> FloatArray:
    """Return the variance of the rounding error that is left in the mean of speeds of given variances."""
    if step_mps <= 0:
        return np.zeros(len(wander))
    k = np.arange(1, 6)[:, None]
    kept = np.sum(np.exp(-((2 * np.pi * k / step_mps) ** 2) * wander) / k**2, axis=0)
    return np.asarray(SHARED_LEFT * step_mps**2 / (2 * np.pi**2) * kept)


def _summed(rows: FloatArray, label: IntArray) -> FloatArray:
    """Return the sum of the rows (n, 2) of each label."""
    return np.stack([np.bincount(label, weights=column) for column in rows.T], axis=1)
