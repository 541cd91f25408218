"""The pieces of the fit over ways: integrals against exact ones, and noise of shared ends made independent."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.polynomial import Polynomial

from speedcal.calibration.logged.log_course import integral_of
from speedcal.calibration.logged.way import Windows
from speedcal.calibration.logged.window_noise import Whitening, noise_of_windows
from speedcal.interval import FloatArray

RNG = np.random.default_rng(23)


@pytest.mark.parametrize("share", [0.0, 0.25, 0.6, 1.0])
@pytest.mark.parametrize("degree", range(4))
def test_the_integral_of_a_cubic_by_its_ends_is_exact(degree: int, share: float) -> None:
    """Any polynomial up to the third degree, over the first share of a step of 1.7 s."""
    speed, step = Polynomial(RNG.normal(0, 1, degree + 1)), 1.7
    rate, way = speed.deriv(), speed.integ()
    value, rates = ((np.array(f(0.0)), np.array(f(step))) for f in (speed, rate))
    got = integral_of(np.array(share), np.array(step), value, rates)
    assert float(got) == pytest.approx(way(share * step) - way(0.0), abs=1e-12)


def _windows(n: int, u_turn_m: float, follows: FloatArray) -> Windows:
    begin = 10.0 * np.arange(n)
    return Windows(
        begin_s=begin,
        end_s=begin + 10.0,
        way_m=np.full(n, 200.0),
        follows=follows.astype(bool),
        u_turn_m=np.full(n, u_turn_m),
        u_between_m=np.zeros(n),
    )


def test_noise_of_shared_ends_is_told_from_noise_of_each_way_and_made_independent() -> None:
    """Positions of 1.5 m and ways of 0.5 m: both variances within 10 % over 20,000 windows, then unit and alone."""
    n = 20_000
    ends = RNG.normal(0, 1.5, n + 1)
    rest = np.diff(ends) + RNG.normal(0, 0.5, n)
    windows = _windows(n, 0.0, np.arange(n) > 0)
    end_variance, length_variance, far = noise_of_windows(rest, windows)
    assert end_variance == pytest.approx(1.5**2, rel=0.1)
    assert 2 * end_variance + length_variance == pytest.approx(2 * 1.5**2 + 0.5**2, rel=0.05)
    assert np.mean(far > 1) < 0.01
    white = Whitening(windows, 1.5**2, 0.5**2, np.zeros(n)).whitened(rest[:, None])[:, 0]
    assert np.var(white) == pytest.approx(1.0, abs=4 * np.sqrt(2 / n))
    assert abs(np.mean(white[1:] * white[:-1])) < 4 / np.sqrt(n)


def test_windows_become_independent_whatever_they_share() -> None:
    """The covariance stated goes to the unit matrix: ends shared only where one follows, bends, one far off."""
    follows = np.array([False, True, True, False, True])
    far = np.array([0.0, 0.0, 3.0, 0.0, 0.5])
    windows = _windows(5, 0.8, follows)
    covariance = np.diag(np.full(5, 2 * 2.0 + 0.3 + 0.8**2))
    for i in np.flatnonzero(follows):
        covariance[i, i - 1] = covariance[i - 1, i] = -2.0
    scale = np.sqrt(1 + far)
    covariance *= np.outer(scale, scale)
    root = Whitening(windows, 2.0, 0.3, far)
    np.testing.assert_allclose(root.whitened(root.whitened(covariance).T), np.eye(5), atol=1e-12)
