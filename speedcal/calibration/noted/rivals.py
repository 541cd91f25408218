"""Whether readings are of one dial in the vehicle of the track all the way, or something else explains them better.

Two rivals are held against one dial with everything about it integrated out (Kass and Raftery 1995, J. Am. Statist.
Assoc. 90, 773): from some reading on it reads otherwise, as after a change of tires; or readings stray from it and
come back over tens of seconds, as those of the car behind do, whose speed is nearly that of the track. What one person
misreads is independent from reading to reading.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import product

import numpy as np

from speedcal.calibration.dial.dial_mixture import Basis, Laid, Solved, at_nodes, information, prior_nodes
from speedcal.calibration.tuning import notes as notes_tuned
from speedcal.calibration.tuning import rivals as tuned
from speedcal.calibration.tuning.general import FEW_READINGS
from speedcal.interval import FloatArray

_NEGLIGIBLE = 0.02


@dataclass(frozen=True, slots=True)
class Kinks:
    """Where a dial does not go on as it does elsewhere."""

    log_changed: float = -np.inf
    """Log odds that it reads otherwise from some reading on, against one dial all the way."""
    rests_mps: tuple[float, float] = (-np.inf, np.inf)
    """True speeds below and above which its needle rests at an end of the scale; infinite where it does not."""
    log_handed_over: float = -np.inf
    """Log odds that who read it from another clock on sees it otherwise."""
    apart_mps2: float = 0.0
    """Mean square of what that one sees otherwise than the mean of both."""


def kinks_of(way: Laid, basis: Basis, nodes: Solved, set_s: float = np.nan) -> Kinks:
    """Return whether the dial reads otherwise from some reading on, and whether its needle rests at an end.

    By how much its factor or its offset changes is integrated out like all else; which it is and when is averaged over.
    A needle that rests takes back all that the speed adds to the reading, within what factors differ by.

    Parameters
    ----------
    set_s
        Moment from which on the readings are timed by another clock, NaN if there is none.
    """
    speed = way.speed_mps
    rank = np.argsort(np.argsort(way.moment_s, kind="stable"), kind="stable")
    begins = np.arange(tuned.FEWEST_ON_A_SIDE, len(speed) - tuned.FEWEST_ON_A_SIDE + 1)
    if not len(begins):
        return Kinks()
    after = (rank[:, None] >= begins).astype(float)
    after = np.hstack([tuned.CHANGE_ON_WAY_U * speed[:, None] * after, tuned.CHANGE_ON_WAY_MPS * after])
    low, high = _ends(
        speed,
        notes_tuned.REST_BEYOND_STEPS * float(np.sqrt(12 * np.max(way.rounding_variance)))
        + notes_tuned.REST_BEYOND_MPS,
    )
    rests = np.hstack([np.maximum(low - speed[:, None], 0.0), np.minimum(high - speed[:, None], 0.0)])
    handed = tuned.ASIDE_MPS * (way.moment_s[:, None] > set_s)
    weight, pull, log_share = _beside(way, basis, nodes, np.hstack([after, rests, handed]))
    log_handed, apart = _handed_over(weight[:, -1:], pull[:, -1:], log_share)
    count, weight, pull = after.shape[1], weight[:, :-1], pull[:, :-1]
    gain = pull[:, :count] ** 2 / (weight[:, :count] + 1) - np.log1p(weight[:, :count])
    log_changed = float(np.logaddexp.reduce(gain / 2 + log_share, axis=None) - np.log(count))
    weight, pull, known = weight[:, count:], pull[:, count:], 1 / notes_tuned.REST_FACTOR_U**2
    gain = (pull + known) ** 2 / (weight + known) - known - np.log1p(weight / known)
    log_rests = np.logaddexp.reduce(gain / 2 + log_share, axis=0)
    return Kinks(
        log_changed,
        (_likely(low, log_rests[: len(low)], -np.inf), _likely(high, log_rests[len(low) :], np.inf)),
        log_handed if np.isfinite(set_s) else -np.inf,
        apart if np.isfinite(set_s) else 0.0,
    )


def _handed_over(weight: FloatArray, pull: FloatArray, log_share: FloatArray) -> tuple[float, float]:
    """Return log odds of another reader from a known moment on, and the mean square of half of what is between them."""
    log = (pull**2 / (weight + 1) - np.log1p(weight)) / 2 + log_share
    square = (pull / (weight + 1)) ** 2 + 1 / (weight + 1)
    mean = float(np.average(square, weights=np.exp(log - log.max())))
    return float(np.logaddexp.reduce(log, axis=None)), (tuned.ASIDE_MPS / 2) ** 2 * mean


def _ends(speed_mps: FloatArray, beyond_mps: float) -> tuple[FloatArray, FloatArray]:
    """Return speeds between two readings below, and above, which a needle may rest for all that the others tell.

    One of them was as far beyond at the least: what a held speed wanders by, no needle shows.
    """
    counts = np.arange(tuned.FEWEST_ON_A_SIDE, len(speed_mps) - FEW_READINGS + 1)
    up = np.sort(speed_mps)
    low, high = (up[counts - 1] + up[counts]) / 2, (up[-counts] + up[-counts - 1]) / 2
    return low[low - up[0] > beyond_mps], high[up[-1] - high > beyond_mps]


def _likely(ends_mps: FloatArray, log: FloatArray, none: float) -> float:
    """Return the likeliest end of a scale, or that there is none, averaged over where it may lie."""
    if not len(log) or np.logaddexp.reduce(log) - np.log(len(log)) < notes_tuned.REST_EVIDENCE:
        return none
    return float(ends_mps[int(np.argmax(log))])


def _beside(way: Laid, basis: Basis, nodes: Solved, columns: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return information and score of each of several columns beside a dial, and the log share of every node of it.

    Shapes (nodes, columns) and (nodes, 1).
    """
    known = np.column_stack([basis.rows(way.speed_mps), way.play])
    noise, which = np.unique(nodes.noise, axis=0, return_inverse=True)
    told = information(way, np.column_stack([known, columns]), noise)[0]
    size, sd = known.shape[1], nodes.prior_sd[:, :, None]
    inner = sd * told[which, :size, :size] * sd.transpose(0, 2, 1) + np.eye(size)
    beside = sd * told[which, :size, size:]
    explained = np.linalg.solve(inner, beside)
    own = np.diagonal(told, axis1=1, axis2=2)[which, size:-1]
    weight = own - np.einsum("kpc,kpc->kc", beside[:, :, :-1], explained[:, :, :-1])
    pull = told[which, size:-1, -1] - np.einsum("kpc,kp->kc", beside[:, :, :-1], explained[:, :, -1])
    return weight, pull, np.log(nodes.weight)[:, None]


def log_strays(way: Laid, basis: Basis) -> float:
    """Return the log odds that readings stray from the dial for a while together, against errors of their own.

    Both are weighed at the scatters with which people read; for how long they stray is averaged over.
    """
    rows = basis.rows(way.speed_mps)
    columns = np.column_stack([rows, way.play, way.shown_mps - way.speed_mps])
    prior_sd, log_sizes = prior_nodes(rows.shape[1])
    apart = np.abs(way.moment_s[:, None] - way.moment_s)
    strays = [tuned.STRAY_MPS**2 * np.exp(-apart / lasts) for lasts in tuned.STRAY_LASTS_S]
    noise, log_noise = _own_errors(way)
    covariance = noise[:, None] + np.array([np.zeros_like(apart), *strays])
    root = np.linalg.cholesky(covariance.reshape(-1, *apart.shape))
    white = np.linalg.solve(root, np.broadcast_to(columns, (len(root), *columns.shape)))
    log_determinant = 2 * np.log(np.diagonal(root, axis1=1, axis2=2)).sum(axis=1)
    log, _ = at_nodes(white.transpose(0, 2, 1) @ white, log_determinant, prior_sd)
    by_stray = np.logaddexp.reduce(log + log_sizes, axis=1).reshape(len(noise), -1) + log_noise[:, None]
    evidence = np.logaddexp.reduce(by_stray, axis=0)
    return float(np.logaddexp.reduce(evidence[1:]) - np.log(len(strays)) - evidence[0])


def _own_errors(way: Laid) -> tuple[FloatArray, FloatArray]:
    """Return covariances (k, n, n) of what readings err by alone and in runs, and the log share of each."""
    scatter, share = np.array(list(product(notes_tuned.LINE_SCATTERS_MPS, notes_tuned.RUN_SHARES))).T
    log = -0.5 * (np.log(scatter / tuned.STRAY_SCATTER_MPS) / tuned.STRAY_SCATTER_LOG_SD) ** 2
    log += np.tile(np.log(notes_tuned.RUN_SHARE_ODDS), len(notes_tuned.LINE_SCATTERS_MPS))
    likely = log > log.max() + np.log(_NEGLIGIBLE)
    in_run = way.run >= 0
    together = (way.run[:, None] == way.run) & in_run
    variance = (scatter[likely] ** 2 + way.rounding_variance)[:, None]
    part = share[likely, None]
    alone = np.where(in_run, 1 - part, 1.0) * variance * way.widening + way.known_variance
    return alone[:, :, None] * np.eye(len(in_run)) + (part * variance)[:, :, None] * together, log[likely]
