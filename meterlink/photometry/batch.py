"""Closed forms of ``receptors`` for thousands of positions at once (numpy).

For maps and fits over uniform sources; what has no closed form is done by ``quadrature.illuminance_many``.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from meterlink.photometry.receptors import _half_rim, _rim_points, response
from meterlink.photometry.sources import Disk, Point, Rectangle, Source

__all__ = ["receive_many"]

Array = NDArray[np.float64]
BLOCK = 2048
"""Positions at a time: some twenty arrays of them stay in a level-2 cache."""


def receive_many(source: Source, positions: Any, normals: Any, receptor: str = "dome") -> Array:
    """Return what ``receptors.receive`` returns, for rows of positions (x, y, z); one normal may serve for all.

    Raises ValueError when a position is not before the source's plane, or when the horizon of a flat receptor cuts
    the source (take ``receptors.receive`` for those).
    """
    where = np.asarray(positions, dtype=np.float64)
    if where.ndim != 2 or where.shape[1] != 3:
        raise ValueError("positions must be rows of x, y, z")
    if not bool((where[:, 2] > 0).all()):
        raise ValueError("a receptor is behind the plane of the source: it must be before it")
    response(receptor, 1.0)
    n = np.broadcast_to(np.asarray(normals, dtype=np.float64), where.shape)
    if not isinstance(source, Point | Disk | Rectangle):
        raise ValueError(f"no closed form for {source!r}: use quadrature.illuminance_many")
    if receptor == "flat" and not isinstance(source, Point):
        _check_horizon(source, where, n)
    result = np.empty(len(where))
    for start in range(0, len(where), BLOCK):
        rows = slice(start, start + BLOCK)
        result[rows] = _received(source, where[rows].T.copy(), n[rows].T, receptor)
    return result


def _received(source: Source, where: Array, n: Array, receptor: str) -> Array:
    """One block, columns as rows."""
    x, y, z = where
    if isinstance(source, Point):
        r2 = x * x + y * y + z * z
        r = np.sqrt(r2)
        cosine = -(n[0] * x + n[1] * y + n[2] * z) / r
        answer = (1 + cosine) / 2 if receptor == "dome" else np.maximum(cosine, 0.0)
        return np.asarray(answer * z / (r * r2))
    if isinstance(source, Rectangle):
        omega, phi = _rectangle(source.width_m / 2, source.height_m / 2, x, y, z)
    else:
        omega, phi = _disk(source.half_width_m, x, y, z, receptor == "dome")
    along = n[0] * phi[0] + n[1] * phi[1] + n[2] * phi[2]
    return np.asarray(along if receptor == "flat" else (omega + along) / 2)


def _check_horizon(source: Source, where: Array, n: Array) -> None:
    """Refuse flat receptors that see only part of the source."""
    middle = -(n * where).sum(axis=1)
    if isinstance(source, Disk):
        swing = source.half_width_m * np.hypot(n[:, 0], n[:, 1])
    else:
        swing = source.half_width_m * np.abs(n[:, 0]) + source.half_height_m * np.abs(n[:, 1])
    if not bool((middle >= swing).all()):
        raise ValueError("the horizon of a flat receptor cuts the source: use receptors.receive for it")


def _rectangle(a: float, b: float, x: Array, y: Array, z: Array) -> tuple[Array, tuple[Array, Array, Array]]:
    """Solid angle and Lambert's vector of a rectangle; the same as ``receptors._rectangle_seen_from``.

    Written with the distances of the four corners, so that an edge's angle and its share of the solid angle cost
    one arctangent each: an angle below 180 degrees is twice the arctangent of sin / (1 + cos).
    """
    x1, x2, y1, y2 = -a - x, a - x, -b - y, b - y
    z2 = z * z
    q1, q2 = x1 * x1 + z2, x2 * x2 + z2
    p1, p2 = y1 * y1 + z2, y2 * y2 + z2
    x1x1, x2x2 = x1 * x1, x2 * x2
    r11, r12, r21, r22 = (np.sqrt(side) for side in (x1x1 + p1, x1x1 + p2, x2x2 + p1, x2x2 + p2))
    y12, x12 = y1 * y2, x1 * x2
    left = _edge_angle(2 * b, np.sqrt(q1), r11 * r12 + q1 + y12)
    right = _edge_angle(2 * b, np.sqrt(q2), r21 * r22 + q2 + y12)
    bottom = _edge_angle(2 * a, np.sqrt(p1), r11 * r21 + p1 + x12)
    top = _edge_angle(2 * a, np.sqrt(p2), r12 * r22 + p2 + x12)
    half_z = z / 2
    phi = (half_z * (left - right), half_z * (bottom - top), -(x2 * right - x1 * left + y2 * top - y1 * bottom) / 2)
    omega = (
        np.arctan(x2 * y2 / (z * r22))
        - np.arctan(x1 * y2 / (z * r12))
        - np.arctan(x2 * y1 / (z * r21))
        + np.arctan(x1 * y1 / (z * r11))
    )
    return omega, phi


def _edge_angle(edge_m: float, distance: Array, one_plus_cosine: Array) -> Array:
    """Angle that an edge subtends from ``distance`` to its line, over that distance."""
    return np.asarray(2.0 * np.arctan(edge_m * distance / one_plus_cosine) / distance)


def _disk(radius: float, x: Array, y: Array, z: Array, with_omega: bool) -> tuple[Array, tuple[Array, Array, Array]]:
    """Solid angle and Lambert's vector of a disk, as ``receptors._disk_seen_from``."""
    a2 = x * x + y * y
    radius2 = radius * radius
    total = z * z + a2 + radius2
    root = np.sqrt(total * total - 4 * radius2 * a2)
    along = -np.pi / 2 * (1 - (z * z + a2 - radius2) / root)
    inward = np.pi / 2 * z * 4 * radius2 / (root * (total + root))
    phi = (-x * inward, -y * inward, along)
    omega = np.zeros_like(z)
    if with_omega and len(z):
        a = np.sqrt(a2)
        nearest = int(np.argmin((radius - a) ** 2 + z * z))
        count = _rim_points(radius, float(a[nearest]), float(z[nearest]))
        twice = 2 * radius * a
        for cosine, _sine in _half_rim(count):
            r = np.sqrt(total - twice * cosine)
            omega += (radius2 - twice * (cosine / 2)) / (r * (r + z))
        omega *= 2 * np.pi / count
    return omega, phi
