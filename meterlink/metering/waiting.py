"""What is waited for: which light to fire, and where the dome is to be; one thing, said once."""

from __future__ import annotations

from collections.abc import Sequence

from meterlink.judging.reach import MOST_M
from meterlink.judging.verdict import held_where
from meterlink.metering.nearness import reach_for
from meterlink.metering.opened_set import OpenedSet
from meterlink.metering.walk import Request
from meterlink.records import Kind, Light, Purpose
from meterlink.words.told import Told, told


def waiting(opened: OpenedSet, request: Request) -> Told:
    """Return what to do now: ``waiting for KEY: fire it alone, dome within 4 cm of the face, toward the light``."""
    lights = opened.by_id
    place = {"point": request.point, "aim": told(f"aim_{request.aim}")}
    if request.purpose == Purpose.ROOM:
        lamps = {"lamps on": "lamps_on", "lamps off": "lamps_off"}.get(request.note, "lamps_as_is")
        return told("wait_room", lamps=told(lamps), **place)
    lit = "" if request.kind == Kind.FLASH else "_lit"
    if request.purpose == Purpose.TOGETHER:
        return told(f"wait_together{lit}", lights=tuple(one.name for one in opened.lights() if one.id in request.lit), **place)
    light = lights.get(request.light_id)
    if light is None:
        return told("waiting")
    if request.light_at_m is not None:
        return told("wait_falloff", light=light.name, distance_m=request.light_at_m)
    where = _where(opened, request, light)
    if request.purpose in (Purpose.WITH, Purpose.WITHOUT):
        source = lights.get(light.source_light_id)
        name = source.name if source is not None else told("its_source")
        return told(f"wait_{request.purpose}{lit}", light=light.name, source=name, where=where)
    return told(f"wait_alone{lit}", light=light.name, where=where)


def waiting_for_any(opened: OpenedSet, free: Sequence[Request]) -> Told:
    """Return what to do now when several lights may fire next: ``waiting for KEY, FILL or HAIR in any order: fire each alone``."""
    lights = opened.by_id
    return told("wait_any", lights=tuple(lights[one.light_id].name for one in free))


def _where(opened: OpenedSet, request: Request, light: Light) -> Told:
    """Where the dome is and what it looks at.  A distance that was declared stands alone; else how far off it may be is said."""
    reflector = light.source_light_id and request.aim == "light"
    aim = told("aim_reflector", light=light.name) if reflector else told(f"aim_{request.aim}")
    place = {"point": request.point, "aim": aim}
    if request.held_off_m:
        if request.held_off_toward != "light":
            where = held_where(request.held_off_toward, receptor=told("dome"), held_off_m=request.held_off_m, point=request.point)
            return told("place_off_aside", where=where, aim=aim)
        return told("place_off", held_off_m=request.held_off_m, **place)
    good = None if reflector or request.held_off_m == 0 else reach_for(opened, request).good_m
    if good is None or not 0.01 <= good < MOST_M:
        return told("place_at", **place)
    # Rounded down: the advice must stay on the safe side.
    return told("place_within", good_cm=int(good * 100 + 1e-6), **place)
