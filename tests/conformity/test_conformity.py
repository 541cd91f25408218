"""Probability of conformance against published numbers, an independent library and simulation."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from scipy import integrate, stats

from speedcal.conformity.probability import Box


def between(low: float, high: float, value: float, u: float) -> float:
    """Return the probability that one quantity lies between two limits."""
    return Box(np.array([low]), np.array([high]), np.array([value]), np.array([[u * u]])).probability()


def half_planes(limits: np.ndarray, mean: np.ndarray, covariance: np.ndarray) -> Box:
    """Return ``l[0] x + l[1] y + l[2] >= 0`` for jointly known x and y as a box of what is left to each limit."""
    gradient = limits[:, :2]
    left = gradient @ mean + limits[:, 2]
    nothing = np.zeros(len(limits))
    return Box(nothing, nothing + np.inf, left, gradient @ covariance @ gradient.T)


@pytest.mark.published("JCGM 106:2012, 7.3.3 example 1 (inputs from memory; printed 0.92)")
def test_breakdown_voltage_example_conforms_with_092() -> None:
    """TU = -5.40 V, y = -5.47 V, u = 0.05 V: (TU - y)/u = 1.4, normal table 0.919243."""
    assert between(-np.inf, -5.40, -5.47, 0.05) == pytest.approx(0.919243, abs=1e-6)


@pytest.mark.published("JCGM 106:2012, 7.3.3 example 2 (inputs from memory; printed 0.98)")
def test_pressure_example_conforms_with_098() -> None:
    """TL = 490 kPa, y = 507 kPa, u = 8.6 kPa: 17/8.6 = 1.97674, normal table 0.975965."""
    assert between(490, np.inf, 507, 8.6) == pytest.approx(0.975965, abs=1e-6)


@pytest.mark.published("ILAC-G8:09/2019, table of guard bands w and specific risk (read in a secondary text)")
@pytest.mark.parametrize(
    ("guard_in_expanded", "stated_risk", "exact"),
    [(0.83, 0.05, 0.048457), (1.0, 0.025, 0.022750), (1.5, 0.0016, 0.00134990), (3.0, 1e-6, 9.866e-10)],
)
def test_guard_band_leaves_the_stated_risk(guard_in_expanded: float, stated_risk: float, exact: float) -> None:
    """A result on the acceptance limit, w inside the tolerance limit, U = 2u: the rest is the specific risk."""
    u = 0.3
    risk = 1 - between(-np.inf, 10.0, 10.0 - guard_in_expanded * 2 * u, u)
    assert risk < stated_risk
    assert risk == pytest.approx(exact, rel=2e-4 if exact > 1e-6 else 0.01)


@pytest.mark.published("UN R39 with both speeds uncertain: arithmetic on the relation 0 <= V1 - V2 <= 0.1 V2 + 4 km/h")
@pytest.mark.parametrize(
    ("true", "limb", "expected"),
    [
        (88, "high", 0.901114),
        (87, "high", 0.314558),
        (89, "high", 0.998889),
        (99.5, "low", 0.806762),
        (100.2, "low", 0.364517),
    ],
)
def test_indicated_100_conforms_with_the_worked_probability(true: float, limb: str, expected: float) -> None:
    """V1 = 100 read to 1 km/h (u = 1/sqrt 12), u(V2) = 0.5 km/h; one half plane in (V1, V2) a limb."""
    limits = np.array([[-1.0, 1.1, 4.0] if limb == "high" else [1.0, -1.0, 0.0]])
    covariance = np.diag([1 / 12, 0.25])
    assert half_planes(limits, np.array([100.0, true]), covariance).probability() == pytest.approx(expected, abs=1e-6)


_MEAN = np.array([0.3, 1.02])
_COVARIANCE = np.array([[0.09, -0.004], [-0.004, 0.0003]])
_BAND = np.array([[1, 11.0, -11], [-1, -11, 12.2], [1, 33, -33], [-1, -33, 34.6]])


def test_joint_probability_agrees_with_counting() -> None:
    """Two speeds, four limits: 400 000 draws of the joint distribution count to the same probability."""
    rng = np.random.default_rng(20)
    draws = rng.multivariate_normal([0, 0], _COVARIANCE, size=400_000)
    counted = np.mean(np.all((_MEAN + draws) @ _BAND[:, :2].T + _BAND[:, 2] >= 0, axis=1))
    assert half_planes(_BAND, _MEAN, _COVARIANCE).probability() == pytest.approx(
        counted, abs=4 * 0.5 / np.sqrt(400_000)
    )


def test_joint_probability_agrees_with_an_independent_library() -> None:
    """Two one-sided limits are a bivariate normal orthant, which scipy integrates by another method."""
    gradient = _BAND[[0, 3], :2]
    slack = gradient @ _MEAN + _BAND[[0, 3], 2]
    oracle = stats.multivariate_normal(mean=[0, 0], cov=gradient @ _COVARIANCE @ gradient.T).cdf(slack)
    assert half_planes(_BAND[[0, 3]], _MEAN, _COVARIANCE).probability() == pytest.approx(oracle, abs=1e-7)


@pytest.mark.parametrize("turn_deg", [0, 15, 30, 45, 60, 90, 135])
def test_three_limits_agree_with_an_integral_however_the_plane_is_turned(turn_deg: float) -> None:
    """Limits at 0, 45 and 135 degrees: integrated over x by an independent library, y by the normal distribution."""
    angle = np.radians([0.0, 45.0, 135.0])
    level = np.array([0.4, 0.9, 1.3])

    def over(x: float) -> float:
        return float(stats.norm.pdf(x) * stats.norm.sf(max(-0.9 * np.sqrt(2) - x, -1.3 * np.sqrt(2) + x)))

    expected = integrate.quad(over, -0.4, 9.0, points=[0.2 * np.sqrt(2)], epsabs=1e-11)[0]
    turned = angle + np.radians(turn_deg)
    limits = np.column_stack((np.cos(turned), np.sin(turned), level))
    assert half_planes(limits, np.zeros(2), np.eye(2)).probability() == pytest.approx(expected, abs=1e-8)


def test_limits_on_the_same_quantity_are_taken_together() -> None:
    """Three free quantities; a fourth is the first turned round and a fifth is the first again, limited tighter."""
    free = np.array([[1, 0, 0], [0, 1, 0], [0, 0, 1], [-1, 0, 0], [1, 0, 0]], float)
    low, high = np.array([-1.0, -2.0, -1.5, -0.5, -0.8]), np.array([2.0, 2.0, 1.0, 3.0, 2.5])
    cdf = stats.norm.cdf
    expected = (cdf(0.5) - cdf(-0.8)) * (cdf(2) - cdf(-2)) * (cdf(1) - cdf(-1.5))
    assert Box(low, high, np.zeros(5), free @ free.T).probability() == pytest.approx(expected, abs=1e-6)


def test_assuming_independent_speeds_would_be_wrong() -> None:
    """Two neighbouring speeds share one line: the product of their probabilities is far from the joint one."""
    never_low = np.array([[1, 25.0, -25.0], [1, 33.0, -33.0]])
    mean = np.array([0.3, 0.995])
    joint = half_planes(never_low, mean, _COVARIANCE).probability()
    product = np.prod([half_planes(row[None], mean, _COVARIANCE).probability() for row in never_low])
    assert joint > product + 0.1


def test_limits_between_two_speeds_change_nothing() -> None:
    """A straight line inside straight limits at both ends is inside between them."""
    middle = np.array([[1, 22.0, -22.0], [-1, -22, 23.4]])
    with_middle = np.vstack([_BAND, middle])
    assert half_planes(with_middle, _MEAN, _COVARIANCE).probability() == pytest.approx(
        half_planes(_BAND, _MEAN, _COVARIANCE).probability(), abs=1e-9
    )


def test_a_sure_value_on_the_limit_conforms_and_beyond_it_does_not() -> None:
    """With no uncertainty the limit itself belongs to the tolerance."""
    limits = np.array([[-1.0, -10.0, 10.0]])
    nothing = np.zeros((2, 2))
    assert half_planes(limits, np.array([0.0, 1.0]), nothing).probability() == 1.0
    assert half_planes(limits, np.array([0.001, 1.0]), nothing).probability() == 0.0


def test_a_known_offset_leaves_a_one_dimensional_probability() -> None:
    """u(offset) = 0: only the factor is uncertain, and P = Phi((1.05 - 1.02)/0.02)."""
    limits = np.array([[-1.0, -10.0, 10.5]])
    p = half_planes(limits, np.array([0.0, 1.02]), np.diag([0.0, 0.02**2])).probability()
    assert p == pytest.approx(stats.norm.cdf(1.5), abs=1e-12)


def test_one_limit_makes_the_risk_of_a_false_fail_the_tail_beyond_it() -> None:
    """With one limit, as unlikely as conformance itself: Phi(-2)."""
    limits = np.array([[-1.0, 0.0, 0.0]])
    risk = half_planes(limits, np.array([2.0, 0.0]), np.eye(2)).risk_of_false_fail()
    assert risk == pytest.approx(stats.norm.cdf(-2), abs=1e-12)


@pytest.mark.parametrize(
    ("low", "high", "each"),
    [
        (-1.0, np.inf, stats.norm.cdf(-2)),
        (-np.inf, 1.0, stats.norm.cdf(-2)),
        (-1.0, 1.0, stats.norm.cdf(-2) + stats.norm.cdf(-4)),
        (-0.1, 0.1, stats.norm.cdf(-2) + stats.norm.cdf(-2.2)),
    ],
)
def test_three_free_quantities_are_worst_with_each_on_a_limit(low: float, high: float, each: float) -> None:
    """A limit missed by two standard uncertainties: one of three does so, or the other limit by as much."""
    missed = low - 2.0 if np.isfinite(low) else high + 2.0
    for which in range(3):
        mean = np.zeros(3)
        mean[which] = missed
        risk = Box(np.full(3, low), np.full(3, high), mean, np.eye(3)).risk_of_false_fail()
        assert risk == pytest.approx(1 - (1 - each) ** 3, abs=0.003)


@pytest.mark.parametrize(
    ("next_to_it", "apart"), [(-0.4, -0.4), (0.0, 0.0), (0.4, 0.4), (0.8, 0.8), (0.6, -0.2), (-0.6, -0.2)]
)
def test_the_worst_corner_of_correlated_quantities_is_found_among_all(next_to_it: float, apart: float) -> None:
    """All eight corners by an independent library; what moves together is worst on limits that face each other."""
    correlation = np.array([[1.0, next_to_it, apart], [next_to_it, 1.0, next_to_it], [apart, next_to_it, 1.0]])
    corners = [np.diag(signs) for signs in itertools.product((-1.0, 1.0), repeat=3)]
    expected = max(1 - stats.multivariate_normal(None, s @ correlation @ s).cdf(np.full(3, 1.5)) for s in corners)
    box = Box(np.full(3, -50.0), np.full(3, 50.0), np.array([0.0, 51.5, 0.0]), correlation)
    assert box.risk_of_false_fail() == pytest.approx(expected, abs=0.003)


def test_a_fourth_quantity_that_has_one_limit_only_is_on_that_one() -> None:
    """Two with a limit below, one with one above, one with both: each misses its own by two with Phi(-2) or more."""
    low, high = np.array([-1.0, -1.0, -np.inf, -1.0]), np.array([np.inf, np.inf, 1.0, 1.0])
    one, both = stats.norm.cdf(-2), stats.norm.cdf(-2) + stats.norm.cdf(-4)
    risk = Box(low, high, np.array([0.0, -3.0, 0.0, 0.0]), np.eye(4)).risk_of_false_fail()
    assert risk == pytest.approx(1 - (1 - one) ** 3 * (1 - both), abs=0.003)


def test_limits_narrower_than_the_uncertainty_fail_nobody() -> None:
    """+-0.1 with u = 5: the probability of conformance is tiny for everybody, which is no evidence against anybody."""
    limits = np.array([[1.0, 0.0, 0.1], [-1.0, 0.0, 0.1]])
    assert half_planes(limits, np.array([1.0, 0.0]), np.diag([25.0, 1.0])).probability() < 0.02
    assert half_planes(limits, np.array([1.0, 0.0]), np.diag([25.0, 1.0])).risk_of_false_fail() > 0.8


def test_an_instrument_in_the_corner_of_its_limits_is_seldom_failed() -> None:
    """Worst case of a false fail, simulated: truth on two limits at once, risk at most 5 % (4 sigma of counting)."""
    rng = np.random.default_rng(7)
    corner = np.linalg.solve(_BAND[[1, 2], :2], -_BAND[[1, 2], 2])
    estimates = rng.multivariate_normal(corner, _COVARIANCE, size=500)
    failed = np.mean([half_planes(_BAND, estimate, _COVARIANCE).risk_of_false_fail() <= 0.05 for estimate in estimates])
    naive = np.mean([half_planes(_BAND, estimate, _COVARIANCE).probability() <= 0.05 for estimate in estimates])
    assert failed <= 0.05 + 4 * np.sqrt(0.05 * 0.95 / 500)
    assert naive > 0.1
