"""How even the light is: from head to toe by placement, over a backdrop by readings.

From placements: what each light gives a flat receptor that faces the camera (the front of a figure) at points with
heights, against the face.  The caution comes from the computed spread; the trade's rule of keeping at least 60 cm from a
softbox is common practice with no published source and is shown beside it, for a large box at 60 cm may still
leave the feet stops down.

From readings at named points (a backdrop in a grid of nine, flat receptor parallel to it): highest minus lowest.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from math import log2, sqrt
from typing import NamedTuple

from meterlink.judging.case import emission_of, no_place
from meterlink.judging.verdict import repeat_u_stops, signed
from meterlink.photometry import geometry
from meterlink.photometry.quadrature import illuminance
from meterlink.photometry.receptors import Vector, receive, response
from meterlink.photometry.sources import Point, source_of
from meterlink.records.kept import Placement, Reading, Settings
from meterlink.words.told import NOTHING, Told, told

LEAST_SOFTBOX_M = 0.6
"""Common practice, no published source."""
CAUTION_STOPS = 1.0
FACE_HEIGHT_M = 1.6
"""Of a standing figure when the set does not say; hands hang at half of it, slightly in front."""
_DARK = -20.0
"""A point that a light does not reach at all."""


class Evenness(NamedTuple):
    """Predicted light at points of the figure, in stops from the face."""

    points: tuple[str, ...]
    by_light: dict[str, tuple[float, ...]]
    """Light's name -> stops at each point against the same light at the face."""
    together: tuple[float, ...]
    """All lights at each point against all at the face."""

    @property
    def spread_stops(self) -> float:
        """Highest minus lowest of all lights together."""
        return max(self.together) - min(self.together) if self.together else 0.0

    @property
    def caution(self) -> Told:
        """What to say when the spread is a stop or more, else nothing."""
        if self.spread_stops < CAUTION_STOPS:
            return NOTHING
        low = self.points[self.together.index(min(self.together))]
        return told("uneven_figure", point=low, stops=self.spread_stops, least_m=LEAST_SOFTBOX_M)


class Spread(NamedTuple):
    """Readings at points: each against the brightest, in stops (0 or less)."""

    points: tuple[str, ...]
    stops: tuple[float, ...]
    spread_stops: float
    """Highest minus lowest."""
    u_spread_stops: float
    """Standard uncertainty of that difference."""


def figure_points(face_height_m: float = FACE_HEIGHT_M) -> dict[str, Vector]:
    """Return face, hands and feet of a standing figure, in metres from the face (y up, z toward the camera).

    Raises ValueError for a face height that is not above 0.3 and at most 3 m.
    """
    if not 0.3 < face_height_m <= 3.0:
        raise ValueError(f"the face is {face_height_m!r} m above the floor: it must be 0.3 to 3 m")
    return {"face": (0.0, 0.0, 0.0), "hands": (0.0, -face_height_m / 2, 0.1), "feet": (0.0, -face_height_m, 0.0)}


def _light_at(placement: Placement, place: Vector, receptor: str) -> float:
    """What one light gives a camera-facing receptor at a place of the set; 0 where it does not shine."""
    if placement.distance_m is None or placement.azimuth_deg is None:
        raise ValueError("distance and direction of the light are needed")
    toward = geometry.direction(placement.azimuth_deg, placement.elevation_deg or 0.0)
    frame = geometry.frame_of(toward, placement.distance_m, placement.feather_deg)
    source = source_of(*placement.surface)
    position = frame.position(place)
    if no_place(source, position, "the_point"):
        return 0.0
    normal = frame.turned(geometry.CAMERA)
    emission_n = emission_of(placement)
    if emission_n != 1.0:
        return illuminance(source, position, normal, receptor, emission_n)
    if isinstance(source, Point):
        # A bare point shines equally all around; only the receptor turns away.
        r = geometry.length(position)
        return response(receptor, -geometry.dot(normal, position) / r) / (r * r)
    return receive(source, position, normal, receptor)


def predicted_evenness(
    lights: Mapping[str, tuple[Placement, float]],
    points: Mapping[str, Vector] | None = None,
    receptor: str = "flat",
) -> Evenness:
    """Return the light predicted at ``points`` against the face.

    ``lights`` maps a name to (placement, light that it gives at the face, in any common unit: lx·s or lx).  Lights
    whose distance or direction is not given are left out.  Raises ValueError when none is left.
    """
    points = dict(points or figure_points())
    names = tuple(points)
    by_light: dict[str, tuple[float, ...]] = {}
    totals = [0.0] * len(names)
    at_face_total = 0.0
    for name, (placement, at_face) in lights.items():
        if placement.distance_m is None or placement.azimuth_deg is None or not at_face > 0.0:
            continue
        here = _light_at(placement, (0.0, 0.0, 0.0), receptor)
        if here <= 0.0:
            continue
        parts = [_light_at(placement, points[one], receptor) / here for one in names]
        by_light[name] = tuple(log2(part) if part > 0.0 else _DARK for part in parts)
        at_face_total += at_face
        totals = [total + at_face * part for total, part in zip(totals, parts, strict=True)]
    if not by_light:
        raise ValueError("no light whose distance and direction are given shines on the face from the front")
    together = tuple(log2(total / at_face_total) if total > 0.0 else _DARK for total in totals)
    return Evenness(names, by_light, together)


def spread_of_readings(
    readings: Sequence[Reading],
    settings: Settings = Settings(),  # noqa: B008 - an immutable record
) -> Spread:
    """Return how even readings at several points are; the latest at each point counts.

    Raises ValueError for fewer than two points, mixed receptors or kinds of light, or a reading without light.
    """
    latest = {reading.point: reading for reading in readings}
    if len(latest) < 2:
        raise ValueError("evenness needs readings at two points or more")
    if len({(one.receptor, one.kind) for one in latest.values()}) > 1:
        raise ValueError("the points were metered with different receptors or kinds of light: meter like with like")
    values, us = [], []
    for point, reading in latest.items():
        value = reading.exposure_lxs if reading.exposure_lxs is not None else reading.illuminance_lx
        if value is None or not value > 0.0 or reading.clipped or reading.too_dim:
            raise ValueError(f"the reading at {point} is clipped, too dim or empty: take it again")
        values.append(log2(value))
        us.append(repeat_u_stops(reading, settings.u_repeat_stops))
    top, low = values.index(max(values)), values.index(min(values))
    stops = tuple(value - values[top] for value in values)
    return Spread(tuple(latest), stops, values[top] - values[low], sqrt(us[top] ** 2 + us[low] ** 2))


def heat_map(spread: Spread, columns: int = 3) -> str:
    """Return a small map in text, one cell a point in the order metered, left to right and top to bottom.

    Shade and number say the same; the brightest point is 0.0.  Raises ValueError for fewer than one column.
    """
    if columns < 1:
        raise ValueError(f"{columns} columns: it must be 1 or more")
    cells = []
    for stops in spread.stops:
        shade = "█▓▒░ "[min(4, int(-stops / max(spread.spread_stops, 0.3) * 4 + 0.5))]
        cells.append(f"{shade}{shade} {signed(stops):>5}")
    rows = [cells[i : i + columns] for i in range(0, len(cells), columns)]
    return "\n".join("  ".join(row) for row in rows)
