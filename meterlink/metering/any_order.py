"""A walk whose lights fire in any order: who may fire, whose the pops were, and what is said about it.

The likelihood is ``judging/whose_pop.py``; here are the records it needs, and which stored reading each pop became.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import NamedTuple

from meterlink.judging.whose_pop import NONE, Answer, Candidate, WhosePop, candidate_of, in_order, seen_of
from meterlink.metering.opened_set import OpenedSet
from meterlink.metering.walk import Request
from meterlink.records import Kind, Measurement, Purpose

__all__ = ["AnyOrder", "HeardPop", "which_names"]


class HeardPop(NamedTuple):
    """One pop of the walk: as measured, the light that it was given to, and the reading that it became."""

    measurement: Measurement
    light_id: str = NONE
    reading_id: str = ""


class AnyOrder:
    """The lights of one walk that may fire in any order."""

    def __init__(self, opened: OpenedSet, requests: Iterable[Request]) -> None:
        self.opened = opened
        self.requests = {
            r.light_id: r for r in requests if r.light_id and r.purpose == Purpose.ALONE and r.kind == Kind.FLASH
        }
        self.pops: list[HeardPop] = []
        self._calibration_id = ""
        self._learn()

    def _learn(self) -> None:
        """What each light should show; made again when the first pop says which calibration it comes with."""
        view = self.opened.view()
        candidates: list[Candidate] = []
        for light_id, request in self.requests.items():
            state = view.state(light_id)
            if state is None:
                continue
            one = candidate_of(
                state.light,
                state.placement,
                view.history,
                view.settings,
                receptor=request.receptor,
                calibration_id=self._calibration_id,
                held_off_m=request.held_off_m,
                falloff=view.falloff(state.light),
            )
            # Another aim or point than what earlier readings were taken with: they tell nothing of the level.
            usual = request.aim == "light" and request.point == state.light.point
            candidates.append(one if usual else one._replace(levels=()))
        self.candidates = candidates
        self.after, self.alike, self.unknown = in_order(candidates)
        self.who = WhosePop(candidates, self.after)

    # -- before the pops ----------------------------------------------------------------------------------------

    def may_fire(self) -> list[str]:
        """Ids of the lights that have no pop yet and need not wait for another one."""
        used = {pop.light_id for pop in self.pops}
        return [one.light_id for one in self.candidates if one.light_id not in used and self.after.get(one.light_id, set()) <= used]

    def said(self) -> list[str]:
        """What is to be known before the first pop: lights that must keep an order, and why."""
        out = []
        for group in self.alike:
            names = self._names(group)
            keep = f"fire {names[0]} first" if len(names) == 2 else f"fire them in this order"
            out.append(f"{which_names(names, 'and')} cannot be told apart: {keep}")
        if self.unknown:
            names = self._names(self.unknown)
            out.append(f"nothing is known yet of {which_names(names, 'and')}: fire them in this order")
        return out

    def _names(self, light_ids: Sequence[str]) -> list[str]:
        names = {one.id: one.name for one in self.opened.lights()}
        return [names[one] for one in light_ids]

    # -- pops ---------------------------------------------------------------------------------------------------

    def hear(self, m: Measurement) -> Answer | None:
        """Whose pop this is, and whose the earlier ones are after it; None for a pop without light."""
        if not self.pops and m.calibration_id != self._calibration_id:
            self._calibration_id = m.calibration_id
            self._learn()
        seen = seen_of(m, self.opened.settings)
        if seen is None or not self.candidates:
            return None
        answer = self.who.hear(seen)
        self.pops.append(HeardPop(m))
        return answer

    def changed(self, answer: Answer) -> list[int]:
        """Pops that the answer gives to another light than they are stored for."""
        pairs = zip(self.pops, answer.lights, strict=True)
        return [i for i, (pop, light_id) in enumerate(pairs) if pop.light_id != light_id]

    def became(self, pop: int, light_id: str, reading_id: str) -> None:
        """A pop is stored as this reading of this light."""
        self.pops[pop] = self.pops[pop]._replace(light_id=light_id, reading_id=reading_id)

    def restated(self, old_id: str, new_id: str) -> None:
        """A reading was said anew: its record has another id."""
        self.pops = [pop._replace(reading_id=new_id) if pop.reading_id == old_id else pop for pop in self.pops]

    def index_of(self, reading_id: str) -> int | None:
        """The pop that became this reading."""
        return next((i for i, pop in enumerate(self.pops) if pop.reading_id == reading_id), None)

    def take_back(self, reading_id: str) -> None:
        """The last pop was taken back; an earlier one stays heard, but belongs to nobody."""
        index = self.index_of(reading_id)
        if index is None:
            return
        if index == len(self.pops) - 1:
            self.who.forget_last()
            self.pops.pop()
        else:
            self.who.fix(index, NONE)
            self.became(index, NONE, "")

    def copy(self) -> tuple[WhosePop, list[HeardPop]]:
        """What ``restore`` brings back when nothing could be stored."""
        return self.who.copy(), list(self.pops)

    def restore(self, kept: tuple[WhosePop, list[HeardPop]]) -> None:
        """Forget what came since ``copy``."""
        self.who, self.pops = kept


def which_names(names: Sequence[str], word: str) -> str:
    """``KEY``, ``KEY and FILL``, ``KEY, FILL and HAIR``; ``word``: ``and`` or ``or``."""
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} {word} {names[-1]}"
