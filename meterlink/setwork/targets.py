"""From what the lights give to what they should give: one round of changes for the whole set.

Wishes are an f-number at the light's point (``f/8``), stops from the key (``-1``) or a ratio to the key (``3:1``, by one of the
two definitions that the trade uses).  Where lights were metered at each other's points, the overlap is solved as a
system: the background light has to give what the key does not already give there.
"""

from __future__ import annotations

from math import log2
from typing import NamedTuple

from meterlink import units
from meterlink.errors import UsageError
from meterlink.photometry.exposure import luminous_exposure, stops_of_highlight_to_shadow
from meterlink.setwork.closing import Move, close, move_text
from meterlink.setwork.view import LightState, SetView, value_of

TYPE_CHECKING = False
if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

INCIDENT, HIGHLIGHT_TO_SHADOW = "incident", "highlight to shadow"


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
    now_lxs: float
    """All light at the point now (its own and what other lights add, where that was metered)."""
    wanted_lxs: float
    change_stops: float
    """Change of this light alone."""
    move: Move
    predicted_stops: float
    """Where the point will be against the wish after the move: 0 is on target."""
    sentence: str

    def as_json(self) -> dict[str, object]:
        """Return the row as JSON data."""
        data = self._asdict()
        data["move"] = {**self.move._asdict(), "left_over_stops": self.move.left_over_stops}
        return data


class TargetPlan(NamedTuple):
    """The changes of a set, and what has to be said about them."""

    rows: tuple[TargetRow, ...]
    notes: tuple[str, ...]

    @property
    def feasible(self) -> bool:
        """True when every wish can be met but for the dials' steps."""
        return all(row.move.feasible for row in self.rows)

    def as_json(self) -> dict[str, object]:
        """Return the plan as JSON data."""
        return {"rows": [row.as_json() for row in self.rows], "notes": list(self.notes), "feasible": self.feasible}


def parse_wish(text: str, definition: str = INCIDENT) -> Wish:
    """Read ``KEY=f/8``, ``FILL=-1``, ``FILL=3:1``.  A ratio is the key to this light, by ``definition``.

    Raises UsageError with what is accepted.
    """
    name, equals, value = text.partition("=")
    name, value = name.strip(), value.strip()
    if not equals or not name or not value:
        raise UsageError(f"'{text[:40]}' is no target: write KEY=f/8, FILL=-1 (stops from the key) or FILL=3:1")
    if ":" in value:
        ratio = units.parse_ratio(value)
        if definition == HIGHLIGHT_TO_SHADOW:
            if ratio <= 1:
                raise UsageError(f"{name}: (key + fill) to fill is always above 1:1, {value} cannot be")
            return Wish(name, None, -stops_of_highlight_to_shadow(ratio), definition, text)
        return Wish(name, None, -log2(ratio), definition, text)
    if value[:1].lower() == "f":
        return Wish(name, units.parse_f_number(value), None, "", text)
    return Wish(name, None, units.parse_stops(value, "target", 15), "", text)


def _state(view: SetView, name: str) -> LightState:
    for state in view.lights:
        if state.light.name.casefold() == name.casefold():
            if state.value is None or not state.value > 0:
                raise UsageError(f"{state.light.name} has no current reading: meterlink meter {state.light.name}")
            return state
    raise UsageError(f"there is no light '{name[:30]}': meterlink light list shows them")


def _wanted(view: SetView, wishes: Sequence[Wish]) -> dict[str, float]:
    """Light wanted at each wished light's point, in the unit of the readings (id -> value)."""
    states = {wish: _state(view, wish.light) for wish in wishes}
    ids = [state.light.id for state in states.values()]
    if len(set(ids)) < len(ids):
        raise UsageError("a light was given two targets: give each light once")
    wanted: dict[str, float] = {}
    for wish, state in states.items():
        if wish.f_number is not None:
            wanted[state.light.id] = _exposure_of(view, state, wish.f_number)
    relative = [wish for wish in wishes if wish.from_key_stops is not None]
    if relative:
        key = view.key
        if key is None or key.value is None:
            raise UsageError("targets in stops from the key need a key with a current reading: meter the key first")
        key_value = wanted.get(key.light.id, key.value)
        for wish in relative:
            wanted[states[wish].light.id] = key_value * 2.0 ** (wish.from_key_stops or 0.0)
    return wanted


def _exposure_of(view: SetView, state: LightState, f_number: float) -> float:
    reading = state.reading
    calibration = view.calibrations.get(reading.calibration_id) if reading else None
    if reading is None or calibration is None:
        raise UsageError(f"{state.light.name}: its reading has no calibration, so no f-number can be asked of it")
    if calibration.relative:
        raise UsageError(
            f"{state.light.name}: the sensor's calibration is relative, f-numbers are not known: give stops from the key"
        )
    exposure = luminous_exposure(f_number, view.setup.iso, calibration.constant)
    if reading.kind == "flash":
        return exposure
    if view.setup.shutter_s is None:
        raise UsageError("steady light needs the shutter time: meterlink setup change --shutter 1/125")
    return exposure / view.setup.shutter_s


def contributions(view: SetView) -> dict[tuple[str, str], float]:
    """What each light gives at each light's point, where it was metered: (point, light id) -> value.

    A light's own point holds the corrected value; at other points the latest reading as it was taken.
    """
    table: dict[tuple[str, str], float] = {}
    present = {s.light.id: s.placement.id if s.placement else None for s in view.lights}
    for r in view.readings:
        value = value_of(r)
        current = r.light_id is not None and r.placement_id == present.get(r.light_id)
        if r.purpose == "alone" and current and value:
            table[(r.point, r.light_id or "")] = value
    for s in view.lights:
        if s.value is not None:
            table[(s.light.point, s.light.id)] = s.value
    return table


def solve(wanted: Mapping[str, float], view: SetView) -> tuple[dict[str, float], tuple[str, ...]]:
    """Return the factor for each wished light so that every wished point gets what is wanted.

    Lights of the same point stand side by side there only where the wish is about the light alone: a key and a fill, both
    at the face, are each judged by their own reading.  Light from a light of *another* point (the key on the
    backdrop) is taken off first; the factors are found together, as they depend on each other.
    """
    points = {s.light.id: s.light.point for s in view.lights}
    given = contributions(view)
    factors = dict.fromkeys(wanted, 1.0)
    notes: list[str] = []
    for _ in range(100):
        change = 0.0
        for light_id, value in wanted.items():
            own = given[(points[light_id], light_id)]
            spill = sum(
                v * factors.get(other, 1.0)
                for (point, other), v in given.items()
                if point == points[light_id] and other != light_id and points.get(other) != point
            )
            factor = max(value - spill, 0.0) / own
            change = max(change, abs(factor - factors[light_id]))
            factors[light_id] = factor
        if change < 1e-12:
            break
    for light_id, factor in factors.items():
        if factor <= 0.0:
            name = next(s.light.name for s in view.lights if s.light.id == light_id)
            notes.append(f"{name}: the other lights alone already give more than is wanted there; the nearest is to switch it off")
    return factors, tuple(notes)


def plan(view: SetView, wishes: Sequence[Wish], *, by: str = "both") -> TargetPlan:
    """Return what to change so that the wishes hold.  Raises UsageError for wishes that cannot be understood."""
    if not wishes:
        raise UsageError("say what is wanted, e.g. meterlink targets KEY=f/8 FILL=-1")
    wanted = _wanted(view, wishes)
    factors, notes = solve(wanted, view)
    given = contributions(view)
    moves: dict[str, Move] = {}
    for state in view.lights:
        if state.light.id not in wanted or state.placement is None:
            continue
        # A factor of zero asks for less than any dial gives: the lowest power is the nearest.
        stops = log2(factors[state.light.id]) if factors[state.light.id] > 0 else -20.0
        falloff = view.falloffs.get(state.light.modifier) if state.light.modifier else None
        source_move = moves.get(state.light.source_light_id or "")
        if source_move is not None:
            # A reflector follows its source.
            stops -= source_move.achieved_stops
        moves[state.light.id] = close(state.light, state.placement, stops, falloff=falloff, by=by)
    rows = [_row(s, wanted[s.light.id], moves, given, view) for s in view.lights if s.light.id in moves]
    return TargetPlan(tuple(rows), (*notes, *_definitions(wishes)))


def _row(
    state: LightState,
    wanted: float,
    moves: Mapping[str, Move],
    given: Mapping[tuple[str, str], float],
    view: SetView,
) -> TargetRow:
    points = {s.light.id: s.light.point for s in view.lights}
    move = moves[state.light.id]
    own = given[(state.light.point, state.light.id)]
    now = after = own
    source = moves.get(state.light.source_light_id or "")
    after = own * 2.0 ** (move.achieved_stops + (source.achieved_stops if source else 0.0))
    for (point, other), value in given.items():
        if point == state.light.point and other != state.light.id and points.get(other) != point:
            now += value
            after += value * 2.0 ** (moves[other].achieved_stops if other in moves else 0.0)
    predicted = log2(after / wanted) if after > 0 else -99.0
    sentence = move_text(state.light, move)
    return TargetRow(state.light.name, now, wanted, move.wanted_stops, move, predicted, sentence)


def _definitions(wishes: Sequence[Wish]) -> list[str]:
    used = {wish.definition for wish in wishes if wish.definition}
    words = {
        INCIDENT: "ratios are key to light, each alone (incident)",
        HIGHLIGHT_TO_SHADOW: "ratios are (key + fill) to fill (highlight to shadow)",
    }
    return [words[one] for one in sorted(used)]
