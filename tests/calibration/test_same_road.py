"""Notes that follow a track loosely: of this drive or of the same road on another day; by enumeration and truth."""

from __future__ import annotations

from dataclasses import replace
from itertools import product
from typing import Any

import numpy as np
import pytest
from scipy import special, stats

import speedcal
from speedcal.calibration.dial.dial import Dial
from speedcal.calibration.noted import fit_noted
from speedcal.calibration.noted.association import stray_density
from speedcal.calibration.noted.clock_posterior import clock_cells
from speedcal.calibration.noted.note_lines import Notes
from speedcal.calibration.noted.same_road import log_of_this_day
from speedcal.calibration.readings.clock_search import Shift
from speedcal.calibration.readings.moments import moments
from speedcal.calibration.speed.ground_speed import ground_speed
from speedcal.calibration.tuning import notes as tuned
from speedcal.calibration.tuning import rivals
from speedcal.finding import codes_of
from speedcal.interval import FloatArray
from speedcal.simulate import simulate
from speedcal.units import MPH_MPS


def test_the_odds_of_this_day_are_the_sum_over_all_courses_of_a_clock(monkeypatch: pytest.MonkeyPatch) -> None:
    """Three notes, slips by a second in a minute, by two at the most: 5 clocks, 125 courses of one that slips."""
    monkeypatch.setattr(rivals, "SLIPS_REACH_S", 2.0)
    monkeypatch.setattr(rivals, "SLIPS_S", 1.0)
    drive = simulate("noted", [71, 0])
    ground, shown = ground_speed(drive.track), drive.readings.speed_mps
    at, u = moments(1.0, 1.0), MPH_MPS / np.sqrt(12)
    notes = Notes(drive.readings.time_s, shown, stray_density(ground, shown), at, u, np.zeros(len(shown)))
    cells = clock_cells(ground, notes, [Shift(drive.truth.clock_offset_s, 0.0, 0.0, 1.0)], np.zeros_like)
    notes = notes.only(np.array([12, 13, 14]))
    time, shown = notes.time_s, notes.indicated_mps
    offset, factor = 0.3, 1.1
    dial = Dial.straight(offset, factor, np.diag([1e-4, 1e-6]), used_mps=[8.0, 30.0])
    delay, weight = at.delay_s[::4], at.weight[::4] / at.weight[::4].sum()  # quarters of a second: every whole one
    slip = np.arange(-2.0, 3.0)
    wrong = float(cells.weight @ cells.wrong_share)
    clock = cells.clock_s[int(np.argmax(cells.log_mass))]
    speed, rate, _ = ground.at(time[:, None, None] + clock + slip[:, None] + delay)

    def density(scatter: float, u_speed: float) -> FloatArray:
        known = ground.u_speed_mps**2 + rate**2 / 12
        sd = np.sqrt(scatter**2 + u**2 + factor**2 * (known + (u_speed * speed) ** 2))
        right = stats.norm.pdf(shown[:, None, None], offset + factor * speed, sd) @ weight
        return np.asarray((1 - wrong) * right + wrong * notes.stray[:, None])

    scatters = tuned.SCATTER_NODES_MPS[:-1]
    log_prior = stats.norm.logpdf(np.log(scatters), np.log(tuned.SCATTER_MPS), tuned.SCATTER_LOG_SD)
    one_clock = [np.log(density(scatter, 0.0).prod(axis=0).mean()) for scatter in scatters]
    other, total = density(tuned.SCATTER_MPS, rivals.OTHER_DAY_U), 0.0
    since_min = np.diff(time) / 60
    for course in product(range(5), repeat=3):
        chance = 1 / 5
        for note in range(3):
            chance *= other[note, course[note]]
            if note:
                sd = np.sqrt(rivals.SLIPS_S**2 * since_min[note - 1] + 1 / 12)
                step = course[note] - course[note - 1]
                chance *= stats.norm.pdf(step, 0, sd) / stats.norm.pdf(slip, 0, sd).sum() if abs(step) <= 2 else 0.0
        total += chance
    expected = special.logsumexp(np.array(one_clock) + log_prior) - special.logsumexp(log_prior) - np.log(total)
    assert speed.min() > 3  # none of them tells of a vehicle that crawls
    assert log_of_this_day(ground, notes, cells, dial) == pytest.approx(expected, abs=0.02)


def test_loosely_read_notes_of_the_drive_get_a_weak_answer_that_holds(monkeypatch: pytest.MonkeyPatch) -> None:
    """Read to 1.1 mph and rounded to whole ones: too loose, were it not for the odds of this day, which are asked."""
    asked: list[float] = []

    def remembered(*drive: Any) -> float:
        asked.append(log_of_this_day(*drive))
        return asked[-1]

    monkeypatch.setattr(fit_noted, "log_of_this_day", remembered)
    rng, drive = np.random.default_rng(14), simulate("noted", [86, 14])
    shown = 1.06 * drive.truth.reading_ground_mps / MPH_MPS + rng.normal(0, 1.1, len(drive.readings))
    answer = speedcal.calibrate(drive.track, replace(drive.readings, speed_mps=np.round(shown) * MPH_MPS))
    assert max(asked) > tuned.THIS_DAY_RESCUES
    assert "loosely_followed" in codes_of(answer.trust.reasons)
    assert answer.error_factor.contains(1.06)
