"""What the pops of one light say together, when it was turned or carried a little between them.

A pop is only as good as head and hand make it.  Where a light was metered, turned by a step and metered again, the earlier
pop, carried over by that step, is a second look at the same light: the best value is the weighted mean of both, each weighed
by its own uncertainty and by that of what lies between.  The same says what a light gives that was turned after its last pop.

Between two pops lie the dial (trusted as ``power_curve`` trusts one that was never measured, or as this head was found to
deliver in other places), the falloff over the way it was carried, and the carrying itself.  Only pops of one stay count: the
same light, aimed and dressed the same, metered the same way within a working day; one that contradicts the newest is left out.
"""

from __future__ import annotations

from math import hypot, sqrt
from typing import NamedTuple

from meterlink.judging.case import Falloff
from meterlink.judging.judged_set import JudgedSet, LightState
from meterlink.judging.learnt_dial import learnt_curve
from meterlink.judging.power_curve import U_STEP, U_STEP_LEAST, PowerCurve, inverse
from meterlink.judging.prediction import Past, along
from meterlink.records import Placement

CARRY_M = 0.01
"""A stand that is carried by so many centimetres on the tape ends within one of it (k=1): our own estimate."""
STAY_S = 12 * 3600.0
FARTHEST = 1.5
"""A light carried to more than this times its distance, or less than its inverse, is metered anew."""
MOST_POPS = 6
LEAST_STOPS = 1e-3
"""No pop is surer than this, whatever the settings say of it: a weight has to stay finite."""
CONTRADICTS = 3.0
"""Standard uncertainties between a carried pop and the newest one from which something else must have changed."""


class Settled(NamedTuple):
    """What a light gives as it stands, from all of its pops that tell."""

    value: float
    """log2 of lx·s (lx for steady light) at the point."""
    u_stops: float
    pops: int
    """Readings that it rests on."""
    turned_stops: float
    """Dial steps between the newest reading and now; 0 when it was metered as it stands."""


class _Look(NamedTuple):
    """One reading brought to the present placement."""

    value: float
    u_own: float
    dial: float
    """Stops (k=1, with the sign of the turn) by which the dial's slope may be wrong over the turn since."""
    power: float | None
    u_way: float
    """Stops (k=1) of the way it was carried since."""
    distance_m: float | None


def settled(view: JudgedSet) -> JudgedSet:
    """Return the view with every current value replaced by what the light's pops say together; ``view.history`` has them."""
    return view._replace(lights=tuple(_with_all(state, view) for state in view.lights))


def _with_all(state: LightState, view: JudgedSet) -> LightState:
    if state.judged is None or not state.judged.corrected:
        return state
    found = carried(state, view)
    if found is None or found.pops < 2:
        return state
    return state._replace(judged=state.judged._replace(corrected=2.0**found.value, u_stops=found.u_stops))


def carried(state: LightState, view: JudgedSet) -> Settled | None:
    """Return what a light gives in its present placement by its readings of this stay; None when none of them tells.

    Works for a light that was turned after its last pop, too: the value is then what is to be expected.
    """
    placement, stay = state.placement, _stay(state, view)
    if placement is None or not stay:
        return None
    curve = _elsewhere(state, view)
    newest = stay[-1]
    falloff = view.falloff(state.light)
    looks = [_look(one, placement, curve, falloff) for one in stay]
    covariance = _covariance(looks)
    keep = [i for i in range(len(looks)) if not _contradicts(i, looks, covariance)]
    weights_of = inverse([[covariance[i][j] for j in keep] for i in keep])
    weights = [sum(row) for row in weights_of]
    total = sum(weights)
    value = sum(w * looks[i].value for w, i in zip(weights, keep, strict=True)) / total
    turned = 0.0
    if placement.power_stops is not None and newest.placement.power_stops is not None:
        turned = placement.power_stops - newest.placement.power_stops
    return Settled(value, sqrt(1.0 / total), len(keep), turned)


def _stay(state: LightState, view: JudgedSet) -> list[Past]:
    """Readings of this light that belong together, oldest first; the newest is the one that counts (or did, before a turn)."""
    reading, placement = state.reading or state.stale, state.placement
    if reading is None or placement is None or state.light.source_light_id:
        return []
    effective = {r.id for r in view.readings}
    mine = [one for one in view.history if one.light.id == state.light.id and one.reading.id in effective]
    mine.sort(key=lambda one: one.reading.id)
    newest = next((one for one in mine if one.reading.id == reading.id), None)
    if newest is None:
        return []
    return [one for one in mine if _same_stay(one, newest, placement)][-MOST_POPS:]


def _same_stay(one: Past, newest: Past, placement: Placement) -> bool:
    """Whether a reading differs from the newest, and from how the light stands, by dial and a little way only."""
    if _way(one) != _way(newest) or not 0.0 <= newest.reading.taken_at_s - one.reading.taken_at_s <= STAY_S:
        return False
    then, now = one.placement, placement
    if (then.surface, then.dress, then.place[1:]) != (now.surface, now.dress, now.place[1:]):
        return False
    if (then.power_stops is None) != (now.power_stops is None) or (now.power_stops is None and then.power_text != now.power_text):
        return False
    if then.distance_m is None or now.distance_m is None:
        return then.distance_m == now.distance_m
    return 1 / FARTHEST < now.distance_m / then.distance_m < FARTHEST


def _way(one: Past) -> tuple[str, ...]:
    return (one.reading.calibration_id, one.reading.receptor, one.reading.kind, one.light.modifier, one.light.fixture)


def _elsewhere(state: LightState, view: JudgedSet) -> PowerCurve | None:
    """What this head's dial delivered in other places: what these very pops say of it would be counted twice."""
    others = (one for one in view.history if one.light.id != state.light.id)
    return learnt_curve(state.light, others) if state.light.fixture else None


def _look(one: Past, placement: Placement, curve: PowerCurve | None, falloff: Falloff | None) -> _Look:
    then, now = one.placement, placement
    value, dial, u_way = one.value, 0.0, 0.0
    if then.power_stops is not None and now.power_stops is not None and then.power_stops != now.power_stops:
        turn = now.power_stops - then.power_stops
        change, u_dial = curve.change(then.power_stops, now.power_stops) if curve is not None else (turn, U_STEP * abs(turn))
        value += change
        dial = u_dial if turn > 0 else -u_dial
    if then.distance_m is not None and now.distance_m is not None and then.distance_m != now.distance_m:
        change, _, slope, model = along(now, then.distance_m, now.distance_m, one.reading.receptor, falloff)
        value += change
        u_way = hypot(slope * CARRY_M, model)
    return _Look(value, max(one.u_stops, LEAST_STOPS), dial, then.power_stops, u_way, then.distance_m)


def _covariance(looks: list[_Look]) -> list[list[float]]:
    """Covariance in stops²: a dial's slope and its present position are common to all pops at other positions."""
    place = U_STEP_LEAST**2 / 2

    def shared(a: _Look, b: _Look) -> float:
        total = a.dial * b.dial
        if a.dial and b.dial:
            total += place * (2.0 if a.power == b.power else 1.0)
        if a.u_way and b.u_way:
            # Carried the same way from the same place: the same error; else only where it ended is common.
            total += a.u_way * b.u_way * (1.0 if a.distance_m == b.distance_m else 0.5)
        return total

    return [[shared(a, b) + (a.u_own**2 if i == j else 0.0) for j, b in enumerate(looks)] for i, a in enumerate(looks)]


def _contradicts(i: int, looks: list[_Look], covariance: list[list[float]]) -> bool:
    last = len(looks) - 1
    variance = covariance[i][i] + covariance[last][last] - 2 * covariance[i][last]
    return i != last and abs(looks[i].value - looks[last].value) > CONTRADICTS * sqrt(max(variance, 1e-9))

