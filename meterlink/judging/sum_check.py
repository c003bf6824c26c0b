"""All lights together against the sum of each alone: light adds, so a wrong reading shows.

``sum_check(view)`` takes the pops of several lights (purpose ``together``: receptor at the face, aimed at the camera)
and every light's own reading, carries each to the aim at the camera, and weighs what does not add up together with
any predictions (``evidence``), under each habit that the dome may have been held by (``habit``).  Like is compared
with like: same point, same receptor, same aim.  A common pop counts while no light that fired in it was moved or re-powered
since.  Its dome is somewhere near the face too, and being in one place, it is so for all lights together.

One residual cannot say which light is wrong: the suspects are ranked, each with a cause, and the extra pop that
would tell most is named.  A light two stops under the key is a fifth of the sum or less: what hides there is found
by a prediction or by firing it again, not by the sum.
"""

from __future__ import annotations

from math import log, log2, sqrt
from typing import NamedTuple

from meterlink.judging.aim import Carried, carried_to_camera
from meterlink.judging.case import case_of, change_of
from meterlink.judging.evidence import weigh_ways
from meterlink.judging.habit import Habit, habits, place_of
from meterlink.judging.judged_set import JudgedSet, LightState, SumCheck, value_of
from meterlink.judging.likelihood import Member, Scene, Together
from meterlink.judging.members import Witness, witness_of
from meterlink.judging.next_pop import next_pop
from meterlink.judging.verdict import repeat_u_stops
from meterlink.photometry import geometry
from meterlink.records.kept import FACE, Placement, Reading, Settings
from meterlink.words.told import NOTHING, Told, told

SAME_STOPS = 0.15
"""Two pops of the same lights that are no further apart gave the same: three times what a head varies by from pop to pop."""
_LN2 = log(2.0)


def sum_check(view: JudgedSet) -> SumCheck:
    """Return how well the lights add up, whom to suspect and what to fire next.

    The set's predictions and superseded readings are weighed with it; without a pop of all lights they alone are.  A pop in which
    a light fired that cannot be added up counts where the others alone claim more than it gave: that light only added to it.
    """
    names = {state.light.id: state.light.name for state in view.lights}
    found, refusal = current_pops(view)
    states = _states(view, found)
    carried = {state.light.id: _to_camera(state, view) for state in states}
    pops = [_Pop(pop, _lacks(pop, states, carried)) for pop in found]
    witnesses = _witnesses(view, states, carried)
    refusal = refusal or next((why for pop in pops for why in pop.lacks.values()), NOTHING)
    pops = [pop for pop in pops if not pop.lacks or _claims_more(view, pop, states, witnesses)]
    if not pops:
        witnesses = [one for one in witnesses if one.prediction is not None or one.again]
    ways, failed = _ways(view, pops, states, witnesses)
    if not witnesses:
        return SumCheck(None, 0.0, None, None, names, refusal=refusal or told("sum_alone"))
    weighing = weigh_ways(ways)
    members, sums = ways[-1]
    suggestion = next_pop(members, sums, weighing) if weighing.alarm else None
    # Of several pops of several lights the one that fits worst is spoken of.
    apart = zip(weighing.residuals, weighing.u_residuals, sums, pops if sums else (), strict=True)
    residual, u, worst, pop = max(apart, key=lambda one: abs(one[0]) / one[1], default=(None, 0.0, None, None))
    fired, unread = worst.lit if worst else (), tuple(pop.lacks) if pop else ()
    return SumCheck(residual, u, weighing, suggestion, names, fired, unread, refusal or failed)


class _Pop(NamedTuple):
    """A pop of several lights."""

    reading: Reading
    lacks: dict[str, Told]
    """Lights that fired in it and cannot be part of the sum, with the reason why."""


def _ways(
    view: JudgedSet, pops: list[_Pop], states: list[LightState], witnesses: list[Witness]
) -> tuple[list[tuple[list[Member], list[Together]]], Told]:
    """Members and sums under each habit of holding the dome (one where all is declared), and why a sum cannot be taken, if so."""
    unsaid = any(one.undeclared for one in witnesses) or any(pop.reading.held_off_m is None for pop in pops)
    ways, failed = [], NOTHING
    for habit in habits(view.settings) if unsaid else habits(view.settings)[-1:]:
        members = [one.under(habit) for one in witnesses]
        sums = []
        for pop in pops:
            parts = [state for state in states if state.light.id not in pop.lacks]
            brought = brought_to_face(pop.reading, parts, members, view, habit)
            if brought is None:
                failed = told("sum_nowhere")
            else:
                sums.append(brought._replace(again=_fired_again(pop.reading, view)))
        ways.append((members, sums))
    if failed:
        # Under one habit but not another a light would be reached: without its sum none can be compared with the other.
        ways = [(members, []) for members, _ in ways]
    return ways, failed


def _claims_more(view: JudgedSet, pop: _Pop, states: list[LightState], witnesses: list[Witness]) -> bool:
    """Whether the lights that can be added up claim more than the pop gave (k=2), however the dome was held."""
    for members, sums in _ways(view, [pop], states, witnesses)[0]:
        _, residuals, u_residuals = Scene(members, sums).likelihood(None, 0.0)
        if not any(stops < -2 * u for stops, u in zip(residuals, u_residuals, strict=True)):
            return False
    return True


def _states(view: JudgedSet, pops: list[Reading]) -> list[LightState]:
    """Lights that take part: those that fired, reflectors that they feed, and others that have a reading."""
    return [state for state in view.lights if state.reading is not None or any(_fired(state, pop) for pop in pops)]


def _fired(state: LightState, pop: Reading) -> bool:
    """Whether a light gave light in a pop of several: its own, or what it reflects."""
    return state.light.id in pop.lit or (state.light.source_light_id or "") in pop.lit


def _to_camera(state: LightState, view: JudgedSet) -> Carried | None:
    """What carries a light's reading to the aim at the camera; None when that is not known."""
    if state.reading is None or state.judged is None or state.judged.corrected is None:
        return None
    return carried_to_camera(state.reading, state.placement, view.settings)


def _witnesses(view: JudgedSet, states: list[LightState], carried: dict[str, Carried | None]) -> list[Witness]:
    """Lights of the weighing."""
    found = []
    for state in states:
        to_camera = carried[state.light.id]
        way = (to_camera.stops, to_camera.u_stops) if to_camera else (0.0, 0.0)
        found.append(witness_of(state, view, view.predictions.get(state.light.id), way))
    return [one for one in found if one is not None]


def _lacks(pop: Reading, states: list[LightState], carried: dict[str, Carried | None]) -> dict[str, Told]:
    """Lights that fired in a pop and cannot be part of its sum, and why."""
    found = {one.light.id: _missing(one, pop, carried[one.light.id] is None) for one in states if _fired(one, pop)}
    return {light_id: why for light_id, why in found.items() if why}


def _missing(state: LightState, pop: Reading, no_direction: bool) -> Told:
    """Why a light that fired cannot be part of the sum."""
    name = state.light.name
    if state.reading is None or state.judged is None or state.expected:
        return told("sum_not_metered", light=name)
    if state.judged.corrected is None:
        return told("sum_not_at_point", light=name, reason=state.judged.said)
    if state.reading.receptor != pop.receptor or state.reading.kind != pop.kind:
        return told("sum_unlike", light=name)
    if no_direction:
        return told("sum_no_direction", light=name)
    return NOTHING


def current_pops(view: JudgedSet) -> tuple[list[Reading], Told]:
    """Current pops of several lights, that of the most lights first; why there is none that can be used."""
    latest: dict[tuple[str, ...], Reading] = {}
    for reading in view.readings:
        if reading.purpose == "together" and reading.lit:
            latest[tuple(sorted(reading.lit))] = reading
    fresh = [reading for reading in latest.values() if _stands(reading, view)]
    fresh.sort(key=lambda one: (-len(one.lit), one.taken_at_s))
    for reading in fresh:
        why = _unlike(reading, view)
        if why:
            return [], why
    return fresh, NOTHING if fresh else told("sum_none")


def _stands(pop: Reading, view: JudgedSet) -> bool:
    """Whether no light that fired in a pop was moved since; a reflector that came or was moved changes it as much."""
    moved = (s for s in view.lights if s.placement is not None and s.placement.created_at_s > pop.taken_at_s)
    return not any(_fired(state, pop) for state in moved)


def _fired_again(pop: Reading, view: JudgedSet) -> bool:
    """Whether the same lights were fired together before, as they stand now, and gave the same."""
    way = (set(pop.lit), pop.kind, pop.aim, pop.point, pop.receptor, pop.held_off_m)
    for one in view.earlier:
        same = way == (set(one.lit), one.kind, one.aim, one.point, one.receptor, one.held_off_m) and _stands(one, view)
        if same and pop.lit and abs(log2((value_of(pop) or 1.0) / (value_of(one) or 1.0))) <= SAME_STOPS:
            return True
    return False


def _unlike(reading: Reading, view: JudgedSet) -> Told:
    """Why a pop of all lights cannot be compared with the parts; nothing when it can."""
    if reading.aim != "camera":
        return told("sum_not_camera")
    if reading.point != FACE:
        return told("sum_elsewhere", point=reading.point)
    if reading.clipped or reading.too_dim or not value_of(reading):
        return told("sum_unusable")
    lit = [state for state in view.lights if state.light.id in reading.lit]
    if len(lit) < len(set(reading.lit)):
        return told("sum_removed")
    shared = [state.light.name for state in lit if state.light.shared_generator]
    if len(shared) > 1:
        return told("sum_generator", lights=tuple(shared))
    return NOTHING


def brought_to_face(
    pop: Reading, states: list[LightState], members: list[Member], view: JudgedSet, habit: Habit
) -> Together | None:
    """Bring a pop of several lights from the dome to the face, light by light, and add its own uncertainty.

    An undeclared dome was held off by ``habit``, toward the camera.
    """
    settings = view.settings
    held, u_held = place_of(pop, settings, habit)
    toward = pop.held_off_toward if pop.held_off_toward != "light" and pop.held_off_m is not None else "camera"
    by_id = {member.light_id: member for member in members}
    at_dome = at_face = square = direction2 = moved = 0.0
    names = []
    for state in states:
        member = by_id.get(state.light.id)
        if member is None or state.placement is None or not _fired(state, pop):
            continue
        names.append(state.light.id)
        part = 2.0 ** (member.value + member.to_camera) * (0.5 if member.shadowed else 1.0)
        at_face += part
        square += part * part
        try:
            gain, further, u_gain = _gains(pop, state.placement, toward, held, u_held, settings)
        except ValueError:
            return None
        at_dome += part * gain
        moved += part * (further - gain)
        direction2 += (part * u_gain) ** 2
    if at_face <= 0.0:
        return None
    # The spread from pop to pop is the heads' own: several heads vary each for itself and even out.
    repeat = repeat_u_stops(pop, settings.u_repeat_stops * sqrt(square) / at_face)
    # One dome in one place: what its place does to each light goes together.
    scale = at_dome * _LN2  # divided by twice: the square of very little light is nothing
    u = sqrt(repeat**2 + (moved / scale) ** 2 + direction2 / scale / scale)
    return Together(tuple(names), log2(value_of(pop) or 0.0) + log2(at_face / at_dome), u, pop.held_off_m is not None)


def _gains(
    pop: Reading, placement: Placement, toward: str, held_m: float, u_held_m: float, settings: Settings
) -> tuple[float, float, float]:
    """What a light gives the common pop's dome over what it gives at the face: there, a little further, and its doubt."""
    if held_m <= 0.0 and u_held_m <= 0.0:
        return 1.0, 1.0, 0.0
    case = case_of(pop._replace(held_off_m=held_m, u_held_off_m=u_held_m, held_off_toward=toward), placement, settings)
    azimuth = case.azimuth_deg if case.azimuth_deg is not None else 0.0
    change = change_of(case, geometry.direction(azimuth, case.elevation_deg))
    here = 2.0 ** -change(case.distance_m, held_m)
    further = 2.0 ** -change(case.distance_m, held_m + u_held_m) if u_held_m > 0.0 else here
    turned = change_of(case, geometry.direction((azimuth + case.u_azimuth_deg) % 360.0, case.elevation_deg))
    return here, further, here - 2.0 ** -turned(case.distance_m, held_m)
