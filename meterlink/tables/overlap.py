"""Lights that reach each other's points, as a system of linear equations.

The unknowns are the factors by which lights are to give more (or less) of what they give now.  At the point of each wished
light the sum of its own light and of what lights of *other* points spill there has to be what is wanted; lights of one point
(key and fill, both at the face) are each judged by their own reading and do not add.  A reflector that was given no wish
of its own follows its source.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import NamedTuple

from meterlink.judging.judged_set import JudgedSet, LightState, value_of
from meterlink.records import Reading
from meterlink.words.told import Told, told

SINGULAR = 1e-12


class Overlap(NamedTuple):
    """Who gives what at which wished light's point."""

    wished: tuple[str, ...]
    given: dict[str, dict[str, float]]
    """Wished light's id -> light's id -> what that one gives at its point now (its own corrected value included)."""
    source_of: dict[str, str]
    """Reflectors without a wish -> the light that they follow."""
    notes: tuple[Told, ...] = ()

    def leader(self, light_id: str) -> str:
        """Return the light whose factor this one shares: itself, or the source of a reflector without a wish."""
        seen = set()
        while light_id in self.source_of and light_id not in seen:
            seen.add(light_id)
            light_id = self.source_of[light_id]
        return light_id

    def light_at(self, wished_id: str, factors: Mapping[str, float]) -> float:
        """Return all light that counts at a wished light's point with these factors (1 where none is given)."""
        return sum(v * factors.get(self.leader(i), 1.0) for i, v in self.given[wished_id].items())


def overlap_of(view: JudgedSet, wished: Sequence[str]) -> Overlap:
    """Return the system of a set for the wished lights (ids), all of which have a current reading.

    A light of another point counts where its latest reading there was taken like the point's own (same receptor,
    kind and calibration) and the light has not moved since; a reading taken otherwise is named in the notes.
    """
    states = {s.light.id: s for s in view.lights}
    given: dict[str, dict[str, float]] = {}
    notes: list[Told] = []
    for light_id in wished:
        state = states[light_id]
        given[light_id] = {light_id: state.value or 0.0}
        for r in view.readings:
            other = states.get(r.light_id or "")
            if other is None or not _spills(r, other, state):
                continue
            value = value_of(r)
            if not value:
                continue
            if not _alike(r, state.reading):
                left_out = {"other": other.light.name, "point": state.light.point, "light": state.light.name}
                notes.append(told("spill_left_out", **left_out))
                continue
            given[light_id][other.light.id] = value
    followers = {
        s.light.id: s.light.source_light_id
        for s in view.lights
        if s.light.source_light_id and s.light.id not in wished and s.light.source_light_id in states
    }
    return Overlap(tuple(wished), given, followers, tuple(one for i, one in enumerate(notes) if one not in notes[:i]))


def _spills(r: Reading, other: LightState, at: LightState) -> bool:
    """Say whether a reading is of another point's light, alone and as it stands now, at this light's point."""
    return (
        r.purpose == "alone"
        and r.point == at.light.point
        and other.light.point != at.light.point
        and other.placement is not None
        and r.placement_id == other.placement.id
    )


def _alike(r: Reading, own: Reading | None) -> bool:
    return own is not None and (r.receptor, r.kind, r.calibration_id) == (own.receptor, own.kind, own.calibration_id)


def solve(
    overlap: Overlap, wanted: Mapping[str, float], settled: Mapping[str, float] | None = None
) -> tuple[dict[str, float], set[str]]:
    """Return the factor of every wished light so that each point gets what is wanted, and those that had to go dark.

    ``settled`` factors are taken as they are.  No light can give less than nothing: where the solution asks for that, the light
    is switched off (factor 0) and the others are found again.
    """
    fixed = dict(settled or {})
    dark: set[str] = set()
    while True:
        free = [i for i in overlap.wished if i not in fixed]
        solution = _linear(overlap, wanted, free, fixed)
        below = [i for i in free if solution[i] <= 0.0]
        if not below:
            return {**{i: fixed[i] for i in overlap.wished if i in fixed}, **solution}, dark
        worst = min(below, key=lambda i: solution[i])
        fixed[worst] = 0.0
        dark.add(worst)


def _linear(overlap: Overlap, wanted: Mapping[str, float], free: Sequence[str], fixed: Mapping[str, float]) -> dict[str, float]:
    """Solve for the free lights, the other factors being given (1 for lights without a wish).

    What no point tells apart changes least from what it is.
    """
    if not free:
        return {}
    import numpy as np

    matrix = np.zeros((len(free), len(free)))
    for row, light_id in enumerate(free):
        for other, value in overlap.given[light_id].items():
            if (leader := overlap.leader(other)) in free:
                matrix[row, free.index(leader)] += value
    missing = [wanted[light_id] - overlap.light_at(light_id, fixed) for light_id in free]
    changes = np.linalg.lstsq(matrix, missing, rcond=SINGULAR)[0]
    return dict(zip(free, (1.0 + changes).tolist(), strict=True))
