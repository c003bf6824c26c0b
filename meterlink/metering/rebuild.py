"""Building a stored set again: one pop of every light, all changes at once, one more pop of what needs it, the last small changes.

The first round is taken to its end before anything is turned, because a difference that all lights share is closed at the
camera and not at four lights.  ``Rebuild`` is a session like any other: a light's change is recorded with its next pop, so that
a walk that is broken off leaves no move that nobody made.  The last changes have no pop: they are recorded when the person says
that they are made (``set_last``).  The command line drives it; it prints nothing.
"""

from __future__ import annotations

import time
from collections.abc import Callable

from meterlink.demo import free_name
from meterlink.errors import UsageError
from meterlink.judging.view import SetView
from meterlink.library.store import Library
from meterlink.metering.session import Outcome, Session
from meterlink.metering.walk import Request
from meterlink.records import Measurement, Reading
from meterlink.tables.adjustment import placement_changes
from meterlink.tables.joined_pops import settled
from meterlink.tables.match import MatchReport, match_report
from meterlink.tables.match_rounds import Turn, last_round, second_round

STORED = "match:stored"
"""Where the library remembers which stored set-up a rebuild is matched to."""


class Rebuild(Session):
    """The set-up that is built again, beside the stored one."""

    def __init__(
        self,
        library: Library,
        stored: Session,
        setup: str | None = None,
        *,
        tolerance_stops: float | None = None,
        keep_common: bool = True,
        now: Callable[[], float] = time.time,
    ) -> None:
        """``keep_common`` leaves a difference that all lights share to the camera; else the lights are turned."""
        super().__init__(library, setup, now=now)
        self.stored = stored
        self.stored_view: SetView = stored.view()
        self.tolerance_stops = tolerance_stops
        self.keep_common = keep_common
        self.round = 0
        self.planned: dict[str, Turn] = {}

    def report(self) -> MatchReport:
        """Compare what is metered now with the stored set."""
        view, _ = self.full_view()
        return match_report(self.stored_view, view, self.tolerance_stops)

    def begin_rebuild(self) -> list[str]:
        """Begin the first round.  Returns where every light stood, in words, and what cannot be matched.

        Raises UsageError when there is nothing to match.
        """
        names = {one.name.casefold(): one for one in self.lights()}
        requests, missing = [], []
        for state in self.stored_view.lights:
            light = names.get(state.light.name.casefold())
            r = state.reading
            if r is None:
                missing.append(f"{state.light.name} has no current reading in {self.stored.setup.name}: it cannot be matched")
            elif light is None:
                missing.append(f"{state.light.name} is not in {self.setup.name}: add it, or remove it from the stored set")
            else:
                how = (r.kind, light.point, r.aim, r.receptor, r.held_off_m, r.held_off_toward)
                requests.append(Request(light.id, "alone", *how))
        if not requests:
            raise UsageError(f"{self.stored.setup.name} has no current readings: there is nothing to match")
        self.round = 1
        self.planned = {}
        self.begin(requests)
        return missing

    def after(self, outcome: Outcome) -> list[str]:
        """Say how the light of a pop compares; at the end of the first round begin the second one, with what to change.

        What to set at the very end is in ``last``: that needs no pop.
        """
        if outcome.kind != "logged" or outcome.light is None:
            return []
        report = self.report()
        said = [row.sentence for row in report.rows if row.light.casefold() == outcome.light.name.casefold()]
        if outcome.reading is not None and outcome.reading.purpose == "with":
            said = []
        if self.walk.done and self.round == 1:
            said += self._begin_second(report)
        return said

    @property
    def last(self) -> tuple[Turn, ...]:
        """The small changes that are still worth making, none of which needs a pop; as the set is metered now."""
        view, _ = self.full_view()
        return last_round(self.report(), settled(view), keep_common=self.keep_common)

    def set_last(self) -> tuple[Turn, ...]:
        """Record that the last changes were made, and return them; the report then says what is to be expected."""
        turns = self.last
        lights = {one.id: one for one in self.lights()}
        for turn in turns:
            if turn.move is not None:
                self.move(lights[turn.light_id], **placement_changes(turn.move))
        return turns

    def _begin_second(self, report: MatchReport) -> list[str]:
        self.round = 2
        view = settled(self.full_view()[0])
        turns = second_round(report, view, keep_common=self.keep_common)
        said = [report.camera] if report.camera and self.keep_common else []
        if not turns:
            return said
        first = {r.light_id: r for r in reversed(self.walk.requests)}
        self.planned = {turn.light_id: turn for turn in turns if turn.move is not None}
        self.begin(self._once_more(first[turn.light_id], turn) for turn in turns if turn.light_id in first)
        return [*said, "now change, then fire each of these once more:", *(f"  {turn.sentence}" for turn in turns)]

    @staticmethod
    def _once_more(request: Request, turn: Turn) -> Request:
        """A reflector's two requests are made anew from one; a light left as it is gets a second pop to its first one."""
        if request.purpose in ("with", "without"):
            return request._replace(purpose="alone")
        return request._replace(pops=2) if turn.move is None else request

    def _reading(self, m: Measurement, request: Request) -> Reading:
        turn = self.planned.pop(request.light_id or "", None)
        light = self._light_of(request)
        if turn is not None and turn.move is not None and light is not None:
            self.move(light, **placement_changes(turn.move))
        elif self.round == 2 and request.pops == 2 and light is not None:
            # The second pop joins the first one: both make one reading.
            earlier = self._earlier(request, self.placement(light.id))
            self._in_progress = earlier.id if earlier is not None and len(earlier.pops) == 1 else ""
        return super()._reading(m, request)


def rebuild_of(library: Library, stored: Session, *, here: bool = False, **options: object) -> Rebuild:
    """Return the rebuild of a stored set-up: the set-up in use if it was begun as such (or ``here``), else a fresh copy."""
    current = library.current_setup()
    if here or library.recall(f"{STORED}:{current.id}") == stored.setup.id:
        if current.id == stored.setup.id:
            raise UsageError(f"{stored.setup.name} is in use itself: leave --here away to rebuild it as a set-up of its own")
        return Rebuild(library, stored, current.id, **options)  # type: ignore[arg-type]
    copy = library.copy_setup(stored.setup.id, free_name(library, f"{stored.setup.name} again"))
    library.use_setup(copy.id)
    library.remember(f"{STORED}:{copy.id}", stored.setup.id)
    return Rebuild(library, stored, copy.id, **options)  # type: ignore[arg-type]
