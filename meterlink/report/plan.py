"""Plan from above and side view of a set, to scale, with distances and angles.

Our own signs: the face is a ring with a nose toward the camera, the camera a bar across its line of sight, a light the true
outline of its source (a bar as wide as the source) with a narrower back, a passive reflector the bar alone; a dashed axis
leads from each to its point.  Lengths along the axes are the placements' distances.
"""

from __future__ import annotations

from collections.abc import Iterable
from math import cos, hypot, radians, remainder
from textwrap import wrap
from typing import NamedTuple

from meterlink.judging.judged_set import JudgedSet
from meterlink.photometry import geometry
from meterlink.records import Light, Placement, Setup
from meterlink.report.drawing import ACCENT, FAINT, INK, PAPER, SECOND, Drawing
from meterlink.report.labels import WIDTH_PER_SIZE, Labels, Line, short
from meterlink.words.language import say
from meterlink.words.told import put, written

EDGE = 34.0
"""Room for labels around the set, in points."""
FACE_M = 0.12
LEAST_M = 0.9
"""At least so much is shown around the face."""
CAMERA_SHOWN_M = 4.0
ROUND_STEPS_M = (0.5, 1.0, 2.0, 5.0, 10.0, 20.0, 50.0, 100.0)
GRID = "#dedede"
FALLBACK_CAMERA_M = 1.8
ASSUMED_BACKDROP_M = 2.0
"""Where the backdrop is drawn when a light lights it and nobody said where it hangs; the plan says so."""


class _Frame(NamedTuple):
    """The part of the set that is drawn, in metres, and how large."""

    left: float
    top: float
    scale: float
    origin: tuple[float, float]

    def at(self, x: float, y: float) -> tuple[float, float]:
        """Metres from the left and the top of the picture's plane -> points."""
        return (self.origin[0] + (x - self.left) * self.scale, self.origin[1] + (y - self.top) * self.scale)


def _frame(drawing: Drawing, xs: list[float], ys: list[float]) -> _Frame:
    """Fit what is to be seen into the drawing, centred, as large as it goes."""
    left, right, top, bottom = min(xs), max(xs), min(ys), max(ys)
    width, height = max(right - left, 0.1), max(bottom - top, 0.1)
    scale = min((drawing.width - 2 * EDGE) / width, (drawing.height - 2 * EDGE) / height)
    return _Frame(left, top, scale, ((drawing.width - width * scale) / 2, (drawing.height - height * scale) / 2))


def _fact(setup: Setup, key: str, low: float, high: float) -> float | None:
    """A fact in metres, None when it is missing, no number or beyond belief."""
    value = setup.details.get(key)
    if isinstance(value, bool) or not isinstance(value, int | float):
        return None
    return float(value) if low < value < high else None


def backdrop_m(setup: Setup, roles: Iterable[str]) -> float:
    """Distance of the backdrop behind the face: as given, an assumed one where a drawn light's role is to light it, else 0."""
    return _fact(setup, "backdrop_distance_m", 0.0, 50.0) or (ASSUMED_BACKDROP_M if "background" in roles else 0.0)


def azimuth_in_plan_deg(azimuth_deg: float, role: str) -> float:
    """A light's direction in the plan.  Who lights the background stands in front of it, "behind" meaning behind the subject."""
    mirrored = role == "background" and cos(radians(azimuth_deg)) < 0.0
    return remainder(180.0 - azimuth_deg, 360.0) if mirrored else azimuth_deg


def point_z_m(role: str, behind_m: float) -> float:
    """Where the point of a light of this role lies on the camera's axis: 0 for the face, less for the backdrop.

    Hair and rim points lie so close to the face that they are drawn there.
    """
    return -behind_m if role == "background" else 0.0


def place_m(placement: Placement, role: str, behind_m: float) -> tuple[float, float, float]:
    """Centre of the emitting surface (x to camera right, y up, z toward the camera) in metres from the face."""
    toward = geometry.direction(azimuth_in_plan_deg(placement.azimuth_deg or 0.0, role), placement.elevation_deg or 0.0)
    x, y, z = (part * (placement.distance_m or 0.0) for part in toward)
    return (x, y, point_z_m(role, behind_m) + z)


class Drawn(NamedTuple):
    """A light that is drawn."""

    light: Light
    placement: Placement
    at_m: tuple[float, float, float]
    """Centre of its emitting surface, as ``place_m`` has it."""
    point_m: float
    """Where its point lies on the camera's axis."""


def lights_drawn(view: JudgedSet) -> tuple[list[Drawn], float]:
    """Return the lights of which distance and direction are known, and how far behind the face the backdrop hangs (0: none)."""
    placed = [
        (s.light, s.placement)
        for s in view.lights
        if s.placement is not None and s.placement.distance_m and s.placement.azimuth_deg is not None
    ]
    behind = backdrop_m(view.setup, [light.role for light, _ in placed])
    lights = [Drawn(light, p, place_m(p, light.role, behind), point_z_m(light.role, behind)) for light, p in placed]
    return lights, behind


def across_in_plan(azimuth_deg: float, placement: Placement) -> tuple[float, float]:
    """The way along a source's front as seen from above, (x, z), for a light drawn in this direction; 1 long where it is level.

    A feathered source is turned as it is for the correction (``geometry.frame_of``): positive toward the camera's side.
    """
    toward = geometry.direction(azimuth_deg, placement.elevation_deg or 0.0)
    across = geometry.frame_of(toward, 1.0, min(max(placement.feather_deg, -90.0), 90.0)).across
    return (across[0], across[2])


def plan(view: JudgedSet) -> Drawing:
    """The set from above: camera at the bottom, backdrop at the top."""
    drawing = Drawing(370.0, 330.0, say("plan of {setup} from above", setup=view.setup.name))
    lights, behind = lights_drawn(view)
    camera = _camera_m(view.setup)
    half = [max((one.placement.width_m or 0.0) / 2, 0.1) for one in lights]
    xs = [-LEAST_M, LEAST_M, *(one.at_m[0] + s * h for one, h in zip(lights, half, strict=True) for s in (-1, 1))]
    zs = [-LEAST_M, camera, -behind, *(one.at_m[2] + s * h for one, h in zip(lights, half, strict=True) for s in (-1, 1))]
    frame = _frame(drawing, xs, zs)
    labels = Labels(drawing)
    _rings(drawing, frame, labels)
    if behind:
        _backdrop(drawing, view.setup, frame.at(0.0, -behind)[1], behind, labels)
    _camera(drawing, view.setup, frame, labels, camera)
    marks = [_light_from_above(drawing, one, frame, labels) for one in lights]
    _face(drawing, frame, labels, (0.0, 1.0))
    _left_out(drawing, view, labels)
    for one, at in zip(lights, marks, strict=True):
        where = f"{written(one.placement.distance_m, 'length')}, {written(one.placement.azimuth_deg, 'azimuth')}"
        outward = (one.at_m[0], one.at_m[2] - one.point_m)
        labels.place(at, [Line(short(one.light.name), 8.5, INK), Line(where, 7, "#5a5a5a")], 13, outward)
    return drawing


def _left_out(drawing: Drawing, view: JudgedSet, labels: Labels) -> None:
    """At the foot: the lights that are not drawn, and what was not given of them."""
    stands = [(short(s.light.name), s.placement) for s in view.lights]
    aimless = tuple(name for name, p in stands if p is None or p.azimuth_deg is None)
    apart = tuple(name for name, p in stands if p is not None and p.azimuth_deg is not None and not p.distance_m)
    lines = [put("not drawn, no distance given: {lights:,}", lights=apart)] if apart else []
    lines += [put("not drawn, no direction given: {lights:,}", lights=aimless)] if aimless else []
    lines = [part for line in lines for part in wrap(line, int((drawing.width - 16) / (7 * WIDTH_PER_SIZE)))]
    for number, line in enumerate(reversed(lines)):
        at = (8.0, drawing.height - 5 - 9 * number)
        drawing.text(at, line, 7, colour="#5a5a5a")
        labels.keep_free([(8.0, at[1] - 6), (8.0 + len(line) * 7 * WIDTH_PER_SIZE, at[1])])


def _camera_m(setup: Setup) -> float:
    """How far from the face the camera is drawn."""
    return min(_fact(setup, "camera_distance_m", 0.0, 1000.0) or FALLBACK_CAMERA_M, CAMERA_SHOWN_M)


def _rings(drawing: Drawing, frame: _Frame, labels: Labels) -> None:
    """At most six circles in round steps, their radii written where they cross the lower right."""
    face, scale = frame.at(0.0, 0.0), frame.scale
    reach = hypot(drawing.width, drawing.height) / 2 / scale
    step = next((s for s in ROUND_STEPS_M if reach <= 6 * s), reach / 6)
    for i in range(1, min(6, int(reach / step)) + 1):
        r = step * i * scale
        drawing.circle(face, r, stroke=GRID, width=0.7)
        x, y = face[0] + r * 0.7071, face[1] + r * 0.7071
        if x < drawing.width - 24 and y < drawing.height - 6:
            drawing.text((x + 1.5, y + 5), f"{written(step * i, 'g')} m", 6, colour=FAINT)
            labels.keep_free([(x + 1.5, y), (x + 18, y + 5)])


def _face(drawing: Drawing, frame: _Frame, labels: Labels, nose: tuple[float, float]) -> None:
    """A ring with a nose in the direction ``nose``: down or to the right."""
    (x, y), (dx, dy), r = frame.at(0.0, 0.0), nose, max(FACE_M * frame.scale, 5.0)
    sides = [(x + r * (0.9 * dx + s * dy), y + r * (0.9 * dy + s * dx)) for s in (-0.35, 0.35)]
    tip = (x + 1.6 * r * dx, y + 1.6 * r * dy)
    drawing.area([sides[0], tip, sides[1]], fill=INK)
    drawing.circle((x, y), r, fill=PAPER, width=1.6)
    labels.keep_free([(x - r, y - r), (max(x + r, tip[0]), max(y + r, tip[1]))])


def _camera(drawing: Drawing, setup: Setup, frame: _Frame, labels: Labels, shown: float) -> None:
    distance = _fact(setup, "camera_distance_m", 0.0, 1000.0)
    x, y = frame.at(0.0, shown)
    drawing.line([(x, y), frame.at(0.0, 0.0)], FAINT, 0.7, (1, 3))
    drawing.area([(x - 16, y + 2), (x + 16, y + 2), (x + 16, y + 8), (x - 16, y + 8)], fill=INK)
    drawing.area([(x - 5, y - 4), (x + 5, y - 4), (x + 5, y + 2), (x - 5, y + 2)], fill=INK)
    labels.keep_free([(x - 16, y - 4), (x + 16, y + 8)])
    label = put("camera {distance:length}", distance=distance) if distance else say("camera, distance not given")
    if distance and distance > shown:
        label = put("camera {distance:length}, farther than drawn", distance=distance)
    labels.place((x, y + 4), [Line(label, 7.5, INK)], 9, (0.0, 1.0))


def _backdrop(drawing: Drawing, setup: Setup, y: float, behind: float, labels: Labels) -> None:
    a, b = (drawing.width * 0.14, y), (drawing.width * 0.86, y)
    known = _fact(setup, "backdrop_distance_m", 0.0, 50.0) is not None
    drawing.line([a, b], INK, 2.0, () if known else (6, 4))
    labels.keep_line_free(a, b)
    label = put("backdrop {distance:length}", distance=behind) if known else say("backdrop, distance not given")
    labels.place((b[0] - 30, y), [Line(label, 7, INK)], 3, (0.3, -1.0))


def _light_from_above(drawing: Drawing, one: Drawn, frame: _Frame, labels: Labels) -> tuple[float, float]:
    """Draw one light; return the middle of its back, where its label begins."""
    p = one.placement
    across = across_in_plan(azimuth_in_plan_deg(p.azimuth_deg or 0.0, one.light.role), p)
    half = max((p.width_m or 0.08) / 2 * frame.scale, 4.0)
    depth = min(max(half * 0.5, 5.0), 12.0)
    at, point = frame.at(one.at_m[0], one.at_m[2]), frame.at(0.0, one.point_m)
    return _light(drawing, one.light, at, point, across, half, (across[1] * depth, -across[0] * depth), labels)


def _light(
    drawing: Drawing,
    light: Light,
    at: tuple[float, float],
    point: tuple[float, float],
    across: tuple[float, float],
    half: float,
    back: tuple[float, float],
    labels: Labels,
) -> tuple[float, float]:
    """The sign of a light: its emitting surface as a bold bar, a narrower back behind it, a dashed axis to its point."""
    reflector = bool(light.source_light_id)
    colour = SECOND if reflector else ACCENT
    ends = [(at[0] + s * across[0] * half, at[1] + s * across[1] * half) for s in (1, -1)]
    rear = [(at[0] + s * across[0] * half * 0.55 + back[0], at[1] + s * across[1] * half * 0.55 + back[1]) for s in (-1, 1)]
    drawing.line([at, point], colour, 0.8, (4, 3))
    labels.keep_line_free(at, point)
    labels.keep_line_free(ends[0], ends[1])
    if reflector:
        drawing.line(ends, colour, 3.2)
        return at
    drawing.area([*ends, *rear], fill=PAPER, stroke=colour, width=1.2)
    drawing.line(ends, colour, 2.6)
    labels.keep_free(rear, 0.0)
    return (at[0] + back[0], at[1] + back[1])


def side(view: JudgedSet) -> Drawing:
    """The set from camera left: camera at the right, height upward, floor where the face's height is known."""
    drawing = Drawing(370.0, 215.0, say("side view of {setup}", setup=view.setup.name))
    lights, behind = lights_drawn(view)
    camera = _camera_m(view.setup)
    face_height, camera_height = _fact(view.setup, "face_height_m", 0.2, 4.0), _fact(view.setup, "camera_height_m", 0.0, 6.0)
    floor = -face_height if face_height else None
    lens = camera_height - face_height if camera_height and face_height else 0.0
    # The picture's plane has y downward, heights count upward.
    ys = [-0.3, 0.3, -lens, *(-one.at_m[1] for one in lights), *([-floor] if floor is not None else [])]
    zs = [camera, -LEAST_M, -behind, *(one.at_m[2] for one in lights)]
    frame = _frame(drawing, zs, ys)
    labels = Labels(drawing)
    _floor_and_backdrop(drawing, frame, floor, behind, labels)
    drawing.line([frame.at(0.0, 0.0), frame.at(camera, -lens)], FAINT, 0.7, (1, 3))
    marks = [_light_from_the_side(drawing, one, frame, labels) for one in lights]
    _face(drawing, frame, labels, (1.0, 0.0))
    _camera_from_the_side(drawing, frame.at(camera, -lens), labels)
    for one, at in zip(lights, marks, strict=True):
        elevation = f" {written(one.placement.elevation_deg, 'elevation')}" if one.placement.elevation_deg else ""
        labels.place(at, [Line(short(one.light.name) + elevation, 7.5, INK)], 9, (one.at_m[2] - one.point_m, -one.at_m[1] - 0.01))
    return drawing


def _camera_from_the_side(drawing: Drawing, at: tuple[float, float], labels: Labels) -> None:
    x, y = at
    drawing.area([(x + 2, y - 9), (x + 8, y - 9), (x + 8, y + 9), (x + 2, y + 9)], fill=INK)
    drawing.area([(x - 4, y - 4), (x + 2, y - 4), (x + 2, y + 4), (x - 4, y + 4)], fill=INK)
    labels.keep_free([(x - 4, y - 9), (x + 8, y + 9)])
    labels.place((x + 4, y), [Line(say("camera"), 7.5, INK)], 11, (0.2, -1.0))


def _floor_and_backdrop(drawing: Drawing, frame: _Frame, floor: float | None, behind: float, labels: Labels) -> None:
    bottom = frame.at(0.0, -floor)[1] if floor is not None else drawing.height - 12
    if floor is not None:
        a, b = (10.0, bottom), (drawing.width - 10, bottom)
        drawing.line([a, b], INK, 1.2)
        labels.keep_line_free(a, b)
        drawing.text((12, bottom + 8), put("floor, face at {height:length}", height=-floor), 7, colour="#5a5a5a")
    if behind:
        x = frame.at(-behind, 0.0)[0]
        drawing.line([(x, 12), (x, bottom)], INK, 2.0)
        labels.keep_line_free((x, 12), (x, bottom))


def _light_from_the_side(drawing: Drawing, one: Drawn, frame: _Frame, labels: Labels) -> tuple[float, float]:
    p = one.placement
    at, point = frame.at(one.at_m[2], -one.at_m[1]), frame.at(one.point_m, 0.0)
    length = hypot(at[0] - point[0], at[1] - point[1]) or 1.0
    ux, uy = (at[0] - point[0]) / length, (at[1] - point[1]) / length
    half = max((p.height_m or p.width_m or 0.08) / 2 * frame.scale, 4.0)
    depth = min(max(half * 0.4, 4.0), 9.0)
    return _light(drawing, one.light, at, point, (-uy, ux), half, (ux * depth, uy * depth), labels)
