"""Whether notes are of this drive, or of the same road on another day.

On another day the same limits, bends and towns come in the same order, so that the notes lie on the track; but not at
the same times. Lights and traffic let the clock slip from note to note, and no stretch is driven at quite the same
speed. Notes of this drive keep one clock, however loosely their reader reads. Both are weighed beside the dial that was
found: the slip is a random walk, and summed up over all its courses as a hidden Markov chain (Kass and Raftery 1995,
J. Am. Statist. Assoc. 90, 773, on the odds).
"""

from __future__ import annotations

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view

from speedcal.calibration.dial.dial import Dial
from speedcal.calibration.noted.clock_posterior import Cells
from speedcal.calibration.noted.note_lines import Notes
from speedcal.calibration.speed.ground_speed import GroundSpeed
from speedcal.calibration.tuning import rivals as tuned
from speedcal.calibration.tuning.notes import (
    CELL_REACH_S,
    CRAWL_SD_MPS,
    SCATTER_LOG_SD,
    SCATTER_MPS,
    SCATTER_NODES_MPS,
)
from speedcal.calibration.tuning.track import SLOWEST_MPS
from speedcal.interval import FloatArray

_STEP_S = 1.0


def log_of_this_day(ground: GroundSpeed, notes: Notes, cells: Cells, dial: Dial) -> float:
    """Return the log odds that notes are of this drive, against the same road on another day.

    Parameters
    ----------
    cells
        The posterior of clock offset and line.
    dial
        What came of them: a bend is no looseness.
    """
    course = _Course(ground, notes.only(np.argsort(notes.time_s, kind="stable")), cells, dial)
    scatters = np.array(SCATTER_NODES_MPS[:-1])  # beyond these nothing tells one day from another
    log_prior = -0.5 * (np.log(scatters / SCATTER_MPS) / SCATTER_LOG_SD) ** 2
    this = np.array([course.log_at_one_clock(course.density(scatter)) for scatter in scatters])
    other = course.log_slipping(course.density(SCATTER_MPS, tuned.OTHER_DAY_U))
    return float(np.logaddexp.reduce(this + log_prior) - np.logaddexp.reduce(log_prior)) - other


class _Course:
    """The track about the likeliest clock offset: what it says to each note at each slip of its clock, (n, slips)."""

    def __init__(self, ground: GroundSpeed, notes: Notes, cells: Cells, dial: Dial) -> None:
        """Look at the track as far as the clock may have slipped."""
        every = max(1, round(_STEP_S / notes.at.spacing_s))
        self.step_s = every * notes.at.spacing_s
        delay, weight = notes.at.delay_s[::every], notes.at.weight[::every]
        self.notes, self.weight, self.gain = notes, weight / weight.sum(), dial.line.error_factor
        count = int(tuned.SLIPS_REACH_S / self.step_s)
        self.slip_s = self.step_s * np.arange(-count, count + 1)
        node_s = delay[0] + self.slip_s[0] + self.step_s * np.arange(len(self.slip_s) + len(delay) - 1)
        moment = notes.time_s[:, None] + cells.clock_s[int(np.argmax(cells.log_mass))] + node_s
        self.speed, rate, self.inside = ground.at(moment)
        self.moves = self.speed >= SLOWEST_MPS
        self.residual = notes.indicated_mps[:, None] - np.where(self.moves, dial.indicated(self.speed), self.speed)
        known = ground.variance_at(moment) + (rate * self.step_s) ** 2 / 12
        self.variance = self.gain**2 * known + notes.own_variance[:, None]
        self.wrong = float(cells.weight @ cells.wrong_share)

    def density(self, scatter_mps: float, u_speed: float = 0.0) -> FloatArray:
        """Return the density of each note at each slip, where speeds differ by so much, relative and standard."""
        variance = self.variance + scatter_mps**2 + (u_speed * self.gain * self.speed) ** 2
        variance = np.where(self.moves, variance, CRAWL_SD_MPS**2)
        normal = np.exp(-0.5 * self.residual**2 / variance) / np.sqrt(2 * np.pi * variance)
        stray = self.notes.stray[:, None]
        right = sliding_window_view(np.where(self.inside, normal, stray), len(self.weight), axis=1) @ self.weight
        return np.asarray((1 - self.wrong) * right + self.wrong * stray)

    @property
    def _begin(self) -> FloatArray:
        """Where the clock may stand at the first note."""
        near = np.abs(self.slip_s) <= CELL_REACH_S
        return np.asarray(near / near.sum(), float)

    def log_at_one_clock(self, density: FloatArray) -> float:
        """Return the log evidence of all notes if the clock does not slip."""
        with np.errstate(divide="ignore"):
            return float(np.logaddexp.reduce(np.log(density).sum(axis=0) + np.log(self._begin)))

    def log_slipping(self, density: FloatArray) -> float:
        """Return the log evidence of all notes if it does, the more the longer it has been since the last one."""
        share, log = self._begin, 0.0
        since_s = np.diff(self.notes.time_s, prepend=self.notes.time_s[0])
        for note, since in zip(density, since_s.tolist(), strict=True):
            walk = np.exp(-0.5 * self.slip_s**2 / (tuned.SLIPS_S**2 * since / 60 + self.step_s**2 / 12))
            share = note * np.convolve(share, walk / walk.sum(), "same")
            whole = float(share.sum())
            share, log = share / whole, log + float(np.log(whole))
        return log
