"""Readings against each other, against the pop of all lights and against what their heads gave before."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from math import log2

from meterlink.checks.findings import DOUBTFUL, FINE, NOTE, WRONG, Finding
from meterlink.judging.evidence import APART_LIMIT, DIAL, HELD, Suspect
from meterlink.judging.judged_set import JudgedSet, LightState, SumCheck
from meterlink.judging.learnt_dial import dial_steps, dial_words
from meterlink.judging.prediction import Prediction, causes
from meterlink.records.kept import OWN_POINT_ROLES
from meterlink.words.actions import Do
from meterlink.words.told import NOTHING, Told, told


def disagreement(view: JudgedSet) -> Iterable[Finding]:
    """What the sum of the lights and the predictions say together."""
    check, swap = view.check, view.swap or ()
    weighing = check.weighing
    if swap:
        both = tuple(check.names[one] for one in swap)
        do = told("do", do=Do("meter_lights", lights=both))
        yield Finding("swapped", WRONG + 0.9, both[-1], told("look_swapped", lights=both), do, {"lights": both})
    blamed = view.state(check.blamed.light_id) if check.blamed is not None else None
    if blamed is not None and blamed.judged is not None and blamed.judged.against.code in ("against_swap", "against_strange"):
        return
    if weighing is None or not weighing.alarm:
        if check.residual_stops is not None and not check.refusal:
            well = {"residual_stops": check.residual_stops, "u_residual_stops": check.u_stops}
            yield Finding("sum", FINE, "", told("sum_agrees", stops=check.residual_stops), NOTHING, well)
        return
    top = check.suspects[0]
    ranking = [
        {
            "light": check.names.get(one.light_id or ""), "probability": one.probability, "cause": one.cause,
            "stops": one.stops, "held_off_m": one.held_off_m,
        }
        for one in check.suspects[:4]
    ]  # fmt: skip
    numbers = {
        "residual_stops": check.residual_stops, "u_residual_stops": check.u_stops, "odds": weighing.odds, "suspects": ranking,
    }  # fmt: skip
    name = check.names.get(top.light_id or "", "")
    rank = WRONG + min(0.9, log2(1 + weighing.odds) / 20)
    kind = "sum" if check.by_sum and top.cause != DIAL else "prediction"
    yield Finding(kind, rank, name, _disagreement(check, top, view), _next_step(check, view), numbers)


def _disagreement(check: SumCheck, top: Suspect, view: JudgedSet) -> Told:
    """What disagrees, and the likeliest cause."""
    parts = []
    if check.residual_stops is None or not check.by_sum:
        pass  # what speaks is the light's own past
    elif top.cause == DIAL and abs(check.residual_stops) <= 2 * check.u_stops:
        parts.append(told("borne_out"))
    elif check.unread:
        without = tuple(check.names[one] for one in check.unread)
        parts.append(told("sum_less_unread", stops=check.residual_stops, u95=2 * check.u_stops, without=without))
    else:
        code = "sum_less" if check.residual_stops < 0 else "sum_more"
        parts.append(told(code, stops=check.residual_stops, u95=2 * check.u_stops))
    prediction = view.predictions.get(top.light_id or "")
    name = check.names.get(top.light_id or "") or told("the_sum_pop")
    if prediction is not None:
        parts.append(told("was_expected", light=name, u95=2 * prediction.u_stops, past=prediction.reason))
    state = view.state(top.light_id)
    if top.light_id is None:
        cause = told("sum_itself")
    elif top.cause == HELD and top.held_off_m is not None:
        cause = told("as_if_held", light=name, stops=top.stops, held_off_m=top.held_off_m)
    else:
        why = _reads_like(state, top.stops) if top.cause == DIAL else causes(top.stops)
        cause = told("reads_high" if top.stops > 0 else "reads_low_because", light=name, stops=top.stops, causes=why)
    if top.dial_stops is not None and state is not None and state.placement is not None:
        cause = told("or_dial", cause=cause, power=dial_words(state.light, state.placement, top.dial_stops))
    numbers = {"parts": tuple(parts), "percent": 100 * top.probability, "cause": cause}
    all_together = told("all_together")
    others = tuple(check.names.get(one.light_id or "") or all_together for one in check.suspects[1:3] if one.probability > 0.1)
    return told("likeliest_else", **numbers, others=others) if others else told("likeliest", **numbers)


def _reads_like(state: LightState | None, stops: float) -> Told:
    """Where a dial stands by what the light gives, against where it was said to stand."""
    if state is None or state.placement is None:
        return told("look_at_dial")
    like, said = dial_words(state.light, state.placement, stops), dial_words(state.light, state.placement)
    return told("reads_like", like=like, said=said)


def _at_the_dial(state: LightState, stops: float) -> Told:
    """What to do about a dial that seems to stand elsewhere: turn it back and fire, or say where it stands."""
    assert state.placement is not None
    name, like = state.light.name, dial_words(state.light, state.placement, stops)
    as_metered = Do("power_as_metered", light=name, power=like.replace(" ", ""))
    said = dial_words(state.light, state.placement)
    return told("at_the_dial", light=name, said=said, like=like, do=Do("meter", light=name), or_do=as_metered)


def _next_step(check: SumCheck, view: JudgedSet) -> Told:
    """The pop that tells most."""
    top = check.suspects[0]
    state = view.state(top.light_id)
    if top.cause == DIAL and state is not None and state.placement is not None:
        return _at_the_dial(state, top.stops)
    kind, light_id = (check.next.kind, check.next.light_id) if check.next is not None else ("again", top.light_id)
    name = check.names.get(light_id or "", "")
    if kind == "again" and name:
        return told("alone_again", light=name, do=Do("meter", light=name))
    if kind == "without":
        fired = tuple(check.names[one] for one in check.fired if one != light_id)
        return told("all_but", light=name, do=Do("meter_some_together", lights=fired))
    return told("together_again", do=Do("meter_together"))


ALIKE_LIGHTS = 3
"""So many lights that all read off alike share the cause: it is looked for at none of them."""


def predicted_apart(view: JudgedSet) -> Iterable[Finding]:
    """Single readings too many standard uncertainties from their prediction; one finding where all are off alike."""
    named = {*(view.swap or ()), view.blamed.light_id if view.blamed is not None else None}
    known = [(state, one) for state in view.lights if (one := view.predictions.get(state.light.id)) is not None]
    apart = [(state, one, off) for state, one in known if (off := _apart(state, one)) is not None]
    if (common := _shared(apart)) is not None:
        names = tuple(state.light.name for state, _, _ in apart)
        said, advice = told("all_apart", stops=common, lights=names), told("all_apart_do")
        yield Finding("prediction", DOUBTFUL + 0.9, "", said, advice, {"apart_stops": common, "lights": list(names)})
        return
    for state, prediction, (stops, u) in apart:
        judged = state.judged
        if abs(stops) <= APART_LIMIT * u or judged is None or judged.against or state.light.id in named:
            continue
        name = state.light.name
        dial = min(dial_steps(state.light, state.placement, view.powers), key=lambda step: abs(step - stops), default=None)
        other = causes(stops, repowered=prediction.same_setup)
        why, advice = told("or_dial_lies", causes=other), told("apart_do", light=name)
        if dial is not None and abs(dial - stops) <= 2 * u:
            why = told("reads_like_else", like=_reads_like(state, dial), causes=other)
            advice = _at_the_dial(state, dial)
        said = told("apart", light=name, stops=stops, past=prediction.reason, u95=2 * u, causes=why)
        numbers = {"apart_stops": stops, "u_stops": u, "predicted": prediction.exposure_lxs, "from": prediction.pasts}
        yield Finding("prediction", DOUBTFUL + min(0.9, abs(stops) / u / 20), name, said, advice, numbers)


def _apart(state: LightState, prediction: Prediction) -> tuple[float, float] | None:
    """By how many stops a reading is off its prediction, and that number's standard uncertainty; None without a reading."""
    judged = state.judged
    if judged is None or not judged.corrected:
        return None
    return log2(judged.corrected) - prediction.value, (prediction.u_stops**2 + judged.u_stops**2) ** 0.5


def _shared(apart: Sequence[tuple[LightState, Prediction, tuple[float, float]]]) -> float | None:
    """What all lights that have a past are off alike, in stops; None where one of them is not, or they are few."""
    offs = [off for _, _, off in apart]
    if len(offs) < ALIKE_LIGHTS or any(abs(stops) <= APART_LIMIT * u for stops, u in offs):
        return None
    middle = sum(stops for stops, _ in offs) / len(offs)
    return middle if all(abs(stops - middle) <= u for stops, u in offs) else None


def sum_hint(view: JudgedSet) -> Iterable[Finding]:
    """Why there is no sum check yet, when there could be one; nothing where what there is speaks against a reading already."""
    front = [one for one in view.lights if one.light.role not in OWN_POINT_ROLES and one.reading is not None]
    why = view.check.refusal
    if why and not view.check.alarm and len(front) > 1:
        # Where one light lacks something, another pop of all would lack it again.
        one = {"sum_not_metered": "meter", "sum_unlike": "meter", "sum_no_direction": "give_direction"}.get(why.code)
        light = why.values["light"] if one else ""
        do = told("do", do=Do(one, light=light)) if one else told("sum_missing_do", do=Do("meter_together"))
        yield Finding("sum_missing", NOTE + 0.5, light, told("not_cross_checked", why=why), do, {})
