"""Readings that the rest of the set contradicts: the sum check or the last placement speaks against them.

Used by the ratio table, so that such a reading is a retake there too and not only a finding further down.
"""

from __future__ import annotations

from collections.abc import Sequence

from meterlink.judging.history import predictions_for
from meterlink.judging.sum_check import sum_check
from meterlink.judging.verdict import judge, signed
from meterlink.judging.view import SetView
from meterlink.records.kept import Reading

SURE = 0.5
"""Probability from which a light is named rather than one of several."""


def contradictions(view: SetView, earlier: Sequence[Reading] = ()) -> dict[str, str]:
    """Return by light id what speaks against its reading, in words; empty when nothing does."""
    predictions = predictions_for(view)
    check = sum_check(view, predictions=predictions, earlier=earlier)
    if not check.alarm or not check.suspects:
        return {}
    top = check.suspects[0]
    if top.light_id is None or top.probability < SURE:
        return {}
    against = "the pop of all lights together" if check.residual_stops is not None else "what it gave before"
    held = f", as if held off {top.held_off_m * 100:.0f} cm" if top.held_off_m else ""
    return {top.light_id: f"contradicted by {against}: it reads about {signed(top.stops)} stop off{held}: fire it once more"}


def contradicted(view: SetView, against: dict[str, str]) -> SetView:
    """Return the view with the verdict of contradicted readings changed to retake."""
    if not against:
        return view
    states = []
    for state in view.lights:
        text = against.get(state.light.id)
        if text is None or state.reading is None:
            states.append(state)
            continue
        judged = judge(
            state.reading,
            state.placement,
            view.settings,
            calibration=view.calibrations.get(state.reading.calibration_id),
            falloff=view.falloffs.get(state.light.modifier) if state.light.modifier else None,
            contradiction=text,
        )
        states.append(state._replace(judged=judged))
    return view._replace(lights=tuple(states))
