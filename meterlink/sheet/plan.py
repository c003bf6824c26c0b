"""Plan from above and side view of a set, to scale, with distances and angles.

Our own signs: the face is a ring with a nose toward the camera, the camera a bar across its line of sight, a light the true
outline of its source (a bar as wide as the source, seen from above) with its dashed axis to the point; a passive
reflector is a bar with hatching.  Lengths along the axes are the placements' distances.
"""

from __future__ import annotations

from math import cos, radians, sin

from meterlink import units
from meterlink.sheet.drawing import ACCENT, FAINT, INK, PAPER, SECOND, Drawing

TYPE_CHECKING = False
if TYPE_CHECKING:
    from collections.abc import Callable

    from meterlink.setwork.view import LightState, SetView

    At = Callable[[float, float], tuple[float, float]]
    """Metres in the picture's plane -> points of the drawing."""

MARGIN, SIDE_MARGIN = 46.0, 64.0
FACE_M = 0.12


def _placed(view: SetView) -> list[LightState]:
    return [
        s for s in view.lights if s.placement is not None and s.placement.distance_m and s.placement.azimuth_deg is not None
    ]


def point_z_m(state: LightState, view: SetView) -> float:
    """Where a light's point lies on the camera's axis: 0 for the face, behind it for the backdrop where that is known.

    Hair and rim points lie so close to the face that they are drawn there.
    """
    backdrop = view.setup.details.get("backdrop_distance_m")
    if state.light.role == "background" and isinstance(backdrop, int | float) and 0 < backdrop < 50:
        return -float(backdrop)
    return 0.0


def position_m(state: LightState, view: SetView) -> tuple[float, float, float]:
    """Centre of the emitting surface (x to camera right, y up, z toward the camera) in metres from the face."""
    p = state.placement
    assert p is not None
    d, az, el = p.distance_m or 0.0, radians(p.azimuth_deg or 0.0), radians(p.elevation_deg or 0.0)
    return (d * cos(el) * sin(az), d * sin(el), point_z_m(state, view) + d * cos(el) * cos(az))


def _camera_distance(view: SetView) -> float | None:
    value = view.setup.details.get("camera_distance_m")
    return float(value) if isinstance(value, int | float) and 0 < value < 50 else None


def _ring_steps(largest: float) -> list[float]:
    step = 0.5 if largest <= 2.2 else 1.0
    return [step * i for i in range(1, int(largest / step) + 2)]


def plan(view: SetView, width: float = 360.0, height: float = 330.0) -> Drawing:
    """The set from above: camera at the bottom, backdrop at the top."""
    drawing = Drawing(width, height, f"plan of {view.setup.name} from above")
    states = _placed(view)
    places = [position_m(s, view) for s in states]
    camera = _camera_distance(view) or 0.0
    far = max(1.0, min(camera, 4.0), *(max(abs(x), abs(z)) for x, _, z in places), _behind(view))
    scale = (min(width, height) / 2 - MARGIN) / far
    centre = (width / 2, height / 2)

    def at(x: float, z: float) -> tuple[float, float]:
        return (centre[0] + x * scale, centre[1] + z * scale)

    for r in _ring_steps(far):
        drawing.circle(centre, r * scale, stroke="#e0e0e0", width=0.7)
        drawing.text((centre[0] + 2, centre[1] - r * scale - 2), units.format_length(r), 6, colour=FAINT)
    _backdrop(drawing, view, at, far)
    _camera(drawing, view, at, far)
    for state, (x, _, z) in zip(states, places, strict=True):
        _light_from_above(drawing, state, at(x, z), at(0.0, point_z_m(state, view)), scale)
    _face(drawing, centre, max(FACE_M * scale, 6.0))
    return drawing


def _face(drawing: Drawing, centre: tuple[float, float], r: float) -> None:
    x, y = centre
    drawing.area([(x - r * 0.35, y + r * 0.9), (x, y + r * 1.6), (x + r * 0.35, y + r * 0.9)], fill=INK)
    drawing.circle(centre, r, fill=PAPER, width=1.6)


def _camera(drawing: Drawing, view: SetView, at: At, far: float) -> None:
    distance = _camera_distance(view)
    z = min(distance, far) if distance else far
    x, y = at(0.0, z)
    drawing.line([(x, y), at(0.0, 0.0)], FAINT, 0.7, (1, 3))
    drawing.area([(x - 16, y + 2), (x + 16, y + 2), (x + 16, y + 8), (x - 16, y + 8)], fill=INK)
    drawing.area([(x - 5, y - 4), (x + 5, y - 4), (x + 5, y + 2), (x - 5, y + 2)], fill=INK)
    label = "camera" + (f" {units.format_length(distance)}" if distance else ", distance not given")
    if distance and distance > far:
        label += ", farther than drawn"
    drawing.text((x, y + 18), label, 8, "middle")


def _behind(view: SetView) -> float:
    """Distance of the backdrop behind the face, 0 when it is not known."""
    value = view.setup.details.get("backdrop_distance_m")
    return float(value) if isinstance(value, int | float) and 0 < value < 50 else 0.0


def _backdrop(drawing: Drawing, view: SetView, at: At, far: float) -> None:
    behind = _behind(view)
    if not behind:
        return
    a, b = at(-far * 0.8, -behind), at(far * 0.8, -behind)
    drawing.line([a, b], INK, 2.0)
    drawing.text((b[0], b[1] - 4), f"backdrop {units.format_length(behind)}", 7, "end")


def _light_from_above(
    drawing: Drawing, state: LightState, at: tuple[float, float], point: tuple[float, float], scale: float
) -> None:
    p = state.placement
    assert p is not None
    cx, cy = at
    az = radians(p.azimuth_deg or 0.0)
    # Across the axis, in the plan.
    across = (cos(az), -sin(az))
    half = max((p.width_m or 0.08) / 2 * scale, 4.0)
    back = (sin(az) * 7.0, cos(az) * 7.0)
    colour = SECOND if state.light.source_light_id else ACCENT
    ends = [(cx + s * half * across[0], cy + s * half * across[1]) for s in (-1, 1)]
    drawing.line([at, point], colour, 0.9, (4, 3))
    rear = [(ends[1][0] * 0.6 + cx * 0.4 + back[0], ends[1][1] * 0.6 + cy * 0.4 + back[1])]
    rear.append((ends[0][0] * 0.6 + cx * 0.4 + back[0], ends[0][1] * 0.6 + cy * 0.4 + back[1]))
    if state.light.source_light_id:
        drawing.line(ends, colour, 3.0)
    else:
        drawing.area([*ends, *rear], fill=PAPER, stroke=colour, width=1.4)
        drawing.line(ends, colour, 2.4)
    lx, ly = cx + sin(az) * 20, cy + cos(az) * 20 + 3
    anchor = "start" if sin(az) > 0.3 else "end" if sin(az) < -0.3 else "middle"
    drawing.text((lx, ly), state.light.name, 9, anchor)
    drawing.text((lx, ly + 9), f"{units.format_length(p.distance_m or 0.0)}, {p.azimuth_deg:.0f}°", 7, anchor, FAINT)


def side(view: SetView, width: float = 360.0, height: float = 220.0) -> Drawing:
    """The set from camera left: camera at the right, height upward, floor where the face's height is known."""
    drawing = Drawing(width, height, f"side view of {view.setup.name}")
    states = _placed(view)
    places = [position_m(s, view) for s in states]
    camera = min(_camera_distance(view) or 1.5, 4.0)
    face_height = view.setup.details.get("face_height_m")
    floor = -float(face_height) if isinstance(face_height, int | float) and 0.2 < face_height < 4 else None
    ys = [0.3, -0.3, *(y for _, y, _ in places), *([floor] if floor is not None else [])]
    zs = [camera, -max(1.0, _behind(view)), *(z for _, _, z in places)]
    low, high, left, right = min(ys), max(ys), min(zs), max(zs)
    scale = min((height - 2 * 30) / (high - low), (width - 2 * SIDE_MARGIN) / (right - left))

    def at(z: float, y: float) -> tuple[float, float]:
        return (SIDE_MARGIN + (z - left) * scale, 30 + (high - y) * scale)

    if floor is not None:
        drawing.line([at(left, floor), at(right, floor)], INK, 1.2)
        drawing.text((at(left, floor)[0], at(left, floor)[1] + 9), "floor", 7, colour=FAINT)
    drawing.line([at(left, 0.0), at(right, 0.0)], "#e0e0e0", 0.7)
    for state, (_, y, z) in zip(states, places, strict=True):
        _light_from_the_side(drawing, state, at(z, y), at(point_z_m(state, view), 0.0), scale)
    if behind := _behind(view):
        drawing.line([at(-behind, high), at(-behind, floor if floor is not None else low)], INK, 2.0)
    x, y0 = at(0.0, 0.0)
    r = max(FACE_M * scale, 6.0)
    drawing.area([(x + r * 0.9, y0 - r * 0.35), (x + r * 1.6, y0), (x + r * 0.9, y0 + r * 0.35)], fill=INK)
    drawing.circle((x, y0), r, fill=PAPER, width=1.6)
    cx, cy = at(camera, 0.0)
    drawing.area([(cx + 2, cy - 9), (cx + 9, cy - 9), (cx + 9, cy + 9), (cx + 2, cy + 9)], fill=INK)
    drawing.text((cx + 12, cy + 3), "camera", 7)
    return drawing


def _light_from_the_side(
    drawing: Drawing, state: LightState, at: tuple[float, float], face: tuple[float, float], scale: float
) -> None:
    p = state.placement
    assert p is not None
    length = ((at[0] - face[0]) ** 2 + (at[1] - face[1]) ** 2) ** 0.5 or 1.0
    ux, uy = (at[0] - face[0]) / length, (at[1] - face[1]) / length
    half = max((p.height_m or p.width_m or 0.08) / 2 * scale, 4.0)
    ends = [(at[0] - s * uy * half, at[1] + s * ux * half) for s in (-1, 1)]
    colour = SECOND if state.light.source_light_id else ACCENT
    drawing.line([at, face], colour, 0.9, (4, 3))
    drawing.line(ends, colour, 3.0)
    label = f"{state.light.name} {units.format_angle(p.elevation_deg or 0.0)}"
    drawing.text((at[0] + ux * 14, at[1] + uy * 14 + 3), label, 8, "start" if ux >= 0 else "end")
