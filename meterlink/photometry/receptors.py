"""What a dome or a flat receptor receives from a flat source anywhere before it, in closed form.

For a source of uniform luminance L the illuminance depends on two quantities only:

* the solid angle ``Omega`` that the source fills, and
* Lambert's vector ``Phi``, the integral of the direction to the source over that solid angle.

A flat receptor with normal n receives L n.Phi while the whole source is above its horizon.  A dome with the ideal
hemispherical response (1 + cos t) / 2 has no horizon, so it receives L (Omega + n.Phi) / 2 in every position.

Positions are in the frame of the source, in metres: ``x`` across, ``y`` up, ``z`` the distance before its plane
(z > 0).  ``Phi`` points from the receptor toward the source.  All results are in units of L.

Sources: the contour integral of Lambert's vector (J. H. Lambert, Photometria, 1760; F. E. Nicodemus and others) and
the solid angle of a rectangle from its corners (A. Van Oosterom and J. Strackee, IEEE Trans. Biomed. Eng. 30, 1983)
are quoted from memory; the hemispherical response is the cardioid of ISO 2720 (secondary source).  Tests compare
with published configuration factors and with scipy's quadrature.

Standard library only: this module is on the start-up path of the ratio table.
"""

from __future__ import annotations

from functools import cache
from math import acos, atan, atan2, cos, pi, sin, sqrt

from meterlink.photometry.sources import Disk, Point, Rectangle, Source

Vector = tuple[float, float, float]
MAX_NODES = 128
"""Of a Gauss-Legendre rule."""


def response(receptor: str, cosine: float) -> float:
    """Return the ideal response to light from an angle of this cosine: 1 straight ahead, 0 to 1 elsewhere.

    ``dome`` is (1 + cos t) / 2, ``flat`` is cos t above its horizon and 0 below.  Raises ValueError for others.
    """
    if receptor == "dome":
        return (1.0 + cosine) / 2.0
    if receptor == "flat":
        return cosine if cosine > 0.0 else 0.0
    raise ValueError(f"the receptor {receptor!r} is not one of dome, flat")


def solid_angle_and_vector(source: Source, position: Vector) -> tuple[float, Vector]:
    """Return (Omega in sr, Phi) of a disk or rectangle seen from ``position``; a point has no luminance (ValueError).

    Raises ValueError for a position that is not before the source's plane (z > 0).
    """
    x, y, z = position
    if not z > 0.0:
        raise ValueError(f"the receptor is {-z:g} m behind the plane of the source: it must be before it")
    if isinstance(source, Rectangle):
        return _rectangle_seen_from(source.width_m / 2, source.height_m / 2, x, y, z)
    if isinstance(source, Disk):
        return _disk_seen_from(source.diameter_m / 2, x, y, z)
    raise ValueError("a point source has an intensity, no luminance: use response() and inverse square")


def _rectangle_seen_from(a: float, b: float, x: float, y: float, z: float) -> tuple[float, Vector]:
    """Omega from the four corners, Phi from the four edges, each by one arctangent a corner."""
    x1, x2 = -a - x, a - x
    y1, y2 = -b - y, b - y
    z2 = z * z
    q1, q2 = sqrt(x1 * x1 + z2), sqrt(x2 * x2 + z2)
    p1, p2 = sqrt(y1 * y1 + z2), sqrt(y2 * y2 + z2)
    # Angle that each edge subtends at the receptor.
    left = (atan(y2 / q1) - atan(y1 / q1)) / q1
    right = (atan(y2 / q2) - atan(y1 / q2)) / q2
    bottom = (atan(x2 / p1) - atan(x1 / p1)) / p1
    top = (atan(x2 / p2) - atan(x1 / p2)) / p2
    phi = (z * (left - right) / 2, z * (bottom - top) / 2, -(x2 * right - x1 * left + y2 * top - y1 * bottom) / 2)
    omega = (
        atan2(x2 * y2, z * sqrt(x2 * x2 + p2 * p2))
        - atan2(x1 * y2, z * sqrt(x1 * x1 + p2 * p2))
        - atan2(x2 * y1, z * sqrt(x2 * x2 + p1 * p1))
        + atan2(x1 * y1, z * sqrt(x1 * x1 + p1 * p1))
    )
    return omega, phi


def _disk_seen_from(radius: float, x: float, y: float, z: float) -> tuple[float, Vector]:
    """Phi in closed form; Omega by the trapezoid rule around the rim, which converges exponentially.

    With s the distance of a rim point from the receptor's foot in the plane and r its distance from the receptor,
    Omega is the contour integral of (1 - z / r) d(phi), and (1 - z / r) / s**2 = 1 / (r (r + z)).
    """
    a2 = x * x + y * y
    a = sqrt(a2)
    radius2 = radius * radius
    total = z * z + a2 + radius2
    root = sqrt(total * total - 4 * radius2 * a2)
    along = -pi / 2 * (1 - (z * z + a2 - radius2) / root)
    # (total / root - 1) / a**2 without the division of zero by zero on the axis.
    inward = pi / 2 * z * 4 * radius2 / (root * (total + root))
    omega = 0.0
    rim = _half_rim(_rim_points(radius, a, z))
    for cosine, _sine in rim:
        r = sqrt(total - 2 * a * radius * cosine)
        omega += (radius2 - a * radius * cosine) / (r * (r + z))
    omega *= 2 * pi / len(rim)
    return omega, (-x * inward, -y * inward, along)


def _rim_points(radius: float, a: float, z: float) -> int:
    """Points that bring the trapezoid rule around the rim below 1e-9: more when the receptor is near the rim."""
    nearest = sqrt((radius - a) ** 2 + z * z)
    return min(512, 8 * (2 + int(1.5 * sqrt(radius * (a + radius)) / nearest)))


@cache
def _half_rim(count: int) -> tuple[tuple[float, float], ...]:
    """Cosine and sine of the midpoints of ``count`` equal arcs of half the rim; the other half is its mirror image."""
    return tuple((cos(pi * (i + 0.5) / count), sin(pi * (i + 0.5) / count)) for i in range(count))


def receive(source: Source, position: Vector, normal: Vector, receptor: str = "dome") -> float:
    """Return the illuminance of ``receptor`` at ``position`` with unit ``normal``, in units of the luminance.

    A point source is taken as emitting like a small diffuser, I = cos(angle from its axis), and gives E in units of I.
    A flat receptor sees only what is above its horizon.  Raises ValueError behind the source's plane.
    """
    x, y, z = position
    if isinstance(source, Point):
        if not z > 0.0:
            raise ValueError(f"the receptor is {-z:g} m behind the plane of the source: it must be before it")
        r2 = x * x + y * y + z * z
        r = sqrt(r2)
        return response(receptor, -(normal[0] * x + normal[1] * y + normal[2] * z) / r) * z / (r * r2)
    if receptor == "flat":
        return _flat(source, position, normal)
    omega, phi = solid_angle_and_vector(source, position)
    return (omega + normal[0] * phi[0] + normal[1] * phi[1] + normal[2] * phi[2]) / 2


def _flat(source: Source, position: Vector, normal: Vector) -> float:
    """Flat receptor: n.Phi, of the part above the horizon where the horizon cuts the source."""
    x, y, z = position
    nx, ny, nz = normal
    # Height of a source point (u, v) above the horizon is nx (u - x) + ny (v - y) - nz z: linear over the source.
    middle = -(nx * x + ny * y + nz * z)
    if isinstance(source, Disk):
        swing = source.diameter_m / 2 * sqrt(nx * nx + ny * ny)
    else:
        swing = source.half_width_m * abs(nx) + source.half_height_m * abs(ny)
    if middle <= -swing:
        return 0.0
    if middle >= swing:
        _omega, phi = solid_angle_and_vector(source, position)
        return nx * phi[0] + ny * phi[1] + nz * phi[2]
    if isinstance(source, Disk):
        return _flat_cut_disk(source.diameter_m / 2, position, normal, middle)
    return _flat_cut_rectangle(source, position, normal)


def _flat_cut_rectangle(source: Source, position: Vector, normal: Vector) -> float:
    """n.Phi of the polygon that is left of the rectangle above the horizon, edge by edge (Lambert's formula)."""
    x, y, z = position
    a, b = source.half_width_m, source.half_height_m
    corners = [(-a - x, -b - y, -z), (-a - x, b - y, -z), (a - x, b - y, -z), (a - x, -b - y, -z)]
    heights = [normal[0] * c[0] + normal[1] * c[1] + normal[2] * c[2] for c in corners]
    kept: list[Vector] = []
    for i, corner in enumerate(corners):
        j = (i + 1) % 4
        if heights[i] >= 0:
            kept.append(corner)
        if (heights[i] >= 0) != (heights[j] >= 0):
            t = heights[i] / (heights[i] - heights[j])
            other = corners[j]
            kept.append((corner[0] + t * (other[0] - corner[0]), corner[1] + t * (other[1] - corner[1]), -z))
    return sum(_edge(first, kept[(i + 1) % len(kept)], normal) for i, first in enumerate(kept))


def _edge(first: Vector, second: Vector, normal: Vector) -> float:
    """Share of one straight edge in n.Phi: half the angle it subtends times n on the unit vector first x second."""
    cx = first[1] * second[2] - first[2] * second[1]
    cy = first[2] * second[0] - first[0] * second[2]
    cz = first[0] * second[1] - first[1] * second[0]
    length = sqrt(cx * cx + cy * cy + cz * cz)
    if length == 0.0:
        return 0.0
    dot = first[0] * second[0] + first[1] * second[1] + first[2] * second[2]
    return atan2(length, dot) * (normal[0] * cx + normal[1] * cy + normal[2] * cz) / (2 * length)


@cache
def gauss_legendre(count: int) -> tuple[tuple[float, float], ...]:
    """Return (node, weight) of the Gauss-Legendre rule on -1 to 1 with ``count`` nodes, 1 to 128, cached.

    Newton's iteration on the Legendre recurrence from Tricomi's starting values, good to 1e-15.
    """
    if not 1 <= count <= MAX_NODES:
        raise ValueError(f"{count} nodes: it must be 1 to {MAX_NODES}")
    rule = []
    for k in range(1, count + 1):
        x = cos(pi * (k - 0.25) / (count + 0.5))
        slope = 1.0
        for _ in range(100):
            before, value = 1.0, x
            for j in range(2, count + 1):
                before, value = value, ((2 * j - 1) * x * value - (j - 1) * before) / j
            slope = count * (x * value - before) / (x * x - 1) if count > 1 else 1.0
            step = value / slope
            x -= step
            if abs(step) < 1e-15:
                break
        rule.append((x, 2 / ((1 - x * x) * slope * slope)))
    return tuple(rule)


def _flat_cut_disk(radius: float, position: Vector, normal: Vector, middle: float) -> float:
    """n.Phi of the part of a disk above the horizon: the arc by Gauss-Legendre, the chord in closed form."""
    x, y, z = position
    nx, ny, nz = normal
    swing = radius * sqrt(nx * nx + ny * ny)
    centre = atan2(ny, nx)
    half = acos(-middle / swing)
    nearest = max(1e-3, sqrt((radius - sqrt(x * x + y * y)) ** 2 + z * z))
    total = 0.0
    for node, weight in gauss_legendre(min(96, 24 + int(6 * radius / nearest))):
        # Clockwise seen from the receptor's side, the sense in which first x second points to the receptor's front.
        t = centre - half * node
        rx, ry = radius * cos(t) - x, radius * sin(t) - y
        dx, dy = radius * sin(t), -radius * cos(t)
        cross = nx * z * dy - ny * z * dx + nz * (rx * dy - ry * dx)
        total += weight * cross / (rx * rx + ry * ry + z * z)
    start, end = centre + half, centre - half
    first = (radius * cos(end) - x, radius * sin(end) - y, -z)
    second = (radius * cos(start) - x, radius * sin(start) - y, -z)
    return total * half / 2 + _edge(first, second, normal)
