"""What a fit of the latent speed behind a track and a log takes, and what comes out of it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from speedcal.calibration.dial.curve import deviation_covariance
from speedcal.calibration.dial.dial import Dial
from speedcal.calibration.dial.dial_mixture import PointerPlay
from speedcal.calibration.speed.runs import SteadyRuns
from speedcal.calibration.tuning.general import FACTOR_PRIOR_U, OFFSET_PRIOR_MPS
from speedcal.calibration.tuning.logs import DAMPING_U_S2, DRIFT_U, LATENT_CURVE_MPS, LOG_PLAY_U_MPS, UNEVEN_LAG_U_S
from speedcal.interval import FloatArray, IntArray

CLOCK, DAMPING, DRIFT, UNEVEN, PLAY = range(5)
NUISANCES = 5
"""What is fitted beside the dial comes first among the parameters, in this order."""


@dataclass(frozen=True, slots=True)
class Channel:
    """Values of one instrument, in order of time, arrays of shape (n,)."""

    time_s: FloatArray
    value_mps: FloatArray
    piece: IntArray
    """Order number of the piece of the track each lies in."""
    step_mps: float
    """What they are rounded to; 0 when they are not."""
    u_mps: FloatArray
    """Standard uncertainty that each value states of itself; 0 where it states none."""


@dataclass(frozen=True, slots=True)
class Start:
    """Where to start: a clock offset good to a second or so, a line, and the speed smoothed."""

    clock_offset_s: float
    offset_mps: float
    gain: float
    scatter_mps: float
    speed_mps: FloatArray
    """Ground speed at each reading, shape (n,)."""
    track_noise_mps: float
    damping_s2: float
    clock_s: FloatArray
    """Seconds of the drive, shape (k,); the pointer is followed along them."""
    clock_piece: IntArray
    """Piece of the track each lies in; -1 in none."""
    runs: SteadyRuns


@dataclass(frozen=True, slots=True)
class Fit:
    """What came out, the blocks of data included."""

    clock_offset_s: float
    damping_s2: float
    drift: float
    uneven_s: float
    """Half of how much later the display falls than it rises. [s]"""
    play_mps: float
    """Half the play of the pointer. [m/s]"""
    pointer: PointerPlay
    dial: Dial
    """Knots and what the dial shows there; without covariance."""
    speed_mps: FloatArray
    """Most likely true speed at each reading, as its instrument saw it. [m/s]"""
    u_speed_mps: FloatArray
    """Its standard uncertainty, shape (n,)."""
    off_mps: FloatArray
    """Each reading less what is expected there, shape (n,). [m/s]"""
    right: FloatArray
    """Probability that each reading is right."""
    noise_mps: float
    """Standard deviation of a reading before it was rounded. [m/s]"""
    score: FloatArray
    """Gradient of the log likelihood by the nuisances and the knots from each value, shape (n, p)."""
    information: FloatArray
    """Information of each value, not symmetric one by one, as outer factors: shape (2, n, p)."""
    time_s: FloatArray
    """Moment of each value, shape (n,)."""
    prior: FloatArray
    """Information of the prior of the nuisances and the knots, shape (p, p)."""
    settled: bool
    """Whether the last step was a small one."""


def prior_of_unknowns(knots_mps: FloatArray, driven_mps: FloatArray) -> FloatArray:
    """Return the information of the prior of the nuisances and the dial at its knots, shape (p, p).

    Parameters
    ----------
    knots_mps
        True speeds at which the dial is fitted, shape (m,). [m/s]
    driven_mps
        Speeds that define its line, as of :func:`speedcal.calibration.dial.curve.driven_points`. [m/s]
    """
    line = np.column_stack([np.ones(len(knots_mps)), knots_mps])
    covariance = line @ np.diag([OFFSET_PRIOR_MPS**2, FACTOR_PRIOR_U**2]) @ line.T
    covariance += LATENT_CURVE_MPS**2 * deviation_covariance(knots_mps, knots_mps, driven_mps)
    prior = np.zeros((NUISANCES + len(knots_mps),) * 2)
    prior[:NUISANCES, :NUISANCES] = np.diag(
        [1e-4, DAMPING_U_S2**-2, DRIFT_U**-2, UNEVEN_LAG_U_S**-2, LOG_PLAY_U_MPS**-2]
    )
    prior[NUISANCES:, NUISANCES:] = np.linalg.inv(covariance + 1e-4 * np.eye(len(knots_mps)))
    return prior
