"""Rounds of a match: what to turn after the first pop of every light, and what to set last, without another pop.

A light within its tolerance is not turned.  One pop cannot say that it is right to a tenth of a stop: what is off is turned and
fired again, what is near the limit is fired again as it stands, and the rest is left alone.  After its second pop a light is known
well enough for a last small change to need no third one.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import NamedTuple

from meterlink.judging.joined_pops import carried
from meterlink.judging.judged_set import JudgedSet, LightState
from meterlink.tables.adjustment import FINE_GAP_STOPS, Move, move_told
from meterlink.tables.match import MatchReport, MatchRow, is_vague
from meterlink.tables.side_effects import closing_move
from meterlink.words.told import Told, all_of, told

DOUBTS = 1.2
"""Standard uncertainties of the reading (its pop, and what tape and model leave) that must still fit between a difference and the
tolerance: then one pop is enough.  A second one would bring the mean of both beyond the tolerance in one case of twenty (1.645 /
sqrt(2)).  On six seeds of ``rebuild_simulation`` as many lights are within (95.2 %) as with a second pop of all beyond 0.3 of the
tolerance, and 69 instead of 86 % have one."""
LAST_STOPS = 0.5
"""What is off by more than this after two pops is no small last change: its row says what to do, and it is metered again."""


class Turn(NamedTuple):
    """What a round does with one light: a change (None: it is left as it is), and in the second round one more pop."""

    light_id: str
    move: Move | None
    sentence: Told
    """What to do with the light."""


def second_round(report: MatchReport, now: JudgedSet, *, keep_common: bool = True) -> tuple[Turn, ...]:
    """Return what to change, all at once, and what to fire again, after every light had its first pop.

    ``keep_common`` leaves a common difference to the camera: only what is off by itself is turned.  A reflector follows its
    source and is metered again with it.
    """
    turns: dict[str, Turn] = {}
    for row, state, off in _off(report, now, keep_common):
        turn = _turn(row, state, now, off, turns)
        if turn is not None:
            turns[state.light.id] = turn
    return tuple(turns[s.light.id] for s in now.lights if s.light.id in turns)


def last_round(report: MatchReport, now: JudgedSet, *, keep_common: bool = True) -> tuple[Turn, ...]:
    """Return the small changes that are still worth making after the second pops; none of them needs a pop.

    A light that had one pop only is not touched: what is off by one pop is for the second round.  Nor is a light that lights a
    reflector: what the reflector then gives would have to be metered.
    """
    sources = {state.light.source_light_id for state in now.lights if state.light.source_light_id}
    turns = []
    for row, state, off in _off(report, now, keep_common):
        if not row.metered or state.light.source_light_id or state.light.id in sources or _pops(state, now) < 2:
            continue
        if not row.tolerance_stops < abs(off) <= LAST_STOPS or is_vague(state, off, (row.u95_stops or 0.0) / 2):
            continue
        move = closing_move(state, now, -off, same_head=not row.replaced, gap_stops=FINE_GAP_STOPS)
        if move is None or move.empty:
            continue
        turns.append(Turn(state.light.id, move, move_told(state.light, move, state.placement)))
    return tuple(turns)


def _pops(state: LightState, now: JudgedSet) -> int:
    """How many pops tell what this light gives now: those of its reading and those before it was turned a little."""
    found = carried(state, now)
    own = len(state.reading.pops) if state.reading is not None else 0
    return max(own, 1) + (found.pops - 1 if found is not None else 0)


def _off(report: MatchReport, now: JudgedSet, keep_common: bool) -> Iterator[tuple[MatchRow, LightState, float]]:
    """Yield what can be turned with its difference, sources first: their turns come off what their reflectors still need."""
    common = (report.common_stops or 0.0) if keep_common and report.camera else 0.0
    present = {state.light.name.casefold(): state for state in now.lights}
    pairs = [(row, present.get(row.light.casefold())) for row in report.rows]
    for row, state in sorted(pairs, key=lambda pair: bool(pair[1] and pair[1].light.source_light_id)):
        if state is not None and state.placement is not None and row.difference_stops is not None:
            yield row, state, row.difference_stops - common


def _turn(row: MatchRow, state: LightState, now: JudgedSet, off: float, turns: Mapping[str, Turn]) -> Turn | None:
    source = turns.get(state.light.source_light_id or "")
    follows = source.move.achieved_stops if source is not None and source.move is not None else 0.0
    wanted = -off - follows
    name = state.light.name
    if abs(wanted) > row.tolerance_stops and not is_vague(state, wanted, (row.u95_stops or 0.0) / 2):
        move = closing_move(state, now, wanted, same_head=not row.replaced)
        if move is not None and not move.empty:
            return Turn(state.light.id, move, move_told(state.light, move, state.placement))
    if source is not None and source.move is not None:
        return Turn(state.light.id, None, all_of(name, told("follows_source"), by=": "))
    u = state.judged.u_stops if state.judged is not None else 0.0
    if abs(wanted) + DOUBTS * u > row.tolerance_stops + 1e-6 and not state.light.source_light_id:
        return Turn(state.light.id, None, all_of(name, told("not_sure"), by=": "))
    return None
