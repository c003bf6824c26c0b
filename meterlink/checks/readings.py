"""Readings by themselves: taken again, not current, without a place, with an outlier, near a limit."""

from __future__ import annotations

from collections.abc import Iterable

from meterlink.checks.findings import CAUTION, DOUBTFUL, NOTE, WRONG, Finding
from meterlink.judging.judged_set import JudgedSet
from meterlink.judging.reach import costs_more, reach_of
from meterlink.judging.repeats import outlier_note
from meterlink.judging.verdict import RETAKE, Why, beyond_range
from meterlink.records.kept import OWN_POINT_ROLES
from meterlink.words.actions import Do
from meterlink.words.told import told


def retakes(view: JudgedSet) -> Iterable[Finding]:
    """Readings whose verdict is retake for their own sake; what speaks against one is told by ``disagreement``."""
    for state in view.lights:
        judged = state.judged
        if judged is not None and judged.verdict == RETAKE and judged.why != Why.CONTRADICTED:
            name, rank = state.light.name, WRONG + min(0.9, judged.u95_stops / 10)
            said, do = told("light_says", light=name, what=judged.said), told("do", do=Do("meter", light=name))
            if judged.lacks_distance:
                do = told("no_distance_do", do=Do("give_distance", light=name))
            numbers = {"correction_stops": judged.correction_stops, "u95_stops": judged.u95_stops}
            yield Finding("retake", rank, name, said, do, numbers)


def not_current(view: JudgedSet) -> Iterable[Finding]:
    """Lights without a current reading."""
    for state in view.lights:
        if state.reading is not None:
            continue
        name = state.light.name
        if state.stale is not None:
            said, do = told("stale_hidden", light=name, why=state.stale_why), told("do", do=Do("meter", light=name))
            yield Finding("stale", WRONG, name, said, do, {"reading": state.stale.id})
        else:
            do = told("do", do=Do("meter", light=name)) if state.to_do.code == "meter_it" else state.to_do
            yield Finding("not_metered", DOUBTFUL, name, told("not_metered", light=name), do, {})


def unknown_places(view: JudgedSet) -> Iterable[Finding]:
    """Lights whose distance or direction is missing."""
    for state in view.lights:
        placement, name = state.placement, state.light.name
        if state.judged is not None and state.judged.lacks_distance:
            continue  # told with its verdict
        if placement is None or placement.distance_m is None:
            do = told("no_distance_do", do=Do("give_distance", light=name))
            yield Finding("no_distance", CAUTION + 0.5, name, told("no_distance", light=name), do, {})
        elif placement.azimuth_deg is None and state.light.role not in OWN_POINT_ROLES:
            do = told("do", do=Do("give_direction", light=name))
            yield Finding("no_direction", NOTE + 0.4, name, told("no_direction", light=name), do, {})


def outliers(view: JudgedSet) -> Iterable[Finding]:
    """Pops of one reading that stand apart from the others."""
    for state in view.lights:
        name, values = state.light.name, [pop.exposure_lxs for pop in state.reading.pops] if state.reading is not None else []
        if state.judged is not None and state.judged.against.code == "against_strange":
            said, do = told("light_says", light=name, what=state.judged.against), told("do", do=Do("meter", light=name))
            yield Finding("outlier", WRONG, name, said, do, {"pops_lxs": values})
        elif state.reading is not None and (note := outlier_note(state.reading.pops)):
            said, do = told("light_says", light=name, what=note), told("outlier_do", light=name)
            yield Finding("outlier", DOUBTFUL, name, said, do, {"pops_lxs": values})


def near_limits(view: JudgedSet) -> Iterable[Finding]:
    """Lights so near that an undeclared reach already costs more than a tenth of a stop."""
    for state in view.lights:
        if state.judged is None or not state.judged.correction.assumed_reach or state.placement is None:
            continue
        falloff = view.falloff(state.light)
        if not costs_more(state.placement, view.settings, falloff):
            continue
        reach = reach_of(state.placement, view.settings, falloff=falloff)
        if reach.good_m is None or reach.good_m >= view.settings.assumed_reach_max_m:
            continue
        name = state.light.name
        said = told("near", light=name, reach_m=view.settings.assumed_reach_max_m)
        do = told("near_do", reach=reach.advice(name, state.light.point), do=Do("say_held", light=name, held="5cm"))
        yield Finding("reach", NOTE + 0.6, name, said, do, {"good_m": reach.good_m, "usable_m": reach.usable_m})


def peaks_beyond_range(view: JudgedSet) -> Iterable[Finding]:
    """Yield a note for each light that is known by the bounds of a clipped pop only."""
    for state in view.lights:
        if state.reading is not None and (beyond := beyond_range(state.reading)):
            name = state.light.name
            said, do = told("light_says", light=name, what=beyond), told("for_t01", do=Do("meter", light=name))
            yield Finding("beyond_range", NOTE + 0.3, name, said, do, {"u_rel": state.reading.u_rel})


def damaged_notes(view: JudgedSet) -> Iterable[Finding]:
    """Yield a note for each modifier of the set of which a stored falloff cannot be read."""
    for name in view.damaged_falloffs:
        do = told("damaged_note_do", measure=Do("falloff"), restore=Do("store_restore"))
        yield Finding("damaged_note", NOTE, "", told("damaged_note", name=name), do, {"modifier": name})
