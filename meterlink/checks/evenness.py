"""Findings about evenness: head to toe by placement, a backdrop by readings at its points."""

from __future__ import annotations

import re
from collections.abc import Iterable

from meterlink.checks.findings import CAUTION, NOTE, Finding
from meterlink.judging.evenness import LEAST_SOFTBOX_M, figure_points, heat_map, predicted_evenness, spread_of_readings
from meterlink.judging.judged_set import JudgedSet
from meterlink.records.kept import OWN_POINT_ROLES, Placement, Reading
from meterlink.words.told import told

FULL_LENGTH = ("full", "full length", "full-length", "standing")
UNEVEN_STOPS = 1 / 3
"""A plain backdrop shows a third of a stop: common practice, no published source."""
LEAST_POINTS = 3
_NUMBERED = re.compile(r"(.{1,40}?)[ :_-]?(\d{1,3})")


def head_to_toe(view: JudgedSet) -> Iterable[Finding]:
    """Predicted light on hands and feet: a caution when the figure is shown full length, else a note, once its height is known."""
    details = view.setup.details
    height = details.get("face_height_m")
    full = str(details.get("framing", "")).lower() in FULL_LENGTH
    if not full and (isinstance(height, bool) or not isinstance(height, int | float)):
        return
    lights: dict[str, tuple[Placement, float]] = {}
    for state in view.lights:
        if state.light.role not in OWN_POINT_ROLES and state.placement is not None and state.value:
            lights[state.light.name] = (state.placement, state.value)
    try:
        points = figure_points(float(height)) if isinstance(height, int | float) else figure_points()
        even = predicted_evenness(lights, points)
    except ValueError:
        return
    if even.caution:
        rank = (CAUTION if full else NOTE) + min(0.4, even.spread_stops / 20)
        said = told("head_to_toe" if full else "head_to_toe_if", what=even.caution)
        numbers = {
            "points": even.points, "together_stops": even.together, "by_light_stops": even.by_light,
            "spread_stops": even.spread_stops, "common_practice_least_m": LEAST_SOFTBOX_M,
        }  # fmt: skip
        yield Finding("evenness", rank, "", said, told("head_to_toe_do"), numbers)


def backdrop(view: JudgedSet) -> Iterable[Finding]:
    """Readings at numbered points of one surface (``backdrop1`` to ``backdrop9``): highest minus lowest, as a small map."""
    for (name, light_id), readings in sorted(_surfaces(view).items()):
        try:
            spread = spread_of_readings(readings, view.settings)
        except ValueError as error:
            said, do = told("backdrop_refused", name=name, why=str(error)), told("backdrop_refused_do", name=name)
            yield Finding("backdrop", NOTE + 0.3, "", said, do, {})
            continue
        state = view.state(light_id)
        light = state.light.name if state is not None else ""
        low = spread.points[spread.stops.index(min(spread.stops))]
        uneven = spread.spread_stops > UNEVEN_STOPS
        even = {"name": name, "stops": spread.spread_stops, "u95": 2 * spread.u_spread_stops, "point": low}
        said = told("backdrop_by", **even, light=light) if light else told("backdrop", **even)
        do = told("backdrop_do", point=low) if uneven else told("backdrop_even")
        numbers = {
            "points": spread.points, "stops": spread.stops, "spread_stops": spread.spread_stops,
            "u95_stops": 2 * spread.u_spread_stops, "map": heat_map(spread).splitlines(),
        }  # fmt: skip
        yield Finding("backdrop", (CAUTION if uneven else NOTE) + 0.3, light, said, do, numbers)


def _surfaces(view: JudgedSet) -> dict[tuple[str, str], list[Reading]]:
    """Readings at numbered points by (surface, what lit it), the newest placement of each light only, in point order."""
    placed = {state.light.id: state.placement.id for state in view.lights if state.placement is not None}
    found: dict[tuple[str, str], dict[int, Reading]] = {}
    for reading in view.readings:
        match = _NUMBERED.fullmatch(reading.point)
        if match is None or reading.purpose not in ("alone", "together", "room"):
            continue
        if reading.light_id is not None and placed.get(reading.light_id) != reading.placement_id:
            continue
        lit = reading.light_id or ",".join(sorted(reading.lit)) or reading.purpose
        found.setdefault((match[1], lit), {})[int(match[2])] = reading
    return {key: [by_number[n] for n in sorted(by_number)] for key, by_number in found.items() if len(by_number) >= LEAST_POINTS}
