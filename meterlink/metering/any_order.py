"""Whose pop it is in a walk whose lights fire in any order, and what is to be known before the first one.

The likelihood is ``judging/whose_pop.py``; here is what it is told: the lights that are asked for with all that was read of their
heads before this walk, and the pops of the walk with what the person said of them.  Made anew for each pop, so that a light that
was moved meanwhile, a pop that was taken back and a distance that was said afterwards need no care of their own.
"""

from __future__ import annotations

from collections.abc import Container, Iterable, Mapping
from math import log2

from meterlink.judging.whose_pop import Answer, Candidate, WhosePop, candidate_of, in_order, seen_of
from meterlink.metering.expectation import beyond_one_range, same_pop
from meterlink.metering.set_walk import SetWalk
from meterlink.metering.walk import Request
from meterlink.records import Kind, Measurement, Purpose, Reading
from meterlink.words.told import Told, told

REPEATS_STOPS = 0.3
"""Two pops of one head, the dome held by hand, differ by less: our own estimate, no published source."""


class AnyOrder:
    """The lights of one walk that may fire in any order, and its pops so far."""

    def __init__(self, opened: SetWalk, named: str = "") -> None:
        """``named``: the light of the set whose pop one of them is, as the person says, though the walk did not ask for it."""
        self.opened, walk = opened, opened.walk
        kept = {r.id: r for r in opened.known.records.readings}
        read = {kept[one.reading_id].light_id for one in walk.heard if one.reading_id in kept}
        # Served without a pop is skipped: it will not fire, and nobody waits for it.
        skipped = {r.light_id for i, r in enumerate(walk.requests) if i in walk.served} - read
        self.requests = {r.light_id: r for r in walk.requests if r.light_id and is_free(r) and r.light_id not in skipped}
        # She fired a light that was not asked for, and said so: its pop is known, and nobody waits for it.
        also = {r.light_id for one in walk.heard if one.said and (r := kept.get(one.reading_id)) is not None} | {named}
        for light_id in also - self.requests.keys() - skipped:
            if (light := opened.by_id.get(light_id)) is not None:
                self.requests[light.id] = opened.request(light)
        self.heard = [one for one in walk.heard if self._stands(kept.get(one.reading_id))]
        """The pops that count: not those taken back, nor those of a light that was moved since."""
        self.readings = [kept[one.reading_id] for one in self.heard]
        self.candidates = self._candidates(set(same_pops(self.readings, kept)))
        self.after, self.alike, self.unknown = in_order(self.candidates)
        self.who = WhosePop(self.candidates, self.after)
        for i, (one, reading) in enumerate(zip(self.heard, self.readings, strict=True)):
            self._hear(reading, self._moved_since(min(same_pops([reading], kept)), reading.light_id))
            if one.said and reading.light_id is not None:
                self.who.fix(i, reading.light_id)

    def _stands(self, reading: Reading | None) -> bool:
        if reading is None or reading.light_id not in self.requests or not reading.exposure_lxs:
            return False
        return reading.placement_id == self.opened.placement_id(reading.light_id)

    def _candidates(self, of_this_walk: set[str]) -> list[Candidate]:
        view = self.opened.view()
        pasts = [one for one in view.history if one.reading.id not in of_this_walk]
        found = []
        for light_id, request in self.requests.items():
            state = view.state(light_id)
            if state is None:
                continue
            one = candidate_of(
                state.light, state.placement, pasts, view.settings, receptor=request.receptor,
                calibration_id=self.opened.calibration_id, held_off_m=request.held_off_m, falloff=view.falloff(state.light),
            )  # fmt: skip
            # Another aim or point than what earlier readings were taken with: they tell nothing of the level.
            usual = request.aim == "light" and request.point == state.light.point
            found.append(one if usual else one._replace(levels=()))
        return found

    def _moved_since(self, pop_id: str, of: str | None) -> set[str]:
        """Lights that were moved after a pop, so that it is none of them as they stand; not the one that it was given to."""
        stands = {one: self.opened.placement_id(one) or "" for one in self.requests if one is not None}
        return {one for one, placement_id in stands.items() if placement_id > pop_id and one != of}

    def _hear(self, pop: Measurement | Reading, not_of: Container[str] = ()) -> Answer | None:
        seen = seen_of(pop, self.opened.settings)
        return None if seen is None else self.who.hear(seen, not_of)

    def hear(self, m: Measurement | Reading, named: str = "", before: Reading | None = None) -> Answer | None:
        """Whose this pop is, and whose the earlier ones are after it; None for a pop without light.

        ``named``: the light that it is, because the person said so beforehand.  ``before``: the last pop, when that fitted no
        light; where this one is its like the person fires it on purpose, and it is the likeliest light's.
        """
        if self._hear(m) is None:
            return None
        if named in self.requests:
            self.who.fix(len(self.heard), named)
        elif before is not None and _repeats(m, before):
            self.who.must_be_one(len(self.heard))
        elif len(self.may_fire) == 1 and self._was_another_again() and _repeats(m, self.readings[-1]):
            # She was told that it was taken for a light that had its pop, and which one waits, and fires the same: it is that one.
            self.who.fix(len(self.heard), self.may_fire[0])
        return self.who.answer()

    def _was_another_again(self) -> bool:
        """Whether the last pop was taken for a light that had its own already."""
        return bool(self.readings) and self.readings[-1].light_id in {r.light_id for r in self.readings[:-1]}

    @property
    def may_fire(self) -> list[str]:
        """Ids of the lights that have no pop yet and need not wait for another one."""
        used = {one.light_id for one in self.readings}
        return [one.light_id for one in self.candidates if one.light_id not in used and self.after.get(one.light_id, set()) <= used]

    def said(self) -> list[Told]:
        """What is to be known before the first pop: the lights that must keep an order, and why."""
        names = {one.id: one.name for one in self.opened.lights()}
        alike = [tuple(names[one] for one in group) for group in self.alike]
        out = [told("alike_two", lights=two, first=two[0]) if len(two) == 2 else told("alike_more", lights=two) for two in alike]
        strong, weak = beyond_one_range(self.opened, (self.requests[one] for one in self.may_fire))
        if weak:
            out.append(told("strong_first", strong=tuple(names[one] for one in strong), weak=tuple(names[one] for one in weak)))
        if self.unknown:
            everything = len(self.unknown) == len(self.requests)
            lights = tuple(names[one] for one in self.unknown)
            out.append(told("none_known") if everything else told("nothing_known", lights=lights))
        return out


def _repeats(m: Measurement | Reading, before: Reading) -> bool:
    """Whether two pops are of one head, the dome held by hand."""
    return abs(log2((m.exposure_lxs or 1.0) / (before.exposure_lxs or 1.0))) < REPEATS_STOPS


def is_free(request: Request) -> bool:
    """Whether a request is one that any order can serve: one pop of one light."""
    return request.purpose == Purpose.ALONE and request.kind == Kind.FLASH and request.pops == 1


def same_pops(readings: Iterable[Reading], kept: Mapping[str, Reading]) -> Iterable[str]:
    """Ids of these readings and of all records that said the same pops before."""
    for reading in readings:
        one: Reading | None = reading
        while one is not None:
            yield one.id
            earlier = kept.get(one.supersedes_id or "")
            one = earlier if earlier is not None and same_pop(one, earlier) else None
