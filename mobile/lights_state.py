"""What the lights screen shows and takes: lights, their places, and one field at a time that can be changed.  No kivy.

A field knows how to show itself as text and how to read what was typed; reading raises ``UnitError`` or ``GeometryError`` with one
sentence, which the screen puts under the field.  Every accepted change is a new placement at once.
"""

from __future__ import annotations

from math import ceil, floor
from typing import Any, NamedTuple

from meterlink import units
from meterlink.errors import UsageError
from meterlink.judging.judged_set import LightState
from meterlink.judging.learnt_dial import power_words
from meterlink.library.kit import MODIFIER, pieces
from meterlink.records import Light, Placement
from meterlink.records.kept import ROLES
from meterlink.words.placed import direction_text, distance_text
from meterlink.words.told import told, written
from mobile import figures
from mobile.desk import Desk, Shot
from mobile.light_fields import FIELDS, power_text
from mobile.prefs import Prefs
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
    sign: str
    """Name of the sign of its role, or of a reflector."""
    place: str
    stale: bool
    verdict: str
    word: str
    """What a cross means; empty where the mark is none."""


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
    source: str
    """Key of the usual front that it has; empty when it is another size."""
    modifier: str
    power: str
    elevation: str
    fields: tuple[FieldLook, ...]
    more: tuple[FieldLook, ...]
    reflector_of: str
    stale: str


class LightsLook(NamedTuple):
    """The list of lights, and the one that is open."""

    lines: tuple[LightLine, ...]
    edit: EditLook | None


def lights_look(shot: Shot, open_id: str = "") -> LightsLook:
    """Turn the snapshot into the list and the open light."""
    if shot.view is None:
        return LightsLook((), None)
    imperial = shot.prefs.imperial
    lines = tuple(
        LightLine(
            s.light.id,
            s.light.name,
            written(s.light.role, "role"),
            "reflector" if s.light.source_light_id else s.light.role,
            place_text(s.light, s.placement, imperial),
            s.stale is not None,
            verdict := s.judged.verdict if s.judged else "",
            str(told("retake")) if verdict == "retake" else "",
        )
        for s in shot.view.lights
    )
    state = shot.view.state(open_id) if open_id else None
    if state is None:
        return LightsLook(lines, None)
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
        f"{placement.shape}:{placement.width_m or 0:g}x{placement.height_m or 0:g}",
        light.modifier,
        power_text(light, placement),
        elevation_text(placement.elevation_deg),
        tuple(look for f, look in shown if not f.more),
        tuple(look for f, look in shown if f.more),
        source.name if source else "",
        state.stale_reason,
    )
    return LightsLook(lines, edit)


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
    distance = distance_text(placement, imperial, light.point)
    parts = [
        source_text(placement, imperial),
        t("lights.at", length=distance) if placement.distance_m else distance,
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


def elevation_text(elevation_deg: float | None) -> str:
    """``30° up``, ``level``, ``height not given``."""
    if elevation_deg is None:
        return t("lights.no_elevation")
    if abs(elevation_deg) < 0.5:
        return t("lights.level")
    return written(elevation_deg, "elevation")


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
        raise UsageError("there is no role {role!r}: choose one of the list", role=role[:20])
    own = ("hair", "rim", "background")
    point = role if role in own else "face" if light.point in own else light.point
    return desk.change_light(light_id, role=role, point=point)


class Source(NamedTuple):
    """The front of a light, to choose by its drawing."""

    key: str
    label: str
    shape: str
    width_m: float | None
    height_m: float | None
    modifier: str = ""
    """The photographer's own name of it, where it has one."""


USUAL_SOURCES = (
    ("point", None, None), ("disk", 0.2, None), ("disk", 0.4, None), ("disk", 0.9, None), ("disk", 1.5, None),
    ("rectangle", 0.3, 1.2), ("rectangle", 0.6, 0.9), ("rectangle", 0.9, 0.9), ("rectangle", 1.2, 1.8),
)  # fmt: skip
"""Fronts of usual sizes (common practice, no published source), offered beside the kit's own."""


def sources_of(desk: Desk) -> tuple[Source, ...]:
    """Return the kit's modifiers with their sizes, last used first, then the usual fronts.  Slow: on the worker thread."""
    imperial, found = desk.prefs.imperial, []
    for one in pieces(desk.library):
        p = one.placement
        if one.kind == MODIFIER and p is not None:
            found.append(Source(f"kit:{one.name}", one.name, p.shape, p.width_m, p.height_m, one.name))
    for shape, width, height in USUAL_SOURCES:
        size = units.format_size(width, height, imperial) if width else t("lights.small_source")
        found.append(Source(f"{shape}:{width or 0:g}x{height or 0:g}", size, shape, width, height))
    return tuple(found)


def set_source(desk: Desk, light_id: str, source: Source) -> Shot:
    """Give a light this front; one of the kit brings its name (and with it the falloff that was measured of it)."""
    light, _ = _open(desk, light_id)
    if source.modifier and light.modifier != source.modifier:
        desk.change_light(light_id, modifier=source.modifier)
    return desk.move_light(light_id, shape=source.shape, width_m=source.width_m, height_m=source.height_m)


def step_elevation(desk: Desk, light_id: str, by: int) -> Shot:
    """Raise or lower a light by five degrees, to the next whole five."""
    _, placement = _open(desk, light_id)
    now = (placement.elevation_deg or 0.0) / ELEVATION_STEP_DEG
    new = (floor(now + 1e-6) + 1 if by > 0 else ceil(now - 1e-6) - 1) * ELEVATION_STEP_DEG
    return desk.move_light(light_id, elevation_deg=min(max(new, -90.0), 90.0))


ELEVATION_STEP_DEG = 5.0


def power_step_stops(light: Light, prefs: Prefs) -> float:
    """A step of the dial: the fixture's own where it is known, else as the person likes f-numbers."""
    return light.power_step_stops or STEP_STOPS[prefs.step]


def power_step_text(light: Light, prefs: Prefs) -> str:
    """The same as it stands on the tap, without its sign."""
    return figures.format_stops(power_step_stops(light, prefs)).lstrip("+")


def step_power(desk: Desk, light_id: str, steps: int) -> Shot:
    """Turn the dial by whole steps: the fixture's own, else a tenth or a third as the person likes."""
    light, placement = _open(desk, light_id)
    step, now = power_step_stops(light, desk.prefs), placement.power_stops
    if now is None:
        new = 0.0 if steps > 0 else -1.0
    else:
        # On to the next whole step, so that a dial between two steps lands on the grid of the dial.
        place = now / step
        new = (floor(place + 1e-6) + steps if steps > 0 else ceil(place - 1e-6) + steps) * step
    return _turn_to(desk, light, new)


def step_stop(desk: Desk, light_id: str, by: int) -> Shot:
    """Turn the dial by a whole stop, as far as it goes."""
    light, placement = _open(desk, light_id)
    now = placement.power_stops
    return _turn_to(desk, light, (-1.0 if by < 0 else 0.0) if now is None else now + by)


def _turn_to(desk: Desk, light: Light, stops: float) -> Shot:
    """Put the dial so many stops from full, as far as it goes."""
    if light.source_light_id:
        raise UsageError("{light} is a passive reflector: change the power of its source", light=light.name)
    lowest = light.power_min_stops if light.power_min_stops is not None else LOWEST_POWER_STOPS
    new = min(max(stops, lowest), 0.0)
    text = power_words(light, new)
    return desk.move_light(light.id, power_stops=round(new, 6) + 0.0, power_text=text)


def changed_text(before: LightState, now: LightState, imperial: bool) -> str:
    """What was changed, short: ``KEY: 1/4``, ``KEY: 1.2 m, 40° right``, ``KEY: fill``."""
    old, new = before.placement or Placement("", "", 0.0), now.placement or Placement("", "", 0.0)
    parts = []
    if (old.power_stops, old.power_text) != (new.power_stops, new.power_text):
        parts.append(power_text(now.light, new) or t("lights.no_power"))
    if old.distance_m != new.distance_m:
        parts.append(distance_text(new, imperial, now.light.point))
    if (old.azimuth_deg, old.elevation_deg) != (new.azimuth_deg, new.elevation_deg) and new.azimuth_deg is not None:
        parts.append(direction_text(new.azimuth_deg, new.elevation_deg))
    if (old.shape, old.width_m, old.height_m) != (new.shape, new.width_m, new.height_m):
        parts.append(source_text(new, imperial))
    if before.light.role != now.light.role:
        parts.append(written(now.light.role, "role"))
    return t("undo.light", name=now.light.name, what=", ".join(parts) or t("undo.changed"))


def place_by_ring(desk: Desk, light_id: str, distance_m: float, azimuth_deg: float) -> Shot:
    """Move a light to where its handle was let go: whole degrees, whole centimetres."""
    distance = min(max(round(distance_m, 2), MIN_DISTANCE_M), MAX_DISTANCE_M)
    return desk.move_light(light_id, distance_m=distance, azimuth_deg=float(round(azimuth_deg)), u_distance_m=None)


def add_light(desk: Desk, role: str, source_id: str | None = None) -> Light:
    """Add a light with the usual name of its role, and a number when that is taken."""
    taken = {light.name.casefold() for light in desk.shot.lights}
    base = t("name.reflector") if source_id else t(f"name.{role}")
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
