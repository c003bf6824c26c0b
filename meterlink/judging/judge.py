"""Records to the judged set: each light judged once, then all of them weighed against each other."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from meterlink.judging.evidence import DIAL, Suspect
from meterlink.judging.history import Heads, pasts_from, predictions_for
from meterlink.judging.joined_pops import carried
from meterlink.judging.judged_set import JudgedSet, LightState, value_of
from meterlink.judging.learnt_dial import dial_words, powers_before
from meterlink.judging.prediction import Past, Prediction
from meterlink.judging.standing import standing_of
from meterlink.judging.sum_check import sum_check
from meterlink.judging.swapped import Strange, strange_pop, swap_of
from meterlink.judging.verdict import EXPECTED, RETAKE, Judged, Why, judge
from meterlink.records import Calibration, Light, Placement, Reading, Settings, Setup
from meterlink.records.whole_set import WholeSet
from meterlink.words.told import NOTHING, Told, all_of, told

AS_TOLD = "set_as_told"
"""Key of a placement's details: a small turn that a match or a target told, and that she said was made.  What the light gives
after it is expected from its pops, and stands in the table marked as that."""
NOW = "~"
"""After every id: a set as it is now."""
EXPECTED_STOPS = 0.5
"""A light that was turned by more than this since its last pop has to be metered: a dial may be off by too much."""


class Judge:
    """Judges each reading once and keeps what it found: records never change, so neither does what they are worth."""

    def __init__(
        self, settings: Settings, calibrations: Mapping[str, Calibration], falloffs: Mapping[str, Any] | None = None
    ) -> None:
        self.settings = settings
        self.calibrations = calibrations
        self.falloffs = falloffs or {}
        self.count = 0
        """Readings that were judged: what is remembered does not count again."""
        self._known: dict[tuple[Any, ...], Judged] = {}
        self._ended: dict[tuple[str, str], tuple[Any, frozenset[str]]] = {}
        self.predicted: dict[tuple[Any, ...], Prediction | None] = {}
        """What was predicted, by the light, where it stands and what of its head was known then."""

    def __call__(self, light: Light, placement: Placement | None, reading: Reading) -> Judged:
        """Return what a reading of a light in a placement is worth."""
        key = (reading.id, value_of(reading), reading.u_rel, placement.id if placement else "", light.modifier)
        found = self._known.get(key)
        if found is None:
            self.count += 1
            found = self._known[key] = judge(
                reading,
                placement,
                self.settings,
                calibration=self.calibrations.get(reading.calibration_id),
                falloff=self.falloffs.get(light.modifier) if light.modifier else None,
            )
        return found

    def pasts(self, entries: Iterable[tuple[Light, Placement, Reading]]) -> tuple[Past, ...]:
        """Return the readings among (light, placement that was metered, reading) that tell of their heads, oldest first."""
        return pasts_from(entries, self.settings, judge=self)

    def history(self, whole: WholeSet, doubted: frozenset[str]) -> tuple[Past, ...]:
        """Return what a set's lights gave in all their placements, oldest first, but for doubted readings (ids)."""
        return self.pasts(entry for entry in whole.entries() if entry[2].id not in doubted)

    def doubted(self, whole: WholeSet, elsewhere: Heads = Heads(), *, now: bool = False) -> frozenset[str]:  # noqa: B008 - immutable
        """Return the ids of readings that the pop of all lights spoke against; ``now``: those that still stand as well.

        What speaks against a reading may have come long after it, and is gone when any light is turned.  So the set is judged as it
        stood when such a pop was last good; what was weighed once more and found well is believed again.  What only its head's
        own past speaks against is not doubted here: it may be the past that was wrong, and a dial is learnt by it.
        """
        found: frozenset[str] = frozenset()
        for end in (*whole.sums_ended, *((NOW,) if now and any(r.lit for r in whole.readings) else ())):
            then = whole.before(end)
            known, key = (then, found, elsewhere.pasts), (whole.setup.id, end)
            if self._ended.get(key, ((),))[0] != known:
                self._ended[key] = (known, self._doubted_then(then, found, elsewhere))
            found = self._ended[key][1]
        return found

    def heads(self, sets: Iterable[WholeSet], fixtures: Iterable[str]) -> Heads:
        """Return what these heads gave in other sets, each judged for itself; what its set spoke against is left out."""
        names = {name.casefold() for name in fixtures if name}
        found = []
        for one in sets:
            doubted = self.doubted(one, now=True)
            found += [
                entry for entry in one.entries(effective=True)
                if entry[0].fixture.casefold() in names and entry[2].id not in doubted
            ]  # fmt: skip
        return Heads.of(self.pasts(found))

    def _doubted_then(self, then: WholeSet, doubted: frozenset[str], elsewhere: Heads) -> frozenset[str]:
        """Ids of readings that a set as it stood, or stood before, spoke against."""
        seen = judge_set(
            then.setup, then.lights, then.current_placements, then.effective, self.calibrations, self.settings,
            falloffs=self.falloffs, history=self.history(then, doubted), elsewhere=elsewhere, earlier=then.earlier, doubted=doubted,
            judge=self,
        )  # fmt: skip
        found, blamed = set(doubted), seen.check.blamed
        for one in seen.lights:
            if one.reading is None or one.judged is None or one.light.id not in seen.check.fired:
                continue
            if one.judged.why != Why.CONTRADICTED or (blamed is not None and blamed.cause == DIAL):
                found.discard(one.reading.id)
            else:
                found.add(one.reading.id)
        return frozenset(found)


def judge_set(
    setup: Setup,
    lights: Iterable[Light],
    placements: Mapping[str, Placement],
    readings: Iterable[Reading],
    calibrations: Mapping[str, Calibration],
    settings: Settings,
    *,
    falloffs: Mapping[str, Any] | None = None,
    history: Iterable[Past] = (),
    elsewhere: Heads = Heads(),  # noqa: B008 - immutable
    earlier: Iterable[Reading] = (),
    doubted: frozenset[str] = frozenset(),
    judge: Judge | None = None,
) -> JudgedSet:
    """Judge a set-up with everything that is known of it.  Pure: records in, one object out.

    ``placements`` maps a light's id to its present placement; ``readings`` are the effective ones (neither void nor superseded);
    ``history`` is what this set's lights gave in all their placements, ``elsewhere`` what their heads gave in other sets;
    ``earlier`` are readings that a retake superseded, ``doubted`` the ids of those that a pop of all lights spoke against.
    ``judge`` remembers what was judged before with the same settings, calibrations and falloffs.
    """
    falloffs = falloffs or {}
    judge = judge or Judge(settings, calibrations, falloffs)
    effective = tuple(sorted(readings, key=lambda r: r.id))
    by_light: dict[str, list[Reading]] = {}
    for r in effective:
        if r.light_id is not None:
            by_light.setdefault(r.light_id, []).append(r)
    ordered = sorted((one for one in lights if not one.removed), key=lambda one: (one.order, one.id))
    states = tuple(_state(light, placements, by_light, settings, judge) for light in ordered)
    own = tuple(history)
    powers = {**elsewhere.powers, **{k: v | elsewhere.powers.get(k, set()) for k, v in powers_before(own).items()}}
    seen = JudgedSet(
        setup, settings, states, effective, calibrations, falloffs,
        history=(*elsewhere.pasts, *own), powers=powers, earlier=tuple(earlier), doubted=doubted,
    )  # fmt: skip
    seen = seen._replace(lights=tuple(_as_told(state, seen, judge) for state in states))
    seen = seen._replace(predictions=predictions_for(seen, elsewhere, judge.predicted))
    seen = seen._replace(check=sum_check(seen))
    return contradicted(seen)


def _state(
    light: Light,
    placements: Mapping[str, Placement],
    by_light: Mapping[str, list[Reading]],
    settings: Settings,
    judge: Judge,
) -> LightState:
    placement = placements.get(light.id)
    reading, stale_why, missing = standing_of(light, placements, by_light, settings.u_repeat_stops)
    if reading is None or stale_why:
        return LightState(light, placement, None, None, reading, stale_why, missing)
    judged = judge(light, placement, reading)
    if light.source_light_id and not (value_of(reading) or 0.0) > 0.0:
        judged = judged._replace(why=Why.ADDS_NOTHING, said=told("adds_nothing"))
    return LightState(light, placement, reading, judged)


def _as_told(state: LightState, seen: JudgedSet, judge: Judge) -> LightState:
    """A light that was turned a little as it was told: what its pops lead to expect of it stands in place of a reading."""
    placement = state.placement
    if state.stale is None or placement is None or not (placement.details or {}).get(AS_TOLD):
        return state
    found = carried(state, seen)
    if found is None or abs(found.turned_stops) > EXPECTED_STOPS:
        return state
    judged = judge(state.light, placement, state.stale)._replace(
        verdict=EXPECTED,
        why=Why.SET_AS_TOLD,
        said=told("set_as_told", u95=2 * found.u_stops),
        corrected=2.0**found.value,
        u_stops=found.u_stops,
    )
    return state._replace(reading=state.stale, judged=judged, stale=None, stale_why=NOTHING)


def contradicted(seen: JudgedSet) -> JudgedSet:
    """Return the set with the verdict of the reading that is most probably wrong changed to retake, when one is.

    So are those of two lights whose pops were most probably changed over, and one among whose pops another light's seems to be.
    """
    top, swap = seen.check.blamed, swap_of(seen)
    if swap is not None:
        one, other = swap.first.light, swap.second.light
        doubts = {one.id: told("against_swap", light=other.name), other.id: told("against_swap", light=one.name)}
        both = tuple(_doubted(s, doubts[s.light.id], told("fire_both")) if s.light.id in doubts else s for s in seen.lights)
        seen = seen._replace(lights=both, swap=(one.id, other.id))
    strange = {s.light.id: found for s in seen.lights if s.light.id not in (seen.swap or ()) and (found := strange_pop(s, seen))}
    if strange:
        seen = seen._replace(lights=tuple(_strange(s, strange[s.light.id]) if s.light.id in strange else s for s in seen.lights))
    if top is None or top.light_id is None or top.light_id in (*(seen.swap or ()), *strange):
        return seen
    against = "against_sum" if seen.check.by_sum else "against_past"
    return seen._replace(lights=tuple(_against(s, top, against) if s.light.id == top.light_id else s for s in seen.lights))


def _strange(state: LightState, found: Strange) -> LightState:
    pops = len(state.reading.pops) if state.reading is not None else 0
    doubt = told("against_strange", pop=found.pop, pops=pops, light=found.other.name)
    state = _doubted(state, doubt, told("fire_again"))
    if state.judged is None or not state.judged.against:
        return state
    # What its spread says of the head would be wrong.
    return state._replace(judged=state.judged._replace(said=all_of(doubt, told("fire_again"), by=": ")))


def _against(state: LightState, top: Suspect, against: str) -> LightState:
    held = {"held_off_m": top.held_off_m} if top.held_off_m else {}
    doubt, do = told(against + "_held" * bool(held), stops=top.stops, **held), told("fire_again")
    if top.cause == DIAL and state.placement is not None:
        like, said_to_be = dial_words(state.light, state.placement, top.stops), dial_words(state.light, state.placement)
        doubt = told("against_past_like", stops=top.stops, like=like, said=said_to_be)
        do = told("look_at_the_dial")
    elif top.dial_stops is not None and state.placement is not None:
        doubt = told("or_dial", cause=doubt, power=dial_words(state.light, state.placement, top.dial_stops))
        do = told("look_and_fire")
    return _doubted(state, doubt, do)


def _doubted(state: LightState, doubt: Told, do: Told) -> LightState:
    """A reading that others speak against is to be taken again; one that is none for its own sake stays so."""
    judged = state.judged
    if judged is None or judged.why in (Why.CLIPPED, Why.TOO_DIM, Why.NO_LIGHT, Why.NO_FIGURE):
        return state
    said = told("contradicted", against=doubt, do=do, reason=judged.said)
    return state._replace(judged=judged._replace(verdict=RETAKE, why=Why.CONTRADICTED, said=said, against=doubt))
