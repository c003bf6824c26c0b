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
    x, y, z = where[:, 0], where[:, 1], where[:, 2]
    if isinstance(source, Point):
        r2 = x * x + y * y + z * z
        r = np.sqrt(r2)
        cosine = -(n[:, 0] * x + n[:, 1] * y + n[:, 2] * z) / r
        answer = (1 + cosine) / 2 if receptor == "dome" else np.maximum(cosine, 0.0)
        return np.asarray(answer * z / (r * r2))
    if receptor == "flat":
        _check_horizon(source, where, n)
    if isinstance(source, Rectangle):
        omega, phi = _rectangle(source.width_m / 2, source.height_m / 2, x, y, z)
    elif isinstance(source, Disk):
        omega, phi = _disk(source.diameter_m / 2, x, y, z, receptor == "dome")
    else:
        raise ValueError(f"no closed form for {source!r}: use quadrature.illuminance_many")
    along = n[:, 0] * phi[0] + n[:, 1] * phi[1] + n[:, 2] * phi[2]
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
    """Solid angle and Lambert's vector of a rectangle, as ``receptors._rectangle_seen_from``."""
    x1, x2, y1, y2 = -a - x, a - x, -b - y, b - y
    z2 = z * z
    q1, q2, p1, p2 = (np.sqrt(side * side + z2) for side in (x1, x2, y1, y2))
    left = _between(y1, y2, q1)
    right = _between(y1, y2, q2)
    bottom = _between(x1, x2, p1)
    top = _between(x1, x2, p2)
    phi = (z * (left - right) / 2, z * (bottom - top) / 2, -(x2 * right - x1 * left + y2 * top - y1 * bottom) / 2)
    omega = (
        np.arctan(x2 * y2 / (z * np.sqrt(x2 * x2 + p2 * p2)))
        - np.arctan(x1 * y2 / (z * np.sqrt(x1 * x1 + p2 * p2)))
        - np.arctan(x2 * y1 / (z * np.sqrt(x2 * x2 + p1 * p1)))
        + np.arctan(x1 * y1 / (z * np.sqrt(x1 * x1 + p1 * p1)))
    )
    return omega, phi


def _between(low: Array, high: Array, distance: Array) -> Array:
    """Angle between two ends of an edge seen from ``distance``, over that distance: one arctangent for two."""
    # The angle is below 180 degrees, so arctan2 of the difference formula never leaves its branch.
    return np.asarray(np.arctan2((high - low) * distance, distance * distance + low * high) / distance)


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
