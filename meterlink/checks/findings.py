"""Everything that is not as it should be in a set, as plain findings, worst first, each with what to do.

A finder is a function from the judged set to findings; ``FINDERS`` is the list of
them, and others add theirs with ``register``.  Each finding carries the numbers behind it.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from math import log2
from typing import Any, NamedTuple, TypeAlias

from meterlink.judging.evidence import APART_LIMIT, DIAL, HELD, Suspect
from meterlink.judging.judged_set import JudgedSet, LightState, SumCheck, quoted
from meterlink.judging.learnt_dial import dial_steps, dial_words
from meterlink.judging.prediction import causes
from meterlink.judging.reach import costs_more, reach_of
from meterlink.judging.repeats import outlier_note
from meterlink.judging.verdict import RETAKE, signed
from meterlink.records.kept import OWN_POINT_ROLES

__all__ = ["FINDERS", "Finding", "findings", "register"]

WRONG, DOUBTFUL, CAUTION, NOTE = 3.0, 2.0, 1.0, 0.0
"""Ranks: a number of the set is wrong; may be wrong; is right but will disappoint; is good to know."""


class Finding(NamedTuple):
    """One thing to know about a set."""

    kind: str
    """Machine name: ``retake``, ``stale``, ``not_metered``, ``sum``, ``prediction``, ``evenness`` ..."""
    rank: float
    """Worst first: 3 wrong, 2 doubtful, 1 caution, 0 note; the part behind the point orders within a rank."""
    light: str
    """Name of the light concerned, empty for the whole set."""
    text: str
    """What was found, in one sentence."""
    advice: str
    """What to do."""
    numbers: dict[str, Any]
    """The figures behind it; stops are k=1 unless their name says u95."""

    def as_json(self) -> dict[str, Any]:
        """Return plain data for ``--json``."""
        return self._asdict()


Finder: TypeAlias = "Callable[[JudgedSet], Iterable[Finding]]"
FINDERS: list[Finder] = []


def register(finder: Finder) -> Finder:
    """Add a finder, ``(JudgedSet) -> Iterable[Finding]``; usable as a decorator.  Adding one twice does nothing."""
    if finder not in FINDERS:
        FINDERS.append(finder)
    return finder


def findings(view: JudgedSet) -> list[Finding]:
    """Return all findings of a judged set, worst first."""
    found = [finding for finder in FINDERS for finding in finder(view)]
    return sorted(found, key=lambda one: (-one.rank, one.kind, one.light))


@register
def retakes(view: JudgedSet) -> Iterable[Finding]:
    """Readings whose verdict is retake."""
    for state in view.lights:
        judged = state.judged
        if judged is not None and judged.verdict == RETAKE:
            numbers = {"correction_stops": judged.correction_stops, "u95_stops": judged.u95_stops}
            yield Finding(
                "retake",
                WRONG + min(0.9, judged.u95_stops / 10),
                state.light.name,
                f"{state.light.name}: {judged.reason}",
                f"meterlink meter {state.light.name}",
                numbers,
            )


@register
def not_current(view: JudgedSet) -> Iterable[Finding]:
    """Lights without a current reading."""
    for state in view.lights:
        if state.reading is not None:
            continue
        name = state.light.name
        if state.stale is not None:
            text = f"{name}: {state.stale_reason}; its old reading is not shown"
            yield Finding("stale", WRONG, name, text, f"meterlink meter {name}", {"reading": state.stale.id})
        else:
            yield Finding("not_metered", DOUBTFUL, name, f"{name} has not been metered", state.missing, {})


@register
def disagreement(view: JudgedSet) -> Iterable[Finding]:
    """What the sum of the lights and the predictions say together."""
    check = view.check
    weighing = check.weighing
    if weighing is None or not weighing.alarm:
        return
    top = check.suspects[0]
    names = check.names
    ranking = [
        {
            "light": names.get(one.light_id or "", "all together"),
            "probability": one.probability,
            "cause": one.cause,
            "stops": one.stops,
            "held_off_m": one.held_off_m,
        }
        for one in check.suspects[:4]
    ]
    numbers = {
        "residual_stops": check.residual_stops,
        "u_residual_stops": check.u_stops,
        "odds": weighing.odds,
        "suspects": ranking,
    }
    name = names.get(top.light_id or "", "")
    rank = WRONG + min(0.9, log2(1 + weighing.odds) / 20)
    kind = "sum" if check.residual_stops is not None and top.cause != DIAL else "prediction"
    yield Finding(kind, rank, name, _disagreement_text(check, top, view), _next_words(check, view), numbers)


def _disagreement_text(check: SumCheck, top: Suspect, view: JudgedSet) -> str:
    """What disagrees, and the likeliest cause."""
    parts = []
    if check.residual_stops is not None and top.cause == DIAL and abs(check.residual_stops) <= 2 * check.u_stops:
        parts.append("all lights together bear the readings out")
    elif check.residual_stops is not None:
        less = "less" if check.residual_stops < 0 else "more"
        u95 = max(0.1, 2 * check.u_stops)
        parts.append(f"all lights together give {abs(check.residual_stops):.2f} ± {u95:.1f} stop {less} than the sum of each alone")
    prediction = view.predictions.get(top.light_id or "")
    name = check.names.get(top.light_id or "", "the pop of all lights")
    if prediction is not None:
        parts.append(f"{name} was expected within ± {2 * prediction.u_stops:.1f} stop from {prediction.reason}")
    size = f"{abs(top.stops):.1f} stop {'high' if top.stops > 0 else 'low'}"
    if top.light_id is None:
        cause = "the pop of all lights itself is off"
    elif top.cause == DIAL:
        cause = f"{name} reads about {size}: {_reads_like(view.state(top.light_id), top.stops)}"
    elif top.cause == HELD and top.held_off_m is not None:
        cause = f"{name} reads about {size}, as if held off {top.held_off_m * 100:.0f} cm toward it"
    else:
        cause = f"{name} reads about {size}: {causes(top.stops)}"
    state = view.state(top.light_id)
    if top.dial_stops is not None and state is not None and state.placement is not None:
        cause += f", or its dial stands at {dial_words(state.light, state.placement, top.dial_stops)}"
    others = [check.names.get(one.light_id or "", "all together") for one in check.suspects[1:3] if one.probability > 0.1]
    tail = f" (else {' or '.join(others)})" if others else ""
    return "; ".join(parts) + f"; likeliest, at {100 * top.probability:.0f} %: {cause}{tail}"


def _reads_like(state: LightState | None, stops: float) -> str:
    """Where a dial stands by what the light gives, against where it was said to stand."""
    if state is None or state.placement is None:
        return "look at its dial"
    like, said = dial_words(state.light, state.placement, stops), dial_words(state.light, state.placement)
    return f"it reads like {like}, {said} was said: look at the dial"


def _at_the_dial(state: LightState, stops: float) -> str:
    """What to do about a dial that seems to stand elsewhere: turn it back and fire, or say where it stands."""
    assert state.placement is not None
    name, like = quoted(state.light.name), dial_words(state.light, state.placement, stops)
    said = dial_words(state.light, state.placement)
    typed = like.replace(" ", "")
    return (
        f"turn the dial of {state.light.name} to {said} and fire it again: meterlink meter {name}; or, if it is meant to stand at "
        f"{like}, no new pop is needed: meterlink light move {name} --power {typed} --as-metered"
    )


def _next_words(check: SumCheck, view: JudgedSet) -> str:
    """The pop that tells most, as a command."""
    top = check.suspects[0]
    state = view.state(top.light_id)
    if top.cause == DIAL and state is not None and state.placement is not None:
        return _at_the_dial(state, top.stops)
    kind, light_id = (check.next.kind, check.next.light_id) if check.next is not None else ("again", top.light_id)
    name = check.names.get(light_id or "", "")
    if kind == "again" and name:
        return f"fire {name} alone once more, dome at its point: meterlink meter {quoted(name)}"
    fired = [quoted(check.names[one]) for one in check.fired if one != light_id]
    if kind == "without":
        return f"fire all but {name} together: meterlink meter --together {' '.join(fired)}"
    return "fire all together once more, dome at the face: meterlink meter --together"


@register
def predicted_apart(view: JudgedSet) -> Iterable[Finding]:
    """Single readings too many standard uncertainties from their prediction."""
    blamed = view.blamed.light_id if view.blamed is not None else None
    for state in view.lights:
        prediction, judged = view.predictions.get(state.light.id), state.judged
        if prediction is None or judged is None or not judged.corrected or state.light.id == blamed:
            continue
        apart = log2(judged.corrected) - prediction.value
        u = (prediction.u_stops**2 + judged.u_stops**2) ** 0.5
        if abs(apart) <= APART_LIMIT * u:
            continue
        name = state.light.name
        dial = min(dial_steps(state.light, state.placement, view.history), key=lambda step: abs(step - apart), default=None)
        why = f"{causes(apart, repowered=prediction.same_setup)}, or its dial does not deliver what it says"
        advice = f"fire {name} once more: if it stays, its power curve is learnt from it"
        if dial is not None and abs(dial - apart) <= 2 * u:
            why = f"{_reads_like(state, dial)}; else {causes(apart, repowered=prediction.same_setup)}"
            advice = _at_the_dial(state, dial)
        yield Finding(
            "prediction",
            DOUBTFUL + min(0.9, abs(apart) / u / 20),
            name,
            f"{name} reads {signed(apart)} stop against what {prediction.reason} predict (± {2 * u:.1f}): {why}",
            advice,
            {"apart_stops": apart, "u_stops": u, "predicted": prediction.exposure_lxs, "from": prediction.pasts},
        )


@register
def sum_hint(view: JudgedSet) -> Iterable[Finding]:
    """Why there is no sum check yet, when there could be one."""
    front = [one for one in view.lights if one.light.role not in OWN_POINT_ROLES and one.reading is not None]
    if view.check.refusal and len(front) > 1:
        yield Finding(
            "sum_missing",
            NOTE + 0.5,
            "",
            f"the readings are not cross-checked: {view.check.refusal}",
            "fire all lights on the face together once, dome at the face toward the camera: meterlink meter --together",
            {},
        )


@register
def unknown_places(view: JudgedSet) -> Iterable[Finding]:
    """Lights whose distance or direction is missing."""
    for state in view.lights:
        placement, name = state.placement, state.light.name
        if placement is None or placement.distance_m is None:
            text = f"the distance of {name} is not given: its correction is a guess over 0.5–4 m"
            advice = f"meterlink light move {name} --distance 1.4m (no new pop is needed)"
            yield Finding("no_distance", CAUTION + 0.5, name, text, advice, {})
        elif placement.azimuth_deg is None and state.light.role not in OWN_POINT_ROLES:
            text = f"the direction of {name} is not given: it has no share and no part in the sum check"
            yield Finding("no_direction", NOTE + 0.4, name, text, f"meterlink light move {name} --azimuth 45", {})


@register
def outliers(view: JudgedSet) -> Iterable[Finding]:
    """Pops of one reading that stand apart from the others."""
    for state in view.lights:
        note = outlier_note(state.reading.pops) if state.reading is not None else ""
        if note and state.reading is not None:
            values = [pop.exposure_lxs for pop in state.reading.pops]
            advice = f"let it recycle and fire {state.light.name} again"
            text = f"{state.light.name}: {note}"
            yield Finding("outlier", DOUBTFUL, state.light.name, text, advice, {"pops_lxs": values})


@register
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
        yield Finding(
            "reach",
            NOTE + 0.6,
            state.light.name,
            f"{state.light.name} is so near that {view.settings.assumed_reach_max_m * 100:.0f} cm cost more than a tenth of a stop",
            f"{reach.words(state.light.name, state.light.point)}, or declare it: {state.light.name}@5cm",
            {"good_m": reach.good_m, "usable_m": reach.usable_m},
        )
