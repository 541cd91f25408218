"""Fit of readings that a person noted: few, with stamps that are a little off, some of them wrong.

The likelihood of a reading is averaged over the moments at which it may really have been taken, so that a reading
under acceleration weighs itself: there the moments disagree. This replaces a variance term for acceleration, which it
equals to first order, and keeps the information of a whole-minute stamp that spans two plateaus.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from speedcal.calibration.climb import Mode, add_mode
from speedcal.calibration.clock_search import WRONG_SPREAD_MPS, log_offset_prior
from speedcal.calibration.ground_speed import GroundSpeed
from speedcal.calibration.tuning import SLOWEST_MPS
from speedcal.interval import FloatArray

_WRONG_SHARE = 0.06
_SCATTER_PRIOR_MPS, _SCATTER_PRIOR_LOG_SD = 0.27, 0.6
"""A pointer is read to about 0.6 mph (0.27 m/s), within a factor of two either way; from memory."""
_STEP = np.array([5e-3, 3e-4, 0.5, 3e-2])
"""Steps of the differences; that of the clock offset is as wide as the ripple that nodes leave on the density."""
_CRAWL_SD_MPS = 2.0
_LONGEST = np.array([2.0, 0.2, 5.0, 0.7])
_SAME = np.array([0.05, 0.002, 0.1, 0.1])


@dataclass(frozen=True, slots=True)
class Moments:
    """When a reading may have been taken, relative to its stamp: nodes and weights that sum to one."""

    delay_s: FloatArray
    weight: FloatArray

    @property
    def spacing_s(self) -> float:
        """Time between two nodes."""
        return float(self.delay_s[1] - self.delay_s[0])

    @property
    def middle_s(self) -> float:
        """Mean delay after the stamp."""
        return float(self.weight @ self.delay_s)

    @property
    def half_width_s(self) -> float:
        """Half width of the uniform distribution of the same spread."""
        return float(np.sqrt(3 * (self.weight @ (self.delay_s - self.middle_s) ** 2)))


def moments(time_resolution_s: float, u_time_s: float) -> Moments:
    """Return the nodes for stamps written to a resolution by a hand of a given standard uncertainty.

    A stamp to the second is rounded, so the moment is uniform over one step about it; one to the minute is what the
    clock showed, so the moment lies in the minute that follows. The hand adds a normal error.
    """
    middle = time_resolution_s / 2 if time_resolution_s >= 30 else 0.0
    reach = time_resolution_s / 2 + 2.5 * u_time_s
    count = int(np.clip(2 * round(2 * reach / max(u_time_s, 0.05)) + 1, 3, 41))
    delay = np.linspace(-reach, reach, count)
    inside = delay[:, None] - np.linspace(-0.5, 0.5, 41)[None, :] * time_resolution_s
    weight = np.exp(-0.5 * (inside / max(u_time_s, 1e-3)) ** 2).sum(axis=1)
    return Moments(middle + delay, weight / weight.sum())


def find_modes(posterior: Posterior, starts: FloatArray) -> list[Mode]:
    """Climb from every start, shape (k, 4), and return the different maxima that were reached, heaviest first.

    The parameters of a mode are offset [m/s], gain [1], clock offset [s] and log of the reading scatter [log m/s].
    """
    modes: list[Mode] = []
    for start in starts:
        add_mode(modes, posterior, start, step=_STEP, longest=_LONGEST, same=_SAME)
    return sorted(modes, key=lambda mode: -mode.log_weight)


@dataclass(frozen=True, slots=True)
class Posterior:
    """Log posterior of (offset, gain, clock offset, log scatter), evaluated for many such rows at once."""

    ground: GroundSpeed
    time_s: FloatArray
    indicated_mps: FloatArray
    at: Moments
    u_rounding_mps: float
    log_prior: Callable[[FloatArray], FloatArray]

    def _densities(self, theta: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Return the density of each reading at each moment, shape (rows, n, nodes), and the time-averaged one."""
        a, b, tau, log_scatter = (theta[:, i, None, None] for i in range(4))
        times = self.time_s[None, :, None] + tau + self.at.delay_s[None, None, :]
        speed, rate, inside = self.ground.at(times)
        variance = np.exp(2 * log_scatter) + self.u_rounding_mps**2 + (b * self.ground.u_speed_mps) ** 2
        # between two nodes the speed runs on; a step of it is spread evenly over the node it belongs to
        variance = variance + (b * rate * self.at.spacing_s) ** 2 / 12
        residual = self.indicated_mps[None, :, None] - a - b * speed
        # a vehicle that stands or crawls tells when it was, and nothing about the line
        crawls = speed < SLOWEST_MPS
        residual = np.where(crawls, self.indicated_mps[None, :, None] - speed, residual)
        variance = np.where(crawls, _CRAWL_SD_MPS**2, variance)
        density = np.where(inside, np.exp(-0.5 * residual**2 / variance), 0.0) / np.sqrt(2 * np.pi * variance)
        density *= self.at.weight
        return density, density.sum(axis=2)

    def __call__(self, theta: FloatArray) -> FloatArray:
        """Return the log posterior of each row of ``theta``, shape (rows, 4)."""
        _, right = self._densities(theta)
        likelihood = np.log((1 - _WRONG_SHARE) * right + _WRONG_SHARE / WRONG_SPREAD_MPS).sum(axis=1)
        a, scatter = theta[:, 0], theta[:, 3]
        prior = log_offset_prior(a)
        prior -= 0.5 * ((scatter - np.log(_SCATTER_PRIOR_MPS)) / _SCATTER_PRIOR_LOG_SD) ** 2
        return np.asarray(likelihood + prior + self.log_prior(theta[:, 2]))

    def responsibilities(self, theta: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Return for each reading the probability that it is right, and its most likely moment after the stamp."""
        density, right = self._densities(theta[None, :])
        right = (1 - _WRONG_SHARE) * right[0]
        share = density[0] / np.maximum(density[0].sum(axis=1), 1e-300)[:, None]
        return right / (right + _WRONG_SHARE / WRONG_SPREAD_MPS), share @ self.at.delay_s
