"""Whether some of the readings were taken off a GPS display and not off the dial.

Such a display shows the speed of the track. Dial and display are told apart as a mixture whose one part is known: the
line of the other is fitted by expectation and maximisation (Dempster, Laird and Rubin 1977, J. R. Statist. Soc. B 39,
1-38) and integrated by Laplace's method; the evidence is held against that of the dial alone, treated alike.
"""

from __future__ import annotations

from itertools import product

import numpy as np

from speedcal.calibration.noted.clock_posterior import Cells
from speedcal.calibration.noted.note_lines import Lines, Notes, over_moments
from speedcal.calibration.noted.two_readers import mean_of_logs, taking_turns
from speedcal.calibration.speed.ground_speed import GroundSpeed
from speedcal.calibration.tuning import rivals as tuned
from speedcal.calibration.tuning.general import LARGEST_FACTOR, SMALLEST_FACTOR
from speedcal.calibration.tuning.notes import CRAWL_SD_MPS, SCATTER_LOG_SD, SCATTER_MPS
from speedcal.calibration.tuning.track import SLOWEST_MPS
from speedcal.interval import FloatArray

_ROUNDS, _NODE_S = 8, 0.5


def gps_display(ground: GroundSpeed, notes: Notes, cells: Cells) -> float:
    """Return the log odds that some readings were taken off a GPS display, against the dial alone.

    Parameters
    ----------
    cells
        The posterior of clock offset and line for the dial alone.
    """
    best = int(np.argmax(cells.log_mass))
    line = np.array([cells.offset_mps[best], cells.gain[best]])
    away = line - np.array([0.0, 1.0])
    moments = _Moments(ground, notes, cells, best)
    scatters = np.array(tuned.GPS_SCATTERS_MPS)
    alone = _Rows(moments, np.zeros(len(scatters)), scatters, np.tile(line, (len(scatters), 1)))
    # the line that was found may be that of the dial, or lie between it and the display
    rows = [(share, scatter, *(line + way * share / (1 - share) * away)) for share, scatter, way in _WAYS]
    share, scatter, *start = np.array(rows).T
    both = _Rows(moments, share, scatter, np.column_stack(start))
    # some readings of the dial may lie as near its line as those of a display lie to the track
    none = float(np.logaddexp(mean_of_logs(alone.log_mixed), mean_of_logs(alone.log_some_near)) - np.log(2))
    mixed = float(np.log(1 - tuned.GPS_IN_STRETCHES)) + mean_of_logs(both.log_mixed) - none
    stretches = float(np.log(tuned.GPS_IN_STRETCHES)) + mean_of_logs(both.log_in_stretches) - none
    return float(np.logaddexp(mixed, stretches))


_WAYS = tuple(product(tuned.GPS_SHARES, tuned.GPS_SCATTERS_MPS, (0.0, 1.0)))


class _Moments:
    """The track at the moments of the readings in order of time, for the likeliest clock offset; shape (n, nodes)."""

    def __init__(self, ground: GroundSpeed, notes: Notes, cells: Cells, best: int) -> None:
        self.notes = notes = notes.only(np.argsort(notes.time_s, kind="stable"))
        every = max(1, round(_NODE_S / notes.at.spacing_s))
        delay, weight = notes.at.delay_s[::every], notes.at.weight[::every]
        moment = notes.time_s[:, None] + cells.clock_s[best] + delay
        self.speed, rate, inside = ground.at(moment)
        self.weight = weight / weight.sum() * inside
        self.off_track = 1 - self.weight.sum(axis=1)
        self.moves = self.speed >= SLOWEST_MPS
        self.ground_variance = ground.variance_at(moment) + (rate * every * notes.at.spacing_s) ** 2 / 12
        self.wrong = float(cells.weight @ cells.wrong_share)
        variance = tuned.GPS_SCATTER_MPS**2 + notes.own_variance[:, None] + self.ground_variance
        variance = np.where(self.moves, variance, CRAWL_SD_MPS**2)  # a dial that hardly moves shows what it likes
        self.display = self.density(notes.indicated_mps[:, None] - self.speed, variance).sum(axis=1)
        self.display += self.off_track * notes.stray

    def density(self, residual: FloatArray, variance: FloatArray) -> FloatArray:
        """Return the density of the readings at each moment."""
        return np.asarray(self.weight * np.exp(-0.5 * residual**2 / variance) / np.sqrt(2 * np.pi * variance))


class _Rows:
    """Lines of the dial fitted at some shares of a display and scatters, arrays of shape (r,)."""

    def __init__(self, moments: _Moments, share: FloatArray, scatter: FloatArray, line: FloatArray) -> None:
        self.moments, self.share = moments, share[:, None]
        self.line = np.column_stack([line[:, 0], np.clip(line[:, 1], SMALLEST_FACTOR, LARGEST_FACTOR)])
        own = scatter[:, None] ** 2 + moments.notes.own_variance
        determinant = np.ones(len(line))
        for _ in range(_ROUNDS):
            determinant = self._climb(own)
        density, _ = self._at_line(own)
        self._log_prior = self._lines.log_prior - 0.5 * np.log(determinant)
        self._log_prior -= 0.5 * (np.log(scatter / SCATTER_MPS) / SCATTER_LOG_SD) ** 2
        self.log_mixed = np.log(self._mixed(density)).sum(axis=1) + self._log_prior
        self._dial = over_moments(density) + moments.off_track * moments.notes.stray

    @property
    def _lines(self) -> Lines:
        return Lines(self.line[:, 0], self.line[:, 1], np.full(len(self.line), self.moments.wrong))

    def _climb(self, own_variance: FloatArray) -> FloatArray:
        """Fit the lines to what the readings off the dial are now; return the determinants of their information."""
        moments = self.moments
        density, variance = self._at_line(own_variance)
        part = (1 - moments.wrong) * (1 - self.share) / self._mixed(density)
        weight = part[:, :, None] * density / variance * moments.moves
        weighted, shown = weight * moments.speed, moments.notes.indicated_mps
        each, times_speed = over_moments(weight), over_moments(weighted)
        pull_a, pull_b = self._lines.prior_information
        s0, s1 = each.sum(axis=1) + pull_a, times_speed.sum(axis=1)
        s2 = (weighted * moments.speed).sum(axis=(1, 2)) + pull_b
        t0, t1 = each @ shown, times_speed @ shown + pull_b
        determinant = s0 * s2 - s1 * s1
        gain = np.clip((s0 * t1 - s1 * t0) / determinant, SMALLEST_FACTOR, LARGEST_FACTOR)
        self.line = np.column_stack([(t0 - gain * s1) / s0, gain])
        return np.asarray(determinant)

    def _at_line(self, own_variance: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Return the density of each reading off the dial at each moment, and its variance, shape (r, n, nodes)."""
        moments, (offset, gain) = self.moments, (part[:, None, None] for part in self.line.T)
        shown = moments.notes.indicated_mps[:, None]
        variance = np.where(
            moments.moves, own_variance[:, :, None] + gain**2 * moments.ground_variance, CRAWL_SD_MPS**2
        )
        residual = shown - np.where(moments.moves, offset + gain * moments.speed, moments.speed)
        return moments.density(residual, variance), variance

    def _mixed(self, density: FloatArray) -> FloatArray:
        """Return the density of each reading off whatever it was, shape (r, n)."""
        moments = self.moments
        dial = over_moments(density) + moments.off_track * moments.notes.stray
        either = (1 - self.share) * dial + self.share * moments.display
        return np.asarray((1 - moments.wrong) * either + moments.wrong * moments.notes.stray)

    @property
    def log_some_near(self) -> FloatArray:
        """Log evidence at each share and row if that share scatters about the dial as a display does."""
        moments = self.moments
        variance = tuned.GPS_SCATTER_MPS**2 + moments.notes.own_variance
        density, _ = self._at_line(np.tile(variance, (len(self.line), 1)))
        near = over_moments(density) + moments.off_track * moments.notes.stray
        either = np.array([(1 - share) * self._dial + share * near for share in tuned.GPS_SHARES])
        mixed = (1 - moments.wrong) * either + moments.wrong * moments.notes.stray
        return np.asarray((np.log(mixed).sum(axis=2) + self._log_prior).ravel())

    @property
    def log_in_stretches(self) -> FloatArray:
        """Log evidence of each row if the readings of one come together."""
        moments = self.moments
        stray = moments.wrong * moments.notes.stray
        dial, display = ((1 - moments.wrong) * part + stray for part in (self._dial, moments.display))
        log = taking_turns(dial.T, np.broadcast_to(display, dial.shape).T, tuned.GPS_SWITCHES)
        return np.asarray(log + np.tile(self._log_prior, len(tuned.GPS_SWITCHES)))
