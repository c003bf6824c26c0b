"""Carrying a reading that was aimed at its light to the aim at the camera.

All lights fired together can be metered in one way only, aimed at the camera; each light alone is usually aimed
at.  The receptor's response and the light's direction tell how much of a light the camera-facing receptor sees.
"""

from __future__ import annotations

from math import acos, cos, degrees, log2, radians, sin, sqrt
from typing import NamedTuple

from meterlink.judging.case import ASSUMED_ELEVATION_DEG, U_ASSUMED_ELEVATION_DEG
from meterlink.judging.correction import triangular_u
from meterlink.photometry import geometry
from meterlink.photometry.receptors import receive, response
from meterlink.photometry.sources import Point, source_of
from meterlink.records.kept import Placement, Reading, Settings

SMALLEST = 1e-3
"""Ten stops under: what a camera-facing receptor sees of a light straight behind the head is not told apart from none."""


class Carried(NamedTuple):
    """How much of a light a camera-facing receptor sees, in stops relative to the reading (0 or less)."""

    stops: float
    u_stops: float
    """Standard uncertainty from the light's direction and from a hot spot that it may have."""


def carried_to_camera(
    reading: Reading,
    placement: Placement | None,
    settings: Settings = Settings(),  # noqa: B008 - an immutable record
) -> Carried | None:
    """Return what carries ``reading`` to the aim at the camera; None when the light's direction is not given.

    A reading that was aimed at the camera is carried by nothing.  The size of the source counts, its distance is
    taken as declared (a metre and a half when it is not: only large near sources feel it).  Raises ValueError for a
    source or an angle that cannot be.
    """
    if reading.aim == "camera":
        return Carried(0.0, 0.0)
    if placement is None or placement.azimuth_deg is None:
        return None
    azimuth = placement.azimuth_deg
    elevation, u_elevation = placement.elevation_deg, settings.u_direction_deg
    if elevation is None:
        elevation, u_elevation = ASSUMED_ELEVATION_DEG, U_ASSUMED_ELEVATION_DEG
    stops = log2(max(SMALLEST, _seen(reading.receptor, placement, azimuth, elevation)))
    # A hot spot draws the light together: between its whole surface and its middle, most likely as a uniform one.
    middle = log2(max(SMALLEST, response(reading.receptor, geometry.direction(azimuth, elevation)[2])))
    u_direction = _u_direction(reading.receptor, azimuth, elevation, settings.u_direction_deg, u_elevation)
    return Carried(stops, sqrt(u_direction**2 + triangular_u(stops, stops, middle) ** 2))


def _seen(receptor: str, placement: Placement, azimuth_deg: float, elevation_deg: float) -> float:
    """Part of the light that is seen, 0 to 1, of the source with its size."""
    light = geometry.direction(azimuth_deg, elevation_deg)
    source = source_of(*placement.surface)
    if isinstance(source, Point):
        return response(receptor, light[2])
    frame = geometry.frame_of(light, placement.distance_m or 1.5, placement.feather_deg)
    position = frame.position((0.0, 0.0, 0.0))
    facing = receive(source, position, frame.turned(light), receptor)
    return receive(source, position, frame.turned(geometry.CAMERA), receptor) / facing if facing > 0 else 0.0


def _u_direction(receptor: str, azimuth_deg: float, elevation_deg: float, u_azimuth: float, u_elevation: float) -> float:
    """Standard uncertainty of the stops: slope with the angle from the camera's axis times that angle's uncertainty.

    The response is taken as that of a small source.  Near the axis the slope vanishes and the second order remains.
    """
    cosine = cos(radians(azimuth_deg)) * cos(radians(elevation_deg))
    angle = acos(max(-1.0, min(1.0, cosine)))
    if angle < 1e-3:
        u_angle = radians(sqrt(u_azimuth**2 + u_elevation**2))
    else:
        by_azimuth = abs(sin(radians(azimuth_deg)) * cos(radians(elevation_deg))) / sin(angle) if angle < 3.14 else 1.0
        by_elevation = abs(cos(radians(azimuth_deg)) * sin(radians(elevation_deg))) / sin(angle) if angle < 3.14 else 1.0
        u_angle = radians(sqrt((by_azimuth * u_azimuth) ** 2 + (by_elevation * u_elevation) ** 2))
    ends = []
    for sign in (1.0, -1.0):
        turned = cos(min(radians(180.0), abs(angle + sign * u_angle)))
        ends.append(log2(max(SMALLEST, response(receptor, turned))))
    middle = log2(max(SMALLEST, response(receptor, cosine)))
    second = abs(ends[0] + ends[1] - 2 * middle) / sqrt(2.0)
    return sqrt(((ends[0] - ends[1]) / 2) ** 2 + second**2 / 2) if degrees(angle) < 175.0 else 5.0
