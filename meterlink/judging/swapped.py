"""Were the last two pops logged the wrong way round?  And is one of a light's several pops another light's?

Two explanations are weighed: the two lights were metered in the other order, or they were not and something usual happened to one
of them (held off, not recycled, its dial or stand changed).  Compared is the light at the point, each reading corrected for the
light that it would be of, against what each light is known to give: by its earlier readings; for a key and a fill of which
nothing is known by their roles, dials and distances.  Values are log2 of lx·s (lx for steady light).  Standard library only.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import product
from math import hypot, log, log2, sqrt
from typing import NamedTuple

from meterlink.judging.evidence import LOW_STOPS, SPREAD_STOPS
from meterlink.judging.judged_set import JudgedSet, LightState, value_of
from meterlink.judging.likelihood import normal
from meterlink.judging.members import held_costs, judged_value
from meterlink.records import Light, Pop, Purpose, Reading

P_SWAP = 0.04
"""How often two lights are fired in the other order: our own estimate, no published source, as the others here."""
P_HELD, P_LOW, P_ASTRAY = 0.10, 0.05, 0.02
"""And how often a dome is held off far, a pop comes short, a light was changed without a word."""
U_ASTRAY_STOPS, U_HELD_STOPS = 1.5, 0.06
LEAST_GAIN_STOPS = 0.1
"""Two lights that fit no better than this when they are changed over are not weighed: most are seen quickly to be no swap."""
U_LEAST_STOPS = 0.02
"""No two readings are compared more finely than this."""
FILL_FROM_KEY, U_FILL_FROM_KEY = -1.5, 1.0
"""Stops of a fill from its key, of which nothing else is known: 2:1 to 8:1 are usual (common practice, no published source)."""
U_HEADS_STOPS = 1.2
"""Two heads with different modifiers at the same dial and distance (k=1): our own estimate, no published source."""

LEAST_STRANGE_STOPS = 0.2
"""No pop is told to be another light's that is nearer than this to the others of its reading."""
STRANGE_ODDS = 3.0
"""From these odds on it is told: heads that vary by 5 % from pop to pop are then called so in one set of a hundred."""
P_MOVED = 0.03
"""Between the pops of one reading a dome is less often held off far."""
U_LASTS = 0.1
"""log2 of t0.1 by which two pops of one head may differ, one of them not recycled: our own estimate, no published source."""


class Swap(NamedTuple):
    """Two lights whose last pops look as if each was the other's."""

    first: LightState
    second: LightState
    by_past: bool
    """Whether each fits what the other gave before; else the fill reads too much for its key."""
    odds: float
    """How much likelier that is than everything else that was thought of."""


class Strange(NamedTuple):
    """One of a light's several pops that looks like another light's: she fired the wrong head."""

    pop: int
    """Which one, from 1."""
    other: Light
    odds: float
    """How much likelier that is than everything else that was thought of."""


class _Way(NamedTuple):
    """One thing that may have happened to a reading: how often, and by how much it then reads too high, with its spread."""

    share: float
    stops: float
    u_stops: float


def swapped(view: JudgedSet, light_id: str) -> Swap | None:
    """Return the last two lights metered, the later one being ``light_id``, when their pops were most probably changed over."""
    return next((_weighed(*pair, view) for pair in _pairs(view) if pair[1].light.id == light_id), None)


def swap_of(view: JudgedSet) -> Swap | None:
    """Return the likeliest swap of the set, of two pops one after the other, whatever was fired after them.

    Only by what both gave before: roles alone call no reading wrong.
    """
    swaps = (_weighed(*pair, view) for pair in _pairs(view))
    return max((one for one in swaps if one is not None and one.by_past), key=lambda one: one.odds, default=None)


def _pairs(view: JudgedSet) -> Iterator[tuple[LightState, LightState]]:
    """Yield the lights whose readings that count came one after the other and were taken in the same way, earlier one first."""
    states = {s.reading.id: s for s in view.lights if s.reading is not None and not s.light.source_light_id and not s.expected}
    before: list[Reading] = []
    for mine in (r for r in view.readings if r.purpose == Purpose.ALONE):
        last = next((r for r in reversed(before) if r.light_id != mine.light_id), None)
        before.append(mine)
        if last is not None and mine.id in states and last.id in states and _alike(mine, last):
            yield states[last.id], states[mine.id]


def _weighed(other: LightState, state: LightState, view: JudgedSet) -> Swap | None:
    """Return the two as a swap when that is likelier than anything else that may have happened to them."""
    mine, last = state.reading, other.reading
    known = _known(state, view), _known(other, view)
    by_past = bool(known[0] and known[1])
    if mine is None or last is None or (not by_past and {state.light.role, other.light.role} != {"key", "fill"}):
        return None
    own, others = judged_value(mine, state, view), judged_value(last, other, view)
    off = _off(own, known[0]) + _off(others, known[1])
    if own is None or others is None:
        return None
    if (mine.held_off_m, mine.held_off_toward) == (last.held_off_m, last.held_off_toward):
        # Held alike, changing them over moves each value by what lies between the two pops.
        off_less = 2.0 * abs(log2((value_of(mine) or 1.0) / (value_of(last) or 1.0)))
    else:
        off_less = off
    if by_past and min(off, off_less) < LEAST_GAIN_STOPS:
        return None
    # Metered in the other order, each was metered where the other light is.
    crossed_own = judged_value(last._replace(point=state.light.point), state, view)
    crossed_other = judged_value(mine._replace(point=other.light.point), other, view)
    if crossed_own is None or crossed_other is None:
        return None
    if by_past:
        if off - _off(crossed_own, known[0]) - _off(crossed_other, known[1]) < LEAST_GAIN_STOPS:
            return None
        logged = _fits(own, known[0], _ways(state)) * _fits(others, known[1], _ways(other))
        changed = _fits(crossed_own, known[0], _ways(state)) * _fits(crossed_other, known[1], _ways(other))
    elif mine.point == last.point:
        key, fill = (state, other) if state.light.role == "key" else (other, state)
        sign = 1.0 if key is other else -1.0
        logged = _apart(sign * (own[0] - others[0]), (own[1], others[1]), key, fill)
        changed = _apart(sign * (crossed_own[0] - crossed_other[0]), (crossed_own[1], crossed_other[1]), key, fill)
    else:
        return None
    odds = P_SWAP * changed / max((1 - P_SWAP) * logged, 1e-300)
    return Swap(other, state, by_past, odds) if odds > 1.0 else None


VARIES = _Way(0.15, 0.0, 0.12)
"""Some heads vary by so much from pop to pop: our own estimate, no published source."""


def strange_pop(state: LightState, view: JudgedSet) -> Strange | None:
    """Return the pop of a light's reading that is unlike its others and like what another light gave, if one is.

    A head that had not recycled gives less, by any amount, and lasts about as long; the other light's pop is as strong as that
    one's, and lasts as long as that.
    """
    reading, judged = state.reading, state.judged
    if reading is None or len(reading.pops) < 2 or judged is None or not judged.corrected:
        return None
    pops = [(log2(max(pop.exposure_lxs, 1e-9)), _u_pop(pop, view), pop.t01_s) for pop in reading.pops]
    to_point = log2(judged.corrected) - log2(value_of(reading) or 1.0)
    before = [(value - to_point, u) for value, u in _known(state, view)]
    others = [s for s in view.lights if s.light.id != state.light.id and not s.light.source_light_id and not s.expected]
    found = []
    for i, (level, u, lasts_s) in enumerate(pops):
        rest = [one for j, one in enumerate(pops) if j != i]
        mean = sum(one[0] for one in rest) / len(rest)
        if abs(level - mean) < LEAST_STRANGE_STOPS:
            continue
        logged = _fits((level, u), [(mean, rest[0][1] / sqrt(len(rest))), *before], [*_ways(state, P_MOVED), VARIES])
        for other in others:
            r, judged = other.reading, other.judged
            if r is not None and judged is not None and _alike(r, reading) and value_of(r):
                u_other = hypot(u, judged.repeat_u_stops, judged.correction.held_off_u_stops)
                strange = normal(level - log2(value_of(r) or 1.0), u_other) * _lasts_like(lasts_s, r.t01_s, rest[0][2])
                found.append(Strange(i + 1, other.light, P_SWAP * strange / max((1 - P_SWAP) * logged, 1e-300)))
    best = max(found, key=lambda one: one.odds, default=None)
    return best if best is not None and best.odds > STRANGE_ODDS else None


def _u_pop(pop: Pop, view: JudgedSet) -> float:
    return hypot(view.settings.u_repeat_stops, pop.u_rel / log(2.0))


def _lasts_like(t01_s: float | None, other_s: float | None, own_s: float | None) -> float:
    """How much likelier a pop lasts so long for the one light than for the other; 1 where that is not known of all three."""
    if not t01_s or not other_s or not own_s:
        return 1.0
    other, own = (0.99 * normal(one, U_LASTS) + 0.01 * normal(one, 1.0) for one in (log2(t01_s / other_s), log2(t01_s / own_s)))
    return other / own


def _alike(a: Reading, b: Reading) -> bool:
    """Whether the two were metered in the same way, so that one can be the other's."""
    return (a.kind, a.aim, a.receptor) == (b.kind, b.aim, b.receptor)


def _known(state: LightState, view: JudgedSet) -> list[tuple[float, float]]:
    """What a light should give by each thing but its present reading that tells (value, standard uncertainty)."""
    current, found = state.reading, []
    prediction = view.predictions.get(state.light.id)
    if prediction is not None:
        found.append((prediction.value, prediction.u_stops))
    for reading in (one for one in (*view.readings, *view.earlier) if one.id not in view.doubted):
        same = (reading.light_id, reading.purpose, reading.placement_id, reading.point)
        if current is None or same != (current.light_id, current.purpose, current.placement_id, current.point):
            continue
        value = judged_value(reading, state, view) if reading.id != current.id else None
        if value is not None:
            found.append(value)
    return found


def _off(value: tuple[float, float] | None, known: Sequence[tuple[float, float]]) -> float:
    """Stops of a reading from what is known of its light, the nearest of it."""
    return min((abs(value[0] - stops) for stops, _ in known), default=0.0) if value is not None else 0.0


def _ways(state: LightState, p_held: float = P_HELD) -> list[_Way]:
    """What may have happened to a light's reading, in shares that sum to 1."""
    held = held_costs(state)
    ways = [_Way(1.0 - p_held - P_LOW - P_ASTRAY, 0.0, 0.0), _Way(P_ASTRAY, 0.0, U_ASTRAY_STOPS)]
    ways += [_Way(p_held / len(held), one.stops, hypot(U_HELD_STOPS, one.u_stops)) for one in held]
    return ways + [_Way(P_LOW / len(LOW_STOPS), stops, SPREAD_STOPS["low"]) for stops in LOW_STOPS]


def _fits(value: tuple[float, float], known: Sequence[tuple[float, float]], ways: Sequence[_Way]) -> float:
    """Likelihood of a reading (value, standard uncertainty), given what its light should give.

    Where what is known disagrees, any of it may be right: a mean of them, as wide as they are apart, would fit every reading.
    """
    each = [(value[0] - stops, max(hypot(value[1], u), U_LEAST_STOPS)) for stops, u in known]
    likely = [sum(way.share * normal(apart - way.stops, hypot(u, way.u_stops)) for way in ways) for apart, u in each]
    return sum(likely) / len(likely)


def _apart(stops: float, u_stops: tuple[float, float], key: LightState, fill: LightState) -> float:
    """Likelihood that a fill is so many stops from its key, by roles, dials and distances."""
    mean, variance = FILL_FROM_KEY, U_FILL_FROM_KEY**2
    geometry = _by_dials(key, fill)
    if geometry is not None:
        gain = variance / (variance + U_HEADS_STOPS**2)
        mean, variance = mean + gain * (geometry - mean), variance * (1 - gain)
    variance += u_stops[0] ** 2 + u_stops[1] ** 2
    return sum(
        a.share * b.share * normal(stops - mean - (b.stops - a.stops), sqrt(variance + a.u_stops**2 + b.u_stops**2))
        for a, b in product(_ways(key), _ways(fill))
    )


def _by_dials(key: LightState, fill: LightState) -> float | None:
    """Stops of the fill from the key by dial against dial and distance squared; None where one is not given."""
    k, f = key.placement, fill.placement
    if k is None or f is None or not k.distance_m or not f.distance_m:
        return None
    if k.power_stops is None or f.power_stops is None:
        return None
    return f.power_stops - k.power_stops + 2 * log2(k.distance_m / f.distance_m)
