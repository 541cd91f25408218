"""The line fit against certified data, published results, an independent library and analytic limits."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import odrpack
import pytest

from speedcal.calibration.logged.regression import LineFit, LineFitError, fit_line_york
from speedcal.interval import FloatArray

NORRIS_X = np.array(
    [
        *(0.2, 337.4, 118.2, 884.6, 10.1, 226.5, 666.3, 996.3, 448.6, 777.0, 558.2, 0.4),
        *(0.6, 775.5, 666.9, 338.0, 447.5, 11.6, 556.0, 228.1, 995.8, 887.6, 120.2, 0.3),
        *(0.3, 556.8, 339.1, 887.2, 999.0, 779.0, 11.1, 118.3, 229.2, 669.1, 448.9, 0.5),
    ]
)
NORRIS_Y = np.array(
    [
        *(0.1, 338.8, 118.1, 888.0, 9.2, 228.1, 668.5, 998.5, 449.1, 778.9, 559.2, 0.3),
        *(0.1, 778.1, 668.8, 339.3, 448.9, 10.8, 557.7, 228.3, 998.0, 888.8, 119.6, 0.3),
        *(0.6, 557.6, 339.3, 888.0, 998.5, 778.9, 10.2, 117.6, 228.9, 668.4, 449.2, 0.2),
    ]
)
PEARSON_X = np.array([0.0, 0.9, 1.8, 2.6, 3.3, 4.4, 5.2, 6.1, 6.5, 7.4])
PEARSON_Y = np.array([5.9, 5.4, 4.4, 4.6, 3.5, 3.7, 2.8, 2.8, 2.4, 1.5])
YORK_U_X = np.array([1000, 1000, 500, 800, 200, 80, 60, 20, 1.8, 1.0]) ** -0.5
YORK_U_Y = np.array([1, 1.8, 4, 8, 20, 20, 70, 70, 100, 500]) ** -0.5
THERMOMETER_T = np.array([21.521, 22.012, 22.512, 23.003, 23.507, 23.999, 24.513, 25.002, 25.503, 26.010, 26.511])
THERMOMETER_B = np.array([-0.171, -0.169, -0.166, -0.159, -0.164, -0.165, -0.156, -0.157, -0.159, -0.161, -0.160])


def scaled_by_scatter(fit: LineFit) -> LineFit:
    """Return the fit with uncertainties told by the residuals, where u_y is not known (JCGM 100:2008, H.3.2)."""
    variance = fit.chi_square / (fit.n_points - 2)
    root = float(np.sqrt(variance))
    u_intercept, u_slope = fit.u_intercept * root, fit.u_slope * root
    return replace(fit, u_intercept=u_intercept, u_slope=u_slope, covariance=fit.covariance * variance)


def u_at(fit: LineFit, x: float) -> float:
    """Return the standard uncertainty of the line at x, covariance included (JCGM 100:2008, H.3.4)."""
    return float(np.sqrt(fit.u_intercept**2 + 2 * x * fit.covariance + (x * fit.u_slope) ** 2))


@pytest.mark.published("NIST Statistical Reference Datasets, linear regression, Norris: certified values")
def test_norris_calibration_data_to_the_certified_digits() -> None:
    """Eleven digits of the fifteen certified: the data have condition that costs double precision the rest."""
    fit = scaled_by_scatter(fit_line_york(NORRIS_X, NORRIS_Y, u_x=0.0, u_y=1.0))
    assert fit.intercept == pytest.approx(-0.262323073774029, rel=1e-11)
    assert fit.slope == pytest.approx(1.00211681802045, rel=1e-13)
    assert fit.u_intercept == pytest.approx(0.232818234301152, rel=1e-11)
    assert fit.u_slope == pytest.approx(0.429796848199937e-03, rel=1e-11)


@pytest.mark.published("York et al. 2004, Am. J. Phys. 72, 367, table II: Pearson's data with York's weights")
def test_pearsons_data_with_yorks_weights_uncertainties_included() -> None:
    """Read in public test suites that quote the paper; the published digits end at 1e-9 relative, so 1e-8."""
    fit = fit_line_york(PEARSON_X, PEARSON_Y, u_x=YORK_U_X, u_y=YORK_U_Y)
    assert fit.intercept == pytest.approx(5.47991022403, rel=1e-9)
    assert fit.slope == pytest.approx(-0.48053340745, rel=1e-9)
    assert fit.u_intercept == pytest.approx(0.294970735, rel=1e-8)
    assert fit.u_slope == pytest.approx(0.0579850090, rel=1e-8)
    assert fit.chi_square / (fit.n_points - 2) == pytest.approx(1.483294149, rel=1e-9)


@pytest.mark.published("Kalantar 1992 and York et al. 2004 publish different uncertainties for Pearson's data")
def test_uncertainties_follow_the_stated_convention_and_no_other() -> None:
    """Kalantar's 0.29193 and the rescaled 0.359246522551 must not come out of the plain fit."""
    fit = fit_line_york(PEARSON_X, PEARSON_Y, u_x=YORK_U_X, u_y=YORK_U_Y)
    assert abs(fit.u_intercept - 0.29193) > 1e-3
    assert scaled_by_scatter(fit).u_intercept == pytest.approx(0.359246522551112, rel=1e-8)
    assert scaled_by_scatter(fit).u_slope == pytest.approx(0.070620269528771, rel=1e-8)


@pytest.mark.published("JCGM 100:2008 (GUM), H.3: calibration of a thermometer")
def test_the_thermometer_of_the_gum() -> None:
    """Printed: y1 = -0.1712(29), y2 = 0.00218(67), r = -0.930, correction at 30 degrees -0.1494(41)."""
    fit = scaled_by_scatter(fit_line_york(THERMOMETER_T - 20, THERMOMETER_B, u_x=0.0, u_y=1.0))
    assert fit.intercept == pytest.approx(-0.1712, abs=0.00005)
    assert fit.u_intercept == pytest.approx(0.0029, abs=0.00005)
    assert fit.slope == pytest.approx(0.00218, abs=0.000005)
    assert fit.u_slope == pytest.approx(0.00067, abs=0.000005)
    assert fit.covariance / (fit.u_intercept * fit.u_slope) == pytest.approx(-0.930, abs=0.0005)
    assert fit.intercept + 10 * fit.slope == pytest.approx(-0.1494, abs=0.00005)
    assert u_at(fit, 10.0) == pytest.approx(0.0041, abs=0.00005)


def test_a_prediction_without_the_covariance_would_be_wrong_by_three_quarters() -> None:
    """Hand arithmetic on the printed figures: sqrt(0.0029^2 + (10 x 0.00067)^2) = 0.0073, not 0.0041."""
    fit = scaled_by_scatter(fit_line_york(THERMOMETER_T - 20, THERMOMETER_B, u_x=0.0, u_y=1.0))
    without = np.hypot(fit.u_intercept, 10 * fit.u_slope)
    assert without / u_at(fit, 10.0) == pytest.approx(1.76, abs=0.02)


def test_without_uncertainty_in_x_it_is_weighted_least_squares() -> None:
    """numpy.polyfit with weights 1/u and unscaled covariance is the oracle."""
    fit = fit_line_york(PEARSON_X, PEARSON_Y, u_x=0.0, u_y=YORK_U_Y)
    (slope, intercept), covariance = np.polyfit(PEARSON_X, PEARSON_Y, 1, w=1 / YORK_U_Y, cov="unscaled")
    assert (fit.slope, fit.intercept) == pytest.approx((slope, intercept), rel=1e-10)
    assert fit.u_slope**2 == pytest.approx(covariance[0, 0], rel=1e-10)
    assert fit.u_intercept**2 == pytest.approx(covariance[1, 1], rel=1e-10)
    assert fit.covariance == pytest.approx(covariance[0, 1], rel=1e-10)
    assert fit.n_iterations == 1


def test_equal_weights_give_pearsons_principal_axis() -> None:
    """Closed form for equal uncertainties: slope = (d + sqrt(d^2 + 4 sxy^2)) / (2 sxy) with d = syy - sxx."""
    fit = fit_line_york(PEARSON_X, PEARSON_Y, u_x=0.5, u_y=0.5)
    sxx, syy = np.var(PEARSON_X), np.var(PEARSON_Y)
    sxy = np.mean((PEARSON_X - PEARSON_X.mean()) * (PEARSON_Y - PEARSON_Y.mean()))
    d = syy - sxx
    assert fit.slope == pytest.approx((d + np.sqrt(d * d + 4 * sxy * sxy)) / (2 * sxy), rel=1e-10)


@pytest.mark.published("Pearson 1901, Philosophical Magazine 2, 559: y = 5.7857 - 0.546 x to the digits printed")
def test_equal_weights_give_the_line_pearson_printed() -> None:
    """His slope to its three digits; his intercept carries his rounding, 2e-3."""
    fit = fit_line_york(PEARSON_X, PEARSON_Y, u_x=1.0, u_y=1.0)
    assert fit.slope == pytest.approx(-0.546, abs=0.0005)
    assert fit.intercept == pytest.approx(5.7857, abs=0.002)


def test_swapping_the_axes_inverts_the_line() -> None:
    """The slope becomes 1/b, the intercept -a/b, chi-square and the relative uncertainty of the slope stay."""
    fit = fit_line_york(PEARSON_X, PEARSON_Y, u_x=YORK_U_X, u_y=YORK_U_Y)
    swapped = fit_line_york(PEARSON_Y, PEARSON_X, u_x=YORK_U_Y, u_y=YORK_U_X)
    assert swapped.slope == pytest.approx(1 / fit.slope, rel=1e-11)
    assert swapped.intercept == pytest.approx(-fit.intercept / fit.slope, rel=1e-11)
    assert swapped.chi_square == pytest.approx(fit.chi_square, rel=1e-11)
    assert swapped.u_slope / abs(swapped.slope) == pytest.approx(fit.u_slope / abs(fit.slope), rel=0.01)


def test_other_units_change_nothing_but_the_units() -> None:
    fit = fit_line_york(PEARSON_X, PEARSON_Y, u_x=YORK_U_X, u_y=YORK_U_Y)
    other = fit_line_york(3.6 * PEARSON_X, 2.0 * PEARSON_Y + 7, u_x=3.6 * YORK_U_X, u_y=2.0 * YORK_U_Y)
    assert other.slope == pytest.approx(fit.slope * 2 / 3.6, rel=1e-11)
    assert other.intercept == pytest.approx(2 * fit.intercept + 7, rel=1e-11)
    assert other.chi_square == pytest.approx(fit.chi_square, rel=1e-11)


def _odr(x: FloatArray, y: FloatArray, u_x: FloatArray, u_y: FloatArray) -> odrpack.OdrResult:
    """Fit the line by odrpack with exact derivatives; forward differences would stop five digits short."""
    return odrpack.odr_fit(
        lambda x, beta: beta[0] + beta[1] * x,
        x,
        y,
        np.array([5.0, -0.5]),
        weight_x=u_x**-2,
        weight_y=u_y**-2,
        jac_beta=lambda x, beta: np.array([np.ones_like(x), x]),
        jac_x=lambda x, beta: np.full_like(x, beta[1]),
        sstol=1e-14,
        partol=1e-14,
        maxit=500,
    )


def test_odrpack_finds_the_same_line_and_the_same_chi_square() -> None:
    """Independent code; 1e-7 is two hundred times tighter than its own default would reach."""
    fit = fit_line_york(PEARSON_X, PEARSON_Y, u_x=YORK_U_X, u_y=YORK_U_Y)
    odr = _odr(PEARSON_X, PEARSON_Y, YORK_U_X, YORK_U_Y)
    np.testing.assert_allclose([fit.intercept, fit.slope], odr.beta, rtol=1e-7)
    assert fit.chi_square == pytest.approx(odr.sum_square, rel=1e-10)
    # its sd_beta is rescaled by the residual variance; and it linearises at the observed points, so 2 %
    assert scaled_by_scatter(fit).u_slope == pytest.approx(odr.sd_beta[1], rel=0.02)


def _noisy_line(*, u: float, n: int, seed: int) -> tuple[FloatArray, FloatArray]:
    """Speeds of variance 75 (m/s)^2 measured with error u, and what an instrument with factor 1.05 shows."""
    rng = np.random.default_rng(seed)
    true = rng.uniform(-15, 15, n) + 20  # variance 30^2 / 12 = 75
    return true + rng.normal(0, u, n), 1.05 * true + 0.3 + rng.normal(0, 0.1, n)


@pytest.mark.published("Fuller 1987, Measurement Error Models, section 1.1: attenuation s^2 / (s^2 + u^2)")
def test_ordinary_least_squares_flattens_and_this_fit_does_not() -> None:
    """With u = 0.8: 1.05 x 75 / 75.64 = 1.0411 for ordinary least squares; a bias of 0.85 %, seen to 0.03 %."""
    x, y = _noisy_line(u=0.8, n=200_000, seed=1)
    assert np.polyfit(x, y, 1)[0] == pytest.approx(1.0411, abs=0.0005)
    assert fit_line_york(x, y, u_x=0.8, u_y=0.1).slope == pytest.approx(1.05, abs=0.0005)


def test_intervals_hold_the_truth_as_often_as_they_say() -> None:
    """1000 lines of 30 points: 95 % of the intervals, within three sigma of a binomial (2.1 %); chi-square n - 2."""
    held, chi_square = 0, 0.0
    for seed in range(1000):
        x, y = _noisy_line(u=0.3, n=30, seed=seed)
        fit = fit_line_york(x, y, u_x=0.3, u_y=0.1)
        held += abs(fit.slope - 1.05) < 1.96 * fit.u_slope
        chi_square += fit.chi_square / 1000
    assert held == pytest.approx(950, abs=21)
    assert chi_square == pytest.approx(28, abs=3 * np.sqrt(2 * 28 / 1000))


@pytest.mark.parametrize(
    ("x", "y", "u_x", "u_y", "words"),
    [
        ([1, 2], [1, 2], 0.1, 0.1, "three points"),
        ([1, 2, 3], [1, 2], 0.1, 0.1, "alike"),
        ([1, 2, np.nan], [1, 2, 3], 0.1, 0.1, "finite"),
        ([1, 2, 3], [1, 2, 3], -0.1, 0.1, "negative"),
        ([1, 2, 3], [1, 2, 3], 0.1, 0.0, "positive"),
        ([2, 2, 2], [1, 2, 3], 0.1, 0.1, "all x are equal"),
    ],
)
def test_impossible_arguments_are_a_bug_of_the_caller(x, y, u_x, u_y, words) -> None:
    with pytest.raises(ValueError, match=words):
        fit_line_york(x, y, u_x=u_x, u_y=u_y)


def test_an_iteration_that_does_not_settle_says_so_and_hands_over_where_it_stood() -> None:
    with pytest.raises(LineFitError, match="did not settle in 1 round") as caught:
        fit_line_york(PEARSON_X, PEARSON_Y, u_x=YORK_U_X, u_y=YORK_U_Y, max_iterations=1)
    assert caught.value.last.slope == pytest.approx(-0.48, abs=0.2)
