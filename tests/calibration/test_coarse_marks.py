"""Readings to coarse marks: what their intervals tell, against exact integration and against truth."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.special import ndtr

from speedcal.calibration.dial.dial_mixture import Basis, Laid, mixed_dial
from speedcal.calibration.noted.coarse_marks import marks_tell, within_marks
from speedcal.units import MPH_MPS

STEP = 5 * MPH_MPS


def _way(seed: int, step: float = STEP, count: int = 16) -> Laid:
    """Return readings of a dial that shows 4 % and 0.3 m/s more, by somebody who errs by 0.15 m/s."""
    rng = np.random.default_rng(seed)
    speed = rng.uniform(9, 28, count)
    needle = 0.3 + 1.04 * speed + rng.normal(0, 0.15, count)
    return Laid(
        weight=1.0,
        speed_mps=speed,
        shown_mps=step * np.round(needle / step),
        widening=np.ones(count),
        known_variance=np.full(count, 0.01),
        run=np.full(count, -1),
        play=np.zeros(count),
        moment_s=30 * np.arange(float(count)),
        rounding_variance=step**2 / 12,
    )


@pytest.mark.parametrize("seed", range(4))
def test_the_messages_of_marks_give_the_line_that_exact_intervals_give(seed: int) -> None:
    """Offset and excess of the factor integrated on a grid: means to a fifth of their width, widths to 12 %."""
    way = _way(seed)
    basis = Basis.driven_at(way.speed_mps)
    own, sd = np.full(16, 0.1), np.array([0.7, 0.1])
    prior = np.full(basis.at_knots.shape[1] + 1, 1e-8)  # no bend and no play
    prior[:2] = sd**2
    message = marks_tell(way, basis, own=own, prior_variance=prior)
    design = np.column_stack([np.ones(16), way.speed_mps])
    seen = 1 / (1 / message.precision + own)
    covariance = np.linalg.inv(np.diag(1 / sd**2) + (design.T * seen) @ design)
    mean = covariance @ (design.T @ (seen * message.shift / message.precision))

    offset, excess = (grid.ravel() for grid in np.meshgrid(np.linspace(-3, 3, 401), np.linspace(-0.3, 0.3, 601)))
    away = (way.shown_mps - way.speed_mps)[:, None] - design @ np.stack([offset, excess])
    chance = ndtr((away + STEP / 2) / np.sqrt(0.1)) - ndtr((away - STEP / 2) / np.sqrt(0.1))
    log = np.log(np.maximum(chance, 1e-300)).sum(axis=0) - 0.5 * ((offset / sd[0]) ** 2 + (excess / sd[1]) ** 2)
    weight = np.exp(log - log.max())
    weight /= weight.sum()
    for k, part in enumerate((offset, excess)):
        exact = weight @ part
        width = np.sqrt(weight @ (part - exact) ** 2)
        assert mean[k] == pytest.approx(exact, abs=0.2 * width)
        assert np.sqrt(covariance[k, k]) == pytest.approx(width, rel=0.12)


def test_readings_to_fine_steps_stay_as_they_are() -> None:
    way = _way(1, step=MPH_MPS)
    assert within_marks([way], Basis.driven_at(way.speed_mps)) == [way]


def test_dials_through_intervals_are_nearer_to_the_truth_and_hold_it() -> None:
    """60 drives of 30 readings to fives: errors are a tenth smaller than with a Gaussian of the step's variance."""
    errors: dict[str, list[float]] = {"even": [], "interval": []}
    held = 0
    for seed in range(60):
        way = _way(seed, count=30)
        for name, ways in (("even", [way]), ("interval", within_marks([way], Basis.driven_at(way.speed_mps)))):
            line = mixed_dial(ways, Basis.driven_at(way.speed_mps)).dial.line
            errors[name].append(line.error_factor - 1.04)
        held += abs(errors["interval"][-1]) < 1.96 * np.sqrt(line.covariance[1, 1])
    even, interval = (np.sqrt(np.mean(np.square(error))) for error in errors.values())
    assert interval < 0.9 * even
    assert held >= 54
