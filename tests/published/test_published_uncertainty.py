"""The correction's propagation of uncertainty against the ``uncertainties`` package, and its limits of first order.

GUM (JCGM 100:2008) 5.1.2 is what ``uncertainties`` computes; the closed forms of the two sources are mathematics.
"""

from __future__ import annotations

from math import pi, sqrt
from typing import Any

import pytest
from uncertainties import ufloat, umath

from meterlink.judging.correction import correct
from meterlink.records import Placement, Reading, Settings


def rectangle(d: Any) -> Any:
    """Dome on the axis of a 0.6 by 0.9 m rectangle: (solid angle + vector) / 2."""
    a, b = 0.3, 0.45
    p, q, r = (umath.sqrt(side + d * d) for side in (a * a, b * b, a * a + b * b))
    omega = 4 * umath.atan(a * b / (d * r))
    return (omega + 2 * (a / p * umath.atan(b / p) + b / q * umath.atan(a / q))) / 2


def disk(d: Any) -> Any:
    """The same for a disk of 0.9 m."""
    s = umath.sqrt(0.2025 + d * d)
    return (2 * pi * 0.2025 / (s * (s + d)) + pi * 0.2025 / (s * s)) / 2


@pytest.mark.parametrize(("shape", "width", "height", "light"), [("rectangle", 0.6, 0.9, rectangle), ("disk", 0.9, None, disk)])
def test_correction_and_its_uncertainty_are_those_of_the_package(
    shape: str, width: float, height: float | None, light: Any
) -> None:
    """Held 20(2) cm before a face 1.4 m away (3 %): stops and standard uncertainty to 1e-12, model term as documented."""
    read = Reading("r", "s", "l", "p", "c", "x", 0.0, exposure_lxs=160.0, held_off_m=0.2, u_held_off_m=0.02)
    far, held = ufloat(1.4, 0.042), ufloat(0.2, 0.02)
    stops = umath.log(light(far) / light(far - held), 2)
    square = 2 * umath.log((far - held) / far, 2)
    model = abs(stops.nominal_value - square.nominal_value) / sqrt(6)

    ours = correct(read, Placement("p", "l", 0.0, shape, width, height, 1.4, 0.042), Settings())

    assert ours.stops == pytest.approx(stops.nominal_value, abs=1e-12)
    assert ours.u_stops == pytest.approx(sqrt(stops.std_dev**2 + model**2), rel=1e-12)
