"""Colour of a light: correlated colour temperature, distance from the Planckian locus, mired, correction by gels.

CCT is the temperature of the black body nearest in the CIE 1960 (u, v) diagram (CIE 15:2004: u', 2/3 v' is the same plane), Duv
the signed distance there, positive above the locus (ANSI C78.377).  The nearest point is found on a table of the
locus in mired with local cubic interpolation and Newton steps, so it is as exact as the table (better than 0.01 K to
10 000 K); no closed approximation is involved.

Higher CCT means bluer light; the words cooler and warmer are avoided.  All functions raise ``ValueError``.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence

from meterlink.photometry.colour_tables import FIRST_MIRED, MIRED_STEP, PLANCKIAN_UV, SPECTRAL_XY
from meterlink.photometry.exposure import finite, positive

CCT_RANGE_K = (1667.0, 25000.0)
MAX_DUV = 0.05
"""Farther from the locus a light has no meaningful CCT (CIE 15)."""
GEL_LIMIT_MIRED = 10.0
"""Lights that differ less need no gel; a default of ours, to be set by the photographer."""


def inside_diagram(x: float, y: float) -> bool:
    """Say whether x, y lies inside the spectral locus and the purple line: only such colours exist."""
    inside = False
    x1, y1 = SPECTRAL_XY[-1]
    for x2, y2 in SPECTRAL_XY:
        if (y1 > y) != (y2 > y) and x < (x2 - x1) * (y - y1) / (y2 - y1) + x1:
            inside = not inside
        x1, y1 = x2, y2
    return inside


def uv_of_xy(x: float, y: float) -> tuple[float, float]:
    """Return CIE 1960 u, v of CIE 1931 x, y."""
    bottom = -2.0 * finite(x, "x") + 12.0 * finite(y, "y") + 3.0
    if bottom <= 0.0:
        raise ValueError(f"chromaticity x {x:.4f}, y {y:.4f} is outside the diagram")
    return 4.0 * x / bottom, 6.0 * y / bottom


def xy_of_uv(u: float, v: float) -> tuple[float, float]:
    """Return CIE 1931 x, y of CIE 1960 u, v."""
    bottom = 2.0 * finite(u, "u") - 8.0 * finite(v, "v") + 4.0
    if bottom <= 0.0:
        raise ValueError(f"u {u:.4f}, v {v:.4f} is outside the diagram")
    return 3.0 * u / bottom, 2.0 * v / bottom


def _locus(mired_value: float) -> tuple[float, float, float, float]:
    """Return u, v of the black body and their derivatives by mired, from the cubic through four points of the table."""
    place = (mired_value - FIRST_MIRED) / MIRED_STEP
    k = min(max(int(place) - 1, 0), len(PLANCKIAN_UV) - 4)
    t = place - k
    # Lagrange weights for nodes 0, 1, 2, 3 and their derivatives
    a, b, c, d = t, t - 1.0, t - 2.0, t - 3.0
    weights = (-b * c * d / 6.0, a * c * d / 2.0, -a * b * d / 2.0, a * b * c / 6.0)
    slopes = (
        -(c * d + b * d + b * c) / 6.0,
        (c * d + a * d + a * c) / 2.0,
        -(b * d + a * d + a * b) / 2.0,
        (b * c + a * c + a * b) / 6.0,
    )
    points = PLANCKIAN_UV[k : k + 4]
    u, v = (math.fsum(w * point[i] for w, point in zip(weights, points, strict=True)) for i in (0, 1))
    du, dv = (math.fsum(w * point[i] for w, point in zip(slopes, points, strict=True)) / MIRED_STEP for i in (0, 1))
    return u, v, du, dv


def cct(x: float, y: float) -> tuple[float, float]:
    """Return (CCT in K, Duv) of CIE 1931 x, y; 1667 to 25 000 K and no farther than 0.05 from the locus.

    Raises ``ValueError`` for colours outside the diagram and for those that have no meaningful CCT.
    """
    if not inside_diagram(finite(x, "x"), finite(y, "y")):
        raise ValueError(f"chromaticity x {x:.4f}, y {y:.4f} is outside the diagram: no light has it, check the sensor")
    u, v = uv_of_xy(x, y)
    nearest = min(range(len(PLANCKIAN_UV)), key=lambda k: (PLANCKIAN_UV[k][0] - u) ** 2 + (PLANCKIAN_UV[k][1] - v) ** 2)
    mired_value = _foot(u, v, FIRST_MIRED + nearest * MIRED_STEP)
    locus_u, locus_v, _, _ = _locus(mired_value)
    distance = math.hypot(u - locus_u, v - locus_v)
    kelvin = 1e6 / mired_value
    # the ends are allowed a hair, so that 25 000 K itself is inside
    if distance > MAX_DUV or not CCT_RANGE_K[0] * (1 - 1e-6) <= kelvin <= CCT_RANGE_K[1] * (1 + 1e-6):
        raise ValueError(
            f"chromaticity x {x:.4f}, y {y:.4f} has no meaningful CCT: outside 1667 to 25000 K or farther than "
            f"{MAX_DUV} from the Planckian locus"
        )
    return kelvin, math.copysign(distance, v - locus_v)


def _foot(u: float, v: float, mired_value: float) -> float:
    """Return the mired where the locus is perpendicular to the line to u, v: a bracket of one step, then bisection/secant."""
    last = FIRST_MIRED + (len(PLANCKIAN_UV) - 1) * MIRED_STEP

    def slant(value: float) -> float:
        locus_u, locus_v, du, dv = _locus(value)
        return (u - locus_u) * du + (v - locus_v) * dv

    low, high = max(mired_value - MIRED_STEP, FIRST_MIRED), min(mired_value + MIRED_STEP, last)
    at_low, at_high = slant(low), slant(high)
    if at_low <= 0.0:
        return float(low)
    if at_high >= 0.0:
        return float(high)
    for _ in range(60):
        # regula falsi with halving (Illinois): always bracketed, faster than bisection
        middle = (low * at_high - high * at_low) / (at_high - at_low)
        at_middle = slant(middle)
        if abs(high - low) < 1e-10 or at_middle == 0.0:
            break
        if at_middle > 0.0:
            low, at_low, at_high = middle, at_middle, at_high / 2.0
        else:
            high, at_high, at_low = middle, at_middle, at_low / 2.0
    return middle


def xy_of_cct(cct_k: float, duv: float = 0.0) -> tuple[float, float]:
    """Return CIE 1931 x, y of a CCT and Duv: the black body, moved at right angles to the locus."""
    if not CCT_RANGE_K[0] <= cct_k <= CCT_RANGE_K[1]:
        raise ValueError(f"CCT must be {CCT_RANGE_K[0]:.0f} to {CCT_RANGE_K[1]:.0f} K, got {cct_k!r}")
    if not abs(duv) <= MAX_DUV:
        raise ValueError(f"Duv must be within {MAX_DUV}, got {duv!r}")
    u, v, du, dv = _locus(1e6 / cct_k)
    length = math.hypot(du, dv)
    # of the two normals the one that points up (to greater v)
    side = math.copysign(duv, duv * du)
    return xy_of_uv(u - side * dv / length, v + side * du / length)


def xy_of_xyz(tristimulus: Sequence[float]) -> tuple[float, float]:
    """Return x, y of tristimulus values X, Y, Z (any scale, not negative, not all zero)."""
    if len(tristimulus) != 3 or any(not 0.0 <= value < math.inf for value in tristimulus):
        raise ValueError(f"tristimulus values are three numbers, zero or positive, got {tristimulus!r}")
    total = math.fsum(tristimulus)
    if total <= 0.0:
        raise ValueError("no light, no colour: all tristimulus values are zero")
    return tristimulus[0] / total, tristimulus[1] / total


def mix(parts: Iterable[tuple[float, float, float]]) -> tuple[float, float]:
    """Return x, y of several lights together, each given as (x, y, exposure or illuminance)."""
    sums = [0.0, 0.0, 0.0]
    for x, y, amount in parts:
        if not (finite(y, "y") > 0.0 and 0.0 <= amount < math.inf):
            raise ValueError("each light needs y above 0 and an amount of zero or more")
        for k, value in enumerate((finite(x, "x") / y, 1.0, (1.0 - x - y) / y)):
            sums[k] += amount * value
    return xy_of_xyz(sums)


def mired(cct_k: float) -> float:
    """Return the reciprocal megakelvin 1e6 / T: 200 at 5000 K; equal steps look about equal (Judd 1933)."""
    return 1e6 / positive(cct_k, "CCT")


def kelvin(mired_value: float) -> float:
    """Return the CCT in K of a value in mired."""
    return 1e6 / positive(mired_value, "mired")


def gel_shift_mired(from_cct_k: float, to_cct_k: float) -> float:
    """Return the shift in mired of the gel that turns one CCT into the other: positive lowers the CCT."""
    return mired(to_cct_k) - mired(from_cct_k)
