"""What a light should give at its point, from what it gave before; and readings that look swapped.

Only what this set itself knows: the last reading of the light, its power then and now, its distance then and now.
Used to choose the sensor's range before the pop.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from math import hypot, log2

from meterlink.judging.judged_set import JudgedSet, LightState, value_of
from meterlink.judging.learnt_dial import dial_words
from meterlink.judging.swapped import swapped
from meterlink.judging.verdict import Verdict
from meterlink.photometry.sources import source_of
from meterlink.records import Placement, Reading
from meterlink.words.actions import Do
from meterlink.words.told import NOTHING, Told, told

UNLIKE_STOPS, UNLIKE_U = 0.3, 3.0
"""Two readings of one light that stands as it stood are unlike from so many stops on, and so many times their uncertainty."""
WHOLE_STOPS = 0.2
"""So near to whole stops a dial was most probably turned by whole stops."""


def placement_change_stops(old: Placement, new: Placement) -> float | None:
    """Stops that a move or a change of power should bring, None when it cannot be said."""
    stops = 0.0
    if old.power_stops is not None and new.power_stops is not None:
        stops += new.power_stops - old.power_stops
    elif old.power_text != new.power_text:
        return None
    if (old.surface, old.dress) != (new.surface, new.dress):
        return None
    if old.distance_m and new.distance_m and old.distance_m != new.distance_m:
        stops += source_of(*new.surface).change_stops(old.distance_m, new.distance_m)
    return stops


def expected_value(state: LightState, past: Iterable[Reading], placements: Mapping[str, Placement]) -> float | None:
    """Light at the dome that the next pop of a light should give, None when nothing is known.

    ``past`` are the readings of the set that are not void, superseded ones too, oldest first; ``placements`` maps ids of
    placements to them, older ones too.
    """
    light, earlier = state.light, None
    for r in past:
        if r.light_id == light.id and r.purpose == "alone" and r.point == light.point:
            earlier = r
    if earlier is None or state.placement is None:
        return None
    value = value_of(earlier)
    if value is None or earlier.placement_id == state.placement.id:
        return value
    old = placements.get(earlier.placement_id or "")
    change = placement_change_stops(old, state.placement) if old is not None else None
    return None if change is None else value * 2.0**change


def rough_value(view: JudgedSet, state: LightState) -> float | None:
    """Light to expect of a light that was never metered, from another one of the set: dial against dial, distance squared.

    Heads and modifiers differ, so this may be two stops off; it only chooses the sensor's range.  None when no other
    light with power and distance has been read.
    """
    p = state.placement
    if p is None or p.power_stops is None or not p.distance_m or state.light.source_light_id:
        return None
    for other in view.lights:
        q = other.placement
        if other.light.id == state.light.id or other.value is None or q is None or q.power_stops is None or not q.distance_m:
            continue
        return float(other.value * 2.0 ** (p.power_stops - q.power_stops) * (q.distance_m / p.distance_m) ** 2)
    return None


def swap_warning(view: JudgedSet, light_id: str) -> Told:
    """Say so when the last two lights metered look changed over, or the last one of several pops like another light's."""
    state = view.state(light_id)
    against = state.judged.against if state is not None and state.judged is not None else NOTHING
    if state is not None and against.code == "against_strange" and against.values["pop"] == against.values["pops"]:
        values = {**against.values, "light": state.light.name, "other": against.values["light"]}
        return told("looks_like", **values, do=Do("undo"))
    found = swapped(view, light_id)
    if found is None:
        return NOTHING
    names = (found.first.light.name, found.second.light.name)
    return told("swapped_by_past" if found.by_past else "swapped_by_role", lights=names, do=Do("undo"))


def unlike_before(before: LightState | None, now: LightState | None) -> Told:
    """Say so when a light reads otherwise than a moment ago, both readings good, and nothing was said to have changed."""
    good, ways = [], []
    for one in (before, now):
        r, judged = (one.reading, one.judged) if one is not None else (None, None)
        if one is None or r is None or judged is None or not judged.corrected:
            return NOTHING
        if judged.verdict not in (Verdict.GOOD, Verdict.CORRECTED):
            return NOTHING
        good.append((log2(judged.corrected), judged.u_stops))
        ways.append((one.placement, r.kind, r.receptor, r.point, r.aim))
    stops = good[1][0] - good[0][0]
    if now is None or ways[0] != ways[1] or abs(stops) < max(UNLIKE_STOPS, UNLIKE_U * hypot(good[0][1], good[1][1])):
        return NOTHING
    light, placement = now.light, now.placement
    by = round(stops) if abs(stops - round(stops)) <= WHOLE_STOPS else stops
    if light.source_light_id or placement is None or placement.power_stops is None or placement.power_stops + by > 1e-6:
        return told("unlike_before", light=light.name, stops=stops)
    power = dial_words(light, placement, by).replace(" ", "")
    return told("unlike_before_dial", light=light.name, stops=stops, do=Do("power_as_metered", light=light.name, power=power))
