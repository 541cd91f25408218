"""Noted readings: from the clock offsets worth refining to one line, or to the admission that two would do."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from speedcal.calibration.climb import Mode, mixture, mode_weights
from speedcal.calibration.clock_search import LARGEST_FACTOR, SMALLEST_FACTOR, Shift
from speedcal.calibration.fit_noted import Moments, Posterior, find_modes
from speedcal.calibration.ground_speed import GroundSpeed
from speedcal.calibration.measured import NO_GROUND, TOO_SLOW, WRONG, MeasuredLine
from speedcal.calibration.runs import SteadyRuns
from speedcal.calibration.tuning import SLOWEST_MPS
from speedcal.errors import AlignmentError
from speedcal.interval import FloatArray, IntArray

_FINE_NODES, _FINE_REACH_S = 33, 8.0
_STARTS_PER_SHIFT = 3
_CLOCK_NODES = 81
_NEGLIGIBLE = 6.0
_FOLLOWING = 0.6
"""Least share of the readings on the track that has to follow it."""
_DOUBT = 0.05
"""Posterior mass elsewhere from which on a second clock offset has to be taken seriously."""


def fit_noted(
    ground: GroundSpeed,
    time_s: FloatArray,
    indicated_mps: FloatArray,
    *,
    shifts: list[Shift],
    at: Moments,
    u_rounding_mps: float,
    log_prior: Callable[[FloatArray], FloatArray],
    runs: SteadyRuns,
    source: str = "",
) -> MeasuredLine:
    """Fit offset, gain and clock offset to noted readings.

    The posterior has several maxima close together, since stamps are a second or so off and plateaus are flat. All of
    them near the heaviest one are kept and their mixture is summarised by its mean and covariance.

    Parameters
    ----------
    ground, runs
        The drive and its steady runs.
    time_s, indicated_mps
        Readings, shape (n,). [s, m/s]
    shifts
        Clock offsets to start from.
    at, u_rounding_mps, log_prior
        As for :class:`speedcal.calibration.fit_noted.Posterior`.
    source
        Name of the readings for messages.

    Raises
    ------
    AlignmentError
        Two clock offsets explain the readings and lead to different answers, or none explains half of them.
    """
    posterior = Posterior(ground, time_s, indicated_mps, at, u_rounding_mps, log_prior)
    modes = find_modes(posterior, _starts(posterior, shifts))
    near = 2 * _FINE_REACH_S + 2 * at.half_width_s
    together = [mode for mode in modes if abs(mode.theta[2] - modes[0].theta[2]) <= near]
    theta, covariance = mixture(together)
    _refuse_if_ambiguous(modes, near, indicated_mps, theta, covariance, source)
    u_clock = _u_clock(posterior, together, near)
    good, moment = posterior.responsibilities(together[0].theta)
    moment = time_s + together[0].theta[2] + moment
    speed, _, inside = ground.at(moment)
    right = (good > 0.5) & inside
    used = right & (speed >= SLOWEST_MPS)
    if right.sum() < max(4.0, _FOLLOWING * inside.sum()):
        raise AlignmentError(
            f"at no clock offset do more than {right.sum()} of {inside.sum()} readings follow the speed of the track",
            source=source,
            remedy="Check that the readings and the track are of the same drive, and the unit of the readings",
        )
    residual = indicated_mps - theta[0] - theta[1] * speed
    excess = _shared_by_runs(residual[used], runs.number_at(moment)[used])
    middle = np.array([1.0, float(np.mean(speed[used]))])
    fixed_clock = np.linalg.inv(np.linalg.inv(covariance[:3, :3])[:2, :2])
    total = float(middle @ covariance[:2, :2] @ middle)
    return MeasuredLine(
        offset_mps=float(theta[0]),
        gain=float(theta[1]),
        covariance=covariance[:2, :2] * excess,
        degrees_of_freedom=max(float(good.sum()) - 2, 1.0),
        clock_offset_s=float(theta[2]),
        u_clock_offset_s=u_clock,
        scatter_mps=float(np.hypot(np.exp(theta[3]), u_rounding_mps)),
        time_share=max(1 - float(middle @ fixed_clock @ middle) / total, 0.0),
        time_s=moment,
        ground_mps=np.where(inside, speed, np.nan),
        reason=tuple(np.select([~inside, ~right, ~used], [NO_GROUND, WRONG, TOO_SLOW], "").tolist()),
    )


def _starts(posterior: Posterior, shifts: list[Shift]) -> FloatArray:
    """Return where to climb from: the best clock offsets in fine steps about each shift, with the line found there."""
    starts, heights = [], []
    reach = _FINE_REACH_S + posterior.at.half_width_s
    steps = np.linspace(-reach, reach, _FINE_NODES)
    for shift in shifts:
        rows = np.tile([shift.offset_mps, shift.gain, shift.offset_s, np.log(0.4)], (len(steps), 1))
        rows[:, 2] += steps
        height = posterior(rows)
        top = (height >= np.append(height[1:], -np.inf)) & (height >= np.append(-np.inf, height[:-1]))
        best = np.flatnonzero(top)[np.argsort(-height[top])][:_STARTS_PER_SHIFT]
        starts.append(rows[best])
        heights.append(height[best])
    start, height = np.concatenate(starts), np.concatenate(heights)
    keep = np.argsort(-height)[:6]
    return np.asarray(start[keep][height[keep] > height.max() - 3 * _NEGLIGIBLE])


def _u_clock(posterior: Posterior, modes: list[Mode], reach_s: float) -> float:
    """Return the standard uncertainty of the clock offset, from the posterior along it.

    Along the offset the posterior has a comb of small maxima, which the curvature at the highest one overrates. So it
    is followed over the whole stretch, with the line moving along as each maximum says it does.
    """
    offsets = modes[0].theta[2] + np.linspace(-reach_s, reach_s, _CLOCK_NODES)
    heights = []
    for mode in modes[:_STARTS_PER_SHIFT]:
        slope = mode.covariance[:, 2] / mode.covariance[2, 2]
        slope[3] = 0.0
        rows = mode.theta + np.outer(offsets - mode.theta[2], slope)
        heights.append(posterior(rows))
    height = np.max(heights, axis=0)
    mass = np.exp(height - height.max())
    mass /= mass.sum()
    return float(np.sqrt(mass @ (offsets - mass @ offsets) ** 2))


def _refuse_if_ambiguous(
    modes: list[Mode], near: float, indicated: FloatArray, theta: FloatArray, covariance: FloatArray, source: str
) -> None:
    """Raise when a clock offset elsewhere has real weight and would change what the instrument shows."""
    weight = mode_weights(modes)
    elsewhere = [i for i, mode in enumerate(modes) if abs(mode.theta[2] - modes[0].theta[2]) > near]
    if not elsewhere or weight[elsewhere].sum() < _DOUBT:
        return
    if not SMALLEST_FACTOR < theta[1] < LARGEST_FACTOR:  # not the clock is to blame, and no answer is given anyway
        return
    middle = np.array([1.0, (float(np.median(indicated)) - theta[0]) / theta[1]])
    u = float(np.sqrt(middle @ covariance[:2, :2] @ middle))
    other = modes[elsewhere[0]].theta
    if abs(middle @ (other[:2] - theta[:2])) < u and abs(other[1] - theta[1]) < np.sqrt(covariance[1, 1]):
        return
    raise AlignmentError(
        f"two clock offsets explain the readings nearly equally well: {theta[2]:.0f} s gives an error factor of "
        f"{theta[1]:.3f}, {other[2]:.0f} s gives {other[1]:.3f}",
        source=source,
        remedy="Write the times with date and zone, or give the clock offset to about ten seconds (clock_offset_s); "
        "more plateaus at different speeds make it certain. Check the unit of the readings too",
    )


def _shared_by_runs(residual: FloatArray, run: IntArray) -> float:
    """Return by how much readings that share a steady run widen the variance: the design effect.

    One-way analysis of variance of the residuals by run (L. Kish, *Survey Sampling*, Wiley 1965, section 5.4).
    """
    groups = [residual[run == number] for number in np.unique(run[run >= 0])]
    groups = [group for group in groups if len(group) > 1]
    inside = sum(len(group) - 1 for group in groups)
    if len(groups) < 3 or inside < 3:
        return 1.0
    size = np.array([len(group) for group in groups], float)
    within = sum(float(np.sum((group - group.mean()) ** 2)) for group in groups) / inside
    mean = float(np.concatenate(groups).mean())
    between = float(np.sum(size * (np.array([g.mean() for g in groups]) - mean) ** 2)) / (len(groups) - 1)
    typical = (size.sum() - float(np.sum(size**2)) / size.sum()) / (len(groups) - 1)
    shared = max((between - within) / typical, 0.0)
    correlation = shared / max(shared + within, 1e-12)
    alone = len(residual) - size.sum()
    return float(1 + ((np.sum(size**2) + alone) / len(residual) - 1) * correlation)
