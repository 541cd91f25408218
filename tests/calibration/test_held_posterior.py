"""Lists without times: the recursion against enumeration, holds cut where the speed steps, what a list proves."""

from __future__ import annotations

from itertools import combinations

import numpy as np
import pytest
from support.roads import Road, plateaus, readings_of, track_of

import speedcal
from speedcal.calibration.noted.fit_held import _longest_rise
from speedcal.calibration.noted.held_posterior import Chain
from speedcal.calibration.noted.holds import holds_of
from speedcal.calibration.speed.runs import steady_runs
from speedcal.calibration.speed.speed_of_track import ground_speed
from speedcal.interval import FloatArray
from speedcal.logs.drive.readings import Readings
from speedcal.units import MPH_MPS


def _by_enumeration(chain: Chain, density: FloatArray) -> tuple[float, FloatArray]:
    """Return the sum over all ways to lay notes on holds in order, and how much each match carries."""
    notes, count = density.shape
    total, match = 0.0, np.zeros((notes, count))
    for size in range(min(notes, count) + 1):
        for which in combinations(range(notes), size):
            for where in combinations(range(count), size):
                weight = np.prod([chain.skip_note[i] for i in range(notes) if i not in which])
                weight *= np.prod([chain.skip_hold[r] for r in range(count) if r not in where])
                weight *= np.prod([chain.take[i, r] * density[i, r] for i, r in zip(which, where, strict=True)])
                total += weight
                for i, r in zip(which, where, strict=True):
                    match[i, r] += weight
    return total, match / total


def test_the_recursion_is_the_sum_over_all_assignments() -> None:
    """Four notes on five holds: 126 ways by enumeration, for three rows of densities at once."""
    rng = np.random.default_rng(3)
    chain = Chain(rng.uniform(0.1, 0.6, 5), rng.uniform(0.01, 0.2, 4), rng.uniform(0.3, 0.9, (4, 5)))
    density = rng.gamma(0.5, 1.0, (3, 4, 5))
    log_sum, match = chain.matched(density)
    for row in range(3):
        total, expected = _by_enumeration(chain, density[row])
        assert log_sum[row] == pytest.approx(np.log(total), abs=1e-10)
        np.testing.assert_allclose(match[row], expected, atol=1e-10)


def test_a_run_whose_speed_steps_is_two_holds() -> None:
    """From 20 to 21.5 m/s at 0.15 m/s2, too gently to end a steady run; 20 to 20.5 is one hold."""
    for rise, expected in ((1.5, 2), (0.5, 1)):
        road = Road(np.array([0, 10, 60, 60 + rise / 0.15, 120, 130]), np.array([0, 20, 20, 20 + rise, 20 + rise, 0.0]))
        ground = ground_speed(track_of(road, noise_mps=0.05))
        holds = holds_of(ground, steady_runs(ground))
        assert len(holds) == expected
        assert holds.speed_mps[0] == pytest.approx(20.0 if expected == 2 else 20.25, abs=0.15)


@pytest.mark.parametrize(
    ("marks", "longest"), [([1, 2, 2, 3], 4), ([3, 1, 2, 4], 3), ([4, 3, 2, 1], 1), ([1, 5, 2, 6, 3], 3)]
)
def test_the_longest_rise_by_hand(marks: list[float], longest: int) -> None:
    assert _longest_rise(np.array(marks, float)) == longest


def _list(marks_mph: list[float]) -> Readings:
    from dataclasses import replace

    blank = readings_of(plateaus([30]), np.arange(float(len(marks_mph))), clock="none")
    return replace(blank, speed_mps=np.array(marks_mph) * MPH_MPS, speed_resolution_mps=5 * MPH_MPS)


ORDERS = {
    "rises": [30.0, 35, 40, 45, 50, 55, 60, 65],
    "rises and falls": [30.0, 40, 50, 60, 65, 55, 45, 35],
    "an order of its own": [30.0, 55, 40, 65, 25, 50, 35, 60],
}


@pytest.mark.parametrize("order", ORDERS)
def test_a_list_is_trusted_on_its_own_drive(order: str) -> None:
    marks = ORDERS[order]
    result = speedcal.calibrate(track_of(plateaus(np.array(marks) / 1.06), noise_mps=0.08), _list(marks))
    assert result.trust.codes == []
    assert result.error_factor.contains(1.06)


@pytest.mark.parametrize("order", ["rises", "rises and falls"])
def test_a_list_of_another_drive_in_the_same_common_order_is_not_trusted(order: str) -> None:
    """Each mark 5 mph above that of the drive: a needle that far off explains it, and so does another drive."""
    marks = np.array(ORDERS[order])
    result = speedcal.calibrate(track_of(plateaus(marks / 1.06), noise_mps=0.08), _list((marks + 5).tolist()))
    assert result.trust.codes == ["association_unproven"]


def test_a_mark_listed_three_times_running_is_one_hold() -> None:
    marks = [30.0, 55, 40, 65, 25, 50, 35, 60]
    track = track_of(plateaus(np.array(marks) / 1.06), noise_mps=0.08)
    one, often = (speedcal.calibrate(track, _list(list(np.repeat(marks, times)))) for times in (1, 3))
    assert often.error_factor.contains(1.06)
    assert often.error_factor.half_width == pytest.approx(one.error_factor.half_width, rel=0.1)
