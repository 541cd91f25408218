"""Whether a log is of one dial, alike from begin to end, in the vehicle of the track."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from speedcal.calibration.dial.dial import Dial
from speedcal.calibration.dial.measured import WRONG, MeasuredLine
from speedcal.calibration.logged.beside_fixes import BesideFixes, is_finer
from speedcal.calibration.logged.constancy import FITTED_SHARE, Change, by_turns, change_within, steady_wander
from speedcal.calibration.logged.smoothed_shown import as_smoothed
from speedcal.calibration.readings.end_stops import sticking_step
from speedcal.calibration.readings.kind import is_log
from speedcal.calibration.speed.ground_speed import GroundSpeed
from speedcal.calibration.tuning import logs as tuned
from speedcal.finding import Finding
from speedcal.interval import FloatArray, IntArray, median
from speedcal.units import DisplayUnit

if TYPE_CHECKING:
    import pandas as pd

CHANGE_ON_WAY = "change_on_way"
"""Name in the budget of what a dial changes within a log."""
_FEWEST_ROWS = 12
"""Rows that tell of a log whether it is of one dial."""


@dataclass(frozen=True, slots=True)
class LoggedDial:
    """What a log shows beside its dial, row by row or where the speed is known better, in order of time, shape (n,)."""

    ground: GroundSpeed
    line: IntArray
    time_s: FloatArray
    ground_mps: FloatArray
    off_mps: FloatArray
    acceleration_mps2: FloatArray
    shown_mps: FloatArray
    """Reading of every row, used or not, shape (k,)."""
    passed_mps: FloatArray
    """True speed at each of them, which between fixes is a guess."""
    shown_step_mps: float
    """Step in which the display moves."""
    play_mps: float
    """By how much the needle was found to hang behind."""
    gain: float
    """Error factor: what strays of the speed shows so many times as large."""
    window_wander_mps: float
    """How far windows of the way between fixes stray, 0 where there are none."""
    change: Change | None

    @classmethod
    def of(
        cls, table: pd.DataFrame, ground: GroundSpeed, line: MeasuredLine, dial: Dial, step_mps: float
    ) -> LoggedDial | None:
        """Return what a log shows, None for readings that are none; ``step_mps`` is the rounding of the readings."""
        seen = ("",) if ground.between_is_guessed else ("", WRONG)  # a guess is wrong more often than a row
        time = table["time_s"].to_numpy()
        every = np.flatnonzero(np.isfinite(time) & np.isfinite(table["ground_mps"].to_numpy()))
        every = every[np.argsort(time[every], kind="stable")]
        rows = np.flatnonzero(table["reason"].isin(seen).to_numpy() & np.isfinite(time))
        rows = rows[np.argsort(time[rows], kind="stable")]
        off = table["residual_mps"].to_numpy() - line.hangs_mps
        if not is_log(time[every]) or len(rows) < _FEWEST_ROWS:
            return None
        lines = table["line"].to_numpy()[rows]
        speed, shown = (table[name].to_numpy()[rows] for name in ("ground_mps", "indicated_mps"))
        time, off = time[rows], off[rows]
        off = off + as_smoothed(ground, line, time, shown) - shown
        step_mps = sticking_step(speed, shown, step_mps)
        rate, row_s = ground.at(time)[1], time
        if line.windows is not None:  # they know the speed better than rows do
            time, speed, off = line.windows.time_s, line.windows.ground_mps, line.gain * line.windows.off_mps
        elif is_finer(ground, time):
            beside = BesideFixes.of(ground, time, off, shown, line.gain)
            time, speed, off, rate = beside.time_s, beside.ground_mps, beside.off_mps, beside.acceleration_mps2
        lines = lines[np.minimum(np.searchsorted(row_s, time), len(lines) - 1)]
        # a dial with a curve of its own has taken up a part that reads otherwise at some speeds
        bend = dial.indicated(speed) - dial.line.offset_mps - dial.line.error_factor * speed
        change = change_within(time, speed, off + bend, step_mps=float(np.hypot(step_mps, ground.step_mps)))
        play = float(np.abs(line.hangs_mps).max(initial=0.0))
        wander = 0.0 if line.windows is None else line.windows.wander_mps
        passed, read = (table[name].to_numpy()[every] for name in ("ground_mps", "indicated_mps"))
        return cls(ground, lines, time, speed, off, rate, read, passed, step_mps, play, line.gain, wander, change)

    def widened(self, line: MeasuredLine, dial: Dial) -> tuple[MeasuredLine, Dial]:
        """Return the fit and its dial with what the dial changes on the way, a line of the budget."""
        if self.change is None:
            return line, dial
        wider = dial.geared(1.0, u_ln_factor=self.change.spread)
        part = wider.knot_covariance - dial.knot_covariance
        return replace(line, habits={**line.habits, CHANGE_ON_WAY: part}), wider

    def moves(self) -> tuple[Finding, ...]:
        """Return the finding that the dial changes by a little, which the answer allows for."""
        if self.change is None or self.change.large:
            return ()
        return (Finding("dial_moves", difference=self.change.difference),)

    def doubts(self, scatter_mps: float, unit: DisplayUnit) -> tuple[Finding, ...]:
        """Return reasons that say the log is not of one dial in the vehicle of the track."""
        found = []
        most = tuned.LARGE_SCATTER_MPS
        if self.ground.between_is_guessed:
            scatter_mps, most = by_turns(self.shown_mps, self.passed_mps), tuned.LARGE_BY_TURNS_MPS
        scatter = float(np.sqrt(max(scatter_mps**2 - self.shown_step_mps**2 / 12, 0.0)))  # beside its rounding
        if scatter > most * max(self.gain, 1.0):  # rows of two dials by turns
            found.append(Finding("large_scatter", scatter_mps=scatter))
        change, off, time = self.change, self.off_mps, self.time_s
        if change is not None:
            if change.gradual:
                course = (time - time[0]) / (time[-1] - time[0])
            else:
                course = np.zeros(len(time))
                course[change.first : change.last + 1] = 1.0
            if change.large:
                found.append(self._told(change))
            # a log may stray for this reason alone
            off = off - change.difference * self.ground_mps * (course - course.mean())
        if self.ground.between_is_guessed:
            if self.window_wander_mps > tuned.WINDOW_WANDER_MPS:
                found.append(Finding("log_strays", wander_mps=self.window_wander_mps, unit=unit))
            return tuple(found)
        strays = steady_wander(time, self.ground_mps, off, self.acceleration_mps2)
        usual_mps = (
            self.gain * tuned.STEADY_WANDER_MPS[self.ground.source],
            tuned.HELD_ROUNDING_STEPS * self.shown_step_mps,
            self.gain * tuned.HELD_ROUNDING_STEPS * self.ground.step_mps,
            tuned.PLAY_LEFT * self.play_mps,
            self.gain * self._noise_of_means(),
            self._noise_of_rows(off),
        )
        if strays > np.linalg.norm(usual_mps):
            found.append(Finding("log_strays", wander_mps=strays, unit=unit))
        return tuple(found)

    def _noise_of_means(self) -> float:
        """Return what the noise of recorded speeds makes of a mean; that of positions is not known one by one."""
        if self.ground.source != "recorded":
            return 0.0
        return self.ground.u_speed_mps / float(np.sqrt(max(tuned.STEADY_WINDOW_S / self.ground.interval_s, 1.0)))

    def _noise_of_rows(self, off_mps: FloatArray) -> float:
        """Return what the rows' own noise makes of a mean, beside their rounding and the noise of the track."""
        a_window = tuned.STEADY_WINDOW_S / median(np.diff(self.time_s))
        if a_window < 2:  # so far apart a car behind strays anew from row to row
            return 0.0
        known = self.shown_step_mps**2 / 12 + (self.gain * self.ground.u_speed_mps) ** 2
        return float(np.sqrt(max(by_turns(off_mps) ** 2 - known, 0.0) / a_window))

    def _told(self, change: Change) -> Finding:
        if change.gradual:
            return Finding("dial_drifts", difference=change.difference)
        first, last = (int(line) for line in self.line[[change.first, change.last]])
        part = np.zeros(len(self.off_mps), bool)
        part[change.first : change.last + 1] = True
        share = self.off_mps / self.ground_mps / self.gain
        apart = median(share[part]) - median(share[~part])  # rows in another range lie too far off to be fitted
        farther = abs(apart) > FITTED_SHARE
        return Finding("dial_changes", first=first, last=last, difference=apart if farther else change.difference)
