"""Lights of the set in use, as the person describes and places them.  Part of the desk."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from meterlink.errors import NotInLibrary, UsageError
from meterlink.judging.judged_set import LightState
from meterlink.library.store import Library
from meterlink.metering.session import Session
from meterlink.records import Light, Placement, new_id
from mobile.shot import Shot

OWN_POINT = ("hair", "rim", "background")


class Describing:
    """What can be changed about the lights; every change is durable, then shown."""

    library: Library
    shot: Shot
    now: Callable[[], float]
    _shoot: Callable[[], Shot]
    _need: Callable[[], Session]

    def _light(self, light_id: str) -> Light:
        light = self.shot.light(light_id)
        if light is None:
            raise NotInLibrary("this light is no longer in the set: choose another one")
        return light

    def add_light(self, name: str, role: str, *, source_id: str | None = None, **placement: Any) -> Light:
        """Add a light (or, with ``source_id``, a passive reflector) at the end of the order."""
        session = self._need()
        name = name.strip()
        if not name:
            raise UsageError("a light needs a name: type one, such as KEY")
        orders = [light.order for light in session.lights()]
        point = role if role in OWN_POINT else "face"
        light = Light(new_id(), session.setup.id, name, role, point=point, order=max(orders, default=-1) + 1)
        light = light._replace(source_light_id=source_id)
        session.add_light(light, Placement(new_id(), light.id, self.now(), **placement))
        self._shoot()
        return light

    def change_light(self, light_id: str, **changes: Any) -> Shot:
        """Rename a light, change its role, fixture, modifier or power scale."""
        light = self._light(light_id)
        self.library.revise_light(light._replace(**changes))
        return self._shoot()

    def remove_light(self, light_id: str) -> Shot:
        """Take a light out of the set; its readings are kept."""
        session = self._need()
        session.remove(self._light(light_id))
        session.forget(light_id)
        return self._shoot()

    def bring_back(self, light: Light) -> Shot:
        """Put a light that was taken out into the set again."""
        self.library.revise_light(light._replace(removed=False))
        return self._shoot()

    def move_light(self, light_id: str, **changes: Any) -> Shot:
        """Move or re-power a light: a new placement; its reading becomes stale.  No change makes none."""
        session = self._need()
        light, now = self._light(light_id), session.placement(light_id)
        if now is not None and all(getattr(now, name, None) == value for name, value in changes.items()):
            return self.shot
        session.move(light, **changes)
        return self._shoot()

    def put_back(self, before: LightState) -> Shot:
        """Undo a change: the light as it was described, standing as it stood; its reading counts again without a pop.

        Nothing is taken out of the library: the old place is a new placement, and the reading is given to it.
        """
        session, light = self._need(), before.light
        if self.shot.light(light.id) != light:
            self.library.revise_light(light)
        now, then = session.placement(light.id), before.placement
        if then is not None and now is not None and now.id != then.id:
            kept = {k: v for k, v in then._asdict().items() if k not in ("id", "light_id", "created_at_s")}
            # What only told where it stands took no reading away; there the record of now is the one that goes back.
            stands = session.view().state(light.id)
            still = stands is not None and stands.reading is not None and stands.reading.placement_id == now.id
            placement = session.move(light, as_metered=still, **kept)
            if not still and before.reading is not None and before.stale is None and before.reading.placement_id == then.id:
                self.library.restate_reading(before.reading.id, light_id=light.id, placement_id=placement.id)
        return self._shoot()

    def reorder(self, light_id: str, by: int) -> Shot:
        """Move a light up (-1) or down (+1) in the order."""
        lights = list(self.shot.lights)
        i = next((n for n, light in enumerate(lights) if light.id == light_id), None)
        if i is None or not 0 <= i + by < len(lights):
            return self.shot
        lights.insert(i + by, lights.pop(i))
        with self.library.db.write():
            for order, light in enumerate(lights):
                if light.order != order:
                    self.library.revise_light(light._replace(order=order))
        return self._shoot()
