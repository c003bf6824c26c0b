"""What the app does, without kivy: the library, the session on the set in use, and one snapshot that all screens show.

Every method that changes something first makes it durable (the session and the library do), then replaces ``shot`` whole.
Methods are called one at a time, on the app's worker thread; ``shot`` may be read from anywhere.  They raise the same
``MeterlinkError`` as the command line, which the screens show where the finger is.
"""

from __future__ import annotations

import contextlib
import time
from collections.abc import Callable, Sequence
from typing import Any

from meterlink.checks.finders import looked_at
from meterlink.checks.findings import Finding
from meterlink.errors import MeterlinkError, NotInLibrary, UsageError
from meterlink.judging.judged_set import JudgedSet
from meterlink.judging.reach import Reach, reach_of
from meterlink.library.store import Library
from meterlink.metering.outcome import Outcome, OutcomeKind
from meterlink.metering.rebuild import Rebuild, copied_setup, session_of
from meterlink.metering.session import Session
from meterlink.metering.walk import Request
from meterlink.records import Light, Measurement, Placement, Reading, Setup, WaveBlock, new_id
from meterlink.records.placement_rules import check_held_off
from meterlink.tables.ratios import ratio_table
from mobile.describing import OWN_POINT, Describing
from mobile.matching import MATCH, Matching
from mobile.prefs import KEY, Prefs
from mobile.shot import Shot

__all__ = ["MATCH", "OWN_POINT", "Desk", "Shot"]

START_ROLES = ("key", "fill", "hair", "background", "rim", "other")
"""Roles of a set that is begun by its number of lights."""
HELD_MAX_M = 0.6
"""End of the held-off slider; more can be typed."""


def _to_change(rebuild: Rebuild | None) -> str:
    """What a match told to be turned at the light that waits."""
    waiting = rebuild.walk.waiting if rebuild is not None else None
    turn = rebuild.planned.get(waiting.light_id or "") if rebuild is not None and waiting is not None else None
    return str(turn.sentence) if turn is not None else ""


class Desk(Describing, Matching):
    """One library, the set in use, and what the person at the phone can do with them."""

    def __init__(self, library: Library, *, now: Callable[[], float] = time.time) -> None:
        self.library = library
        self.now = now
        self.session: Session | None = None
        self.prefs = Prefs.from_memory(library.recall(KEY))
        self.shot = Shot(prefs=self.prefs)
        self._outcome: Outcome | None = None
        self._asked_id = ""
        """The light that was touched since the last pop: what is said now is of this one."""
        self._reaches: dict[Any, Reach] = {}
        self.plans: dict[str, Any] = {}
        """Stamps of the sets that are not in use, as the library page keeps them."""
        self._open()

    # -- the set in use -----------------------------------------------------------------------------------------

    def _open(self) -> None:
        """Open a session on the set in use and come back to the light that was waited for."""
        try:
            self.session = session_of(self.library, now=self.now)
            self.session.auto_advance = self.prefs.auto_advance
        except NotInLibrary:
            self.session = None
        self._shoot()

    def _shoot(self) -> Shot:
        session = self.session
        if session is None:
            self.shot = Shot(prefs=self.prefs)
            return self.shot
        view = session.view()
        last = view.readings[-1] if view.readings else None
        kept = self.shot.last is not None and last is not None and self.shot.last.id == last.id
        wave = self.shot.wave if kept else self._wave(last)
        rebuild = session if isinstance(session, Rebuild) else None
        found, well, error = self._findings(view)
        self.shot = Shot(
            session.setup,
            view,
            ratio_table(view),
            tuple(session.walk.requests),
            session.walk.position,
            last,
            wave,
            self._outcome,
            self._held_of([state.light.id for state in view.lights]),
            *self._limits(view),
            found,
            error,
            well,
            self.prefs,
            rebuild.stored.view() if rebuild is not None else None,
            rebuild.report() if rebuild is not None else None,
            self._held_id(session),
            tuple(one.light_id for one in session.may_come() if one.light_id),
            tuple(map(str, order.said())) if not session.walk.heard and (order := session.order()) is not None else (),
            _to_change(rebuild),
        )
        return self.shot

    def _shoot_onward(self) -> Shot:
        """Shoot after something new was asked or said: that an earlier pop was not kept is no longer what there is to tell."""
        if self._outcome is not None and self._outcome.kind == OutcomeKind.IGNORED:
            self._outcome = None
        return self._shoot()

    def _held_id(self, session: Session) -> str:
        """Whose distance the scale is: the light's that was touched, else the last pop's, else the one's that waits."""
        waiting = session.walk.waiting
        if waiting is not None and waiting.light_id == self._asked_id:
            return self._asked_id
        return session.held_for() or (waiting.light_id or "" if waiting is not None else "")

    def _wave(self, reading: Reading | None) -> WaveBlock | None:
        return self.library.waveform(reading.id, max(len(reading.pops) - 1, 0)) if reading is not None else None

    @staticmethod
    def _findings(view: JudgedSet) -> tuple[tuple[Finding, ...], tuple[Finding, ...], str]:
        """Findings of the checks, worst first, and what is well; a check that cannot be made must not hide the table."""
        try:
            found, well = looked_at(view)
            return tuple(found), tuple(well), ""
        except (MeterlinkError, ValueError) as error:
            return (), (), str(error)

    def _limits(self, view: JudgedSet) -> tuple[tuple[tuple[str, float], ...], tuple[tuple[str, float], ...]]:
        """How far the dome may be off each light's point for a tenth and for a third of a stop, where that can be said."""
        good, usable = [], []
        for state in view.lights:
            falloff = view.falloffs.get(state.light.modifier) if state.light.modifier else None
            key = (state.placement.id if state.placement else "", view.settings, repr(falloff))
            if key not in self._reaches:
                self._reaches[key] = reach_of(state.placement, view.settings, falloff=falloff)
            reach = self._reaches[key]
            if reach.good_m is not None:
                good.append((state.light.id, reach.good_m))
            if reach.usable_m is not None:
                usable.append((state.light.id, reach.usable_m))
        return tuple(good), tuple(usable)

    def _need(self) -> Session:
        if self.session is None:
            raise NotInLibrary("there is no set-up yet: begin one on the first page, or try the simulated set")
        return self.session

    def new_set(self, name: str, lights: Sequence[tuple[str, str]] = ()) -> Shot:
        """Begin a set-up with lights given as (name, role), use it, and wait for its first light."""
        setup = Setup(new_id(), self.free_name(name.strip()), self.now(), iso=self.prefs.iso, shutter_s=self.prefs.shutter_s)
        self.library.add_setup(setup)
        for order, (light_name, role) in enumerate(lights):
            point = role if role in OWN_POINT else "face"
            light = Light(new_id(), setup.id, light_name, role, point=point, order=order)
            self.library.add_light(light)
            self.library.add_placement(Placement(new_id(), light.id, self.now()))
        return self.use(setup.id, begin=bool(lights))

    def free_name(self, name: str) -> str:
        """Return the name, with a number behind it when a set-up has it already."""
        taken = {setup.name.casefold() for setup in self.library.setups()}
        free, number = name, 2
        while free.casefold() in taken:
            free, number = f"{name} {number}", number + 1
        return free

    def use(self, setup_id: str, *, begin: bool = False) -> Shot:
        """Make a set-up the one in use."""
        if self.shot.setup is not None:
            self.plans.pop(self.shot.setup.id, None)
        self.library.use_setup(setup_id)
        self._outcome, self._asked_id = None, ""
        self._open()
        return self.begin() if begin else self.shot

    def copy(self, setup_id: str) -> Shot:
        """Make a new set-up from an old one as template, and use it: lights and places, no readings."""
        old = self.library.setup(setup_id)
        return self.use(copied_setup(self.library, setup_id, self.free_name(old.name)).id, begin=True)

    def revise_setup(self, **changes: Any) -> Shot:
        """Change name, ISO, shutter, notes ... of the set in use."""
        session = self._need()
        setup = session.setup._replace(**changes)
        self.library.revise_setup(setup)
        return self._shoot()

    def remember(self, **changes: Any) -> Shot:
        """Change what the person likes."""
        prefs = self.prefs._replace(**changes)
        self.library.remember(KEY, prefs._asdict())
        self.prefs = prefs
        if "auto_advance" in changes and self.session is not None:
            self.session.advance_by_itself(prefs.auto_advance)
        return self._shoot()

    def set_limit(self, name: str, value: float) -> Shot:
        """Change one of the library's own limits."""
        self.library.set_setting(name, value)
        return self._shoot()

    # -- the walk -----------------------------------------------------------------------------------------------

    def begin(self, first_id: str | None = None) -> Shot:
        """Wait for every light that has no valid reading, in their order; for ``first_id`` first, and also when it has one.

        Where nothing is missing nothing is waited for: a stray pop must not replace a good reading.
        """
        session = self._need()
        if not session.lights():
            raise UsageError("this set has no lights yet: add the first one on the lights page")
        session.begin((self._request(light) for light in session.pending()), any_order=self.prefs.free_order)
        return self.wait_for(first_id) if first_id is not None else self._shoot_onward()

    def _request(self, light: Light) -> Request:
        return self._need().request(light, held_off_m=self._recalled_held(light.id))

    def wait_for(self, light_id: str, **how: Any) -> Shot:
        """Wait for this light now, whatever came before; afterwards for what has no reading yet.

        ``how`` are fields of a ``Request`` (``kind``, ``aim`` ...) other than the usual ones.
        """
        self._need().wait_for(self._request(self._light(light_id))._replace(**how))
        self._asked_id = light_id
        return self._shoot_onward()

    def wait_for_all(self) -> Shot:
        """Wait for one pop of all lights that reach the face together: the sum check."""
        session = self._need()
        request = session.request_together()
        if len(request.lit) < 2:
            raise UsageError("a sum check needs two lights on the face: add or meter another one first")
        session.begin([request])
        return self._shoot_onward()

    def skip(self, shown: Request | None = None) -> Shot:
        """Leave out the light that is waited for; ``shown``: the one that the person saw waited for (``SetWalk.skip``)."""
        self._need().skip(shown)
        return self._shoot_onward()

    def take(self, measurement: Measurement) -> Outcome:
        """Give a measurement to the light that is waited for."""
        session = self._need()
        outcome = session.take(measurement)
        if isinstance(session, Rebuild):
            session.after(outcome)
        if outcome.kind == OutcomeKind.LOGGED:
            self._asked_id = ""
        if outcome.message:
            self._outcome = outcome
            self._shoot()
            if outcome.kind == OutcomeKind.LOGGED and self.shot.wave is None and measurement.wave is not None:
                self.shot = self.shot._replace(wave=measurement.wave)
        return outcome

    def undo(self) -> Shot:
        """Take back the last reading, whose light waits again, or first the distance that was said after it, and tell that."""
        session = self._need()
        taken = session.undo()
        self._outcome = Outcome(OutcomeKind.IGNORED, session.restored) if session.restored else None
        if session.restored and taken.light_id is not None:
            again = next(r for r in reversed(session.known.records.effective) if r.light_id == taken.light_id)
            self.library.remember(f"held:{taken.light_id}", again.held_off_m)
        return self._shoot()

    def give_to(self, name: str) -> Shot:
        """Give the last reading to another light."""
        self._need().reassign(name)
        self._outcome = None
        return self._shoot()

    def hold_off(self, light_id: str | None, held_off_m: float | None) -> Shot:
        """Say how far the dome is held off for a light, for its last pop and those to come; None is not given.

        ``light_id`` None is the pop of all lights that is waited for, or was just taken.
        """
        session = self._need()
        if light_id is None:
            session.held(held_off_m)
            return self._shoot_onward()
        light = self._light(light_id)
        check_held_off(held_off_m, session.placement(light_id), light.name)
        self.library.remember(f"held:{light_id}", held_off_m)
        with contextlib.suppress(UsageError):
            # Neither read nor waited for: it is remembered for its first pop.
            session.held(held_off_m, light_id)
        return self._shoot_onward()

    def _recalled_held(self, light_id: str) -> float | None:
        return self._held_of([light_id])[0][1]

    def _held_of(self, light_ids: Sequence[str]) -> tuple[tuple[str, float | None], ...]:
        """How far off the dome was last said to be held, light by light."""
        said = self.library.recall_all(f"held:{one}" for one in light_ids)
        values = [(one, said.get(f"held:{one}")) for one in light_ids]
        return tuple((one, float(v) if isinstance(v, int | float) and 0 <= v <= 50 else None) for one, v in values)

    def close(self) -> None:
        """Close the library; everything is on the disk already."""
        self.library.close()
