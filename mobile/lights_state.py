"""What the lights screen shows and takes: lights, their places, and one field at a time that can be changed.  No kivy.

A field knows how to show itself as text and how to read what was typed; reading raises ``UnitError`` or ``GeometryError`` with one
sentence, which the screen puts under the field.  Every accepted change is a new placement at once.
"""

from __future__ import annotations

from math import ceil, floor
from typing import Any, NamedTuple

from meterlink import units
from meterlink.errors import UsageError
from meterlink.records import Light, Placement
from meterlink.records.kept import ROLES, SHAPES
from mobile.desk import Desk, Shot
from mobile.light_fields import FIELDS, power_text
from mobile.texts import t

STEP_STOPS = {"tenth": 0.1, "third": 1 / 3}
LOWEST_POWER_STOPS = -8.0
"""A fixture that says nothing is taken to reach 1/256."""
MIN_DISTANCE_M, MAX_DISTANCE_M = 0.1, 50.0


class LightLine(NamedTuple):
    """One light of the list."""

    light_id: str
    name: str
    role: str
    place: str
    stale: bool
    verdict: str


class FieldLook(NamedTuple):
    """A field as the screen shows it."""

    name: str
    label: str
    text: str
    hint: str


class EditLook(NamedTuple):
    """One light, open for changes."""

    light_id: str
    name: str
    role: str
    shape: str
    power: str
    fields: tuple[FieldLook, ...]
    more: tuple[FieldLook, ...]
    reflector_of: str
    stale: str


class LightsLook(NamedTuple):
    """The list of lights, and the one that is open."""

    has_set: bool
    lines: tuple[LightLine, ...]
    edit: EditLook | None


def lights_look(shot: Shot, open_id: str = "") -> LightsLook:
    """Turn the snapshot into the list and the open light."""
    if shot.view is None:
        return LightsLook(False, (), None)
    imperial = shot.prefs.imperial
    lines = tuple(
        LightLine(
            s.light.id,
            s.light.name,
            t(f"role.{s.light.role}"),
            place_text(s.light, s.placement, imperial),
            s.stale is not None,
            s.judged.verdict if s.judged else "",
        )
        for s in shot.view.lights
    )
    state = shot.view.state(open_id) if open_id else None
    if state is None:
        return LightsLook(True, lines, None)
    light, placement = state.light, state.placement or Placement("", state.light.id, 0.0)
    shown = [
        (f, FieldLook(f.name, t(f"field.{f.name}"), f.show(light, placement, imperial), _hint(f.name, imperial)))
        for f in FIELDS.values()
        if _wanted(f.name, light, placement)
    ]
    source = shot.light(light.source_light_id)
    edit = EditLook(
        light.id,
        light.name,
        light.role,
        placement.shape,
        power_text(light, placement),
        tuple(look for f, look in shown if not f.more),
        tuple(look for f, look in shown if f.more),
        source.name if source else "",
        state.stale_reason,
    )
    return LightsLook(True, lines, edit)


def _wanted(name: str, light: Light, placement: Placement) -> bool:
    if name == "size":
        return placement.shape != "point"
    if name in ("power", "power_step", "full_power"):
        return light.source_light_id is None
    return True


def _hint(name: str, imperial: bool) -> str:
    if name in ("distance", "size", "stand_height"):
        return t(f"hint.{name}.imperial") if imperial else t(f"hint.{name}.metric")
    return t(f"hint.{name}")


def place_text(light: Light, placement: Placement | None, imperial: bool) -> str:
    """Where and how a light stands, in one line."""
    if placement is None:
        return t("lights.not_placed")
    parts = [
        source_text(placement, imperial),
        units.format_length(placement.distance_m, imperial) if placement.distance_m else t("lights.no_distance"),
    ]
    if placement.azimuth_deg is not None:
        parts.append(direction_text(placement.azimuth_deg, placement.elevation_deg))
    power = power_text(light, placement)
    if light.source_light_id:
        parts.append(t("lights.reflector"))
    elif power:
        parts.append(t("lights.power", power=power))
    return ", ".join(parts)


def source_text(placement: Placement, imperial: bool) -> str:
    """``round 90 cm``, ``60 × 90 cm`` or ``small source``."""
    if placement.shape == "point" or not placement.width_m:
        return t("lights.small_source")
    size = units.format_size(placement.width_m, placement.height_m, imperial)
    return t("lights.round", size=size) if placement.shape == "disk" else size


def direction_text(azimuth_deg: float, elevation_deg: float | None) -> str:
    """``40° right, 30° up`` as the camera sees it."""
    side = t("lights.right" if azimuth_deg > 0 else "lights.left", angle=f"{abs(azimuth_deg):.0f}")
    parts = [t("lights.axis") if abs(azimuth_deg) < 0.5 else side]
    if elevation_deg:
        parts.append(t("lights.up" if elevation_deg > 0 else "lights.down", angle=f"{abs(elevation_deg):.0f}"))
    return ", ".join(parts)


def _open(desk: Desk, light_id: str) -> tuple[Light, Placement]:
    state = desk.shot.view.state(light_id) if desk.shot.view else None
    if state is None:
        raise UsageError("this light is no longer in the set: choose another one")
    return state.light, state.placement or Placement("", light_id, 0.0)


def set_field(desk: Desk, light_id: str, name: str, text: str) -> Shot:
    """Take what was typed into a field; text as it is shown changes nothing (a shown length is rounded)."""
    field = FIELDS[name]
    light, placement = _open(desk, light_id)
    imperial = desk.prefs.imperial
    if text.strip() == field.show(light, placement, imperial):
        return desk.shot
    changes = field.read(text, light, placement, imperial)
    return desk.change_light(light_id, **changes) if field.of_light else desk.move_light(light_id, **changes)


def set_role(desk: Desk, light_id: str, role: str) -> Shot:
    """Change what a light does; hair, rim and background lights are metered at points of their own."""
    light, _ = _open(desk, light_id)
    if role not in ROLES:
        raise UsageError(f"there is no role {role[:20]!r}: choose one of the list")
    own = ("hair", "rim", "background")
    point = role if role in own else "face" if light.point in own else light.point
    return desk.change_light(light_id, role=role, point=point)


DEFAULT_SIZES = {"disk": (0.9, None), "rectangle": (0.6, 0.9)}
"""Shown when a shape is chosen and no size is known yet, so that there is an outline to change."""


def set_shape(desk: Desk, light_id: str, shape: str) -> Shot:
    """Choose the shape of the source; its size stays where it can."""
    if shape not in SHAPES:
        raise UsageError(f"there is no shape {shape[:20]!r}: choose one of the list")
    _, placement = _open(desk, light_id)
    if shape == "point":
        return desk.move_light(light_id, shape="point", width_m=None, height_m=None)
    width, height = DEFAULT_SIZES[shape]
    width = placement.width_m or width
    height = None if shape == "disk" else placement.height_m or placement.width_m or height
    return desk.move_light(light_id, shape=shape, width_m=width, height_m=height)


def step_power(desk: Desk, light_id: str, steps: int) -> Shot:
    """Turn the dial by whole steps: the fixture's own, else a tenth or a third as the person likes."""
    light, placement = _open(desk, light_id)
    if light.source_light_id:
        raise UsageError(f"{light.name} is a passive reflector: change the power of its source")
    step = light.power_step_stops or STEP_STOPS[desk.prefs.step]
    lowest = light.power_min_stops if light.power_min_stops is not None else LOWEST_POWER_STOPS
    now = placement.power_stops
    if now is None:
        new = 0.0 if steps > 0 else -1.0
    else:
        # On to the next whole step, so that a dial between two steps lands on the grid of the dial.
        place = now / step
        new = (floor(place + 1e-6) + steps if steps > 0 else ceil(place - 1e-6) + steps) * step
    new = min(max(new, lowest), 0.0)
    text = units.format_power(new, light.full_power_j, light.details.get("scale_top"))
    return desk.move_light(light_id, power_stops=round(new, 6) + 0.0, power_text=text)


def place_by_ring(desk: Desk, light_id: str, distance_m: float, azimuth_deg: float) -> Shot:
    """Move a light to where its handle was let go: whole degrees, whole centimetres."""
    distance = min(max(round(distance_m, 2), MIN_DISTANCE_M), MAX_DISTANCE_M)
    return desk.move_light(light_id, distance_m=distance, azimuth_deg=float(round(azimuth_deg)), u_distance_m=None)


def add_light(desk: Desk, role: str, source_id: str | None = None) -> Light:
    """Add a light with the usual name of its role, and a number when that is taken."""
    taken = {light.name.casefold() for light in desk.shot.lights}
    base = t("lights.card_name") if source_id else t(f"role.{role}").upper()
    name, number = base, 2
    while name.casefold() in taken:
        name, number = f"{base} {number}", number + 1
    placement: dict[str, Any] = {}
    if source_id:
        placement = {"shape": "rectangle", "width_m": 0.8, "height_m": 1.2}
    return desk.add_light(name, role, source_id=source_id, **placement)


def sources_for_reflector(shot: Shot) -> tuple[tuple[str, str], ...]:
    """Return (id, name) of the lights that may feed a passive reflector."""
    return tuple((light.id, light.name) for light in shot.lights if light.source_light_id is None)
