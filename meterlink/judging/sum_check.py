"""All lights together against the sum of each alone: light adds, so a wrong reading shows.

``sum_check(view)`` takes the pops of several lights (purpose ``together``: receptor at the face, aimed at the camera)
and every light's own reading, carries each to the aim at the camera, and weighs what does not add up together with
any predictions (``evidence``), under each habit that the dome may have been held by (``habit``).  Like is compared
with like: same point, same receptor, same aim.

One residual cannot say which light is wrong: the suspects are ranked, each with a cause, and the extra pop that
would tell most is named.  A light two stops under the key is a fifth of the sum or less: what hides there is found
by a prediction or by firing it again, not by the sum.
"""

from __future__ import annotations

from meterlink.judging.aim import carried_to_camera
from meterlink.judging.evidence import weigh_ways
from meterlink.judging.habit import habits
from meterlink.judging.judged_set import JudgedSet, LightState, SumCheck
from meterlink.judging.likelihood import Member, Together
from meterlink.judging.members import Witness, witness_of
from meterlink.judging.next_pop import next_pop
from meterlink.judging.sum_pop import brought_to_face, current_pops
from meterlink.records.kept import Reading
from meterlink.words.told import NOTHING, Told, told

__all__ = ["SumCheck", "sum_check"]


def sum_check(view: JudgedSet) -> SumCheck:
    """Return how well the lights add up, whom to suspect and what to fire next.

    The set's predictions and superseded readings are weighed with it; without a pop of all lights they alone are.
    """
    names = {state.light.id: state.light.name for state in view.lights}
    pops, refusal = current_pops(view)
    states = _states(view, pops)
    witnesses, why = _witnesses(view, states, pops)
    refusal = refusal or why
    if refusal:
        pops = []
        witnesses = [one for one in witnesses if one.prediction is not None or one.again]
    ways, failed = _ways(view, pops, states, witnesses)
    if not witnesses:
        return SumCheck(None, 0.0, None, None, names, refusal=refusal or told("sum_alone"))
    weighing = weigh_ways(ways)
    members, sums = ways[-1]
    suggestion = next_pop(members, sums, weighing) if weighing.alarm else None
    residual = weighing.residuals[0] if weighing.residuals else None
    u = weighing.u_residuals[0] if weighing.u_residuals else 0.0
    return SumCheck(residual, u, weighing, suggestion, names, sums[0].lit if sums else (), refusal or failed)


def _ways(
    view: JudgedSet, pops: list[Reading], states: list[LightState], witnesses: list[Witness]
) -> tuple[list[tuple[list[Member], list[Together]]], Told]:
    """Members and sums under each habit of holding the dome (one where all is declared), and why a sum cannot be taken, if so."""
    unsaid = any(one.undeclared for one in witnesses) or any(pop.held_off_m is None for pop in pops)
    ways, failed = [], NOTHING
    for habit in habits(view.settings) if unsaid else habits(view.settings)[-1:]:
        members = [one.under(habit) for one in witnesses]
        sums = []
        for pop in pops:
            brought = brought_to_face(pop, states, members, view, habit)
            if brought is None:
                failed = told("sum_nowhere")
            else:
                sums.append(brought)
        ways.append((members, sums))
    if failed:
        # Under one habit but not another a light would be reached: without its sum none can be compared with the other.
        ways = [(members, []) for members, _ in ways]
    return ways, failed


def _states(view: JudgedSet, pops: list[Reading]) -> list[LightState]:
    """Lights that take part: those that fired, reflectors that they feed, and others that have a reading."""
    lit = {one for pop in pops for one in pop.lit}
    result = []
    for state in view.lights:
        fed = state.light.source_light_id in lit if state.light.source_light_id else False
        if state.light.id in lit or fed or state.reading is not None:
            result.append(state)
    return result


def _witnesses(
    view: JudgedSet,
    states: list[LightState],
    pops: list[Reading],
) -> tuple[list[Witness], Told]:
    """Lights of the weighing, and why the sum cannot be taken, if so."""
    lit = {one for pop in pops for one in pop.lit}
    why = NOTHING
    witnesses = []
    for state in states:
        fired = state.light.id in lit or (state.light.source_light_id or "") in lit
        carried = None
        if state.reading is not None and state.judged is not None and state.judged.corrected is not None:
            carried = carried_to_camera(state.reading, state.placement, view.settings)
        if fired and not why:
            why = _missing(state, pops, carried is None)
        to_camera = (carried.stops, carried.u_stops) if carried else (0.0, 0.0)
        witness = witness_of(state, view, view.predictions.get(state.light.id), to_camera)
        if witness is not None:
            witnesses.append(witness)
    return witnesses, why


def _missing(state: LightState, pops: list[Reading], no_direction: bool) -> Told:
    """Why a light that fired cannot be part of the sum."""
    name = state.light.name
    if state.reading is None or state.judged is None or state.expected:
        return told("sum_not_metered", light=name)
    if state.judged.corrected is None:
        return told("sum_not_at_point", light=name, reason=state.judged.said)
    if state.reading.receptor != pops[0].receptor or state.reading.kind != pops[0].kind:
        return told("sum_unlike", light=name)
    if no_direction:
        return told("sum_no_direction", light=name)
    return NOTHING
