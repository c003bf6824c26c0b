"""The reading that the rest of the set speaks against: its verdict is a retake wherever it is shown."""

from __future__ import annotations

from meterlink.judging.evidence import DIAL, Suspect
from meterlink.judging.judged_set import JudgedSet, LightState
from meterlink.judging.learnt_dial import dial_words
from meterlink.judging.verdict import RETAKE, Why, signed

__all__ = ["contradicted"]


def contradicted(seen: JudgedSet) -> JudgedSet:
    """Return the set with the verdict of the reading that is most probably wrong changed to retake, when one is."""
    top = seen.check.blamed
    if top is None or top.light_id is None:
        return seen
    against = "the pop of all lights together" if seen.check.residual_stops is not None else "what it gave before"
    return seen._replace(lights=tuple(_against(s, top, against) if s.light.id == top.light_id else s for s in seen.lights))


def _against(state: LightState, top: Suspect, against: str) -> LightState:
    judged = state.judged
    if judged is None or judged.why in (Why.CLIPPED, Why.TOO_DIM, Why.NO_LIGHT, Why.NO_FIGURE):
        return state
    held = f", as if held off {top.held_off_m * 100:.0f} cm" if top.held_off_m else ""
    do = "fire it once more"
    if top.cause == DIAL and state.placement is not None:
        like, said_to_be = dial_words(state.light, state.placement, top.stops), dial_words(state.light, state.placement)
        against, held, do = "what it gave before", f", it reads like {like}, {said_to_be} was said", "look at the dial"
    elif top.dial_stops is not None and state.placement is not None:
        held += f", or its dial stands at {dial_words(state.light, state.placement, top.dial_stops)}"
        do = "look at the dial and fire it once more"
    said = f"contradicted by {against}: it reads about {signed(top.stops)} stop off{held}"
    reason = f"{said}: {do}; {judged.reason}"
    return state._replace(judged=judged._replace(verdict=RETAKE, why=Why.CONTRADICTED, reason=reason, against=said))
