"""Sources on their axis against published configuration factors and rules.

Sources: IES definitions 9.1.1 (ies.org/definitions, the five-times rule); EES heat transfer library, shape
factors hs305 (fchartsoftware.com); R. Siegel and J. Howell's corner formula as in naturalfrequency.com algorithms
3.14; disk on its axis: craftbook.thermocraft.space disk view factor.  Tables without a named source are closed
forms recomputed by scipy's dblquad in the test itself.
"""

from __future__ import annotations

from math import cos, log2, pi

import pytest
from scipy.integrate import dblquad

from meterlink.photometry.sources import Disk, Point, Rectangle, on_axis


def factor_of(source: Disk | Rectangle, distance_m: float) -> float:
    """Configuration factor on the axis: what a flat receptor gets over pi L."""
    return on_axis(source, distance_m, "flat")[0] / pi


@pytest.mark.parametrize(
    ("diameters", "factor", "excess", "stops"),
    [
        (0.25, 0.8, 4.0, 2.321928),
        (0.5, 0.5, 1.0, 1.0),
        (1, 0.2, 0.25, 0.321928),
        (1.5, 0.1, 0.111111, 0.152003),
        (2, 0.0588235294, 0.0625, 0.087463),
        (3, 0.0270270270, 0.027778, 0.039528),
        (5, 0.0099009901, 0.01, 0.014355),
        (10, 0.0024937656, 0.0025, 0.003602),
        (15, 0.0011098779, 0.001111, 0.001602),
    ],
)
def test_disk_on_axis(diameters: float, factor: float, excess: float, stops: float) -> None:
    """R**2/(R**2+d**2) at multiples of the diameter, and how far inverse square is off."""
    disk = Disk(0.9)
    distance = diameters * 0.9
    assert factor_of(disk, distance) == pytest.approx(factor, abs=5e-11)
    assert excess_of(disk, distance) == pytest.approx(excess, abs=6e-7)
    assert log2(1 + excess_of(disk, distance)) == pytest.approx(stops, abs=5e-7)


def excess_of(source: Disk | Rectangle, distance_m: float) -> float:
    """By how much I/d**2 (area over pi d**2, of a uniform diffuser) overstates the illuminance: 0.01 is 1 per cent."""
    area_m2 = 4 * source.half_width_m * source.half_height_m * (pi / 4 if isinstance(source, Disk) else 1)
    return area_m2 / (pi * distance_m**2) / factor_of(source, distance_m) - 1


def test_five_times_rule_of_ies() -> None:
    """IES 9.1.1: a uniform source is within 1 % of I/d**2 from five times its largest dimension on."""
    assert excess_of(Disk(1.0), 5.0) == pytest.approx(0.01, abs=1e-12)
    square = Rectangle(1.0, 1.0)
    assert excess_of(square, 5.0) == pytest.approx(0.013325, abs=5e-7)
    assert excess_of(square, 5 * square.largest_dimension_m) == pytest.approx(0.006664, abs=5e-7)


@pytest.mark.parametrize(("distance", "per_cent"), [(1, 32.930), (2, 8.3016), (3, 3.6971), (5, 1.3325), (10, 0.33328)])
def test_inverse_square_error_of_a_square(distance: float, per_cent: float) -> None:
    """How far I/d**2 overstates a square of side 1 on its centre axis."""
    assert excess_of(Rectangle(1.0, 1.0), distance) * 100 == pytest.approx(per_cent, rel=4e-5)


def test_rectangle_agrees_with_corner_formula_table() -> None:
    """A quarter seen from its corner is a fourth of the centred rectangle (Siegel and Howell's corner formula)."""
    corner = {
        (1, 1, 1): 0.1385316060,
        (2, 1, 1): 0.1673750099,
        (3, 2, 0.5): 0.2408940092,
        (0.3, 0.45, 1): 0.0360523892,
        (1, 1, 5): 0.0120892559,
        (10, 10, 1): 0.2479714083,
        (1, 0.2, 0.5): 0.0888472035,
    }
    for (a, b, c), factor in corner.items():
        assert factor_of(Rectangle(2 * a, 2 * b), c) == pytest.approx(4 * factor, abs=3e-10)
    assert factor_of(Rectangle(0.6, 0.9), 1.0) == pytest.approx(0.1442095570, abs=5e-11)


@pytest.mark.parametrize(("width", "height", "distance"), [(0.6, 0.9, 1.0), (0.35, 1.0, 0.5), (2.0, 2.0, 0.7)])
def test_rectangle_agrees_with_scipy(width: float, height: float, distance: float) -> None:
    """The closed form against scipy's adaptive quadrature of cos cos / (pi r**2)."""
    integral, _ = dblquad(
        lambda y, x: distance**2 / (pi * (x * x + y * y + distance**2) ** 2),
        -width / 2, width / 2, -height / 2, height / 2, epsabs=1e-13, epsrel=1e-13,
    )  # fmt: skip
    assert factor_of(Rectangle(width, height), distance) == pytest.approx(integral, rel=1e-11)


def test_disk_agrees_with_scipy() -> None:
    """The disk's closed form against scipy's adaptive quadrature in polar coordinates."""
    integral, _ = dblquad(lambda r, _t: r * 0.64 / (pi * (r * r + 0.64) ** 2), 0, 2 * pi, 0, 0.45, epsabs=1e-13)
    assert factor_of(Disk(0.9), 0.8) == pytest.approx(integral, rel=1e-11)


def test_change_over_a_wrong_distance() -> None:
    """From 1 to 1.5 m: a point loses 1.17 stop, a disk of radius 0.5 m exactly one (own figures, closed forms)."""
    assert Point().change_stops(1.0, 1.5) == pytest.approx(-1.169925, abs=5e-7)
    assert Disk(1.0).change_stops(0.5, 1.0) == pytest.approx(-1.321928, abs=5e-7)
    assert Disk(1.0).change_stops(1.0, 1.5) == pytest.approx(-1.0, abs=1e-12)
    assert Rectangle(1.0, 1.0).change_stops(1.0, 2.0) == pytest.approx(-1.704386, abs=5e-7)


def test_cosine_law_example() -> None:
    """100 cd at 2 m give 25 lx, 17.678 lx at 45 degrees (Chakrabarti, Power System Engineering, example 42.2)."""
    frontal = 100 * on_axis(Point(), 2.0)[0]
    assert frontal == pytest.approx(25.0)
    assert frontal * cos(pi / 4) == pytest.approx(17.678, abs=5e-4)


def test_half_stop_of_a_softbox_and_a_stop_of_a_reflector() -> None:
    """20 cm in front of the face: about half a stop at a 90 cm softbox 1 m away, about one at a reflector at 0.7 m."""
    assert Disk(0.9).change_stops(1.0, 0.8) == pytest.approx(0.5, abs=0.03)
    assert Disk(0.18).change_stops(0.7, 0.5) == pytest.approx(0.95, abs=0.03)
