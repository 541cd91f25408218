"""A dense log beside recorded speed: the dial by way of the latent speed behind both, each rounded as it is."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from speedcal.calibration.dial.measured import NO_GROUND, TOO_SLOW, WRONG, MeasuredLine, RoughLog
from speedcal.calibration.logged.heavy_damping import heavy_damping, u_even_mean, u_tracking
from speedcal.calibration.logged.held_rounding import HeldRounding, mean_about, one_figure
from speedcal.calibration.logged.latent_model import Channel, Fit, Start
from speedcal.calibration.logged.latent_speed import fit_latent
from speedcal.calibration.logged.log_intervals import log_dial
from speedcal.calibration.readings.end_stops import held_spread, sticking_step
from speedcal.calibration.speed.ground_speed import GroundSpeed
from speedcal.calibration.speed.runs import SteadyRuns
from speedcal.calibration.speed.speed_spline import SplineGrid
from speedcal.calibration.tuning import logs as tuned
from speedcal.calibration.tuning.general import WRONG_BELOW
from speedcal.finding import Finding
from speedcal.interval import BoolArray, FloatArray, IntArray, median

_WORSE = 1.5
"""An answer whose readings lie this much farther off than from the line it started at, and by more than half a step of
theirs, has not settled."""
_PLAINLY_WRONG_MPS = 2.0
"""So far off, beside what an instrument late by seconds explains, a row is not asked how late it is."""
_NODES = 6
"""Of the quadrature over what a slow needle still remembers."""
_THINNED_S = 0.15
"""Values closer than this have their noise in common and are left out; of five a second all count, since which half of
them is taken moves a factor by a third of its sigma."""


def fit_rounded(log: RoughLog, *, runs: SteadyRuns, u_stated_mps: FloatArray) -> MeasuredLine | None:
    """Return the dial of a log beside recorded speed, both rounded as they are; None where no answer settles."""
    ground, time_s, indicated_mps, step_mps = log.ground, log.time_s, log.indicated_mps, log.step_mps
    moment = time_s + log.tau_s
    speed, slope, inside = ground.at(moment)
    carries = inside & ground.usable_at(moment)
    some = np.flatnonzero(carries)
    some = some[_thinned(time_s[some])]
    fixes = np.flatnonzero(~_held(ground))
    fixes = fixes[_thinned(ground.time_s[fixes])]
    if min(len(some), len(fixes)) < tuned.LATENT_READINGS:
        return None
    off = np.abs(indicated_mps - log.offset_mps - log.factor * speed)
    plain = inside & (off < _PLAINLY_WRONG_MPS + tuned.HEAVY_LATE_S * np.abs(slope))
    start_s, damping_s2, tracking = heavy_damping(
        ground,
        time_s[plain],
        indicated_mps[plain],
        tau_s=log.tau_s,
        plain_mps=float(np.sqrt((step_mps**2 + ground.step_mps**2) / 12 + ground.u_speed_mps**2)),
    )
    told_mps = indicated_mps if tracking is None else tracking.seen(time_s, indicated_mps)
    step_mps = sticking_step(speed[some], indicated_mps[some], step_mps)
    sticks = step_mps > log.step_mps
    piece = _numbered(ground)[ground.place(moment[some])[0]]
    told_step_mps = step_mps if tracking is None else 0.0  # what the filter makes of rounded values is rounded no more
    shown = Channel(time_s[some], told_mps[some], piece, told_step_mps, u_stated_mps[some])
    fit = _latent_fit(log, fixes, shown, speed[some], start_s=start_s, damping_s2=damping_s2, runs=runs)
    late = fit.clock_offset_s + fit.drift * (time_s - float(np.mean(time_s[some])))
    moment = time_s + late
    held_mps = held_spread(fit.speed_mps, indicated_mps[some], step_mps)
    rounded_mps = held_mps if held_mps > 2 * step_mps else step_mps
    run = runs.number_at(moment[some])
    held = HeldRounding.of(
        moment[some], indicated_mps[some], rounded_mps, run=run, wander2=_wander2(fit, moment[some], run)
    )
    if sticks:  # it hangs alike at all figures, and where it jumped to tells nothing of where in its play it hangs
        held = replace(held, figure=np.zeros_like(held.figure))
    else:
        told = _edge_told(
            ground, moment[some], indicated_mps[some], run, step_mps=log.step_mps, right=fit.right > WRONG_BELOW
        )
        held = replace(held, u_mps=np.where(told, 0.0, held.u_mps))
    dial, u_clock = log_dial(
        fit,
        run=run,
        held=held,
        used=fit.speed_mps[fit.right > WRONG_BELOW],
        step_mps=rounded_mps,
        u_common_mps=float(np.hypot(tuned.RECEIVER_U_MPS, ground.u_cut_mps)),
    )
    u_even = u_even_mean(
        ground, time_s[plain], indicated_mps[plain], clock_offset_s=fit.clock_offset_s, damping_s2=fit.damping_s2
    )
    u_tracks = 0.0 if tracking is None else u_tracking(ground, tracking)
    dial = dial.geared(1.0, u_ln_factor=float(np.hypot(u_even, u_tracks)))
    speed, slope, inside = ground.at(moment)
    constant_s = float(np.sqrt(2 * abs(fit.damping_s2)))
    followed = _followed(ground, moment, constant_s) if fit.damping_s2 > 0 else speed
    hangs_mps = fit.play_mps * fit.pointer.at(moment)
    away = np.abs(told_mps - hangs_mps - dial.indicated(followed))
    if not median(away[carries]) <= _WORSE * median(off[carries]) + step_mps / 2:
        return None
    reason = np.where(inside & ground.usable_at(moment), "", np.where(inside, TOO_SLOW, NO_GROUND)).astype(object)
    scatter = float(np.hypot(fit.noise_mps, step_mps / np.sqrt(12)))
    far = tuned.LATENT_WRONG_FROM * np.hypot(scatter, u_stated_mps) + max(tuned.LATENT_LATE_S, constant_s) * np.abs(
        slope
    )
    reason[(reason == "") & (away > far)] = WRONG
    return MeasuredLine(
        dial=dial,
        clock_offset_s=fit.clock_offset_s,
        u_clock_offset_s=u_clock,
        scatter_mps=scatter,
        time_s=moment,
        ground_mps=np.where(inside, speed, np.nan),
        reason=tuple(reason.tolist()),
        reasons=() if fit.settled else (Finding("fit_unsettled"),),
        hangs_mps=hangs_mps,
        needle_lag_s=constant_s * (fit.damping_s2 > 0) if ground.step_mps < tuned.LAG_TOLD_STEP_MPS else None,
        receiver_lag_s=constant_s * (fit.damping_s2 < 0),
        tracking=tracking,
    )


def _latent_fit(
    log: RoughLog,
    fixes: IntArray,
    shown: Channel,
    speed_mps: FloatArray,
    *,
    start_s: float,
    damping_s2: float,
    runs: SteadyRuns,
) -> Fit:
    """Return the fit through the latent speed; ``fixes`` tell it, ``speed_mps`` is about what it is at each row."""
    ground, piece = log.ground, _numbered(log.ground)
    seconds = np.arange(ground.time_s[0], ground.time_s[-1] + 1.0)
    second, known = ground.place(seconds)
    return fit_latent(
        Channel(ground.time_s[fixes], ground.speed_mps[fixes], piece[fixes], ground.step_mps, np.zeros(len(fixes))),
        shown,
        grid=SplineGrid.over(ground.time_s, piece, tuned.LATENT_SPACING_S),
        start=Start(
            start_s,
            log.offset_mps,
            log.factor,
            log.scatter_mps,
            speed_mps,
            ground.u_speed_mps,
            damping_s2,
            seconds,
            np.where(known, piece[second], -1),
            runs,
        ),
    )


def _wander2(fit: Fit, moment_s: FloatArray, run: IntArray) -> FloatArray:
    """Return by how much what a dial shows wanders about each of its rows, a variance. [m2/s2]."""
    return np.asarray(fit.dial.line.error_factor**2 * mean_about(moment_s, fit.speed_mps, run)[1])


def _edge_told(
    ground: GroundSpeed,
    moment_s: FloatArray,
    shown_mps: FloatArray,
    run: IntArray,
    *,
    step_mps: float,
    right: BoolArray,
) -> BoolArray:
    """Return whether a change of figure about each row tells at what speed its step ends.

    Recorded speed that is rounded, too, does not tell that speed while it stands at one value.
    """
    figure = shown_mps[right][np.maximum(np.cumsum(right) - 1, 0)]  # of the last right row
    told = ~one_figure(moment_s, figure, step_mps, run)
    if ground.step_mps > 0:
        level = ground.speed_mps / ground.road_over_level
        fix = np.minimum(np.searchsorted(ground.time_s, moment_s), len(level) - 1)
        told &= ~one_figure(moment_s, level[fix], ground.step_mps, run)
    return told


def _numbered(ground: GroundSpeed) -> IntArray:
    """Return the piece of each fix, numbered from 0 on."""
    return np.unique(ground.piece, return_inverse=True)[1]


def _followed(ground: GroundSpeed, moment_s: FloatArray, constant_s: float) -> FloatArray:
    """Return the speed that a needle of the first order points to, its mean delay taken out, by Gauss and Laguerre."""
    node, weight = np.polynomial.laguerre.laggauss(_NODES)
    speed, _, inside = ground.at(moment_s + constant_s * (1 - node[:, None]))
    return np.asarray(np.where(inside.all(axis=0), weight @ speed, ground.at(moment_s)[0]))


def _thinned(time_s: FloatArray) -> IntArray:
    """Return the indices of values about a seventh of a second apart and more."""
    if not len(time_s):
        return np.empty(0, np.int64)
    cell = np.floor((time_s - time_s[0]) / _THINNED_S + 1e-6).astype(np.int64)
    return np.flatnonzero(np.diff(cell, prepend=-1) > 0)


def _held(ground: GroundSpeed) -> BoolArray:
    """Return which fixes repeat a speed that is not rounded: held by the receiver, not measured."""
    level = ground.speed_mps / ground.road_over_level
    begin = np.flatnonzero(~(np.abs(np.diff(level, prepend=np.nan)) < 1e-9))
    length = np.diff(np.append(begin, len(level)))
    held = np.repeat(length >= tuned.HELD_FIXES, length) & (level > 0)
    if ground.step_mps > 0 or held.mean() > tuned.MOST_HELD:
        return np.zeros(len(level), bool)
    return np.asarray(held)
