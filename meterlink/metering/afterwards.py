"""What is said of a pop after it was logged: how far off the dome was, that it counts no more, whose it was.

Nothing is fired for any of it: a new record supersedes.
"""

from __future__ import annotations

from meterlink.errors import NotInLibrary, UsageError
from meterlink.judging.verdict import Verdict
from meterlink.metering.any_order_walk import AnyOrderWalk
from meterlink.metering.nearness import typed_against_measured
from meterlink.records import Light, Purpose, Reading
from meterlink.records.placement_rules import check_held_off
from meterlink.words.actions import Do
from meterlink.words.sentences import held_words
from meterlink.words.told import NOTHING, told


class Amended(AnyOrderWalk):
    """A set-up and a walk whose pops can be spoken of afterwards."""

    disagreement = ""
    """What the last distance that was said has against what the range finder measured; empty when they agree."""
    restored = NOTHING
    """The distance that holds again after an undo that took only a distance back."""
    _retaken = ""
    """The light whose reading is to be retaken: it is waited for a second time, and no third."""

    def held_for(self) -> str | None:
        """The light that a held-off distance said now belongs to: the last pop's, else the one that is waited for."""
        last = self._last_of_walk()
        if last is not None:
            return last.light_id
        return self.walk.waiting.light_id if self.walk.waiting is not None else None

    def _last_of_walk(self) -> Reading | None:
        last_id = self.walk.last_id
        return next((r for r in self.known.records.effective if r.id == last_id), None) if last_id else None

    def held(self, held_off_m: float | None, light_id: str | None = None) -> Light | None:
        """Say how far the dome was, or will be, held off; None takes it back.  No new pop: a new record supersedes.

        Without ``light_id`` it belongs to the last pop, or to the one that is waited for when none came yet.  Returns the light
        that it was taken for (None: all together).  Raises GeometryError for a distance that cannot be, UsageError when there
        is neither a reading nor a request that it could belong to.
        """
        last = self._last_of_walk()
        unnamed = light_id is None
        if light_id is None:
            if last is None and self.walk.waiting is None:
                raise UsageError("there is no pop that this distance could belong to: name the light")
            light_id = self.held_for()
        light = self.by_id.get(light_id)
        check_held_off(held_off_m, self.placement(light.id) if light else None, self._name(light_id))
        self.disagreement = ""
        said = self._said_of_readings(held_off_m, light_id, last)
        if not said or (light_id is not None and (not unnamed or self._runs_on(light_id))):
            said = self._said_of_requests(held_off_m, light_id) or said
        if not said:
            raise UsageError("{light} has no reading and is not waited for: meter it first", light=self._name(light_id))
        self._cured(light)
        return light

    def _said_of_readings(self, held_off_m: float | None, light_id: str | None, last: Reading | None) -> bool:
        """Restate what stands of a light; of the whole set only the last pop."""
        now_id = self.placement_id(light_id)
        mine = [r for r in self.known.records.effective if r.light_id == light_id and now_id in (None, r.placement_id)]
        if light_id is None:
            mine = [r for r in mine if last is not None and r.id == last.id]
        for r in mine:
            if r.held_off_m == held_off_m:
                continue
            if held_off_m is not None and r.u_held_off_m is not None:
                self.disagreement = typed_against_measured(held_off_m, r.held_off_m, r.u_held_off_m, self.settings)
            self.restate(r, held_off_m=held_off_m, u_held_off_m=None)
        self._remember_walk()
        return bool(mine)

    def _runs_on(self, light_id: str) -> bool:
        """Whether the waiting request belongs to a reading of this light that is under way."""
        waiting = self.walk.waiting
        if waiting is None or not self.walk.listening or waiting.light_id != light_id:
            return False
        return waiting.purpose == Purpose.WITHOUT or bool(self._in_progress and self._in_progress == self.walk.last_id)

    def held_next(self, held_off_m: float | None, light_id: str) -> None:
        """Say how far the dome will be held off for a light's pops to come; what was read of it stays as it was said.

        Raises GeometryError for a distance that cannot be.
        """
        check_held_off(held_off_m, self.placement(light_id), self._name(light_id))
        self._said_of_requests(held_off_m, light_id)

    def _said_of_requests(self, held_off_m: float | None, light_id: str | None) -> bool:
        found = False
        for i, request in enumerate(self.walk.requests):
            if request.light_id == light_id and i not in self.walk.served:
                self.walk.requests[i] = request._replace(held_off_m=held_off_m)
                found = True
        self._remember_walk()
        return found

    def undo(self) -> Reading:
        """Take back what was done last: a distance that was said after a pop, else the last pop, whose light then waits again.

        Returns the record that counts no more; ``restored`` says what holds again where only a distance was taken back.
        """
        self._retaken, self.restored = "", NOTHING
        said = [] if self.walk.stranger else self._said_last()
        if said:
            return self._distance_back(said)
        if self._heard_last(self._last_pop()) and (taken := self._undo_any()) is not None:
            return taken
        last = self.library.last_reading(self.setup.id)
        if last is None:
            raise NotInLibrary("{setup}: there is no reading to take back", setup=self.setup.name)
        self._back_to_before(last)
        return last

    def _back_to_before(self, last: Reading) -> None:
        """Void the last reading and wait for its light again; of several pops the last one is taken back, and the others stand."""
        with self._stored_with_walk():
            self.library.void_reading(last.id, "taken back")
            self.walk.back_to(last.light_id)
            self.walk.last_id = ""
            self._in_progress = (last.supersedes_id or "") if len(last.pops) > 1 else ""

    def _said_last(self) -> list[tuple[Reading, Reading]]:
        """The records that the distance said last made, each with the one that it superseded; none where a pop came after it.

        Said of one light several times in a row it is one distance, put right: a slider says one wherever it is let go.
        """
        everything = {r.id: r for r in self.library.all_readings(self.setup.id)}
        void, found = self.library.voids(self.setup.id), list[tuple[Reading, Reading]]()
        for new in reversed([r for r in everything.values() if r.id not in void]):
            old, first = everything.get(new.supersedes_id or ""), found[0][0] if found else new
            # A light has a reading at each point where it was metered, and they were said together.
            if old is None or not _restates(new, old) or new.light_id != first.light_id:
                break
            found.append((new, old))
        return found

    def _distance_back(self, said: list[tuple[Reading, Reading]]) -> Reading:
        last = before = said[0][0]
        for new, old in said:
            before = old if new.id == before.id else before
        with self._stored_with_walk():
            for new, old in said:
                self.library.void_reading(new.id, "distance taken back")
                self.walk.restated(new.id, old.id)
                self._in_progress = old.id if self._in_progress == new.id else self._in_progress
            for i, request in enumerate(self.walk.requests):
                if (request.light_id, request.held_off_m) == (last.light_id, last.held_off_m):
                    self.walk.requests[i] = request._replace(held_off_m=before.held_off_m)
        was, now = held_words(None, last.held_off_m), held_words(self.view().state(last.light_id), before.held_off_m)
        back = told("distance_back", light=self._name(last.light_id), was=was)
        self.restored = told("distance_back_to", back=back, now=now) if now else back
        return last

    def reassign(self, name: str) -> tuple[Reading, Light | None]:
        """Give the last reading to another light; the light that it was logged for is waited for again.

        Returns the new reading and the light that lost it.  In any order the other pops may change their lights with it.
        UsageError for a pop that can be no reading of that light: one alone for a reflector, which takes two.
        """
        last, light = self._last_pop(), self.light(name)
        fits = last is None or can_be_of(last, light)
        if light.source_light_id and not fits:
            do = Do("meter", light=light.name)
            raise UsageError("{light} is a reflector, which takes two pops: {do}", light=light.name, do=do)
        if self._heard_last(last):
            return self._said_whose(light)
        if last is None:
            raise NotInLibrary("{setup}: there is no reading to give to another light", setup=self.setup.name)
        if not fits:
            raise UsageError("the last pop was not fired by one light alone, take it back: {do}", do=Do("undo"))
        if last.light_id == light.id:
            raise UsageError("the last reading is {light}'s already", light=light.name)
        with self._stored_with_walk():
            stands = self.placement_id(light.id)
            new = self.library.restate_reading(last.id, light_id=light.id, placement_id=stands, point=light.point)
            self.walk.back_to(last.light_id)
            self.walk.drop(light.id)
            self.walk.last_id, self._in_progress = new.id, ""
        return new, self.by_id.get(last.light_id)

    def _last_pop(self) -> Reading | None:
        """The reading whose pop came last: what was said of an earlier one since made a newer record, and no newer pop."""
        every = {r.id: r for r in self.library.all_readings(self.setup.id)}

        def logged_first(r: Reading) -> str:
            while (old := every.get(r.supersedes_id or "")) is not None and old.id < r.id and old.taken_at_s == r.taken_at_s:
                r = old
            return r.id

        return max(self.known.records.effective, key=logged_first, default=None)

    def _cured(self, light: Light | None) -> None:
        """What was said of a pop made it count: its light is waited for no longer."""
        if light is None or light.id != self._retaken:
            return
        state, waiting = self.view().state(light.id), self.walk.waiting
        if state is not None and state.judged is not None and state.judged.verdict != Verdict.RETAKE:
            self._retaken = ""
            if waiting is not None and waiting.light_id == light.id:
                self.walk.advance()
                self._remember_walk()


def can_be_of(reading: Reading, light: Light) -> bool:
    """Whether a reading can be this light's: a reflector's is one of two pops of its source, a lamp's is of a pop alone."""
    return reading.purpose in ((Purpose.WITH, Purpose.WITHOUT) if light.source_light_id else (Purpose.ALONE,))


def _restates(new: Reading, old: Reading) -> bool:
    """Whether a record says nothing new but how far the dome was held off."""
    same = old._replace(id=new.id, supersedes_id=new.supersedes_id, held_off_m=new.held_off_m, u_held_off_m=new.u_held_off_m)
    return same == new and old.held_off_m != new.held_off_m
