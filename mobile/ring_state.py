"""The ring view's arithmetic: a set seen from above, centred on the face, the camera at the bottom.  No kivy.

x runs to camera right, z toward the camera (the design's coordinates); on the screen right is right and the camera is
down.  A light at distance d, azimuth a and elevation e stands at x = d cos(e) sin(a), z = d cos(e) cos(a) from its point: the
face, and for who lights the background the backdrop, in front of which it stands (as on the sheet, ``report/plan.py``).
"""

from __future__ import annotations

from collections.abc import Iterable
from math import atan2, cos, degrees, hypot, radians, sin
from typing import NamedTuple

from meterlink.judging.judged_set import JudgedSet
from meterlink.records import Placement
from meterlink.records.kept import FACE
from meterlink.report.plan import across_in_plan, azimuth_in_plan_deg, backdrop_m, point_z_m

METRIC_STEPS_M = (0.1, 0.25, 0.5, 1.0, 2.0, 5.0, 10.0)
FOOT_M = 0.3048
IMPERIAL_STEPS_M = tuple(FOOT_M * feet for feet in (0.5, 1, 2, 4, 8, 16, 32))
MOST_RINGS = 4
LEAST_REACH_M = 1.0
MARGIN = 1.18
"""The outermost light stands inside the picture with this much room."""
MOST_ELEVATION_DEG = 80.0


class RingMark(NamedTuple):
    """One light on the ring view.  Lengths in metres, the middle of its front at (x, z)."""

    light_id: str
    name: str
    role: str
    x_m: float
    z_m: float
    outline: tuple[tuple[float, float], ...]
    """Its front seen from above, to scale: the two ends of a line, or nothing for a small source."""
    distance_m: float | None
    azimuth_deg: float | None
    placed: bool
    """False: direction or distance is not known, so it stands where its role usually does."""
    stale: bool = False
    reflector: bool = False
    source_xz: tuple[float, float] | None = None
    point_z_m: float = 0.0
    """Where its point lies on the camera's axis: 0 is the face, less the backdrop."""
    mirrored: bool = False
    """Its direction was said as behind the subject, and it is drawn in front of the backdrop."""
    point: str = FACE
    """What its distance is measured from."""


USUAL = {"key": (40.0, 1.4), "fill": (-45.0, 1.8), "hair": (150.0, 1.8), "rim": (-140.0, 1.8), "background": (180.0, 1.2)}
"""Where a light of a role is drawn (azimuth in degrees, metres) as long as nobody has said where it stands."""


def plan_xz(distance_m: float, azimuth_deg: float, elevation_deg: float = 0.0) -> tuple[float, float]:
    """Return where a light stands as seen from above."""
    out = distance_m * cos(radians(elevation_deg))
    return out * sin(radians(azimuth_deg)), out * cos(radians(azimuth_deg))


def place_from_xz(x_m: float, z_m: float, elevation_deg: float = 0.0) -> tuple[float, float]:
    """Return (distance in m, azimuth in degrees, -180 to 180) of a place seen from above, at an elevation."""
    flat = hypot(x_m, z_m)
    steep = min(abs(elevation_deg), MOST_ELEVATION_DEG)
    return flat / cos(radians(steep)), degrees(atan2(x_m, z_m)) if flat > 0 else 0.0


def place_of(mark: RingMark, x_m: float, z_m: float, elevation_deg: float = 0.0) -> tuple[float, float]:
    """Return (distance in m, azimuth in degrees, -180 to 180) of a light that was dragged to (x, z), as it is said of it."""
    z = max(z_m - mark.point_z_m, 0.0) if mark.point_z_m else z_m  # nothing lights a backdrop from behind it
    distance, azimuth = place_from_xz(x_m, z, elevation_deg)
    return distance, (180.0 - azimuth if azimuth > 0 else -180.0 - azimuth) if mark.mirrored else azimuth


def outline_of(placement: Placement | None, azimuth_deg: float, x_m: float, z_m: float) -> tuple[tuple[float, float], ...]:
    """Return the ends of the front, seen from above, of a source that is drawn in this direction with its middle at (x, z)."""
    if placement is None or placement.shape == "point" or not placement.width_m:
        return ()
    ax, az = across_in_plan(azimuth_deg, placement)
    return tuple((x_m + ax * half, z_m + az * half) for half in (-placement.width_m / 2, placement.width_m / 2))


def marks_of(view: JudgedSet | None) -> tuple[RingMark, ...]:
    """Return the lights of a set as marks, in their order."""
    if view is None:
        return ()
    behind_m = backdrop_m(view.setup, [state.light.role for state in view.lights])
    marks: list[RingMark] = []
    counts: dict[str, int] = {}
    for state in view.lights:
        light, p = state.light, state.placement
        usual_azimuth, usual_distance = USUAL.get(light.role, (90.0, 1.8))
        usual_azimuth += 18.0 * counts.get(light.role, 0)
        counts[light.role] = counts.get(light.role, 0) + 1
        distance = p.distance_m if p else None
        azimuth = p.azimuth_deg if p else None
        elevation = (p.elevation_deg if p else None) or 0.0
        said = usual_azimuth if azimuth is None else azimuth
        drawn = azimuth_in_plan_deg(said, light.role)
        point_z = point_z_m(light.role, behind_m)
        x, z = plan_xz(distance or usual_distance, drawn, elevation)
        marks.append(
            RingMark(
                light.id, light.name, light.role, x, z + point_z, outline_of(p, drawn, x, z + point_z), distance, azimuth,
                distance is not None and azimuth is not None, state.stale is not None, light.source_light_id is not None,
                point_z_m=point_z, mirrored=drawn != said, point=light.point,
            )
        )  # fmt: skip
    where = {mark.light_id: (mark.x_m, mark.z_m) for mark in marks}
    sources = {state.light.id: state.light.source_light_id for state in view.lights}
    return tuple(m._replace(source_xz=where.get(sources[m.light_id] or "")) for m in marks)


def reach_of(marks: Iterable[RingMark]) -> float:
    """Return the radius in metres that shows every light whole."""
    far = LEAST_REACH_M
    for mark in marks:
        for x, z in ((mark.x_m, mark.z_m), (0.0, mark.point_z_m * MARGIN), *mark.outline):
            far = max(far, hypot(x, z))
    return far * MARGIN


def rings_for(reach_m: float, imperial: bool = False) -> tuple[float, ...]:
    """Return the radii of at most four rings at round distances inside ``reach_m``."""
    steps = IMPERIAL_STEPS_M if imperial else METRIC_STEPS_M
    step = next((s for s in steps if reach_m / s <= MOST_RINGS + 0.999), steps[-1])
    return tuple(step * n for n in range(1, int(reach_m / step + 1e-9) + 1))[:MOST_RINGS]


class Scale(NamedTuple):
    """From metres to pixels and back; the face is at (cx, cy)."""

    cx: float
    cy: float
    px_per_m: float

    def to_px(self, x_m: float, z_m: float) -> tuple[float, float]:
        """Return the place on the screen (y up, so the camera's side is down)."""
        return self.cx + x_m * self.px_per_m, self.cy - z_m * self.px_per_m

    def to_m(self, x_px: float, y_px: float) -> tuple[float, float]:
        """Return (x, z) in metres."""
        return (x_px - self.cx) / self.px_per_m, (self.cy - y_px) / self.px_per_m


def scale_for(x: float, y: float, width: float, height: float, reach_m: float) -> Scale:
    """Return the scale that shows ``reach_m`` around the face inside a rectangle of the screen."""
    return Scale(x + width / 2, y + height / 2, max(min(width, height) / 2 / reach_m, 1e-6))


def nearest_mark(marks: Iterable[RingMark], scale: Scale, x_px: float, y_px: float, within_px: float) -> str | None:
    """Return the light whose handle is touched, None when the touch is beside all of them."""
    best, found = within_px, None
    for mark in marks:
        mx, my = scale.to_px(mark.x_m, mark.z_m)
        away = hypot(mx - x_px, my - y_px)
        if away <= best:
            best, found = away, mark.light_id
    return found
