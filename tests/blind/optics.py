"""Light of an area source on a receptor, by plain sums over small pieces of its surface: the blind suite's own optics.

Nothing of the package is imported here.  E = sum of L · cos(emission) · response(incidence) / r² · dA (inverse square and
cosine laws of an extended source, textbook photometry); a dome answers (1 + cos) / 2, a flat receptor max(0, cos).
Coordinates of the wire's user: x camera right, y up, z toward the camera, the point at the origin, metres.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

PIECES = 44
"""Along each side: halving the pieces changes no result by more than 0.001 stop (``test_blind.py``)."""


class Source(NamedTuple):
    """An emitting surface as it really is."""

    shape: str
    width_m: float
    height_m: float
    spot: float = 0.0
    """Part of the luminance that belongs to a Gaussian hot spot in the middle."""
    spot_size: float = 0.5
    """Its standard deviation over the half side."""
    grid_deg: float = 0.0
    """True cut-off angle of a grid, 0 without: transmission falls as 1 - tan / tan(cut-off)."""


class Stand(NamedTuple):
    """Where a source stands and how it is turned."""

    source: Source
    distance_m: float
    azimuth_deg: float
    elevation_deg: float
    feather_deg: float = 0.0
    """Turned about its upright axis, positive toward the camera's side of the point."""

    @property
    def toward(self) -> np.ndarray:
        """Unit vector from the point to the light."""
        a, e = np.radians(self.azimuth_deg), np.radians(self.elevation_deg)
        return np.array([np.sin(a) * np.cos(e), np.sin(e), np.cos(a) * np.cos(e)])


def axes(stand: Stand) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Unit vectors across, up and along the axis of the source."""
    axis = -stand.toward
    up = np.array([0.0, 1.0, 0.0])
    across = np.cross(up, axis)
    across /= np.linalg.norm(across)
    up = np.cross(axis, across)
    turn = np.radians(stand.feather_deg)
    side = across if (across[2] if abs(across[2]) > 1e-9 else across[0]) > 0 else -across
    turned = np.cos(turn) * axis + np.sin(turn) * side
    across = np.cross(up, turned)
    return across / np.linalg.norm(across), up, turned


def surface(source: Source, pieces: int = PIECES) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Middles of the pieces (across, up) and what each emits: luminance times area, luminance 1 in the middle of a uniform one."""
    half_w, half_h = source.width_m / 2, source.height_m / 2
    if source.shape == "disk":
        r = half_w * (np.arange(pieces) + 0.5) / pieces
        angle = 2 * np.pi * (np.arange(2 * pieces) + 0.5) / (2 * pieces)
        u, v = np.outer(r, np.cos(angle)), np.outer(r, np.sin(angle))
        area = np.outer(r, np.ones(2 * pieces)) * (half_w / pieces) * (np.pi / pieces)
        half_h = half_w
    else:
        steps = (np.arange(pieces) + 0.5) / pieces * 2 - 1
        u, v = np.meshgrid(half_w * steps, half_h * steps)
        area = np.full(u.shape, 4 * half_w * half_h / pieces**2)
    spot = np.exp(-((u / (source.spot_size * half_w)) ** 2 + (v / (source.spot_size * half_h)) ** 2) / 2)
    return u.ravel(), v.ravel(), ((1 - source.spot + source.spot * spot) * area).ravel()


def received(stand: Stand, place: np.ndarray, normal: np.ndarray, receptor: str = "dome", pieces: int = PIECES) -> float:
    """Light on a receptor at ``place`` that looks along ``normal``, for luminance 1."""
    across, up, axis = axes(stand)
    u, v, emits = surface(stand.source, pieces)
    rays = stand.toward * stand.distance_m + np.outer(u, across) + np.outer(v, up) - place
    r = np.linalg.norm(rays, axis=1)
    emission = np.maximum(-(rays @ axis) / r, 0.0)
    incidence = rays @ normal / r
    answer = (1 + incidence) / 2 if receptor == "dome" else np.maximum(incidence, 0.0)
    through = 1.0
    if stand.source.grid_deg:
        tangent = np.sqrt(np.maximum(1 - emission**2, 0.0)) / np.maximum(emission, 1e-9)
        through = np.maximum(1 - tangent / np.tan(np.radians(stand.source.grid_deg)), 0.0)
    return float((emits * through * emission * answer / r**2).sum())
