"""Propagation of uncertainty against worked examples and the ``uncertainties`` package.

Sources: GUM (JCGM 100:2008) H.1 and H.2, figures as printed in the GTC documentation (MSLNZ/GTC) and in
SandiaPSL/UncertaintyCalc's tests; the quotient from the latter; JCGM 101:2008 9.2.2, 9.2.3 and
NPL report DEM-ES-011 9.2, seen there too; JCGM 101 9.3 from memory; JCGM 101 9.5's figures from an open text copy.
"""

from __future__ import annotations

import math
from math import cos, log, sin, sqrt
from typing import Any

import numpy as np
import pytest
import uncertainties
from scipy.stats import t as student
from uncertainties import umath

from meterlink.photometry.uncertainty import (
    Estimate,
    correlation,
    draws,
    effective_freedom,
    from_observations,
    independent,
    propagate,
    second_order,
    stops_ratio,
    u_relative,
    u_stops,
    weighted_sum,
)

U_ALPHA_DIFFERENCE = 1e-6 / sqrt(3)
U_ALPHA = 2e-6 / sqrt(3)
U_THETA_DIFFERENCE = 0.05 / sqrt(3)


def end_gauge(ls: float, d: float, da: float, theta: float, alpha: float, dt: float) -> float:
    """GUM H.1 equation: l = ls + d - ls (da theta + alpha dt)."""
    return ls + d - ls * (da * theta + alpha * dt)


def end_gauge_inputs() -> list[Estimate]:
    """GUM H.1 inputs: d from three parts, theta from two."""
    d = weighted_sum([(1, independent(n, 0.0, u)) for n, u in (("d0", 5.8), ("d1", 3.9), ("d2", 6.7))], 215.0)
    theta = weighted_sum([(1, independent("mean", 0.0, 0.2)), (1, independent("swing", 0.0, 0.5 / sqrt(2)))], -0.1)
    return [
        independent("ls", 50_000_623.0, 25.0),
        d,
        independent("da", 0.0, U_ALPHA_DIFFERENCE),
        theta,
        independent("alpha", 11.5e-6, U_ALPHA),
        independent("dt", 0.0, U_THETA_DIFFERENCE),
    ]


def test_gum_h1_end_gauge() -> None:
    """H.1: 50 000 838 nm, u 32 nm; u(d) 9.7, u(theta) 0.41; the parts as GTC prints them; effective freedom 16."""
    inputs = end_gauge_inputs()
    assert inputs[1].u == pytest.approx(9.68194195397, abs=1e-10)
    assert inputs[3].u == pytest.approx(0.406201920232, abs=1e-11)
    result = propagate(end_gauge, inputs)
    assert result.value == pytest.approx(50_000_838, abs=0.5)
    assert result.u == pytest.approx(31.663879, abs=1e-4)
    parts = {name: abs(part) for name, part in result.parts.items()}
    expected = {"ls": 25, "dt": 16.599, "d2": 6.7, "d0": 5.8, "d1": 3.9, "da": 2.88679}
    for name, part in expected.items():
        assert parts[name] == pytest.approx(part, abs=1e-3)
    freedom = {"ls": 18, "d0": 24, "d1": 5, "d2": 8, "da": 50, "dt": 2}
    nu = effective_freedom([(parts[name], freedom[name]) for name in freedom])
    assert nu == pytest.approx(16.75, abs=0.01)
    assert student.ppf(0.995, 16) * 32 == pytest.approx(93, abs=0.6)


def test_gum_h1_second_order() -> None:
    """H.1.7: with the second-order terms 34 nm."""
    pairs = [(one.value, one.u) for one in end_gauge_inputs()]
    value, u = second_order(end_gauge, pairs)
    assert value == pytest.approx(50_000_838, abs=0.5)
    assert u == pytest.approx(33.8065, abs=2e-3)


VOLTS = [5.007, 4.994, 5.005, 4.990, 4.999]
AMPERES = [19.663e-3, 19.639e-3, 19.640e-3, 19.685e-3, 19.678e-3]
PHASES = [1.0456, 1.0438, 1.0468, 1.0428, 1.0433]


def test_gum_h2_correlated_inputs() -> None:
    """H.2: resistance, reactance and impedance from five simultaneous observations, with their correlations."""
    v, i, phi = from_observations("run", [VOLTS, AMPERES, PHASES])
    assert correlation(v, i) == pytest.approx(-0.355311, abs=5e-7)
    assert correlation(v, phi) == pytest.approx(0.857624, abs=5e-7)
    assert correlation(i, phi) == pytest.approx(-0.645111, abs=5e-7)
    r = propagate(lambda v, i, p: v / i * cos(p), [v, i, phi])
    x = propagate(lambda v, i, p: v / i * sin(p), [v, i, phi])
    z = propagate(lambda v, i: v / i, [v, i])
    assert [one.value for one in (r, x, z)] == pytest.approx([127.73217, 219.84651, 254.25970], abs=5e-6)
    assert [one.u for one in (r, x, z)] == pytest.approx([0.0710714, 0.2955817, 0.2363361], abs=5e-7)
    assert correlation(r, x) == pytest.approx(-0.588430, abs=1e-6)
    assert correlation(r, z) == pytest.approx(-0.485259, abs=1e-6)
    assert correlation(x, z) == pytest.approx(0.992512, abs=1e-6)


def test_quotient() -> None:
    """X1/X2*Y of 0.1820(93e-5), 0.1823(58e-5), 0.6978(26e-4) is 0.6967 with u 0.00494 (SandiaPSL's example)."""
    inputs = [independent("a", 0.1820, 93e-5), independent("b", 0.1823, 58e-5), independent("c", 0.6978, 26e-4)]
    result = propagate(lambda a, b, c: a / b * c, inputs)
    assert result.value == pytest.approx(0.6966517, abs=5e-8)
    assert result.u == pytest.approx(0.0049318, abs=5e-8)


def test_four_normal_and_four_rectangular() -> None:
    """JCGM 101 9.2.2: u 2.00, 95 % within 3.92; 9.2.3 (rectangular): u 2.00, 95 % within 3.88."""
    normal = draws(lambda *x: sum(x), [lambda g, n: g.normal(0, 1, n)] * 4, count=1_000_000)
    assert (normal.u, normal.high - normal.low) == pytest.approx((2.0, 2 * 3.92), abs=0.02)
    half = sqrt(3)
    rectangular = draws(lambda *x: sum(x), [lambda g, n: g.uniform(-half, half, n)] * 4, count=1_000_000)
    assert (rectangular.u, rectangular.high - rectangular.low) == pytest.approx((2.0, 2 * 3.88), abs=0.02)


def test_logarithm_of_a_rough_reading() -> None:
    """NPL DEM-ES-011 9.2: ln x for x uniform on 0.1 to 1.1: first order -0.511, 0.481; draws -0.665, 0.606."""
    first = propagate(log, [independent("x", 0.6, 1 / sqrt(12))])
    assert (first.value, first.u) == pytest.approx((-0.511, 0.481), abs=5e-4)
    got = draws(np.log, [lambda g, n: g.uniform(0.1, 1.1, n)], count=1_000_000)
    assert (got.mean, got.u) == pytest.approx((-0.665, 0.606), abs=2e-3)
    assert (got.low, got.high) == pytest.approx((-1.895, 0.095), abs=0.01)


def test_mass_calibration_by_draws() -> None:
    """JCGM 101 9.3 (from memory): 1.2340 mg, draws u 0.0754 against first order 0.0539, interval 1.0834 to 1.3825."""
    rho_c = 8000.0

    def mass(mr: Any, dm: Any, ra: Any, rw: Any, rr: Any) -> Any:
        return ((mr + dm) * (1 + (ra - 1.2) * (1 / rw - 1 / rr)) - 100_000.0) * 1.0

    sample = [
        lambda g, n: g.normal(100_000.0, 0.050, n),
        lambda g, n: g.normal(1.234, 0.020, n),
        lambda g, n: g.uniform(1.10, 1.30, n),
        lambda g, n: g.uniform(7000.0, 9000.0, n),
        lambda g, n: g.uniform(7950.0, 8050.0, n),
    ]
    got = draws(mass, sample, count=1_000_000)
    assert (got.mean, got.u) == pytest.approx((1.2340, 0.0754), abs=5e-4)
    assert (got.low, got.high) == pytest.approx((1.0834, 1.3825), abs=2e-3)
    inputs = [
        independent("mr", 100_000.0, 0.050),
        independent("dm", 1.234, 0.020),
        independent("ra", 1.20, 0.10 / sqrt(3)),
        independent("rw", rho_c, 1000 / sqrt(3)),
        independent("rr", rho_c, 50 / sqrt(3)),
    ]
    assert propagate(mass, inputs).u == pytest.approx(0.0539, abs=5e-5)
    assert second_order(mass, [(one.value, one.u) for one in inputs])[1] == pytest.approx(0.0754, abs=2e-3)


def test_agrees_with_the_uncertainties_package() -> None:
    """A distance-corrected, cosine-weighted reading in stops: value and u to 1e-12 with slopes, 1e-10 without."""
    e, u_e, a, u_a, b, u_b, c, u_c = 1000.0, 30.0, 1.0, 0.01, 1.5, 0.01, 0.3, 0.02
    x = [uncertainties.ufloat(v, u) for v, u in ((e, u_e), (a, u_a), (b, u_b), (c, u_c))]
    theirs = umath.log(x[0] * (x[1] / x[2]) ** 2 * umath.cos(x[3])) / math.log(2)
    inputs = [independent(n, v, u) for n, v, u in (("e", e, u_e), ("a", a, u_a), ("b", b, u_b), ("c", c, u_c))]
    function = lambda e, a, b, c: math.log2(e * (a / b) ** 2 * cos(c))  # noqa: E731
    slopes = [1 / (e * log(2)), 2 / (a * log(2)), -2 / (b * log(2)), -math.tan(c) / log(2)]
    exact, numeric = propagate(function, inputs, slopes), propagate(function, inputs)
    assert exact.value == pytest.approx(theirs.nominal_value, rel=1e-12)
    assert exact.u == pytest.approx(theirs.std_dev, rel=1e-12)
    assert numeric.u == pytest.approx(theirs.std_dev, rel=1e-10)


def test_shared_calibration_cancels() -> None:
    """Two readings share a 3 % scale: their ratio in stops is as uncertain as their own noise, as ``uncertainties``."""
    scale = uncertainties.ufloat(1.0, 0.03)
    one, two = uncertainties.ufloat(400.0, 2.4), uncertainties.ufloat(100.0, 0.7)
    theirs = umath.log((one * scale) / (two * scale)) / math.log(2)
    a = Estimate(400.0, {"scale": 12.0, "a": 2.4})
    b = Estimate(100.0, {"scale": 3.0, "b": 0.7})
    ours = stops_ratio(a, b)
    assert ours.value == 2.0
    assert ours.u == pytest.approx(theirs.std_dev, rel=1e-12)
    assert abs(ours.parts["scale"]) < 1e-15
    assert sqrt(a.u**2 / 400**2 + b.u**2 / 100**2) / log(2) > 4 * ours.u


def test_relative_uncertainty_in_stops() -> None:
    """1, 2, 3, 5, 7, 10 % in stops (own figures: u / ln 2), and back."""
    for per_cent, stops in ((1, 0.014427), (2, 0.028854), (3, 0.043281), (5, 0.072135), (7, 0.100989), (10, 0.144270)):
        assert u_stops(per_cent / 100) == pytest.approx(stops, abs=5e-7)
        assert u_relative(stops) == pytest.approx(per_cent / 100, abs=5e-7)


def test_distance_corrected_reading() -> None:
    """1000(30) lx carried from 1.00(1) to 1.50(1) m by inverse square: 444.4444, u 17.085278 (own figure)."""
    inputs = [independent("e", 1000.0, 30.0), independent("a", 1.0, 0.01), independent("b", 1.5, 0.01)]
    result = propagate(lambda e, a, b: e * (a / b) ** 2, inputs)
    assert result.value == pytest.approx(444.4444, abs=1e-4)
    assert result.u == pytest.approx(17.085278, abs=1e-6)


def test_first_order_is_low_for_a_rough_distance() -> None:
    """1/d**2 at 10 %: first order is 9 % too small and 3 % biased; second order repairs both within 2 %."""
    function = lambda d: 1 / d**2  # noqa: E731
    first = propagate(function, [independent("d", 1.0, 0.1)])
    truth = draws(lambda d: 1 / d**2, [lambda g, n: g.normal(1.0, 0.1, n)], count=1_000_000)
    mean, u = second_order(function, [(1.0, 0.1)])
    assert first.u / truth.u == pytest.approx(0.91, abs=0.02)
    assert truth.mean == pytest.approx(1.03, abs=0.005)
    assert mean == pytest.approx(truth.mean, rel=0.01)
    assert u == pytest.approx(truth.u, rel=0.025)


def test_refusals() -> None:
    """What cannot be is refused with the allowed range."""
    with pytest.raises(ValueError, match="0 or more"):
        independent("x", 1.0, -0.1)
    with pytest.raises(ValueError, match="0 or more"):
        independent("x", 1.0, math.nan)
    with pytest.raises(ValueError, match="at least 2"):
        from_observations("x", [[1.0], [2.0]])
    with pytest.raises(ValueError, match="above 0"):
        stops_ratio(independent("x", 0.0, 0.1), independent("y", 1.0, 0.1))
    with pytest.raises(ValueError, match="1,000"):
        draws(np.log, [], count=10)
    with pytest.raises(ValueError, match="any uncertainty"):
        effective_freedom([(0.0, 5)])
    assert effective_freedom([(1.0, math.inf)]) == math.inf
