"""Building a stored set again: one pop of every light, all changes at once, one more pop of what needs it, the last small changes.

The first round is taken to its end before anything is turned, because a difference that all lights share is closed at the
camera and not at four lights.  ``Rebuild`` is a session like any other: a light's change is recorded with its next pop, so that
a walk that is broken off leaves no move that nobody made.  The last changes have no pop: they are recorded when the person says
that they are made (``set_last``).  The command line drives it; it prints nothing.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Container, Iterable, Mapping
from typing import Any

from meterlink.demo import free_name
from meterlink.errors import MeterlinkError, UsageError
from meterlink.judging.joined_pops import settled
from meterlink.library.store import Library
from meterlink.metering.expectation import COPIED, STORED
from meterlink.metering.outcome import Outcome, OutcomeKind
from meterlink.metering.session import Session
from meterlink.metering.walk import Request
from meterlink.records import Light, Measurement, Placement, Purpose, Reading
from meterlink.records import Setup as StoredSetup
from meterlink.tables.adjustment import Move, move_told, placement_changes
from meterlink.tables.match import MatchReport, match_report
from meterlink.tables.match_rounds import Turn, last_round, second_round
from meterlink.words.language import say
from meterlink.words.told import NOTHING, Told, plain, told

__all__ = ["STORED", "Rebuild", "copied_setup", "rebuild_of", "session_of"]


ROUND = "match:round"
"""Where the library remembers how far a rebuild is."""


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
        self.tolerance_stops = tolerance_stops
        self.keep_common = keep_common
        self._asked = tolerance_stops, keep_common
        self.round = 0
        self.planned: dict[str, Turn] = {}

    def report(self) -> MatchReport:
        """Compare what is metered now with the stored set: what is said of that one's readings meanwhile counts, too."""
        view = self.view()
        return match_report(self.stored.view(), view, self.tolerance_stops, keep_common=self.keep_common)

    def begin_rebuild(self, *, open_only: bool = False) -> list[Told]:
        """Begin the first round.  Returns what cannot be matched.

        ``open_only`` leaves out the lights that match already by a pop of their own; where all do, nothing is begun.  Raises
        UsageError when there is nothing to match.
        """
        rows = self.report().rows if open_only else ()
        matched = {row.light.casefold() for row in rows if row.within and row.metered and not row.doubt}
        requests, missing = self._first_round(matched)
        if not requests and matched:
            return missing
        if not requests:
            raise UsageError("{setup} has no current readings: there is nothing to match", setup=self.stored.setup.name)
        self.round = 1
        self.planned = {}
        # What an earlier rebuild of this set was begun with is no wish of this one.
        self.tolerance_stops, self.keep_common = self._asked
        self.begin(requests)
        return missing

    def begin(self, requests: Iterable[Request], *, any_order: bool = False) -> None:
        """As in any session; after the second round any other walk is no round."""
        self.round = self.round if self.round == 1 else 0
        super().begin(requests, any_order=any_order)

    def _first_round(self, matched: Container[str] = ()) -> tuple[list[Request], list[Told]]:
        """What is asked for in the first round, without the lights that match already, and what cannot be matched."""
        names = {one.name.casefold(): one for one in self.lights()}
        requests, missing = [], []
        for state in self.stored.view().lights:
            light = names.get(state.light.name.casefold())
            r = state.reading
            if r is None:
                missing.append(told("nothing_to_match", light=state.light.name, setup=self.stored.setup.name))
            elif light is None:
                missing.append(told("not_in_setup", light=state.light.name, setup=self.setup.name))
            elif light.name.casefold() not in matched:
                # What a range finder measured then was nobody's word: it is measured anew.
                held_off_m = r.held_off_m if r.u_held_off_m is None else None
                how = (r.kind, r.point, r.aim, r.receptor, held_off_m, r.held_off_toward)
                requests.append(Request(light.id, Purpose.ALONE, *how))
        return requests, missing

    def after(self, outcome: Outcome) -> list[Told]:
        """Say how the light of a pop compares; at the end of the first round begin the second one, with what to change.

        What to set at the very end is in ``last``: that needs no pop.
        """
        if outcome.kind != OutcomeKind.LOGGED or outcome.light is None:
            return []
        report = self.report()
        said = [row.sentence for row in report.rows if row.light.casefold() == outcome.light.name.casefold()]
        if outcome.reading is not None and outcome.reading.purpose == Purpose.WITH:
            said = []
        if self.walk.done and self.round == 1:
            said += self._begin_second(report)
        return said

    def undo(self) -> Reading:
        """As in any session; with a pop of the first round what was told from it is forgotten, and that round goes on."""
        of_first_round = self.round == 2 and not self.walk.last_id
        taken = super().undo()
        if of_first_round and not self.restored:
            self.round, self.planned = 1, {}
            self.begin(self._first_round()[0])
            read = {one.light.id for one in self.view().lights if one.reading is not None} | {taken.light_id}
            self.walk.served = {i for i, one in enumerate(self.walk.requests) if one.light_id in read}
            self.walk.back_to(taken.light_id)
            self._remember_walk()
        return taken

    def _goes_on(self) -> bool:
        return super()._goes_on() or (self.round == 1 and bool(self._second_round(self.report())))

    def _second_round(self, report: MatchReport) -> tuple[Turn, ...]:
        return second_round(report, settled(self.view()), keep_common=self.keep_common)

    @property
    def is_its_rebuild(self) -> bool:
        """Whether the set-up was begun as the rebuild of the stored one, so that a match without a word goes on with it."""
        return bool(self.library.recall(f"{STORED}:{self.setup.id}") == self.stored.setup.id)

    @property
    def last(self) -> tuple[Turn, ...]:
        """The small changes that are still worth making, none of which needs a pop; as the set is metered now."""
        return last_round(self.report(), settled(self.view()), keep_common=self.keep_common)

    def set_last(self) -> tuple[Turn, ...]:
        """Record that the last changes were made, and return them; the report then says what is to be expected."""
        turns = self.last
        for turn in turns:
            if turn.move is not None:
                self.move(self.by_id[turn.light_id], as_told=True, **placement_changes(turn.move))
        return turns

    def set_open(self) -> list[Light]:
        """Record that the changes that need a pop were made as the report says, and wait for their lights; return these.

        None while the report closes what is off at the camera: then no light was to be turned.
        """
        report = self.report()
        if report.camera and self.keep_common:
            return []
        rows = [row for row in report.rows if not row.within and row.move is not None and placement_changes(row.move)]
        changed = [self.light(row.light) for row in rows]
        for light in reversed(changed):
            self.made(light.id)
        return changed

    def made(self, light_id: str) -> None:
        """Record that a light was changed as it was told, and wait for it once more.

        Raises UsageError when there was nothing to change.
        """
        light = self.by_id.get(light_id)
        rows = {row.light.casefold(): row for row in self.report().rows}
        turn, row = self.planned.pop(light_id, None), rows.get(light.name.casefold()) if light is not None else None
        move = turn.move if turn is not None else row.move if row is not None else None
        changes = placement_changes(move) if move is not None else {}
        if light is None or not changes:
            raise UsageError("{light}: there is nothing to change", light=light.name if light else say("this light"))
        asked = next((r for r in self.walk.requests if r.light_id == light_id), self.request(light))
        self.move(light, **changes)
        self.wait_for(asked._replace(purpose=Purpose.ALONE, pops=1) if asked.purpose != Purpose.ALONE else asked)

    def placements_fired(self) -> dict[str, Placement]:
        """How the lights stand when the next one fires: changed as they were told, which is recorded with their pops."""
        found = super().placements_fired()
        for light_id, turn in self.planned.items():
            if turn.move is not None and light_id in found:
                # Another placement, with no id until its pop is there: what was read before is not what is to be expected of it.
                found[light_id] = found[light_id]._replace(id="", **placement_changes(turn.move))
        return found

    def _remember_walk(self) -> None:
        super()._remember_walk()
        planned = {light_id: {"move": plain(turn.move)} for light_id, turn in self.planned.items()}
        limits = {"tolerance_stops": self.tolerance_stops, "keep_common": self.keep_common}
        self.library.remember(f"{ROUND}:{self.setup.id}", {"round": self.round, "planned": planned, **limits})

    def resume(self) -> bool:
        """Come back to the round that was under way when the program ended, with what was told to be changed.

        What it was begun with, tolerance and lights instead of the camera, holds until it is begun anew.
        """
        kept = self.library.recall(f"{ROUND}:{self.setup.id}")
        if isinstance(kept, dict):
            self.round = kept["round"] if kept.get("round") in (1, 2) else 0
            self.planned = _planned(kept.get("planned"), self.by_id)
            tolerance_stops = kept.get("tolerance_stops")
            if self.tolerance_stops is None and isinstance(tolerance_stops, int | float) and tolerance_stops > 0:
                self.tolerance_stops = tolerance_stops
            self.keep_common &= kept.get("keep_common") is not False
        return super().resume()

    def _waited_for_again(self, outcome: Outcome, _request: Request) -> Outcome:
        """No: a light has two pops at most, and it is the rounds that ask for the second one."""
        return outcome

    def _begin_second(self, report: MatchReport) -> list[Told]:
        turns = self._second_round(report)
        said = [report.camera] if report.camera and self.keep_common else []
        if not turns:
            return said
        first = {r.light_id: r for r in reversed(self.walk.requests)}
        self.planned = {turn.light_id: turn for turn in turns if turn.move is not None}
        self.begin(self._once_more(first[turn.light_id], turn) for turn in turns if turn.light_id in first)
        self.round = 2
        self._remember_walk()
        return [*said, told("now_change"), *(told("turn", turn=turn.sentence) for turn in turns)]

    @staticmethod
    def _once_more(request: Request, turn: Turn) -> Request:
        """A reflector's two requests are made anew from one; a light left as it is gets a second pop to its first one."""
        if request.purpose in (Purpose.WITH, Purpose.WITHOUT):
            return request._replace(purpose=Purpose.ALONE)
        return request._replace(pops=2) if turn.move is None else request

    def _reading(self, m: Measurement, request: Request, instead_of: Reading | None = None) -> Reading:
        if instead_of is not None:
            return super()._reading(m, request, instead_of)
        turn = self.planned.pop(request.light_id or "", None)
        light = self.by_id.get(request.light_id)
        if turn is not None and turn.move is not None and light is not None:
            self.move(light, **placement_changes(turn.move))
        elif self.round == 2 and request.pops == 2 and light is not None:
            # The second pop joins the first one: both make one reading.
            earlier = self._earlier(request)
            self._in_progress = earlier.id if earlier is not None and len(earlier.pops) == 1 else ""
        return super()._reading(m, request)


def _planned(kept: Any, lights: Mapping[str | None, Light]) -> dict[str, Turn]:
    """Return the turns that were remembered; what cannot be read is forgotten: its row of the report says it again."""
    found = {}
    for light_id, one in kept.items() if isinstance(kept, dict) else ():
        try:
            effects = tuple(told("note", note=str(effect)) for effect in one["move"]["effects"])
            short = told("note", note=str(one["move"]["why_short"])) if one["move"]["why_short"] else NOTHING
            move = Move(**{**one["move"], "effects": effects, "why_short": short})
            found[light_id] = Turn(light_id, move, move_told(lights[light_id], move))
        except (KeyError, TypeError):
            continue
    return found


def copied_setup(library: Library, setup_id: str, name: str) -> StoredSetup:
    """Make a set-up from an old one as template; what the old one's lights gave is expected of the copy's."""
    copy = library.copy_setup(setup_id, name)
    library.remember(f"{COPIED}:{copy.id}", setup_id)
    return copy


def session_of(library: Library, setup: str | None = None, *, now: Callable[[], float] = time.time) -> Session:
    """Open a session on a set-up, as the rebuild that it is when it was begun as one, and come back to its walk."""
    session = Session(library, setup, now=now)
    stored_id = library.recall(f"{STORED}:{session.setup.id}")
    if isinstance(stored_id, str) and stored_id:
        try:
            session = Rebuild(library, Session(library, stored_id, now=now), session.setup.id, now=now)
        except MeterlinkError:
            # The stored set is gone: what was built stays a set like any other.
            pass
    session.resume()
    return session


def rebuild_of(library: Library, stored: Session, *, here: bool = False, **options: Any) -> Rebuild:
    """Return the rebuild of a stored set-up: the set-up in use if it was begun as such (or ``here``), else a fresh copy."""
    current = library.current_setup()
    if here or library.recall(f"{STORED}:{current.id}") == stored.setup.id:
        if current.id == stored.setup.id:
            raise UsageError("{setup} is in use itself: rebuild it as a set-up of its own", setup=stored.setup.name)
        library.remember(f"{STORED}:{current.id}", stored.setup.id)
        return Rebuild(library, stored, current.id, **options)
    copy = library.copy_setup(stored.setup.id, free_name(library, say("{setup} again", setup=stored.setup.name)))
    library.use_setup(copy.id)
    library.remember(f"{STORED}:{copy.id}", stored.setup.id)
    return Rebuild(library, stored, copy.id, **options)
