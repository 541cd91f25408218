"""What a drive tells of how its vehicle moves."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.linalg import solveh_banded

import speedcal
from speedcal.calibration.logged import latent_speed
from speedcal.calibration.speed.banded import Banded
from speedcal.calibration.speed.motion import Motion
from speedcal.calibration.speed.runs import SteadyRuns
from speedcal.calibration.speed.speed_spline import SplineGrid
from speedcal.calibration.tuning import logs as tuned
from speedcal.interval import FloatArray
from speedcal.simulate import simulate


def dense(band: FloatArray) -> FloatArray:
    """Return the symmetric matrix of a band."""
    size = band.shape[1]
    matrix = np.zeros((size, size))
    for d in range(len(band)):
        for j in range(size - d):
            matrix[j + d, j] = matrix[j, j + d] = band[d, j]
    return matrix


def test_bands_and_variances_are_those_of_the_differences_within_a_piece() -> None:
    """Held against plain matrices: two pieces, which nothing joins."""
    grid = SplineGrid.over(np.array([0.0, 1, 2, 3, 50, 51, 52]), np.array([0, 0, 0, 0, 1, 1, 1]), 0.5)
    rng = np.random.default_rng(3)
    size = len(grid)
    speed, precision = rng.normal(size=size), rng.uniform(1, 2, size)
    last = grid.base[1] - 1
    unit = np.eye(size)
    change = np.array([(unit[k + 1] - unit[k]) / 0.5 for k in range(size - 1) if k != last])
    assert grid.changes(speed)[grid.joined] == pytest.approx(change @ speed)
    assert grid.changes(speed)[[last, -1]] == pytest.approx([0, 0])
    assert dense(grid.tautness(precision)) == pytest.approx(change.T @ np.diag(precision[grid.joined]) @ change)
    ends = {0, last, last + 1, size - 1}
    bending = np.array([(unit[k - 1] - 2 * unit[k] + unit[k + 1]) / 0.25 for k in range(size) if k not in ends])
    assert grid.bending(speed)[grid.inner] == pytest.approx(bending @ speed)
    assert dense(grid.stiffness(precision)) == pytest.approx(bending.T @ np.diag(precision[grid.inner]) @ bending)
    factor = np.tril(rng.normal(size=(size, size)))
    covariance = factor @ factor.T
    band = np.array([np.append(np.diagonal(covariance, -d), np.zeros(d)) for d in range(4)])
    assert grid.change_variances(band)[grid.joined] == pytest.approx(np.diag(change @ covariance @ change.T))
    assert grid.bending_variances(band)[grid.inner] == pytest.approx(np.diag(bending @ covariance @ bending.T))


def _held(wander: FloatArray) -> tuple[Motion, FloatArray]:
    """Return what is learnt of six runs whose speed changes so much a second, and how far it is off at every second."""
    rng = np.random.default_rng(11)
    count, noise = len(wander), 0.08
    time = np.arange(float(count))
    speed = 25.0 + np.cumsum(wander * rng.standard_normal(count))
    seen = speed + noise * rng.standard_normal(count)
    grid = SplineGrid.over(time, np.zeros(count, np.int64), 1.0)
    edge = np.linspace(0.0, count - 1.0, 7)
    places = grid.locate(time, np.zeros(count, np.int64))
    level = np.full(len(grid), 25.0)
    motion = Motion(grid, level + 0.1 * rng.standard_normal(len(grid)), SteadyRuns(edge[:-1], edge[1:], edge[1:]))
    weight = np.full(count, noise**-2)
    for _ in range(40):
        band = motion.band()
        places.add_information(band, places.value, weight)
        pulled = places.add_up(places.value, weight * (seen - 25), len(grid))
        answer = level + solveh_banded(band, pulled, lower=True)
        motion.renew(answer, Banded(band).inverse())
    return motion, places.of(answer, places.value) - speed


@pytest.mark.parametrize("wander", [0.02, 0.1])
def test_the_wander_of_held_speeds_is_found(wander: float) -> None:
    """Speeds that change at random from second to second, seen through noise of known size: rms within a fifth."""
    motion, off = _held(np.full(1200, wander))
    found = np.sqrt(np.mean(motion.wander2[motion.run >= 0]))
    assert found == pytest.approx(wander, rel=0.2)
    assert np.std(off) < 1.15 * np.sqrt(wander * 0.08 / 2)  # what a Kalman smoother that is told both leaves


def test_cruise_control_stays_steady_beside_runs_by_foot() -> None:
    """Three runs that change by 0.015 m/s a second, three by 0.15: each has its own size, to a factor of two."""
    wander = np.repeat([0.015, 0.15] * 3, 200)
    motion, off = _held(wander)
    for run in range(6):
        found = np.sqrt(np.mean(motion.wander2[motion.run == run]))
        assert 0.5 < found / wander[200 * run] < 2.0
    assert np.std(off[wander < 0.1]) < 1.3 * np.sqrt(0.015 * 0.08 / 2)


def test_runs_that_wander_alike_have_one_size() -> None:
    motion, _ = _held(np.full(1200, 0.02))
    sizes = np.unique(motion.wander2[motion.run >= 0])
    assert len(sizes) == 6
    assert sizes[-1] / sizes[0] < 1.3


@pytest.mark.parametrize("seed", [5, 7])
def test_a_fit_ends_where_ten_times_as_many_rounds_end(seed: int, monkeypatch: pytest.MonkeyPatch) -> None:
    """Speeds that are held, in whole units: the analyst who knows all but the dial is 0.07 % off; a sixth of that."""
    drive = simulate("cruise control", [2026, seed])
    factor = speedcal.calibrate(drive.track, drive.readings).error_factor.value
    monkeypatch.setattr(latent_speed, "_AT_REST", 0.005)
    monkeypatch.setattr(tuned, "LATENT_ROUNDS", 200)
    assert factor == pytest.approx(speedcal.calibrate(drive.track, drive.readings).error_factor.value, abs=1.2e-4)
