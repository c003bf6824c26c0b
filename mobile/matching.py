"""The part of the desk that brings a set back to a stored one.  The work is ``meterlink.metering.rebuild``'s.  No kivy."""

from __future__ import annotations

from collections.abc import Callable

from meterlink.errors import UsageError
from meterlink.library.store import Library
from meterlink.metering.rebuild import STORED, Rebuild, rebuild_of
from meterlink.metering.session import Session
from mobile.shot import Shot

MATCH = STORED


class Matching:
    """What the desk can do about a match; the desk has the rest."""

    library: Library
    session: Session | None
    now: Callable[[], float]
    use: Callable[[str], Shot]
    _shoot: Callable[[], Shot]
    _need: Callable[[], Session]

    def match_to(self, setup_id: str) -> Shot:
        """Build a stored set again: as a set of its own, copied from it, unless the one in use is that already."""
        stored = Session(self.library, self.library.setup(setup_id).id, now=self.now)
        if not stored.lights():
            raise UsageError("{setup} has no lights to match: choose another set-up", setup=stored.setup.name)
        rebuild = rebuild_of(self.library, stored, now=self.now)
        if not rebuild.resume():
            rebuild.begin_rebuild()
        return self.use(rebuild.setup.id)

    def _rebuild(self) -> Rebuild:
        session = self._need()
        if not isinstance(session, Rebuild):
            raise UsageError("no set-up is matched: choose one on the match page")
        return session

    def begin_match_walk(self) -> Shot:
        """Walk through the lights as they were metered in the stored set."""
        self._rebuild().begin_rebuild()
        return self._shoot()

    def have_moved(self, light_id: str) -> Shot:
        """Take it that the light was changed as the match told, and wait for it once more."""
        self._rebuild().made(light_id)
        return self._shoot()

    def end_match(self) -> Shot:
        """Match to nothing any more; the set stays."""
        setup = self._need().setup
        self.library.remember(f"{STORED}:{setup.id}", None)
        return self.use(setup.id)
