"""The noise of an instrument and the jitter of its stamps, learnt from values that were rounded or not."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.optimize import minimize

from speedcal.calibration.dial.rounded_likelihood import log_likelihood, told_by
from speedcal.calibration.logged.channel_noise import Noise
from speedcal.interval import FloatArray

MPH_MPS = 0.44704
COUNT = 4000
LEAST = 1e-6


def learnt(value: FloatArray, step: float, mean: FloatArray, doubt: FloatArray, steep: FloatArray) -> Noise:
    """Return the noise learnt in thirty steps from values about a mean that is known but for a doubt."""
    noise = Noise.of(len(value), 0.3**2)
    for _ in range(30):
        told = told_by(value, step, noise.at(steep), mean, doubt)
        noise.learn(told, lambda v: log_likelihood(value, step, v, mean, doubt), steep=steep, least=LEAST, local=False)
    return noise


@pytest.mark.parametrize("step", [0.0, 0.1, MPH_MPS])
@pytest.mark.parametrize(("sigma", "jitter_s"), [(0.05, 0.2), (0.15, 0.05), (0.1, 0.0)])
def test_the_noise_learnt_is_the_likeliest(step: float, sigma: float, jitter_s: float) -> None:
    """Held against a search by scipy over both sizes, and near the truth; the speed behind is in doubt by 0.05 m/s."""
    rng = np.random.default_rng(11)
    speed, steep, doubt = rng.uniform(5, 30, COUNT), rng.normal(0, 0.8, COUNT), np.full(COUNT, 0.05**2)
    moment = rng.normal(0, 1, COUNT)
    value = speed + sigma * rng.normal(0, 1, COUNT) + jitter_s * steep * moment + 0.05 * rng.normal(0, 1, COUNT)
    value = np.round(value / step) * step if step else value

    def misfit(size: FloatArray) -> float:
        return -log_likelihood(value, step, np.exp(size[0]) + np.exp(size[1]) * steep**2, speed, doubt)

    best = np.exp(minimize(misfit, np.log([0.1**2, 0.1**2]), method="Nelder-Mead", bounds=[(-14, 0), (-9.2, 0)]).x)
    found = learnt(value, step, speed, doubt, steep)
    assert np.sqrt(found.variance[0]) == pytest.approx(np.sqrt(best[0]), abs=0.002)
    assert np.sqrt(found.jitter_s2) == pytest.approx(np.sqrt(best[1]), abs=0.01)
    assert np.sqrt(found.variance[0]) == pytest.approx(sigma, abs=0.015)


def test_noise_that_changes_on_the_way_is_found_where_it_is() -> None:
    """Five times as much in the second half; each is pulled by a third towards what all have in common."""
    rng = np.random.default_rng(5)
    sigma = np.repeat([0.04, 0.2], COUNT // 2)
    value, still, sure = sigma * rng.normal(0, 1, COUNT), np.zeros(COUNT), np.full(COUNT, 1e-6)
    noise = Noise.of(COUNT, 0.1**2)
    for _ in range(10):
        told = told_by(value, 0.0, noise.at(still), still, sure)
        noise.learn(told, lambda v: log_likelihood(value, 0.0, v, still, sure), steep=still, least=LEAST, local=True)
    first, second = np.sqrt(noise.variance).reshape(2, -1)[:, 20:-20].mean(axis=1)
    assert second == pytest.approx(0.2, rel=0.2)
    assert first < second / 2
