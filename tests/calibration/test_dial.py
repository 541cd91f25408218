"""The dial as a curve: held against scipy's spline, a plain Gaussian process and arithmetic."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.interpolate import CubicSpline

from speedcal.calibration.dial.curve import deviation_covariance, dial_through, driven_points
from speedcal.calibration.dial.dial import Dial, Line

KNOTS = np.array([0.0, 4.0, 9.0, 15.0, 22.0, 30.0])
SHOWN = np.array([0.5, 4.1, 9.9, 16.2, 22.0, 31.5])
SPEEDS = np.linspace(0.0, 30.0, 61)


def _dial() -> Dial:
    root = np.random.default_rng(5).normal(size=(6, 6))
    return Dial(KNOTS, SHOWN, root @ root.T, used_mps=np.linspace(8, 28, 20))


def test_between_the_knots_it_is_the_natural_cubic_spline() -> None:
    """Against scipy's, and straight beyond the ends."""
    spline = CubicSpline(KNOTS, SHOWN, bc_type="natural")
    np.testing.assert_allclose(_dial().indicated(SPEEDS), spline(SPEEDS), atol=1e-12)
    assert float(_dial().indicated(35.0)) == pytest.approx(float(spline(30.0) + 5 * spline(30.0, 1)), abs=1e-12)


def test_a_variance_of_none_that_rounding_takes_below_it_is_none() -> None:
    """The root of -1e-18 would be no number, and every interval of the factor with it."""
    assert Line(0.0, 1.0, np.array([[0.04, 0.0], [0.0, -1e-18]])).u_factor == 0.0
    assert Line(0.0, 1.0, np.array([[0.04, 0.0], [0.0, 4e-6]])).u_factor == pytest.approx(0.002)


def test_the_covariance_is_that_of_the_splines_linear_map() -> None:
    """W C W' with W from scipy's spline through unit vectors."""
    weights = CubicSpline(KNOTS, np.eye(6), bc_type="natural")(SPEEDS)
    expected = weights @ _dial().knot_covariance @ weights.T
    np.testing.assert_allclose(_dial().covariance(SPEEDS, SPEEDS), expected, atol=1e-10)
    np.testing.assert_allclose(_dial().u_indicated(SPEEDS) ** 2, np.diag(expected), atol=1e-10)


def test_the_line_is_least_squares_over_the_used_speeds() -> None:
    """Against numpy's polyfit through the curve."""
    dial = _dial()
    slope, offset = np.polyfit(dial.used_mps, dial.indicated(dial.used_mps), 1)
    assert dial.line.error_factor == pytest.approx(slope, abs=1e-12)
    assert dial.line.offset_mps == pytest.approx(offset, abs=1e-12)


def test_a_straight_dial_gives_its_line_back() -> None:
    """Value and covariance, at any speed."""
    covariance = np.array([[0.09, -0.003], [-0.003, 0.0002]])
    dial = Dial.straight(-0.4, 1.083, covariance, used_mps=[10.0, 15.0, 28.0])
    np.testing.assert_allclose(dial.line.covariance, covariance, atol=1e-12)
    speed = np.array([1.0, 50.0])
    design = np.column_stack([np.ones(2), speed])
    np.testing.assert_allclose(dial.indicated(speed), design @ [-0.4, 1.083], atol=1e-12)
    np.testing.assert_allclose(dial.covariance(speed, speed), design @ covariance @ design.T, atol=1e-12)


def test_after_a_change_it_shows_at_v_what_it_showed_at_g_v() -> None:
    """And an uncertain change adds (v y')^2 u^2."""
    dial, changed = _dial(), _dial().geared(0.9, u_ln_factor=0.01)
    np.testing.assert_allclose(changed.indicated(SPEEDS), dial.indicated(0.9 * SPEEDS), atol=1e-12)
    straight = Dial.straight(0.0, 1.1, np.zeros((2, 2)), used_mps=[5.0, 30.0]).geared(0.9, u_ln_factor=0.01)
    assert float(straight.u_indicated(20.0)) == pytest.approx(0.01 * 0.9 * 1.1 * 20, rel=1e-9)


def test_the_deviation_carries_no_line_over_the_driven_speeds() -> None:
    """Its covariance with offset and slope over those speeds is nothing."""
    driven = np.array([9.0, 12.0, 18.0, 25.0, 29.0])
    covariance = deviation_covariance(driven, np.linspace(0, 40, 9), driven)
    np.testing.assert_allclose(np.column_stack([np.ones(5), driven]).T @ covariance, 0.0, atol=1e-9)


def test_readings_of_a_straight_dial_leave_it_straight_and_cover_it() -> None:
    """400 noisy drives at fixed seeds: called bent in at most one of thirty, the middle covered in 95 %."""
    rng = np.random.default_rng(11)
    speed = np.repeat([11.0, 15.0, 20.0, 25.0, 29.0], 4)
    bent = covered = 0
    for _ in range(400):
        shown = 0.3 + 1.05 * speed + rng.normal(0, 0.3, len(speed))
        dial = dial_through(speed, shown, 0.09 * np.eye(len(speed)), used_mps=speed)
        bent += dial.shape == "bent"
        covered += abs(float(dial.indicated(20.0)) - 21.3) < float(dial.half_width(20.0))
    assert bent <= 13
    assert 0.93 <= covered / 400 <= 0.995


def test_a_bend_of_a_mile_and_a_half_is_seen_and_followed() -> None:
    """Sharp readings of a dial with a hump: bent, and the hump in the curve."""
    speed = np.linspace(10, 30, 41)
    truth = 1.02 * speed + 0.67 * np.sin(np.pi * (speed - 10) / 20)
    dial = dial_through(speed, truth, 0.01 * np.eye(41), used_mps=speed)
    assert dial.shape == "bent"
    np.testing.assert_allclose(dial.indicated(speed), truth, atol=0.12)


def test_driven_points_stand_for_many_speeds() -> None:
    """The ends are kept, and the line through them is that of all."""
    speeds = np.random.default_rng(3).uniform(8, 30, 5000)
    points = driven_points(speeds)
    assert (points[0], points[-1]) == (speeds.min(), speeds.max())
    assert np.mean(points) == pytest.approx(np.mean(speeds), abs=0.1)
