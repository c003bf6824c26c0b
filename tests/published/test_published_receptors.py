"""Receptors and off-axis sources against published configuration factors and scipy.

Sources: EES heat transfer library, shape factors hs301, hs303, hs305, hs203 (fchartsoftware.com); Siegel and Howell's
corner formulas as in naturalfrequency.com algorithms 3.14 and 3.15; craftbook.thermocraft.space (tilted disk);
photobiologySensors ``angular_response`` (docs.r4photobiology.info: cosine and dome response); the off-axis disk
(Howell's catalogue B-13 and the perpendicular element) from memory.  hs221's printed 0.184 is not used: the
factor is 0.1762, by quadrature and by our own Monte Carlo.
"""

from __future__ import annotations

from math import cos, log2, pi, radians, sin, sqrt

import pytest
from scipy.integrate import dblquad, quad

from meterlink.photometry.quadrature import illuminance
from meterlink.photometry.receptors import gauss_legendre, receive, response, solid_angle_and_vector
from meterlink.photometry.sources import Disk, Rectangle, on_axis

TOWARD = (0.0, 0.0, -1.0)


@pytest.mark.parametrize(
    ("radius", "height", "offset", "factor"),
    [
        (1, 1, 0.5, 0.4379826327),
        (1, 1, 1, 0.2763932023),
        (1, 1, 2, 0.0527864045),
        (0.5, 1, 0.25, 0.1847036875),
        (0.5, 2, 1, 0.0391823124),
        (1, 0.5, 3, 0.0036331090),
        (0.3, 0.5, 0.7, 0.0460203078),
        (1, 5, 5, 0.0100979706),
        (0.5, 1, 0.5, 0.1464466094),
        (0.25, 1.5, 0.5, 0.0221104956),
    ],
)
def test_disk_off_axis(radius: float, height: float, offset: float, factor: float) -> None:
    """A flat receptor parallel to a disk beside its axis (B-13 form, from memory; equal to dblquad)."""
    assert receive(Disk(2 * radius), (offset, 0, height), TOWARD, "flat") / pi == pytest.approx(factor, abs=6e-11)


@pytest.mark.parametrize(
    ("radius", "height", "offset", "factor"),
    [
        (1, 1, 2, 0.0854101966),
        (0.5, 1, 1, 0.0581563057),
        (0.5, 2, 0.75, 0.0164926386),
        (0.3, 0.5, 0.7, 0.0569265325),
        (0.5, 1, 0.5, 0.0606601718),
        (1, 2, 3, 0.0355990604),
    ],
)
def test_disk_seen_by_a_perpendicular_receptor(radius: float, height: float, offset: float, factor: float) -> None:
    """A flat receptor at right angles to a disk's plane (from memory; equal to dblquad)."""
    got = receive(Disk(2 * radius), (offset, 0.0, height), (-1.0, 0.0, 0.0), "flat") / pi
    assert got == pytest.approx(factor, abs=6e-11)


def test_tilted_receptor_on_the_axis() -> None:
    """Disk R 1, h 2, receptor tilted 30 degrees: cos(30) R**2/(R**2+h**2) = 0.1732050808 (craftbook)."""
    tilted = (sin(radians(30)), 0.0, -cos(radians(30)))
    assert receive(Disk(2.0), (0, 0, 2), tilted, "flat") / pi == pytest.approx(0.1732050808, abs=6e-11)
    assert receive(Rectangle(0.6, 0.9), (0, 0, 1), tilted, "flat") / pi == pytest.approx(0.1248891398, abs=6e-11)


@pytest.mark.parametrize(
    ("a", "b", "c", "factor"),
    [
        (1, 1, 1, 0.0557341970),
        (1, 2, 0.5, 0.1354883970),
        (2, 1, 1, 0.0950679412),
        (0.5, 0.5, 1, 0.0139276912),
        (1, 2, 1.5, 0.0367154901),
        (2, 3, 0.75, 0.1578063363),
        (0.3, 0.45, 1, 0.0052611583),
        (1, 0.2, 0.5, 0.0479603381),
        (3, 3, 1, 0.1605884033),
    ],
)
def test_rectangle_perpendicular(a: float, b: float, c: float, factor: float) -> None:
    """Receptor at right angles to a rectangle (a high, b along the intersection, c away): Siegel and Howell."""
    # The rectangle stands on the receptor's plane: its lower corner is straight before the receptor.
    got = receive(Rectangle(b, a), (-b / 2, -a / 2, c), (0.0, 1.0, 0.0), "flat") / pi
    assert got == pytest.approx(factor, abs=6e-11)


@pytest.mark.parametrize(
    ("x", "y", "h", "factor"),
    [
        ((0.5, 1.5), (-0.5, 0.5), 1, 0.0843536644),
        ((0.2, 0.8), (0.1, 1.0), 1.5, 0.0478690336),
        ((-0.3, 0.3), (0.6, 1.5), 1, 0.0427875242),
    ],
)
def test_rectangle_beside_the_normal(x: tuple[float, float], y: tuple[float, float], h: float, factor: float) -> None:
    """A rectangle that does not contain the foot of the normal (corner formula by sums and differences)."""
    source = Rectangle(x[1] - x[0], y[1] - y[0])
    got = receive(source, (-(x[0] + x[1]) / 2, -(y[0] + y[1]) / 2, h), TOWARD, "flat") / pi
    assert got == pytest.approx(factor, abs=6e-11)


def test_published_means() -> None:
    """EES hs301 0.3886, hs303 0.2153 (strip means), hs305 0.0836 (solid angle of a rectangle over 4 pi)."""
    parallel = quad(lambda y: _corner_factor(3, 2, 0.5, y), 0, 2, epsabs=1e-10)[0] / 2
    assert parallel == pytest.approx(0.3886, abs=5e-5)
    perpendicular = quad(
        lambda y: receive(Rectangle(2, 1), (y - 1, -0.5, 0.5), (0.0, 1.0, 0.0), "flat") / pi, 0, 2, epsabs=1e-10
    )[0]
    assert perpendicular / 2 == pytest.approx(0.2153, abs=5e-5)
    omega, _phi = solid_angle_and_vector(Rectangle(1, 2), (0.5, 1.0, 0.5))
    assert omega / (4 * pi) == pytest.approx(0.0836, abs=5e-5)


def _corner_factor(a: float, b: float, c: float, along: float) -> float:
    """Factor of a rectangle a by b seen from a strip under its edge, at ``along`` of b."""
    return receive(Rectangle(a, b), (-a / 2, along - b / 2, c), TOWARD, "flat") / pi


def test_disk_to_disk() -> None:
    """EES hs203: disk of radius 0.1 to coaxial disk 0.2 at 0.5 m is 0.1339, the mean of the off-axis factor."""
    total = quad(lambda r: 2 * r * receive(Disk(0.4), (r, 0, 0.5), TOWARD, "flat") / pi, 0, 0.1, epsabs=1e-12)[0]
    assert total / 0.01 == pytest.approx(0.1339, abs=5e-5)


def test_angular_responses() -> None:
    """Cosine 0 0.5 0.866 1 and dome 0.5 0.75 0.933 1 at elevations 0 30 60 90 degrees; dome at 45 degrees 0.8536."""
    for elevation, flat, dome in ((0, 0, 0.5), (30, 0.5, 0.75), (60, 0.8660254, 0.9330127), (90, 1, 1)):
        assert response("flat", sin(radians(elevation))) == pytest.approx(flat, abs=5e-8)
        assert response("dome", sin(radians(elevation))) == pytest.approx(dome, abs=5e-8)
    assert response("dome", cos(radians(45))) == pytest.approx(0.8535534, abs=5e-8)
    assert response("flat", -0.5) == 0.0


def test_dome_in_stops() -> None:
    """What a dome loses when the light is off its axis, in stops (own figures)."""
    for angle, stops in ((30, -0.100031), (45, -0.228447), (60, -0.415037), (90, -1), (120, -2), (135, -2.771553)):
        assert log2(response("dome", cos(radians(angle)))) == pytest.approx(stops, abs=5e-7)


def test_uniform_hemisphere() -> None:
    """Under a uniform half space a flat receptor gets pi L, a dome 1.5 pi L (+0.584963 stop): a huge near disk."""
    flat, dome = (on_axis(Disk(50.0), 0.001, receptor)[0] for receptor in ("flat", "dome"))
    assert flat == pytest.approx(pi, rel=1e-6)
    assert log2(dome / flat) == pytest.approx(0.584963, abs=1e-4)


@pytest.mark.parametrize("source", [Rectangle(0.6, 0.9), Rectangle(0.35, 1.4), Disk(0.9)])
@pytest.mark.parametrize("position", [(0.0, 0.0, 0.8), (0.4, -0.3, 0.5), (1.2, 0.7, 0.9)])
@pytest.mark.parametrize("normal", [(0.0, 0.0, -1.0), (0.6, 0.0, -0.8), (0.0, 0.8, 0.6)])
def test_dome_agrees_with_scipy(
    source: Rectangle | Disk, position: tuple[float, float, float], normal: tuple[float, float, float]
) -> None:
    """Dome illuminance in any position against scipy's adaptive quadrature over the source."""
    x, y, z = position

    def kernel(u: float, v: float) -> float:
        dx, dy = u - x, v - y
        r = sqrt(dx * dx + dy * dy + z * z)
        cosine = (normal[0] * dx + normal[1] * dy - normal[2] * z) / r
        return (1 + cosine) / 2 * z / r**3

    a, b = source.half_width_m, source.half_height_m
    if isinstance(source, Disk):
        truth, _ = dblquad(lambda r, t: r * kernel(r * cos(t), r * sin(t)), 0, 2 * pi, 0, a, epsrel=1e-11)
    else:
        truth, _ = dblquad(lambda v, u: kernel(u, v), -a, a, -b, b, epsrel=1e-11)
    assert receive(source, position, normal, "dome") == pytest.approx(truth, rel=1e-9)
    assert illuminance(source, position, normal, "dome") == pytest.approx(truth, rel=1e-6)


def test_gauss_legendre_agrees_with_scipy() -> None:
    """Nodes and weights of our own rule equal numpy's and integrate a polynomial of degree 2n - 1 exactly."""
    import numpy as np

    for count in (1, 2, 8, 33, 128):
        nodes, weights = np.polynomial.legendre.leggauss(count)
        rule = sorted(gauss_legendre(count))
        assert [x for x, _ in rule] == pytest.approx(list(nodes), abs=1e-14)
        assert [w for _, w in rule] == pytest.approx(list(weights), abs=1e-13)
    assert sum(w * x**14 for x, w in gauss_legendre(8)) == pytest.approx(2 / 15, rel=1e-13)
