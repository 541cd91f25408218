"""What a drive alone tells of a needle, against a belief that is integrated on a grid."""

from __future__ import annotations

import numpy as np
import pytest

import speedcal
from speedcal.calibration.judged.needle_belief import (
    OF_LOGS,
    OF_NOTES,
    Belief,
    belief_of,
    believed_line,
    line_alone,
    told_of_line,
)
from speedcal.conformity.pooling import pool
from speedcal.simulate import Plateau, simulate
from speedcal.units import MPH_MPS
from speedcal.vehicle import Vehicle, correct

_AT = np.linspace(-40, 40, 200_001)


def found_on_a_grid(told: float, u: float) -> tuple[float, float]:
    """Return mean and variance of an offset [m/s] that was read as ``told`` +- ``u``, of needles as OF_NOTES has them.

    The normal densities are written out, and summed.
    """
    belief = sum(share / size * np.exp(-0.5 * (_AT / size) ** 2) for size, share in zip(*OF_NOTES, strict=True))
    density = belief * np.exp(-0.5 * ((_AT - told) / u) ** 2)
    density /= density.sum()
    mean = float(density @ _AT)
    return mean, float(density @ (_AT - mean) ** 2)


@pytest.mark.parametrize("told_mph", [-5.0, -1.5, 0.0, 3.0, 8.0])
@pytest.mark.parametrize("u_mph", [0.2, 0.5])
def test_what_was_read_comes_back_where_the_belief_is_taken_out(told_mph: float, u_mph: float) -> None:
    """The factor goes with the offset: at 20 m/s the dial is known best, so 1 mph more takes 1/20 mph per m/s off."""
    mean, variance = found_on_a_grid(told_mph * MPH_MPS, u_mph * MPH_MPS)
    slope, left = -1 / 20, 0.002**2
    covariance = np.array([[variance, slope * variance], [slope * variance, slope**2 * variance + left]])
    line, spread = line_alone(np.array([mean, 1.05 + slope * mean]), covariance, OF_NOTES)
    assert line[0] == pytest.approx(told_mph * MPH_MPS, abs=0.02 * u_mph)
    assert line[1] == pytest.approx(1.05 + slope * told_mph * MPH_MPS, abs=0.001)
    assert np.sqrt(spread[0, 0]) == pytest.approx(u_mph * MPH_MPS, rel=0.02)
    assert spread[1, 1] - spread[0, 1] ** 2 / spread[0, 0] == pytest.approx(left)


@pytest.mark.parametrize("told_mph", [0.5, -4.0])
def test_two_halves_of_what_was_read_come_together_as_the_whole(told_mph: float) -> None:
    told, u = told_mph * MPH_MPS, 0.4 * MPH_MPS
    halves = []
    for _ in range(2):
        mean, variance = found_on_a_grid(told, u * np.sqrt(2))
        halves.append(told_of_line(np.array([mean, 1.0]), np.diag([variance, 1e-6]), OF_NOTES))
    weight, moment = (sum(parts) for parts in zip(*halves, strict=True))
    line, covariance = believed_line(np.asarray(weight), np.asarray(moment), OF_NOTES)
    mean, variance = found_on_a_grid(told, u)
    assert line[0] == pytest.approx(mean, abs=0.01)
    assert np.sqrt(covariance[0, 0]) == pytest.approx(np.sqrt(variance), rel=0.02)


@pytest.mark.parametrize("untold", [(0.0, 1.0, 0.87, 0.37), (0.5, 0.8, 1.4, 0.6), (-0.4, 1.3, 3.0, 0.5)])
@pytest.mark.parametrize("belief", [OF_NOTES, OF_LOGS])
def test_a_drive_that_tells_nothing_of_a_line_leaves_the_other_as_it_is(
    untold: tuple[float, ...], belief: Belief
) -> None:
    """It is known no better than it was believed: what came out then is no disagreement, and moves nothing."""
    told = told_of_line(np.array([0.05, 1.008]), np.diag([0.09**2, 0.004**2]), belief)
    nothing = told_of_line(np.array(untold[:2]), np.diag(np.square(untold[2:])), belief)
    line, covariance = believed_line(told[0], told[1], belief)
    both, further = believed_line(told[0] + nothing[0], told[1] + nothing[1], belief)
    assert both == pytest.approx(line, abs=0.009)  # a tenth of what the offset is known to
    assert np.sqrt(np.diag(further)) == pytest.approx(np.sqrt(np.diag(covariance)), rel=0.02)
    apart = np.linalg.solve(nothing[0], nothing[1]) - line
    assert apart @ nothing[0] @ apart < 6  # chi-square of two degrees of freedom, 95 %


def drive(seed: int, offset_mph: float, marks: tuple[int, ...]) -> speedcal.Calibration:
    """Return the answer of ten or twelve notes of a dial whose needle is off."""
    plan = [Plateau(mark * MPH_MPS, 30.0, 2) for mark in marks]
    made = simulate("noted", seed, error_factor=1.0, offset_mps=offset_mph * MPH_MPS, plan=plan)
    return speedcal.calibrate(made.track, made.readings, unit="mph")


SHORT = ((45, 35, 60, 50, 40), (50, 40, 55, 35, 45), (40, 55, 45, 60, 50))


@pytest.mark.parametrize("offset_mph", [-4.0, 5.0])
def test_short_drives_of_one_needle_that_is_off_agree(offset_mph: float) -> None:
    """What each is believed to be is no disagreement, and together they tell more than each."""
    drives = [drive(seed, offset_mph, marks) for seed, marks in enumerate(SHORT)]
    together = pool(drives)
    assert together.trust.word == "TRUSTED"
    ground = np.array([35.0, 45.0, 55.0]) * MPH_MPS
    off_mph = (together.indicated(ground) - ground) / MPH_MPS - offset_mph
    u_mph = together.dial.u_indicated(ground) / MPH_MPS
    assert np.all(np.abs(off_mph) < 2.5 * u_mph)
    assert np.all(u_mph < np.min([d.dial.u_indicated(ground) for d in drives], axis=0) / MPH_MPS)


def test_a_needle_in_few_notes_is_set_over_by_what_it_is_off() -> None:
    """With ten notes the needle is known to some mph; it is not set over by three times what it is off."""
    off_mph = -4.0
    told = []
    for seed, marks in enumerate(SHORT):
        found = correct(drive(seed, off_mph, marks), Vehicle(driven_gear=19, drive_gear=8), speeds=[35, 45, 55])
        told += [float(entry.value or 0) for entry in found.advice if entry.action == "reseat_needle"]
    assert len(told) >= 2
    assert max(abs(value + off_mph) for value in told) < 3


def test_logs_are_believed_as_logs() -> None:
    made = simulate("logged", 3, error_factor=1.0, offset_mps=0.0, minutes=8)
    assert belief_of(speedcal.calibrate(made.track, made.readings)) != OF_NOTES
    assert belief_of(drive(1, 0.0, SHORT[1])) == OF_NOTES
