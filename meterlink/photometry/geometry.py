"""Where source, point and receptor are to each other.

Coordinates of the set: origin at the point that is metered (the face), metres, x to camera right, y up, z toward
the camera.  A light's direction is azimuth (0 is the camera's axis, positive to camera right, 180 behind the
subject) and elevation (positive up), in degrees.

A source's own frame has its origin at the centre of the emitting surface: x across, y up, z along its axis into
the set.  A light that is not feathered looks at the point; feathering turns it about its upright axis by
``feather_deg``, positive toward the camera's side of the point (for a light on the camera's axis: to camera right).

Standard library only: this module is on the start-up path of the ratio table.
"""

from __future__ import annotations

from math import cos, isfinite, radians, sin, sqrt
from typing import NamedTuple

from meterlink.photometry.receptors import Vector
from meterlink.photometry.sources import MAX_DISTANCE_M, Source

CAMERA: Vector = (0.0, 0.0, 1.0)
"""Unit vector from the point toward the camera."""
SURROUNDS = 0.1
"""Nearer than this part of its size a source surrounds the dome: small errors of distance decide everything."""

_FIXED: dict[str, Vector] = {
    "camera": CAMERA,
    "up": (0.0, 1.0, 0.0),
    "down": (0.0, -1.0, 0.0),
    "left": (-1.0, 0.0, 0.0),
    "right": (1.0, 0.0, 0.0),
}


class Frame(NamedTuple):
    """A source's place and axes in the set: unit vectors across, up and along its axis into the set."""

    centre: Vector
    across: Vector
    up: Vector
    axis: Vector

    def position(self, place: Vector) -> Vector:
        """Return a place of the set in the source's frame, in metres."""
        return self.turned((place[0] - self.centre[0], place[1] - self.centre[1], place[2] - self.centre[2]))

    def turned(self, vector: Vector) -> Vector:
        """Return a direction of the set in the source's frame."""
        return (dot(vector, self.across), dot(vector, self.up), dot(vector, self.axis))


def dot(a: Vector, b: Vector) -> float:
    """Return the scalar product."""
    return a[0] * b[0] + a[1] * b[1] + a[2] * b[2]


def length(a: Vector) -> float:
    """Return the length of a vector."""
    return sqrt(a[0] * a[0] + a[1] * a[1] + a[2] * a[2])


def unit(a: Vector) -> Vector:
    """Return a vector of the same direction and length 1.  Raises ValueError for one without a direction."""
    size = length(a)
    if not (size > 0.0 and isfinite(size)):
        raise ValueError(f"({a[0]:g}, {a[1]:g}, {a[2]:g}) is no direction")
    return (a[0] / size, a[1] / size, a[2] / size)


def direction(azimuth_deg: float, elevation_deg: float = 0.0) -> Vector:
    """Return the unit vector from the point toward a light.

    Azimuth -360 to 360, elevation -90 to 90 degrees; ValueError otherwise.
    """
    if not -360.0 <= azimuth_deg <= 360.0:
        raise ValueError(f"the azimuth is {azimuth_deg!r} degrees: it must be -360 to 360")
    if not -90.0 <= elevation_deg <= 90.0:
        raise ValueError(f"the elevation is {elevation_deg!r} degrees: it must be -90 to 90")
    azimuth, elevation = radians(azimuth_deg), radians(elevation_deg)
    level = cos(elevation)
    return (sin(azimuth) * level, sin(elevation), cos(azimuth) * level)


def frame_of(toward_light: Vector, distance_m: float, feather_deg: float = 0.0) -> Frame:
    """Return the frame of a source at ``distance_m`` from the point in the unit direction ``toward_light``.

    Raises ValueError for a feather angle outside -90 to 90 degrees.
    """
    if not -90.0 <= feather_deg <= 90.0:
        raise ValueError(f"the light is feathered by {feather_deg!r} degrees: it must be -90 to 90")
    x, y, z = toward_light
    centre = (x * distance_m, y * distance_m, z * distance_m)
    # Up of a light straight above or below is toward the back of the set: any choice serves a round source.
    up = unit((-x * y, 1.0 - y * y, -z * y)) if abs(y) < 1.0 - 1e-12 else (0.0, 0.0, -1.0 if y > 0 else 1.0)
    axis = (-x, -y, -z)
    across = (
        up[1] * axis[2] - up[2] * axis[1],
        up[2] * axis[0] - up[0] * axis[2],
        up[0] * axis[1] - up[1] * axis[0],
    )
    if feather_deg:
        side = across[2] if abs(across[2]) > 1e-9 else across[0]
        angle = radians(feather_deg if side > 0 else -feather_deg)
        c, s = cos(angle), sin(angle)
        axis, across = (
            (c * axis[0] + s * across[0], c * axis[1] + s * across[1], c * axis[2] + s * across[2]),
            (c * across[0] - s * axis[0], c * across[1] - s * axis[1], c * across[2] - s * axis[2]),
        )
    return Frame(centre, across, up, axis)


def held_off_vector(toward: str, held_off_m: float, toward_light: Vector | None = None) -> Vector:
    """Return the place of a dome that is held off the point, in the set's coordinates.

    ``toward`` is light, camera, up, down, left, right (as the camera sees the set) or a free vector ``x,y,z`` of which
    only the direction counts.  Raises ValueError for an unknown word, a length below 0 or beyond 50 m, or when
    ``toward`` is light and its direction is not given.
    """
    if not 0.0 <= held_off_m <= MAX_DISTANCE_M:
        raise ValueError(f"the held-off distance is {held_off_m!r} m: it must be 0 to {MAX_DISTANCE_M:g} m")
    if toward == "light":
        if toward_light is None:
            raise ValueError("the light's direction is not given")
        along = toward_light
    elif toward in _FIXED:
        along = _FIXED[toward]
    else:
        along = _free_vector(toward)
    return (along[0] * held_off_m, along[1] * held_off_m, along[2] * held_off_m)


def _free_vector(text: str) -> Vector:
    """Unit vector of ``x,y,z``."""
    parts = text[:100].split(",")
    try:
        numbers = [float(part) for part in parts]
    except ValueError:
        numbers = []
    if len(numbers) != 3:
        raise ValueError(f"{text[:40]!r} is no direction: light, camera, up, down, left, right, or three numbers such as 0,0.1,0.2")
    return unit((numbers[0], numbers[1], numbers[2]))


def receptor_normal(aim: str, place: Vector, frame: Frame) -> Vector:
    """Return what a receptor at ``place`` looks at: the centre of the source (``light``) or the ``camera``.

    Raises ValueError for another word or when the receptor is in the centre of the source.
    """
    if aim == "camera":
        return CAMERA
    if aim == "light":
        return unit((frame.centre[0] - place[0], frame.centre[1] - place[1], frame.centre[2] - place[2]))
    raise ValueError(f"the aim {aim!r} is not one of light, camera")


def gap(source: Source, position: Vector) -> float | None:
    """Return how far a position in the source's frame is from the source, in m; None behind the source's plane.

    A place nearer than ``SURROUNDS`` of its size is surrounded by it: no figure can be given there.
    """
    x, y, z = position
    if z <= 0.0:
        return None
    outside_x = max(0.0, abs(x) - source.half_width_m)
    outside_y = max(0.0, abs(y) - source.half_height_m)
    return sqrt(outside_x * outside_x + outside_y * outside_y + z * z)
