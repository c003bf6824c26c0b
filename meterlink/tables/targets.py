"""From what the lights give to what they should give: one round of changes for the whole set.

Wishes are an f-number at the light's point (``f/8``), stops from the key (``-1``) or a ratio to the key (``3:1``, by one of the
two definitions that the trade uses).  A wish is about the light alone where lights share a point; where a light of *another*
point was metered there (the key on the background), its spill counts too, and the changes are found together (``overlap``).

A round: set what is told, meter every light once, ask again and set what is told then.  That last correction is small, rests on
all pops of each light (``settling``), and needs no further pop.
"""

from __future__ import annotations

from collections.abc import Sequence
from math import log2
from typing import Any, NamedTuple

from meterlink import units
from meterlink.errors import UsageError
from meterlink.judging.joined_pops import settled
from meterlink.judging.judge import AS_TOLD
from meterlink.judging.judged_set import JudgedSet, LightState
from meterlink.photometry.exposure import luminous_exposure, stops_of_highlight_to_shadow
from meterlink.tables.adjustment import FINE_GAP_STOPS, GAP_STOPS, SMALL_STOPS, Move, move_said, move_told
from meterlink.tables.overlap import Overlap, overlap_of, solve
from meterlink.tables.ratios import as_key
from meterlink.tables.side_effects import closing_move
from meterlink.words.actions import Do
from meterlink.words.told import Told, all_of, plain, told

INCIDENT, HIGHLIGHT_TO_SHADOW = "incident", "highlight to shadow"
CORRECTION_STOPS = 0.3
"""A change by no more than this is the correction that ends a round: not metered again, so a small move is worth it, too."""
DARK_STOPS = -20.0
"""Asked of a light that should give nothing at all: the lowest power is the nearest."""


class Wish(NamedTuple):
    """What one light should give."""

    light: str
    f_number: float | None = None
    """At the light's point, at the set-up's ISO."""
    from_key_stops: float | None = None
    definition: str = ""
    """Which definition a ratio was meant by; empty for stops and f-numbers."""
    text: str = ""


class TargetRow(NamedTuple):
    """One light: what it gives, what it should, and the move that gets it there."""

    light: str
    now_lxs: float | None
    """All light that the wish is about: the light's own, and the spill of lights of other points where it was metered.  This, what
    is wanted, the change and where it leads are None while the light, or the key that it is counted from, waits for its pop."""
    wanted_lxs: float | None
    change_stops: float | None
    """Change of this light alone that its own dial or place has to bring (a reflector's source comes on top)."""
    move: Move
    predicted_stops: float | None
    """Where the point will be against the wish after the moves: 0 is on target."""
    sentence: Told
    """What to do."""

    def as_json(self) -> Any:
        """Return the row as JSON data."""
        return plain({**self._asdict(), "move": {**self.move._asdict(), "left_over_stops": self.move.left_over_stops}})


class TargetPlan(NamedTuple):
    """The changes of a set, and what has to be said about them."""

    rows: tuple[TargetRow, ...]
    notes: tuple[Told, ...]

    @property
    def feasible(self) -> bool:
        """True when every wish can be met but for the dials' steps."""
        return all(row.move.feasible for row in self.rows)

    def as_json(self) -> Any:
        """Return the plan as JSON data."""
        return plain({**self._asdict(), "feasible": self.feasible})


def parse_wish(text: str, definition: str = INCIDENT) -> Wish:
    """Read ``KEY=f/8``, ``FILL=-1``, ``FILL=3:1``.  A ratio is the key to this light, by ``definition``.

    (Key + fill) to fill is above 1:1, so ``1:3`` is the same written from the fill's side.  Of the incident ratio that depends on
    the light's role: see ``as_meant``.  Raises UsageError with what is accepted.
    """
    name, equals, value = text.rpartition("=")
    name, value = name.strip(), value.strip()
    if not equals or not name or not value:
        raise UsageError("'{typed}' is no target: write KEY=f/8, FILL=-1 (stops from the key) or FILL=3:1", typed=text[:40])
    if ":" in value:
        ratio = units.parse_ratio(value)
        if definition == HIGHLIGHT_TO_SHADOW:
            ratio = max(ratio, 1 / ratio)
            if ratio <= 1:
                raise UsageError(
                    "{light}: (key + fill) to fill is always above 1:1, {value} cannot be: ask for more, e.g. 3:1",
                    light=name, value=value,
                )
            return Wish(name, None, -stops_of_highlight_to_shadow(ratio), definition, text)
        return Wish(name, None, -log2(ratio), definition, text)
    if value[:1].lower() == "f":
        return Wish(name, units.parse_f_number(value), None, "", text)
    return Wish(name, None, units.parse_stops(value, "target", 15), "", text)


def as_meant(view: JudgedSet, wishes: Sequence[Wish]) -> tuple[Wish, ...]:
    """Return the wishes by the lights' own names, and with ratios as the trade means them.

    A role stands for the one light that has it, where none is named so.  A fill is never the stronger one, so 1:3 and 3:1 are one
    wish; of any other light the key comes first, as typed: a rim of 1:2 is a stop above the key.
    """
    fills = {state.light.name.casefold() for state in view.lights if state.light.role == "fill"}
    named = [wish._replace(light=_name(view, wish.light)) for wish in wishes]
    return tuple(
        wish._replace(from_key_stops=-abs(wish.from_key_stops))
        if wish.definition and wish.from_key_stops is not None and wish.light.casefold() in fills
        else wish
        for wish in named
    )


def _name(view: JudgedSet, typed: str) -> str:
    """The name of the one light whose role was typed; else what was typed."""
    names = {state.light.name.casefold() for state in view.lights}
    meant = [state.light.name for state in view.lights if state.light.role == typed.casefold()]
    return meant[0] if len(meant) == 1 and typed.casefold() not in names else typed


def _state(view: JudgedSet, name: str) -> LightState:
    for state in view.lights:
        if state.light.name.casefold() == name.casefold():
            if not _turned_far(state, view) and (state.value is None or not state.value > 0):
                why = f" ({state.stale_reason})" if state.stale_reason else ""
                raise UsageError(
                    "{light} has no current reading{why}: {do}",
                    light=state.light.name, why=why, do=Do("meter", light=state.light.name),
                )
            return state
    raise UsageError("there is no light '{light}': {do}", light=name[:30], do=Do("list_lights"))


def _turned_far(state: LightState, view: JudgedSet | None = None) -> bool:
    """Whether a light was turned far, as it was told, and not fired since: what to change next, its pop will tell.

    With ``view`` a reflector is asked of its source, too.
    """
    source = view.state(state.light.source_light_id) if view is not None else None
    made = state.stale is not None and state.placement is not None and bool(state.placement.details.get(AS_TOLD))
    return (state.value is None and made) or (source is not None and _turned_far(source))


class _Aim(NamedTuple):
    """One wish with the light that it is about."""

    wish: Wish
    state: LightState


def _aims(view: JudgedSet, wishes: Sequence[Wish]) -> list[_Aim]:
    """Pair wishes with lights: the key first, sources before their reflectors."""
    aims = [_Aim(wish, _state(view, wish.light)) for wish in wishes]
    if len({aim.state.light.id for aim in aims}) < len(aims):
        raise UsageError("a light was given two targets: give each light once")
    key = view.key
    for wish, state in aims:
        if wish.from_key_stops is None:
            continue
        counted_from = key.reading or key.stale if key is not None and (key.value is not None or _turned_far(key)) else None
        if key is None or counted_from is None:
            raise UsageError("targets in stops from the key need a key with a current reading: meter the key first")
        if state.light.id == key.light.id:
            raise UsageError(
                "{light} is the key that the others are counted from: give it an f-number, e.g. f/8", light=state.light.name
            )
        if wish.definition == HIGHLIGHT_TO_SHADOW and state.light.role != "fill":
            raise UsageError(
                "{light} is no fill: (key + fill) to fill cannot be asked of it, give stops from the key", light=state.light.name
            )
        if state.reading is not None and isinstance(why_not := as_key(state, counted_from, view), Told):
            raise UsageError("{light}: {why}", light=state.light.name, why=why_not)
    return sorted(aims, key=lambda aim: (aim.state is not key, bool(aim.state.light.source_light_id)))


def _exposure_of(view: JudgedSet, state: LightState, f_number: float) -> float:
    reading = state.reading
    calibration = view.calibrations.get(reading.calibration_id) if reading else None
    if reading is None or calibration is None:
        raise UsageError(
            "{light}: its reading has no calibration, so no f-number can be asked of it: give stops", light=state.light.name
        )
    if calibration.relative:
        raise UsageError(
            "{light}: the sensor's calibration is relative, f-numbers are not known: give stops from the key",
            light=state.light.name,
        )
    exposure = luminous_exposure(f_number, view.setup.iso, calibration.constant)
    if reading.kind == "flash":
        return exposure
    if view.setup.shutter_s is None:
        raise UsageError("steady light needs the shutter time: {do}", do=Do("give_shutter"))
    return exposure / view.setup.shutter_s


class _Planner:
    """Lights one after the other: each move is rounded to what can be set, and those after it make up for it."""

    def __init__(self, view: JudgedSet, aims: list[_Aim], by: str) -> None:
        self.view, self.aims, self.by = view, aims, by
        self.overlap: Overlap = overlap_of(view, [aim.state.light.id for aim in aims])
        self.reached: dict[str, float] = {}
        """Light's id -> factor on all that it gives, as far as it is settled."""
        self.dark: set[str] = set()

    def wanted(self) -> dict[str, float]:
        """Light wanted at each wished light's point; stops are counted from what the key will really give."""
        found = {}
        key = self.view.key
        for wish, state in self.aims:
            if wish.f_number is not None:
                found[state.light.id] = _exposure_of(self.view, state, wish.f_number)
        for wish, state in self.aims:
            if wish.from_key_stops is not None and key is not None and key.value is not None:
                factor = self.reached.get(key.light.id)
                value = found.get(key.light.id, key.value) if factor is None else key.value * factor
                found[state.light.id] = value * self._key_over(state) * 2.0**wish.from_key_stops
        return found

    def _key_over(self, state: LightState) -> float:
        """What a light has to give to equal the key, over what the key gives: steady light beside flash, another aim."""
        key = self.view.key
        counted_from = key.reading if key is not None else None
        if key is None or counted_from is None or state.reading is None:
            return 1.0
        own, keys = as_key(state, counted_from, self.view), as_key(key, counted_from, self.view)
        return 1.0 if isinstance(own, Told) or isinstance(keys, Told) else keys.factor / own.factor

    def moves(self) -> dict[str, Move]:
        """Work out one move after the other."""
        moves: dict[str, Move] = {}
        for _, state in self.aims:
            light = state.light
            factors, dark = solve(self.overlap, self.wanted(), self.reached)
            self.dark |= dark
            factor = factors[light.id]
            stops = log2(factor) if factor > 0 else DARK_STOPS
            # A reflector follows its source by itself.
            source = self.reached.get(light.source_light_id or "", 1.0)
            moves[light.id] = self._move(state, stops - log2(source))
            self.reached[light.id] = source * 2.0 ** moves[light.id].achieved_stops
        return moves

    def _move(self, state: LightState, stops: float) -> Move:
        nothing = Move(stops)
        placement = state.placement
        if placement is not None and abs(stops) < SMALL_STOPS and (state.expected or not placement.details.get(AS_TOLD)):
            # Shown as 0.0, and no correction that ends a round: what is to be expected shall not take a good reading's place,
            # nor is what was set by it set again.
            return nothing
        gap = FINE_GAP_STOPS if abs(stops) <= CORRECTION_STOPS else GAP_STOPS
        move = closing_move(state, self.view, stops, by=self.by, gap_stops=gap)
        return move or nothing._replace(why_short=told("not_placed", do=Do("move_light", light=state.light.name)))


def plan(view: JudgedSet, wishes: Sequence[Wish], *, by: str = "both") -> TargetPlan:
    """Return what to change so that the wishes hold.  Raises UsageError for wishes that cannot be understood.

    ``by`` is ``power``, ``distance`` or ``both``.  With ``view.history`` the dials' learnt steps, durations and colours count.
    """
    if not wishes:
        raise UsageError("say what is wanted, e.g. {do}", do=Do("targets"))
    view = settled(view)
    wishes = as_meant(view, wishes)
    aims = _aims(view, wishes)
    waits = {s.light.id: row for wish, s in aims if (row := _waiting(view, wish, s)) is not None}
    planner = _Planner(view, [aim for aim in aims if aim.state.light.id not in waits], by)
    moves = planner.moves()
    wanted = planner.wanted()
    asked = {state.light.id: wish for wish, state in aims}
    rows = [
        waits.get(s.light.id) or _row(s, asked[s.light.id], wanted[s.light.id], moves[s.light.id], planner)
        for s in view.lights
        if s.light.id in asked
    ]
    # A plan that rests on a reading which the others contradict says so.
    notes = [told("fire_first", light=s.light.name, why=s.judged.against) for s in view.lights if s.judged and s.judged.against]
    notes += [told("goes_dark", light=s.light.name) for s in view.lights if s.light.id in planner.dark]
    return TargetPlan(tuple(rows), (*notes, *planner.overlap.notes, *_definitions(aims)))


def _waiting(view: JudgedSet, wish: Wish, state: LightState) -> TargetRow | None:
    """The row of a light that is set as told and waits for its pop, or whose source or key does; None: nothing waits."""
    name = state.light.name
    on = (state, view.state(state.light.source_light_id), view.key if wish.from_key_stops is not None else None)
    first = next((one for one in on if one is not None and _turned_far(one)), None)
    if first is None:
        return None
    do = Do("meter", light=first.light.name)
    said = told("set_and_waits", do=do) if first is state else told("waits_first", light=first.light.name, do=do)
    return TargetRow(name, None, None, None, Move(0.0), None, all_of(name, said, by=": "))


def _row(state: LightState, wish: Wish, wanted: float, move: Move, planner: _Planner) -> TargetRow:
    light_id = state.light.id
    after = planner.overlap.light_at(light_id, planner.reached)
    now = planner.overlap.light_at(light_id, {})
    predicted = log2(after / wanted) if after > 0 else -99.0
    said = move_told(state.light, move, state.placement)
    if state.expected and state.judged is not None and move.empty and move.feasible:
        said = all_of(state.light.name, told("is_set", said=state.judged.said), by=": ")
    if not move.feasible:
        asked = wish.text.rpartition("=")[2].strip()
        nearest = {"move": move_said(move, state.placement) or told("leave_it"), "beside": _beside(predicted)}
        cannot = told("cannot_be", wish=asked or told("that"), why=move.why_short, **nearest)
        said = all_of(all_of(state.light.name, cannot, by=": "), *move.effects)
    return TargetRow(state.light.name, now, wanted, move.wanted_stops, move, predicted, said)


def _beside(stops: float) -> Told:
    """How far a light stays from what was asked of it."""
    if abs(stops) < SMALL_STOPS:
        return told("as_asked")
    if stops <= -99.0:
        return told("no_light_at_all")
    return told("stops_over" if stops > 0 else "stops_under", stops=stops)


def _definitions(aims: Sequence[_Aim]) -> list[Told]:
    """Say each ratio back: what it was taken for, and what that is in stops."""
    said = []
    for wish, state in aims:
        stops = wish.from_key_stops
        if not wish.definition or stops is None:
            continue
        name = told("fill_word") if state.light.role == "fill" else state.light.name
        strength = told("as_strong_as_key", light=state.light.name)
        if abs(stops) >= SMALL_STOPS:
            strength = told("under_key" if stops < 0 else "above_key", light=state.light.name, stops=stops)
        ratio = told("incident_ratio", light=name, ratio=2.0**-stops)
        if wish.definition == HIGHLIGHT_TO_SHADOW:
            ratio = told("highlight_ratio", ratio=2.0**-stops + 1)
        said.append(all_of(wish.text, ratio, strength, by=": "))
    return said
