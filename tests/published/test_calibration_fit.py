"""Weighted least squares against scipy and against the calibration curve of the GUM; repeatability against the GUM."""

from __future__ import annotations

import math

import numpy as np
import pytest
import scipy

from meterlink.photometry import calibration_fit as cf

# GUM (JCGM 100:2008) table H.6, thermometer readings and corrections, and the results of H.3 (from memory).
H3_T = (21.521, 22.012, 22.512, 23.003, 23.507, 23.999, 24.513, 25.002, 25.503, 26.010, 26.511)
H3_B = (-0.171, -0.169, -0.166, -0.159, -0.164, -0.165, -0.156, -0.157, -0.159, -0.161, -0.160)
# GUM table 1 (4.4.3), twenty temperatures (from memory).
T44 = (96.90, 98.18, 98.25, 98.61, 99.03, 99.49, 99.56, 99.74, 99.89, 100.07,
       100.33, 100.42, 100.68, 100.95, 101.11, 101.20, 101.57, 101.84, 102.36, 102.72)  # fmt: skip


def test_gum_h3_calibration_curve() -> None:
    """The straight line of GUM H.3: y1 -0.1712 (u 0.0029), y2 0.00218 (u 0.00067), r -0.930, s 0.0035."""
    fit = cf.weighted_line(np.array(H3_T) - 20, H3_B, np.ones(11))
    covariance = fit.covariance * fit.birge**2
    u = np.sqrt(np.diag(covariance))
    assert fit.parameters[0] == pytest.approx(-0.1712, abs=5e-5)
    assert fit.parameters[1] == pytest.approx(0.00218, abs=5e-6)
    assert u[0] == pytest.approx(0.0029, abs=5e-5)
    assert u[1] == pytest.approx(0.00067, abs=5e-6)
    assert covariance[0, 1] / (u[0] * u[1]) == pytest.approx(-0.930, abs=5e-4)
    assert fit.birge == pytest.approx(0.0035, abs=5e-5)
    # The predicted correction at 30 °C: -0.1494 with u 0.0041.
    gradient = np.array([1.0, 10.0])
    assert gradient @ fit.parameters == pytest.approx(-0.1494, abs=5e-5)
    assert math.sqrt(gradient @ covariance @ gradient) == pytest.approx(0.0041, abs=5e-5)


def test_gum_repeated_temperatures() -> None:
    """GUM 4.4.3: mean 100.14, s 1.49, s/sqrt(n) 0.33 °C; our widening for 20 readings is 6 %."""
    result = cf.repeatability(T44)
    assert result.mean == pytest.approx(100.145, abs=6e-3)
    assert result.spread == pytest.approx(1.489, abs=2e-3)
    assert result.u_mean / math.sqrt(19 / 17) == pytest.approx(0.333, abs=2e-3)


@pytest.mark.parametrize("count", [4, 6, 20])
def test_widening_is_the_standard_deviation_of_student(count: int) -> None:
    """The uncertainty of a mean of n readings is the standard deviation of the t distribution (scipy)."""
    values = np.random.default_rng(count).normal(5, 0.1, count)
    result = cf.repeatability(values)
    scipy_sd = scipy.stats.t.std(count - 1) * values.std(ddof=1) / math.sqrt(count)
    assert result.u_mean == pytest.approx(scipy_sd, rel=1e-12)


@pytest.mark.parametrize("count", [2, 3])
def test_few_readings_take_students_factor(count: int) -> None:
    """For two and three readings k=2 spans Student's 95 % interval (scipy)."""
    values = np.linspace(1, 1.1, count)
    expected = scipy.stats.t.ppf(0.975, count - 1) * values.std(ddof=1) / math.sqrt(count)
    assert 2 * cf.repeatability(values).u_mean == pytest.approx(expected, rel=1e-4)


@pytest.mark.parametrize("seed", range(5))
def test_weighted_line_is_scipys_curve_fit(seed: int) -> None:
    """Parameters and covariance of a weighted line agree with scipy's curve_fit to 1e-7."""
    rng = np.random.default_rng(seed)
    x = rng.uniform(0, 10, 12)
    u = rng.uniform(0.05, 0.5, 12)
    y = 3 - 0.7 * x + rng.normal(0, u)
    fit = cf.weighted_line(x, y, u)
    parameters, covariance = scipy.optimize.curve_fit(lambda t, a, b: a + b * t, x, y, sigma=u, absolute_sigma=True)
    np.testing.assert_allclose(fit.parameters, parameters, rtol=1e-6)
    np.testing.assert_allclose(fit.covariance, covariance, rtol=1e-6)


def test_general_design_is_scipys_lsq_linear() -> None:
    """A design of four columns agrees with scipy's least squares of the whitened system to 1e-10."""
    rng = np.random.default_rng(4)
    design, u = rng.normal(size=(30, 4)), rng.uniform(0.1, 1, 30)
    y = design @ [1, -2, 3, 0.5] + rng.normal(0, u)
    expected = scipy.optimize.lsq_linear(design / u[:, None], y / u).x
    np.testing.assert_allclose(cf.weighted_fit(design, y, u).parameters, expected, rtol=1e-9)


@pytest.mark.parametrize("degrees", [3, 8, 20])
@pytest.mark.parametrize("chance", [0.5, 0.1, 0.01, 0.00135])
def test_excess_is_the_normal_deviate_of_chi_square(degrees: int, chance: float) -> None:
    """The excess of a chi-square is scipy's normal deviate of the same chance within 0.1."""
    value = scipy.stats.chi2.isf(chance, degrees)
    assert cf.chi_square_excess(value, degrees) == pytest.approx(scipy.stats.norm.isf(chance), abs=0.1)


def test_inverse_square_of_a_bulb_with_a_shifted_plane() -> None:
    """Exact inverse-square data with a plane 3 cm deeper give origin 0.03 m; scipy's curve_fit agrees with noise."""
    d = np.array([0.5, 0.7, 1.0, 1.4, 2.0, 2.8])
    exact = cf.fit_inverse_square(d, 100 / (d + 0.03) ** 2, np.full(6, 0.01))
    assert exact.origin_m == pytest.approx(0.03, abs=1e-9)
    noisy = 100 / (d + 0.03) ** 2 * np.exp(np.random.default_rng(1).normal(0, 0.01, 6))
    ours = cf.fit_inverse_square(d, noisy, np.full(6, 0.01))
    scipys, covariance = scipy.optimize.curve_fit(
        lambda t, i, o: i - 2 * np.log(t + o), d, np.log(noisy), p0=(4, 0), sigma=np.full(6, 0.01), absolute_sigma=True
    )
    assert ours.origin_m == pytest.approx(scipys[1], abs=1e-7)
    assert ours.u_origin_m == pytest.approx(math.sqrt(covariance[1, 1]) * max(1, _birge(ours)), rel=1e-4)


def _birge(fit: cf.DistanceFit) -> float:
    chi_square = float(np.sum((fit.residuals_stops / cf.STOPS / 0.01) ** 2))
    return math.sqrt(chi_square / 4)


def test_an_exact_inverse_square_law_needs_no_other_origin() -> None:
    """E = I/d² (CIE S 017, 17-25-104): the distances are right as they are."""
    d = np.array([0.5, 1.0, 2.0, 4.0])
    assert cf.fit_inverse_square(d, 25.0 / d**2, np.full(4, 0.01)).origin_m == pytest.approx(0, abs=1e-12)
