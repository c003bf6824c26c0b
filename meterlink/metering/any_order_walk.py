"""A walk whose lights fire in any order: each pop is kept as the light's that it most likely is, and put right by later ones.

What a pop tells is said at once: sure, or the likeliest with the second in the same breath.  Where a later pop leaves only one
way in which all fit, the earlier ones are given to their lights by new records; nothing that was kept is changed or lost.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

from meterlink.errors import NotInLibrary
from meterlink.judging.whose_pop import NONE, SURE_ODDS, Answer
from meterlink.metering.any_order import AnyOrder, is_free, same_pops
from meterlink.metering.expectation import USUAL_PULSE_S, Expectation, beyond_one_range, expectation_of
from meterlink.metering.outcome import Outcome, OutcomeCode, OutcomeKind
from meterlink.metering.set_walk import SetWalk
from meterlink.metering.walk import Heard, Request
from meterlink.records import Light, Measurement, Reading
from meterlink.words.sentences import logged
from meterlink.words.told import Told, told

MOST_ODDS = 1e9
"""Odds are told up to here: beyond it they say nothing more."""


class AnyOrderWalk(SetWalk):
    """A walk that asks the pops whose they are, when it was begun so."""

    def begin(self, requests: Iterable[Request], *, any_order: bool = False) -> None:
        """Begin a walk; ``any_order`` wherever it may be: two lights or more, of which something is known.

        What can be told by its pop then comes first, whatever else is asked for.  Where nothing is known the announced order stays.
        """
        wanted = list(requests)
        super().begin(wanted)
        self.walk.any_order = any_order and sum(map(is_free, self.walk.requests)) > 1
        if self.walk.any_order and len(AnyOrder(self).may_fire) > 1:
            wanted.sort(key=lambda one: not is_free(one) or self._reflected(one))
            super().begin(wanted)
            self.walk.any_order = True
        self._remember_walk()

    def _reflected(self, request: Request) -> bool:
        light = self.by_id.get(request.light_id)
        return light is not None and light.source_light_id is not None

    def order(self) -> AnyOrder | None:
        """The lights that may fire in any order now; None when one certain light is waited for, or the person goes on herself."""
        waiting = self.walk.waiting
        if not (self.walk.any_order and self.walk.auto_advance) or waiting is None or not is_free(waiting):
            return None
        return AnyOrder(self)

    def may_come(self) -> list[Request]:
        """What the next pop may belong to: one request in the announced order, several in any."""
        waiting, order = self.walk.waiting, self.order()
        if waiting is None or order is None:
            return [] if waiting is None else [waiting]
        free = self._free(order)
        _, weak = beyond_one_range(self, free)
        return [one for one in free if one.light_id not in weak]

    def expected(self) -> Expectation | None:
        """What the next pop should give at the dome, of several the brightest and the longest; None when nothing is known."""
        if not self.walk.listening:
            return None
        found = [one for request in self.may_come() if (one := expectation_of(self, request)) is not None]
        if not found:
            return None
        brightest = max(found, key=lambda one: one.exposure_lxs / (one.pulse_s or USUAL_PULSE_S))
        return brightest._replace(t01_s=max((one.t01_s for one in found if one.t01_s), default=None))

    def several(self) -> bool:
        """Whether the next pop may be one of several lights', those that the range does not read included."""
        order = self.order()
        return order is not None and len(self._free(order)) > 1

    def _free(self, order: AnyOrder) -> list[Request]:
        """What any order leaves to fire next, whatever the sensor's range."""
        if self.walk.named in order.requests:
            return [order.requests[self.walk.named]]
        wanted = {r.light_id for i, r in enumerate(self.walk.requests) if i not in self.walk.served}
        return [order.requests[one] for one in order.may_fire if one in wanted]

    # -- a pop --------------------------------------------------------------------------------------------------

    def _take_any(self, order: AnyOrder, m: Measurement) -> Outcome | None:
        """Keep a pop as the light's that it most likely is; None when nothing is known that could tell."""
        answer = order.hear(m, self.walk.named, self._stranger())
        if answer is None:
            return None
        if answer.light_id == NONE:
            return self._fits_none(m)
        request = order.requests[answer.light_id]
        said = self.walk.named == answer.light_id
        with self._stored_with_walk():
            # A pop that she has named herself tells nothing of whose the others were.
            heard, right = (order.heard, []) if said else self._put_right(order, answer)
            reading = self._log(m, request)
            self._settle([*heard, Heard(reading.id, said)], [was for was, _ in right], reading.light_id or "")
        return self._named_outcome(order, answer, reading, right)

    def _put_right(self, order: AnyOrder, answer: Answer) -> tuple[list[Heard], list[tuple[str, str]]]:
        """Give the earlier pops to the lights that fit all pops best; returns what they are now, and whose became whose."""
        heard, right = [], []
        for one, old, light_id in zip(order.heard, order.readings, answer.lights, strict=False):
            if light_id in (old.light_id, NONE):
                # Better with the light that it was taken for than with nobody: a pop of its own would replace it.
                heard.append(one)
            else:
                right.append((old.light_id or "", light_id))
                heard.append(one._replace(reading_id=self._give(order, old, light_id).id))
        return heard, right

    def _give(self, order: AnyOrder, old: Reading, light_id: str) -> Reading:
        before, now = order.requests.get(old.light_id or ""), order.requests[light_id]
        declared = before is not None and before.held_off_m is not None
        changes: dict[str, Any] = {"light_id": light_id, "placement_id": self.placement_id(light_id), "point": now.point}
        if declared or now.held_off_m is not None:
            # A distance that was said for the light, not for the pop.
            changes["held_off_m"] = now.held_off_m
        return self.library.restate_reading(old.id, **changes)

    def _settle(self, heard: Sequence[Heard], lost: Sequence[str], newest: str = "") -> None:
        """The walk after a pop: which lights have one, which lost theirs, what is waited for."""
        kept = {r.id: r for r in self.library.readings(self.setup.id)}
        lights = {r.light_id for one in heard if (r := kept.get(one.reading_id)) is not None and r.light_id} | {newest} - {""}
        self.walk.hear(heard, lights, lost)
        self.walk.stranger = ""
        self._in_progress = ""

    # -- what is said -------------------------------------------------------------------------------------------

    def _stranger(self) -> Reading | None:
        """The last pop, where it fits no light: kept, and nobody's until the person says whose it is."""
        try:
            return self.library.reading(self.walk.stranger) if self.walk.stranger else None
        except NotInLibrary:
            return None

    def _fits_none(self, m: Measurement) -> Outcome:
        """Keep a pop that fits no light as nobody's: void, so that no table counts it, until the person gives it to a light."""
        waiting = self.walk.waiting
        assert waiting is not None
        with self._stored_with_walk():
            nobodys = self._reading(m, waiting._replace(light_id=None))._replace(supersedes_id=None)
            self.known.add_reading(nobodys, m.wave)
            self.library.void_reading(nobodys.id, "nobody's")
            self.walk.stranger = nobodys.id
            self._in_progress = ""
        said = told("fits_none", lights=tuple(self._name(one.light_id) for one in self.may_come()))
        return Outcome(OutcomeKind.AGAIN, said, waiting=self.walk.waiting, code=OutcomeCode.FITS_NONE)

    def _named_outcome(self, order: AnyOrder, answer: Answer, reading: Reading, right: Sequence[tuple[str, str]]) -> Outcome:
        view, light = self.view(), self.by_id[reading.light_id]
        state = view.state(light.id)
        said = logged(view, reading, state, reading.purpose)
        second = "" if answer.sure or answer.second == NONE else answer.second
        if second:
            said = told("taken_as", first=light.name, second=self._name(second), logged=said)
        elif not answer.sure:
            said = told("if_none_fired", logged=said)
        righted = [told("put_right", was=self._name(was), light=self._name(now)) for was, now in right]
        numbers = {
            "pop": 1, "pops": 1, "odds": min(answer.odds, MOST_ODDS), "second": second,
            "put_right": [list(pair) for pair in right],
        }  # fmt: skip
        warnings = (*righted, *self._still_open(order))
        return Outcome(OutcomeKind.LOGGED, said, light, reading, state, warnings, self.walk.waiting, numbers=numbers)

    def _still_open(self, order: AnyOrder) -> list[Told]:
        """After the last pop: lights whose pops may still be the other way round (the last pop's own doubt is said with it)."""
        if not self.walk.done:
            return []
        out: list[Told] = []
        known: set[frozenset[str]] = set()
        for i in range(len(order.who.pops) - 1):
            answer = order.who.answer(i)
            pair = frozenset({answer.lights[i], answer.second})
            last = frozenset({answer.lights[-1], order.who.answer().second}) if not order.who.answer().sure else frozenset()
            doubted = answer.odds < SURE_ODDS and order.who.may_be_exchanged(i, answer.second)
            if doubted and NONE not in pair and pair not in known and pair != last:
                known.add(pair)
                out.append(told("other_way_round", lights=tuple(self._name(one) for one in order.requests if one in pair)))
        return out

    # -- what the person says -----------------------------------------------------------------------------------

    def again(self, light_id: str) -> None:
        """Wait for this light once more; its earlier pop is no pop of this walk any more."""
        self._drop_heard(light_id)
        super().again(light_id)

    def wait_for(self, request: Request) -> None:
        """Wait for this now: in any order, too, the next pop is then its."""
        if request.light_id is not None:
            self._drop_heard(request.light_id)
        super().wait_for(request)
        if self.walk.any_order and is_free(request):
            self.walk.named = request.light_id or ""
            self._remember_walk()

    def _drop_heard(self, light_id: str) -> None:
        kept = {r.id: r.light_id for r in self.known.records.readings}
        self.walk.heard = [one for one in self.walk.heard if kept.get(one.reading_id) != light_id]

    def _heard_last(self, last: Reading | None) -> bool:
        """Whether the last pop is one of those that tell whose they are: not that of all, nor one from before a move."""
        readings = AnyOrder(self).readings if self.walk.any_order else []
        return self._stranger() is not None or (bool(readings) and last is not None and readings[-1].id == last.id)

    def _said_whose(self, light: Light) -> tuple[Reading, Light | None]:
        """The last pop is this light's, were it skipped before: the others are looked at again in that light."""
        self.walk.served -= {i for i, one in enumerate(self.walk.requests) if one.light_id == light.id}
        stranger = self._stranger()
        if stranger is not None:
            return self._given(stranger, light), None
        order = AnyOrder(self, light.id)
        last = order.readings[-1]
        order.who.fix(len(order.readings) - 1, light.id)
        answer = order.who.answer()
        with self._stored_with_walk():
            heard, right = self._put_right(order, answer)
            heard[-1] = heard[-1]._replace(said=True)
            self._settle(heard, [was for was, _ in right])
            self.walk.last_id = heard[-1].reading_id
        loser = self.by_id.get(last.light_id)
        waits = loser is not None and any(one.light_id == loser.id for one in self.may_come())
        return self.library.reading(heard[-1].reading_id), loser if waits else None

    def _given(self, stranger: Reading, light: Light) -> Reading:
        """Give a pop that fitted no light to one: its record supersedes nobody's, and the other pops are looked at again."""
        order = AnyOrder(self, light.id)
        answer = order.hear(stranger, light.id)
        assert answer is not None, "a pop without light fits every light, and is nobody's"
        with self._stored_with_walk():
            heard, right = self._put_right(order, answer)
            reading = self._give(order, stranger, light.id)
            self._settle([*heard, Heard(reading.id, said=True)], [was for was, _ in right], light.id)
            self.walk.last_id = reading.id
        return reading

    def _undo_any(self) -> Reading | None:
        """Take the last pop of this walk back; None when it has none.  One that was nobody's needs only be forgotten."""
        stranger = self._stranger()
        if stranger is not None:
            self.walk.stranger = ""
            self._remember_walk()
            return stranger
        order = AnyOrder(self)
        if not order.readings:
            return None
        last = order.readings[-1]
        with self._stored_with_walk():
            everything = {r.id: r for r in self.library.all_readings(self.setup.id)}
            for said in same_pops([last], everything):
                self.library.void_reading(said, "taken back")
            self._settle(order.heard[:-1], [last.light_id or ""])
            # What it had told of the others' pops is forgotten with it.
            order = AnyOrder(self)
            if order.readings:
                heard, right = self._put_right(order, order.who.answer())
                self._settle(heard, [was for was, _ in right])
            self.walk.last_id = ""
        return last
