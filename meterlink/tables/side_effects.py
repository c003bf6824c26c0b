"""What else a change of a light does: softness, evenness from head to toe, flash duration, colour.  With its numbers.

Softness is the angle that the source fills, seen from its point.  Evenness is computed from the placement; duration and
colour only from readings of this very head at several powers, where there are any: nothing is assumed of a fixture.
"""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise
from math import atan, degrees

from meterlink.judging.evenness import FACE_HEIGHT_M, figure_points, predicted_evenness
from meterlink.judging.fixture_curves import FixtureCurves, fixture_curves
from meterlink.judging.judged_set import JudgedSet, LightState
from meterlink.judging.learnt_dial import learnt_curve
from meterlink.photometry.sources import Point, source_of
from meterlink.records import Placement
from meterlink.records.kept import FACE
from meterlink.tables.adjustment import GAP_STOPS, Move, change_by_distance, close
from meterlink.words.told import Told, told

ANGLE_DEG = 1.0
"""A source that fills less than this more or less is as soft as before."""
FALL_STOPS = 0.1
DURATION_CHANGE = 0.1
"""A t0.1 that changes by a smaller part of it is the same."""
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
    return move._replace(effects=tuple(_effects(now, now.placement, move, view)))


def _effects(state: LightState, placement: Placement, move: Move, view: JudgedSet) -> Iterator[Told]:
    """What else the move does."""
    now_m, to_m = placement.distance_m, move.distance_m
    if now_m is not None and to_m is not None:
        # Softness is seen from what the light is aimed at, else from its point.
        yield from _changed(_angle_deg(placement, now_m), _angle_deg(placement, to_m), ANGLE_DEG, "softer", "harder",
                            point=placement.aimed_at or state.light.point)  # fmt: skip
        if state.light.point == FACE:
            yield from _evenness(placement, now_m, to_m, view)
        if not view.falloffs.get(state.light.modifier):
            # The falloff of the modifier was never measured, the move may miss: uniform source to point.
            miss = abs(Point().change_stops(now_m, to_m) - change_by_distance(placement, to_m))
            if miss >= DOUBT_STOPS:
                yield told("falloff_unknown", stops=miss)
        if state.light.source_light_id:
            yield told("catches_source")
    if move.power_stops is not None and placement.power_stops is not None:
        # Flash duration and colour, as far as this head's own readings tell.
        curves, powers = fixture_curves(state, view), (placement.power_stops, move.power_stops)
        if curves.durations is not None:
            before, after = (curves.durations.at(power) for power in powers)
            yield from _changed(before, after, DURATION_CHANGE * (before or 0.0), "longer_flash", "shorter_flash")
        before, after = (_mired(curves, power) for power in powers)
        if before is not None and after is not None and abs(after - before) >= COLOUR_MIRED:
            yield told("warmer" if after > before else "cooler", after=1e6 / after, before=1e6 / before)


def _changed(before: float | None, after: float | None, least: float, more: str, less: str, **values: object) -> Iterator[Told]:
    """Say that something is more or less than before, where both are known and differ by at least so much."""
    if before is not None and after is not None and abs(after - before) >= least:
        yield told(more if after > before else less, after=after, before=before, **values)


def _angle_deg(placement: Placement, distance_m: float) -> float:
    """Angle that the source's larger side fills, seen from its point: what softness follows."""
    width = max(placement.width_m or 0.0, placement.height_m or 0.0)
    return degrees(2 * atan(width / 2 / distance_m))


def _evenness(placement: Placement, now_m: float, to_m: float, view: JudgedSet) -> Iterator[Told]:
    """How the fall of this light from the face to hands and feet changes; without a direction, what half a metre nearer gains."""
    before, after = _fall(placement, view), _fall(placement._replace(distance_m=to_m), view)
    if before is None or after is None:
        source = source_of(*placement.surface)
        gained, gains = (float(source.change_stops(d, max(d - 0.5, d / 10))) for d in (now_m, to_m))
        yield from _changed(gained, gains, FALL_STOPS, "half_metre", "half_metre")
    elif max(abs(a - b) for a, b in zip(after, before, strict=True)) >= FALL_STOPS:
        yield told("fall", hands=after[0], hands_before=before[0], feet=after[1], feet_before=before[1])


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
    return None if min(stops.values()) < -12 else (stops["hands"], stops["feet"])


def _mired(curves: FixtureCurves, power: float) -> float | None:
    """Colour at a power, straight between this head's readings in mired; None beyond them."""
    points = curves.colours
    for low, high in pairwise(points):
        if low.power_stops - 1e-6 <= power <= high.power_stops + 1e-6:
            part = (power - low.power_stops) / (high.power_stops - low.power_stops)
            return low.mired + part * (high.mired - low.mired)
    return None
