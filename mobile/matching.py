"""The part of the desk that brings a set back to a stored one.  Comparison and advice are ``meterlink.tables.match``.  No kivy."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from meterlink.errors import MeterlinkError, UsageError
from meterlink.judging.view import SetView
from meterlink.library.store import Library
from meterlink.metering.session import Session
from meterlink.metering.walk import Request
from meterlink.records import Light
from mobile.prefs import Prefs
from mobile.shot import Shot

MATCH = "match:stored"
"""Where the library remembers which set-up another one is to match (the command line's own key)."""


class Matching:
    """What the desk can do about a match; the desk has the rest."""

    library: Library
    session: Session | None
    now: Callable[[], float]
    prefs: Prefs
    shot: Shot
    _stored: SetView | None

    def _need(self) -> Session:
        """The session on the set in use."""
        raise NotImplementedError

    def _shoot(self) -> Shot:
        """Make the snapshot anew."""
        raise NotImplementedError

    def free_name(self, name: str) -> str:
        """A name that no set-up has."""
        raise NotImplementedError

    def _request(self, light: Light, **changes: Any) -> Request:
        """What is asked for when a light is metered."""
        raise NotImplementedError

    def _light(self, light_id: str) -> Light:
        """A light of the set."""
        raise NotImplementedError

    def use(self, setup_id: str, *, begin: bool = False) -> Shot:
        """Make a set-up the one in use."""
        raise NotImplementedError

    def wait_for(self, light_id: str) -> Shot:
        """Wait for this light now."""
        raise NotImplementedError

    def _recalled_match(self) -> SetView | None:
        """Return the stored set that the one in use is to match, None when it is none."""
        stored_id = self.library.recall(f"{MATCH}:{self.session.setup.id}") if self.session else None
        if not isinstance(stored_id, str) or not stored_id:
            return None
        try:
            return Session(self.library, stored_id, now=self.now).view()
        except MeterlinkError:
            return None

    def match_to(self, setup_id: str) -> Shot:
        """Build a stored set again: as a set of its own, copied from it, unless the one in use is that already."""
        if self.session is None or self.library.recall(f"{MATCH}:{self.session.setup.id}") != setup_id:
            stored = self.library.setup(setup_id)
            if not any(light for light in self.library.lights(stored.id)):
                raise UsageError(f"{stored.name} has no lights to match: choose another set-up")
            rebuilt = self.library.copy_setup(stored.id, self.free_name(stored.name))
            self.library.remember(f"{MATCH}:{rebuilt.id}", stored.id)
            self.use(rebuilt.id)
        return self.begin_match_walk()

    def begin_match_walk(self) -> Shot:
        """Walk through the lights as they were metered in the stored set: same aim, receptor and held-off distance."""
        session = self._need()
        if self._stored is None:
            raise UsageError("no set-up is matched: choose one on the match page")
        lights = {light.name.casefold(): light for light in session.lights()}
        requests = []
        for state in self._stored.lights:
            light, reading = lights.get(state.light.name.casefold()), state.reading
            if light is not None and reading is not None:
                requests.append(
                    self._request(light, aim=reading.aim, receptor=reading.receptor, held_off_m=reading.held_off_m)
                )
        session.begin(requests, auto_advance=self.prefs.auto_advance)
        return self._shoot()

    def have_moved(self, light_id: str) -> Shot:
        """Take it that the light was changed as the match told, and wait for it once more."""
        light = self._light(light_id)
        rows = self.shot.match.rows if self.shot.match else ()
        move = next((row.move for row in rows if row.light.casefold() == light.name.casefold()), None)
        changes: dict[str, Any] = {}
        if move is not None and move.power_stops is not None:
            changes |= {"power_stops": move.power_stops, "power_text": move.power_text}
        if move is not None and move.distance_m is not None:
            changes["distance_m"] = move.distance_m
        if not changes:
            raise UsageError(f"{light.name}: there is nothing to change")
        self._need().move(light, **changes)
        return self.wait_for(light_id)

    def end_match(self) -> Shot:
        """Match to nothing any more; the set stays."""
        self.library.remember(f"{MATCH}:{self._need().setup.id}", None)
        self._stored = None
        return self._shoot()
