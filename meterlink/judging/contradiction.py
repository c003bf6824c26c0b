"""The reading that the rest of the set speaks against: its verdict is a retake wherever it is shown."""

from __future__ import annotations

from meterlink.judging.evidence import DIAL, Suspect
from meterlink.judging.judged_set import JudgedSet, LightState
from meterlink.judging.learnt_dial import dial_words
from meterlink.judging.verdict import RETAKE, Why
from meterlink.words.told import told

__all__ = ["contradicted"]


def contradicted(seen: JudgedSet) -> JudgedSet:
    """Return the set with the verdict of the reading that is most probably wrong changed to retake, when one is."""
    top = seen.check.blamed
    if top is None or top.light_id is None:
        return seen
    against = "against_sum" if seen.check.residual_stops is not None else "against_past"
    return seen._replace(lights=tuple(_against(s, top, against) if s.light.id == top.light_id else s for s in seen.lights))


def _against(state: LightState, top: Suspect, against: str) -> LightState:
    judged = state.judged
    if judged is None or judged.why in (Why.CLIPPED, Why.TOO_DIM, Why.NO_LIGHT, Why.NO_FIGURE):
        return state
    held = {"held_off_m": top.held_off_m} if top.held_off_m else {}
    doubt, do = told(against + "_held" * bool(held), stops=top.stops, **held), told("fire_again")
    if top.cause == DIAL and state.placement is not None:
        like, said_to_be = dial_words(state.light, state.placement, top.stops), dial_words(state.light, state.placement)
        doubt = told("against_past_like", stops=top.stops, like=like, said=said_to_be)
        do = told("look_at_the_dial")
    elif top.dial_stops is not None and state.placement is not None:
        doubt = told("or_dial", cause=doubt, power=dial_words(state.light, state.placement, top.dial_stops))
        do = told("look_and_fire")
    said = told("contradicted", against=doubt, do=do, reason=judged.said)
    return state._replace(judged=judged._replace(verdict=RETAKE, why=Why.CONTRADICTED, said=said, against=doubt))
