"""What the method is measured with: the bound is what an analyst who knows everything reaches, no more and no less."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from benchmark.bound import _timed_noise, factor_bound
from benchmark.judge import TEETH, worst_errors
from benchmark.trade import WAYS, trade_factors

from speedcal.simulate import KINDS, Drive, Plateau, simulate
from speedcal.units import KMH_MPS, MPH_MPS


def _told(drive: Drive) -> float:
    """Return the error of the factor from weighted least squares with the true clock, noise and wrong readings."""
    truth = drive.truth
    if drive.kind.readings == "held":
        speed, weight = truth.reading_ground_mps, np.ones(len(drive.readings))
        shown = drive.readings.speed_mps
    else:
        expected, variance, use = _timed_noise(drive)
        recorded = np.interp(drive.readings.time_s + truth.clock_offset_s, drive.track.time_s, drive.track.speed_mps)
        speed = (recorded if drive.kind.readings == "logged" else expected)[use]
        weight, shown = 1 / variance[use], drive.readings.speed_mps[use]
    dx = speed - np.average(speed, weights=weight)
    return float(np.sum(weight * dx * shown) / np.sum(weight * dx * dx) - truth.error_factor)


@pytest.mark.parametrize("kind", ["logged", "gaps", "5 Hz", "noted", "wrong readings", "held speeds"])
def test_an_analyst_who_is_told_clock_and_noise_reaches_the_bound(kind: str) -> None:
    """100 drives: the sum of squares of error over bound is a chi-square of 100; three sigma of its root are 21 %.

    The analyst may lose a further tenth by straight lines between fixes, so 0.79 to 1.33. Fixes 5 s apart cut the
    corners of every ramp and are left out.
    """
    drives = [simulate(kind, [11, i]) for i in range(100)]
    ratio = np.array([_told(drive) / factor_bound(drive) for drive in drives])
    assert 0.79 < np.sqrt(np.mean(ratio**2)) < 1.33


def test_the_bound_of_steady_plateaus_is_the_textbook_formula() -> None:
    """Held at 30 and 60 mph, ten readings each: u = 0.666 mph and 1 s of wander, over sqrt(20) times 15 mph.

    By hand: misreading and rounding 0.36 + 1/12 = 0.443 mph²; the wander changes by 0.8 t s of 0.4²/20 in a second
    (mean of |t| for 1.04 s is 0.83): 2 x 0.016/2 x 0.83 = 0.0133 (m/s)² = 0.067 mph², half of that about its own mean
    over the stamp. 0.69 to 0.71 mph over 67 mph is 1.03 to 1.06 %.
    """
    plan = [Plateau(v * MPH_MPS, 200, 10) for v in (30, 60)]
    drive = simulate("noted", 2, plan=plan, error_factor=1.0, offset_mps=0.0)
    assert factor_bound(drive) == pytest.approx(0.0103, rel=0.06)


def test_a_position_track_is_bound_by_its_wander_and_not_by_its_many_fixes() -> None:
    """Four times the fixes leave the wander of the position what it was; Doppler would halve."""
    ratios = {}
    for kind in ("positions only", "logged"):
        ratios[kind] = np.mean([factor_bound(simulate(kind, [2, i])) for i in range(10)])
    assert ratios["positions only"] > 1.3 * ratios["logged"]


def test_usual_ways_work_on_an_easy_drive_and_fail_on_a_clock_that_is_off() -> None:
    """With the clock right the nearest-time join is good to 3 %; with the clock off by tens of seconds it is not."""
    easy = simulate(replace(KINDS["logged"], clock_range_s=0.0), 3)
    good = trade_factors(easy)
    assert all(abs(good[way] / easy.truth.error_factor - 1) < 0.03 for way in WAYS)
    hard = simulate("logged", 5)
    assert abs(hard.truth.clock_offset_s) > 10
    assert abs(trade_factors(hard)[WAYS[0]] / hard.truth.error_factor - 1) > 0.05


def test_the_best_tooth_is_found_by_trying_all() -> None:
    """Hand arithmetic: a factor of 30/29 with 29 teeth fitted is cancelled by 30 teeth exactly; nothing else is."""
    worst = worst_errors(0.0, 30 / 29)
    assert TEETH[np.argmin(worst)] == 30
    assert worst.min() == pytest.approx(0.0, abs=1e-12)
    assert worst_errors(1.0 * KMH_MPS, 1.0)[list(TEETH).index(29)] == pytest.approx(1 / 3.6 / (30 * MPH_MPS))
