"""A dense log beside recorded speed: the dial by way of the latent speed, its covariance by blocks of minutes."""

from __future__ import annotations

import numpy as np

from speedcal.calibration.curve import dial_through
from speedcal.calibration.ground_speed import GroundSpeed
from speedcal.calibration.latent_speed import Channel, LatentFit, fit_latent
from speedcal.calibration.log_clock import find_clock
from speedcal.calibration.measured import NO_GROUND, TOO_SLOW, WRONG, MeasuredLine
from speedcal.calibration.tuning import (
    HOLD_ROUNDING_SHARE,
    LATENT_READINGS,
    LOG_BLOCK_S,
    LOG_LUCK,
    LOG_MOST_NODES,
    LOG_NODE_GAP_MPS,
    RECEIVER_U_MPS,
    SLOWEST_MPS,
)
from speedcal.interval import BoolArray, FloatArray, IntArray

_THINNED_S = 0.45
_STAYS_S, _STAYS = 20.0, 0.6
_WORSE, _WORSE_STEPS = 1.1, 0.3
"""An answer whose readings lie this much farther off than from the line it started at has not settled."""
_MOST_HELD = 0.05
"""A receiver repeats a fix now and then; a track that repeats more than this is one that was drawn."""


def fit_rounded(
    ground: GroundSpeed,
    time_s: FloatArray,
    indicated_mps: FloatArray,
    *,
    tau_s: float,
    offset_mps: float,
    factor: float,
    step_mps: float,
) -> MeasuredLine | None:
    """Return the dial of a log beside recorded speed, both rounded as they are; None where no answer settles.

    Parameters
    ----------
    ground
        Ground speed of the drive, recorded.
    time_s, indicated_mps
        Readings in order of time, shape (n,). [s, m/s]
    tau_s, offset_mps, factor
        Clock offset and line to start from.
    step_mps
        Step the readings are rounded to. [m/s]
    """
    track = _track_channel(ground)
    some = _thinned(time_s)
    moving = ground.usable_at(time_s[some] + tau_s) & (indicated_mps[some] > 0.8 * SLOWEST_MPS)
    some = some[moving]
    if len(some) < LATENT_READINGS or len(track.time_s) < LATENT_READINGS:
        return None
    log = Channel(
        time_s[some], indicated_mps[some] - step_mps / 2, indicated_mps[some] + step_mps / 2, np.ones(len(some))
    )
    nodes = _nodes((indicated_mps[some] - offset_mps) / factor)
    start = find_clock(ground, log.time_s, indicated_mps[some], tau_s=tau_s, offset_mps=offset_mps, factor=factor)
    fit = fit_latent(track, log, start=start, nodes_mps=nodes)
    covariance, blocks = _covariance(fit, track, log)
    size = len(nodes)
    common = RECEIVER_U_MPS**2 + ground.u_cut_mps**2
    shown_covariance = covariance[:size, :size] + common
    used = fit.ground_mps[fit.right > 0.5]
    dial = dial_through(
        nodes, fit.shown_mps, shown_covariance, used_mps=used, degrees_of_freedom=max(blocks - 2.0, 3.0)
    )
    moment = time_s + fit.clock_offset_s + fit.drift * (time_s - float(np.mean(log.time_s)))
    speed, slope, inside = ground.at(moment)
    reason = np.where(inside, "", NO_GROUND).astype(object)
    reason[inside & ~ground.usable_at(moment)] = TOO_SLOW
    scatter = float(np.hypot(fit.noise_mps[1], step_mps / np.sqrt(12)))
    reason[(reason == "") & _far(dial.indicated(speed) - indicated_mps, scatter, slope)] = WRONG
    plainly = np.abs(indicated_mps - offset_mps - factor * ground.at(time_s + tau_s)[0])
    used = (reason == "") | (reason == WRONG)
    slack = _WORSE_STEPS * min(step_mps, ground.step_mps)  # two rounded sides may agree by rounding alone
    if np.median(np.abs(dial.indicated(speed) - indicated_mps)[used]) > _WORSE * np.median(plainly[used]) + slack:
        return None
    line = dial.line
    return MeasuredLine(
        offset_mps=line.offset_mps,
        gain=line.error_factor,
        covariance=line.covariance,
        degrees_of_freedom=dial.degrees_of_freedom,
        clock_offset_s=fit.clock_offset_s,
        u_clock_offset_s=float(np.sqrt(covariance[size, size])),
        scatter_mps=scatter,
        time_share=0.0,
        time_s=moment,
        ground_mps=np.where(inside, speed, np.nan),
        reason=tuple(reason.tolist()),
        dial=dial,
    )


def _far(away: FloatArray, scatter: float, slope: FloatArray) -> BoolArray:
    return np.asarray(np.abs(away) > 6.0 * scatter + 2.5 * np.abs(slope))


def _track_channel(ground: GroundSpeed) -> Channel:
    """Return recorded speed as intervals; held fixes, repeated for six and more without rounding, are left out."""
    half = ground.step_mps / 2
    scale = 1 / ground.road_over_level
    value = ground.speed_mps * scale
    keep = np.ones(len(value), bool)
    if not ground.step_mps:
        same = np.concatenate(([False], np.diff(ground.speed_mps) == 0))
        run = np.cumsum(~same)
        long = np.bincount(run)[run] >= 6
        held = long & same
        if held.mean() < _MOST_HELD:
            keep = ~held
    return Channel(ground.time_s[keep], (value - half)[keep], (value + half)[keep], scale[keep])


def _thinned(time_s: FloatArray) -> IntArray:
    """Return readings about half a second apart and more."""
    cell = np.floor((time_s - time_s[0]) / _THINNED_S).astype(np.int64)
    return np.flatnonzero(np.diff(cell, prepend=-1) > 0)


def _nodes(speeds_mps: FloatArray) -> FloatArray:
    """Return the speeds at which the dial is told: evenly over what was driven."""
    low, high = np.quantile(speeds_mps, (0.02, 0.98))
    high = max(high, low + 2.0)
    count = int(np.clip(round((high - low) / LOG_NODE_GAP_MPS) + 1, 2, LOG_MOST_NODES))
    return np.linspace(low, high, count)


def _covariance(fit: LatentFit, track: Channel, log: Channel) -> tuple[FloatArray, float]:
    """Return the covariance of the parameters by blocks of minutes, not below three quarters of the model's.

    A block is left out by its push on the parameters (one step of Newton's; Cameron and Miller 2015, section VI).
    Blocks that lie in one hold are one: there rounding errs alike all the time.
    """
    begin = track.time_s[0]
    moment = log.time_s + fit.clock_offset_s
    edges = _block_edges(begin, moment, fit.ground_mps)
    owner = np.searchsorted(edges, moment, side="right")
    track_owner = np.searchsorted(edges, track.time_s, side="right")
    count = len(edges) + 1
    size = fit.influence.shape[1]
    push = np.zeros((count, size))
    np.add.at(push, owner, fit.influence)
    np.add.at(push, track_owner, fit.track_influence)
    told = np.bincount(owner, minlength=count) > 0
    push = push[told]
    push = push - push.mean(axis=0)
    blocks = float(len(push))
    model = np.asarray(np.linalg.inv(fit.information))
    sandwich = model @ (push.T @ push) @ model * blocks / max(blocks - 1, 1)
    root = np.linalg.cholesky(model + 1e-15 * np.eye(size))
    inner = np.linalg.solve(root, np.linalg.solve(root, sandwich).T)
    values, vectors = np.linalg.eigh((inner + inner.T) / 2)
    spread = root @ (vectors * np.maximum(values, LOG_LUCK)) @ vectors.T @ root.T
    return np.asarray(spread + _hold_rounding(fit, log, owner, model)), blocks


def _hold_rounding(fit: LatentFit, log: Channel, owner: IntArray, model: FloatArray) -> FloatArray:
    """Return the covariance from rounding that errs alike all through a hold, which no block of it shows.

    The mean error of values spread by a normal density of width s and rounded to steps h is a sine of amplitude
    h/pi exp(-2 pi^2 s^2/h^2) (Widrow and Kollar 2008, Quantization Noise, chapter 4).
    """
    step, size = log.step_mps, model.shape[0]
    total = np.zeros((size, size))
    if step <= 0:
        return total
    for block in np.unique(owner):
        here = owner == block
        width = float(np.hypot(np.std(fit.ground_mps[here]), fit.noise_mps[1]))
        error = min(step / np.sqrt(12), step / (np.pi * np.sqrt(2)) * np.exp(-2 * (np.pi * width / step) ** 2))
        moved = model @ fit.lever[here].sum(axis=0) * error
        total += np.outer(moved, moved)
    return total * HOLD_ROUNDING_SHARE


def _block_edges(begin: float, moment: FloatArray, speed: FloatArray) -> FloatArray:
    """Return the moments between blocks: every minute but where one speed is held across."""
    edges = np.arange(begin + LOG_BLOCK_S, moment[-1], LOG_BLOCK_S)
    kept = []
    for edge in edges:
        near = np.abs(moment - edge) < _STAYS_S
        if near.sum() < 3 or np.ptp(speed[near]) > _STAYS:
            kept.append(edge)
    return np.array(kept)
