"""What else a change of a light does: softness, evenness from head to toe, flash duration, colour.  With its numbers.

Softness is the angle that the source fills, seen from its point.  Evenness is computed from the placement; duration and
colour only from readings of this very head at several powers, where there are any: nothing is assumed of a fixture.
"""

from __future__ import annotations

from itertools import pairwise
from math import atan, degrees

from meterlink.judging.evenness import FACE_HEIGHT_M, figure_points, predicted_evenness
from meterlink.judging.fixture_curves import FixtureCurves, fixture_curves
from meterlink.judging.judged_set import JudgedSet, LightState
from meterlink.judging.learnt_dial import learnt_curve
from meterlink.photometry.freeze import value_at
from meterlink.photometry.sources import Point, source_of
from meterlink.records import Placement
from meterlink.tables.adjustment import GAP_STOPS, Move, close
from meterlink.words.told import Told, told

ANGLE_DEG = 1.0
"""A source that fills less than this more or less is as soft as before."""
FALL_STOPS = 0.1
DURATION_STOPS = 0.1
"""A t0.1 that changes by less than this (as a power of two) is the same."""
COLOUR_MIRED = 5.0
DOUBT_STOPS = 0.1
FIGURE_M = (0.3, 3.0)


def closing_move(
    now: LightState, view: JudgedSet, wanted: float, *, by: str = "both", same_head: bool = True, gap_stops: float = GAP_STOPS
) -> Move | None:
    """Return what gives ``wanted`` stops more of a light, with its side effects; None where its place is not known.

    ``by`` and ``gap_stops`` as for ``close``.  Without ``same_head`` the dial is taken as it says.
    """
    if now.placement is None:
        return None
    falloff = view.falloffs.get(now.light.modifier) if now.light.modifier else None
    # What was learnt of one head says nothing of another that stands in for it.
    curve = learnt_curve(now.light, view.history) if same_head and not now.light.source_light_id else None
    move = close(now.light, now.placement, wanted, falloff=falloff, by=by, curve=curve, gap_stops=gap_stops)
    return with_effects(now, move, view)


def with_effects(state: LightState, move: Move, view: JudgedSet) -> Move:
    """Return the move with its side effects stated."""
    effects: list[Told] = []
    placement = state.placement
    if placement is None:
        return move
    if move.distance_m is not None and placement.distance_m is not None:
        effects += softness(placement, move.distance_m, state.light.point)
        if state.light.point == "face":
            effects += evenness(placement, move.distance_m, view)
        if not view.falloffs.get(state.light.modifier):
            effects += doubt(placement, move.distance_m)
        if state.light.source_light_id:
            effects.append(told("catches_source"))
    if move.power_stops is not None and placement.power_stops is not None:
        # Flash duration and colour, as far as this head's own readings tell.
        curves = fixture_curves(state, view)
        effects += _duration(curves, placement.power_stops, move.power_stops)
        effects += _colour(curves, placement.power_stops, move.power_stops)
    return move._replace(effects=tuple(effects))


def angular_size_deg(placement: Placement, distance_m: float) -> float:
    """Angle that the source's larger side fills, seen from its point: what softness follows."""
    width = max(placement.width_m or 0.0, placement.height_m or 0.0)
    return degrees(2 * atan(width / 2 / distance_m))


def softness(placement: Placement, distance_m: float, point: str) -> list[Told]:
    """Say whether the light gets softer or harder, seen from what it is aimed at, else from its point."""
    if not placement.width_m or placement.distance_m is None:
        return []
    before, after = angular_size_deg(placement, placement.distance_m), angular_size_deg(placement, distance_m)
    if abs(after - before) < ANGLE_DEG:
        return []
    seen_from = placement.aimed_at or point
    return [told("softer" if after > before else "harder", after=after, before=before, point=seen_from)]


def evenness(placement: Placement, distance_m: float, view: JudgedSet) -> list[Told]:
    """Say how the fall of this light from the face to hands and feet changes."""
    before, after = _fall(placement, view), _fall(placement._replace(distance_m=distance_m), view)
    if before is None or after is None:
        return _hands_only(placement, distance_m)
    if max(abs(a - b) for a, b in zip(after, before, strict=True)) < FALL_STOPS:
        return []
    return [told("fall", hands=after[0], hands_before=before[0], feet=after[1], feet_before=before[1])]


def _fall(placement: Placement, view: JudgedSet) -> tuple[float, float] | None:
    """Stops at hands and feet against the face, for this light alone; None where that cannot be said."""
    height = view.setup.details.get("face_height_m")
    known = isinstance(height, int | float) and FIGURE_M[0] < height <= FIGURE_M[1]
    points = figure_points(float(height) if known and height is not None else FACE_HEIGHT_M)
    try:
        found = predicted_evenness({"it": (placement, 1.0)}, points)
    except ValueError:
        return None
    stops = dict(zip(found.points, found.by_light["it"], strict=True))
    if min(stops.values()) < -12:
        return None
    return stops["hands"], stops["feet"]


def _hands_only(placement: Placement, distance_m: float) -> list[Told]:
    """Without a direction: how much something half a metre nearer gains."""
    assert placement.distance_m is not None

    def gain(d: float) -> float:
        nearer = max(d - 0.5, d / 10)
        return float(source_of(placement.shape, placement.width_m, placement.height_m).change_stops(d, nearer))

    before, after = gain(placement.distance_m), gain(distance_m)
    if abs(after - before) < FALL_STOPS:
        return []
    return [told("half_metre", after=after, before=before)]


def doubt(placement: Placement, distance_m: float) -> list[Told]:
    """Say by how much the move may miss, where the falloff of the modifier was never measured: uniform source to point."""
    if placement.distance_m is None or not placement.width_m:
        return []
    uniform = source_of(placement.shape, placement.width_m, placement.height_m).change_stops(placement.distance_m, distance_m)
    gap = abs(Point().change_stops(placement.distance_m, distance_m) - uniform)
    if gap < DOUBT_STOPS:
        return []
    return [told("falloff_unknown", stops=gap)]


def _duration(curves: FixtureCurves, now: float, then: float) -> list[Told]:
    if curves.durations is None:
        return []
    before, after = value_at(curves.durations, now), value_at(curves.durations, then)
    if before is None or after is None or abs(after / before - 1) < DURATION_STOPS:
        return []
    return [told("longer_flash" if after > before else "shorter_flash", after=after, before=before)]


def _colour(curves: FixtureCurves, now: float, then: float) -> list[Told]:
    before, after = _mired(curves, now), _mired(curves, then)
    if before is None or after is None or abs(after - before) < COLOUR_MIRED:
        return []
    return [told("warmer" if after > before else "cooler", after=1e6 / after, before=1e6 / before)]


def _mired(curves: FixtureCurves, power: float) -> float | None:
    """Colour at a power, straight between this head's readings in mired; None beyond them."""
    points = curves.colours
    for low, high in pairwise(points):
        if low.power_stops - 1e-6 <= power <= high.power_stops + 1e-6:
            part = (power - low.power_stops) / (high.power_stops - low.power_stops)
            return low.mired + part * (high.mired - low.mired)
    return None
