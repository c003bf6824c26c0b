"""All lights together against the sum of each alone: light adds, so a wrong reading shows.

``sum_check(view)`` takes the pops of several lights (purpose ``together``: receptor at the face, aimed at the camera)
and every light's own reading, carries each to the aim at the camera, and weighs what does not add up together with
any predictions (``evidence``).  Like is compared with like: same point, same receptor, same aim.

One residual cannot say which light is wrong: the suspects are ranked, each with a cause, and the extra pop that
would tell most is named.  A light two stops under the key is a fifth of the sum or less: what hides there is found
by a prediction or by firing it again, not by the sum.
"""

from __future__ import annotations

from math import log2, sqrt

from meterlink.judging.aim import carried_to_camera
from meterlink.judging.case import axial_light, emission_of
from meterlink.judging.correction import correct
from meterlink.judging.evidence import HELD_OFF_M, weigh
from meterlink.judging.judged_set import JudgedSet, LightState, SumCheck, value_of
from meterlink.judging.learnt_dial import dial_steps
from meterlink.judging.likelihood import Member
from meterlink.judging.next_pop import next_pop
from meterlink.judging.prediction import Prediction
from meterlink.judging.sum_pop import brought_to_face, current_pops
from meterlink.judging.verdict import repeat_u_stops
from meterlink.photometry.sources import source_of
from meterlink.records.kept import FACE, OWN_POINT_ROLES, Reading
from meterlink.words.told import NOTHING, Told, told

__all__ = ["SumCheck", "held_costs", "judged_value", "member_of", "sum_check"]

AGAIN_LIMIT = 3.0
"""Two readings of one placement further apart than this many standard uncertainties: one of them is wrong."""


def held_costs(state: LightState) -> tuple[tuple[float, float], ...]:
    """(held-off distance, stops its reading would be too high) if the dome was held off toward the light."""
    placement, judged = state.placement, state.judged
    if placement is None or judged is None or placement.distance_m is None:
        return ()
    source = source_of(placement.shape, placement.width_m, placement.height_m)
    distance = placement.distance_m
    emission_n = emission_of(placement)
    floor = max(0.1 * source.largest_dimension_m, 0.05)
    at_point = axial_light(source, distance, state.reading.receptor if state.reading else "dome", emission_n)[0]
    done = judged.correction.stops or 0.0
    costs = []
    for held in HELD_OFF_M:
        if held <= judged.correction.held_off_m or distance - held <= floor:
            continue
        stops = done - log2(at_point / axial_light(source, distance - held, "dome", emission_n)[0])
        if stops > 0.05:
            costs.append((held, stops))
    return tuple(costs)


def member_of(
    state: LightState,
    view: JudgedSet,
    prediction: Prediction | None = None,
    to_camera: tuple[float, float] = (0.0, 0.0),
) -> Member | None:
    """Return what is known of one light for the weighing; None without a current reading that has a value.

    What is only expected is no reading: nothing can speak for or against it.
    """
    judged, reading = state.judged, state.reading
    if state.expected or judged is None or reading is None or not judged.corrected or judged.corrected <= 0:
        return None
    c = judged.correction
    own = sqrt(judged.repeat_u_stops**2 + c.held_off_u_stops**2)
    common = sqrt(c.model_u_stops**2 + c.distance_u_stops**2 + c.direction_u_stops**2)
    value = log2(judged.corrected)
    return Member(
        state.light.id,
        value,
        max(own, 0.005),
        common,
        to_camera[0],
        to_camera[1],
        held_costs(state),
        prediction.value if prediction else None,
        prediction.u_stops if prediction else 0.0,
        _again(state, view, value, own),
        dial_steps(state.light, state.placement, view.history) if prediction else (),
        reading.held_off_m is not None,
        state.light.role in OWN_POINT_ROLES or state.light.point != FACE,
    )


def _again(
    state: LightState, view: JudgedSet, value: float, own: float
) -> tuple[tuple[float, float], ...]:
    """Other readings of the same placement that agree with the current one: they speak for it."""
    current = state.reading
    if current is None or state.light.source_light_id:
        return ()
    found = []
    for reading in (*view.readings, *view.earlier):
        if reading.id == current.id or reading.light_id != state.light.id or reading.purpose != "alone":
            continue
        if reading.placement_id != current.placement_id or reading.point != current.point:
            continue
        other = judged_value(reading, state, view)
        if other is not None and abs(other[0] - value) <= AGAIN_LIMIT * sqrt(other[1] ** 2 + own**2):
            found.append(other)
    return tuple(found)


def judged_value(reading: Reading, state: LightState, view: JudgedSet) -> tuple[float, float] | None:
    """Value and own uncertainty of another reading of a light, corrected to the point."""
    as_read = value_of(reading)
    if state.placement is None or not as_read or as_read <= 0 or reading.clipped or reading.too_dim:
        return None
    correction = correct(reading, state.placement, view.settings, view.falloff(state.light))
    if correction.stops is None:
        return None
    repeat = repeat_u_stops(reading, view.settings.u_repeat_stops)
    return log2(as_read) + correction.stops, sqrt(repeat**2 + correction.held_off_u_stops**2)


def sum_check(view: JudgedSet) -> SumCheck:
    """Return how well the lights add up, whom to suspect and what to fire next.

    The set's predictions and superseded readings are weighed with it; without a pop of all lights they alone are.
    """
    names = {state.light.id: state.light.name for state in view.lights}
    pops, refusal = current_pops(view)
    states = _states(view, pops)
    members, why = _members(view, states, pops)
    refusal = refusal or why
    if refusal:
        pops = []
        members = [one for one in members if one.predicted is not None or one.again]
    sums = []
    for pop in pops:
        brought = brought_to_face(pop, states, members, view)
        if brought is None:
            refusal = told("sum_nowhere")
        else:
            sums.append(brought)
    if not members:
        return SumCheck(None, 0.0, None, None, names, refusal=refusal or told("sum_alone"))
    weighing = weigh(members, sums)
    suggestion = next_pop(members, sums, weighing) if weighing.alarm else None
    residual = weighing.residuals[0] if weighing.residuals else None
    u = weighing.u_residuals[0] if weighing.u_residuals else 0.0
    return SumCheck(residual, u, weighing, suggestion, names, sums[0].lit if sums else (), refusal)


def _states(view: JudgedSet, pops: list[Reading]) -> list[LightState]:
    """Lights that take part: those that fired, reflectors that they feed, and others that have a reading."""
    lit = {one for pop in pops for one in pop.lit}
    result = []
    for state in view.lights:
        fed = state.light.source_light_id in lit if state.light.source_light_id else False
        if state.light.id in lit or fed or state.reading is not None:
            result.append(state)
    return result


def _members(
    view: JudgedSet,
    states: list[LightState],
    pops: list[Reading],
) -> tuple[list[Member], Told]:
    """Members of the weighing, and why the sum cannot be taken, if so."""
    lit = {one for pop in pops for one in pop.lit}
    why = NOTHING
    members = []
    for state in states:
        fired = state.light.id in lit or (state.light.source_light_id or "") in lit
        carried = None
        if state.reading is not None and state.judged is not None and state.judged.corrected is not None:
            carried = carried_to_camera(state.reading, state.placement, view.settings)
        if fired and not why:
            why = _missing(state, pops, carried is None)
        to_camera = (carried.stops, carried.u_stops) if carried else (0.0, 0.0)
        member = member_of(state, view, view.predictions.get(state.light.id), to_camera)
        if member is not None:
            members.append(member)
    return members, why


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
