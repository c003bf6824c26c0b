"""What is known of each light for the weighing: its reading, what else speaks of it, and what a held-off dome would cost.

A ``Witness`` is one light as it was read; ``Witness.under(habit)`` is the ``Member`` that it makes when undeclared domes were held
by that habit.  What a prediction rests on was read by the same hand, so a habit moves it as it moves the reading.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from contextlib import suppress
from math import log2, sqrt
from typing import NamedTuple

from meterlink.judging.case import axial_light, case_of, change_of, emission_of
from meterlink.judging.correction import Correction, correct
from meterlink.judging.evidence import HELD_OFF_M
from meterlink.judging.habit import Habit, place_of
from meterlink.judging.judged_set import JudgedSet, LightState, value_of
from meterlink.judging.learnt_dial import dial_steps
from meterlink.judging.likelihood import HeldCost, Member
from meterlink.judging.prediction import Prediction
from meterlink.judging.verdict import repeat_u_stops
from meterlink.photometry import geometry
from meterlink.photometry.sources import source_of
from meterlink.records.kept import FACE, OWN_POINT_ROLES, Placement, Reading, Settings

AGAIN_LIMIT = 3.0
"""Two readings of one placement further apart than this many standard uncertainties: one of them is wrong."""
LEAST_COST_STOPS = 0.05
U_LEAST = 0.005


class _Look(NamedTuple):
    """One reading of a light, brought to its point as the table does."""

    reading: Reading
    value: float
    u_repeat: float
    correction: Correction

    def under(self, habit: Habit, settings: Settings) -> tuple[float, float, float]:
        """Value and own uncertainty when an undeclared dome was held by this habit, and by how much that moved the value."""
        place = place_of(self.reading, settings, habit)
        slope = self.correction.slope_held_off
        moved = slope * (place.mean_m - self.correction.held_off_m)
        u_held = abs(slope) * place.u_m
        if self.reading.held_off_m is not None and place.mean_m == self.reading.held_off_m:
            u_held = self.correction.held_off_u_stops
        return self.value + moved, max(sqrt(self.u_repeat**2 + u_held**2), U_LEAST), moved


class Witness(NamedTuple):
    """One light and all that speaks of it."""

    state: LightState
    settings: Settings
    look: _Look
    again: tuple[_Look, ...]
    held_costs: tuple[HeldCost, ...]
    prediction: Prediction | None
    to_camera: tuple[float, float]
    dials: tuple[tuple[float, float], ...] = ()

    @property
    def light_id(self) -> str:
        """Id of the light."""
        return self.state.light.id

    @property
    def undeclared(self) -> bool:
        """Whether any of its readings says nothing of where the dome was."""
        return any(one.reading.held_off_m is None for one in (self.look, *self.again))

    def under(self, habit: Habit) -> Member:
        """Return what is known of the light when undeclared domes were held by this habit."""
        value, u_own, moved = self.look.under(habit, self.settings)
        c = self.look.correction
        light = self.state.light
        return Member(
            light.id,
            value,
            u_own,
            sqrt(c.model_u_stops**2 + c.distance_u_stops**2 + c.direction_u_stops**2),
            self.to_camera[0],
            self.to_camera[1],
            # A dome held off is off by so much whatever the habit: what the habit adds to the value goes again.
            tuple(one._replace(stops=one.stops + moved) for one in self.held_costs),
            None if self.prediction is None else self.prediction.value + moved,
            self.prediction.u_stops if self.prediction else 0.0,
            tuple(one.under(habit, self.settings)[:2] for one in self.again),
            self.dials,
            self.look.reading.held_off_m is not None,
            light.role in OWN_POINT_ROLES or light.point != FACE,
        )


def witness_of(
    state: LightState, view: JudgedSet, prediction: Prediction | None = None, to_camera: tuple[float, float] = (0.0, 0.0)
) -> Witness | None:
    """Return what is known of one light; None without a current reading that has a value.

    What is only expected is no reading: nothing can speak for or against it.
    """
    judged, reading = state.judged, state.reading
    if state.expected or judged is None or reading is None or not judged.corrected or judged.corrected <= 0:
        return None
    look = _Look(reading, log2(judged.corrected), judged.repeat_u_stops, judged.correction)
    dials = tuple(dial_steps(state.light, state.placement, view.powers).items()) if prediction else ()
    return Witness(state, view.settings, look, _again(look, state, view), held_costs(state), prediction, to_camera, dials)


def held_costs(state: LightState) -> tuple[HeldCost, ...]:
    """What its reading would be too high by if the dome was held off toward the light, at most half the way to it.

    Nobody goes beyond that for want of care.  A hot spot makes a light fall off more like a point: as in the correction, what a
    distance costs is triangular between a uniform source, its mode, and a point.
    """
    placement, judged, reading = state.placement, state.judged, state.reading
    if placement is None or judged is None or reading is None or placement.distance_m is None:
        return ()
    distance = placement.distance_m
    floor = max(0.1 * source_of(*placement.surface).largest_dimension_m, 0.05)
    done = judged.correction.stops or 0.0
    costs = []
    near = judged.correction.held_off_m
    some = [held for held in HELD_OFF_M if near < held <= distance / 2 and distance - held > floor]
    for held, change in _gains(placement, reading, some):
        apart = 2 * log2(distance / (distance - held)) - change
        stops = done + change + apart / 3
        if stops > LEAST_COST_STOPS:
            costs.append(HeldCost(held, stops, abs(apart) / sqrt(18)))
    return tuple(costs)


def _gains(placement: Placement, reading: Reading, held_m: Iterable[float]) -> Iterator[tuple[float, float]]:
    """Yield distances of which something can be said, with the stops that a uniform source gives more there than at the point."""
    distance = placement.distance_m or 0.0
    if not placement.feather_deg:
        source, emission_n = source_of(*placement.surface), emission_of(placement)
        here = axial_light(source, distance, reading.receptor, emission_n)[0]
        yield from ((held, log2(axial_light(source, distance - held, reading.receptor, emission_n)[0] / here)) for held in held_m)
        return
    with suppress(ValueError):
        case = case_of(reading._replace(held_off_m=0.0, held_off_toward="light"), placement, Settings())
        change = change_of(case, geometry.direction(case.azimuth_deg or 0.0, case.elevation_deg))
        # From near to far: what cannot be reached is followed by nothing that can.
        yield from ((held, -change(case.distance_m, held)) for held in held_m)


def _again(current: _Look, state: LightState, view: JudgedSet) -> tuple[_Look, ...]:
    """Other readings of the same placement that agree with the current one: they speak for it."""
    if state.light.source_light_id:
        return ()
    found = []
    u_own = sqrt(current.u_repeat**2 + current.correction.held_off_u_stops**2)
    for reading in (*view.readings, *view.earlier):
        if reading.id == current.reading.id or reading.light_id != state.light.id or reading.purpose != "alone":
            continue
        if reading.placement_id != current.reading.placement_id or reading.point != current.reading.point:
            continue
        other = _look(reading, state, view)
        if other is None:
            continue
        u = sqrt(other.u_repeat**2 + other.correction.held_off_u_stops**2 + u_own**2)
        if abs(other.value - current.value) <= AGAIN_LIMIT * u:
            found.append(other)
    return tuple(found)


def judged_value(reading: Reading, state: LightState, view: JudgedSet) -> tuple[float, float] | None:
    """Value and own uncertainty of another reading of a light, corrected to the point as the table does."""
    look = _look(reading, state, view)
    return None if look is None else (look.value, sqrt(look.u_repeat**2 + look.correction.held_off_u_stops**2))


def _look(reading: Reading, state: LightState, view: JudgedSet) -> _Look | None:
    """Another reading of a light, corrected to the point."""
    as_read = value_of(reading)
    if state.placement is None or not as_read or as_read <= 0 or reading.clipped or reading.too_dim:
        return None
    correction = correct(reading, state.placement, view.settings, view.falloff(state.light))
    if correction.stops is None:
        return None
    return _Look(reading, log2(as_read) + correction.stops, repeat_u_stops(reading, view.settings.u_repeat_stops), correction)
