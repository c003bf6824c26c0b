"""Earlier readings as a memory of what each fixture gives: records in, ``Past`` out."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from math import log2
from typing import Any, NamedTuple, TypeAlias

from meterlink.judging.judged_set import JudgedSet, LightState
from meterlink.judging.learnt_dial import powers_before
from meterlink.judging.prediction import Past, Prediction, predict
from meterlink.judging.verdict import RETAKE, Judged
from meterlink.judging.verdict import judge as judged_alone
from meterlink.records.kept import Light, Placement, Reading, Settings

Judging: TypeAlias = "Callable[[Light, Placement, Reading], Judged]"
MOST = 200
"""Readings of one fixture that are weighed; the newest count."""


def past_of(
    light: Light,
    placement: Placement,
    reading: Reading,
    settings: Settings = Settings(),  # noqa: B008 - an immutable record
    *,
    judge: Judging | None = None,
) -> Past | None:
    """Return one earlier reading as a ``Past``; None for what is no basis: a retake, a reflector, other purposes."""
    if reading.purpose != "alone" or light.source_light_id or reading.point != light.point or reading.aim != "light":
        return None
    judged = judge(light, placement, reading) if judge is not None else judged_alone(reading, placement, settings)
    if judged.verdict == RETAKE or not judged.corrected or judged.corrected <= 0.0:
        return None
    return Past(light, placement, reading, log2(judged.corrected), judged.u_stops)


def pasts_from(
    entries: Iterable[tuple[Light, Placement, Reading]],
    settings: Settings = Settings(),  # noqa: B008 - an immutable record
    *,
    judge: Judging | None = None,
) -> tuple[Past, ...]:
    """Return the usable ones of (light, the placement that was metered, reading), oldest first.

    ``entries`` may come from any number of sets, the present one included; only lights with a fixture's name carry
    over from other sets, and only the newest 200 readings of a fixture are kept.
    """
    found: dict[tuple[str, str], list[Past]] = {}
    for light, placement, reading in entries:
        one = past_of(light, placement, reading, settings, judge=judge)
        if one is not None:
            found.setdefault((one.light.fixture or one.light.id, one.light.modifier), []).append(one)
    kept = [one for group in found.values() for one in sorted(group, key=_taken_at_s)[-MOST:]]
    return tuple(sorted(kept, key=_taken_at_s))


def _taken_at_s(past: Past) -> float:
    return past.reading.taken_at_s


class Heads(NamedTuple):
    """What heads gave in other sets, grouped once: it does not change while a set is metered."""

    pasts: tuple[Past, ...] = ()
    by_fixture: Mapping[str, tuple[tuple[Past, ...], tuple[str, ...]]] = {}
    """Fixture's name -> its readings and their ids."""
    powers: Mapping[str, set[float]] = {}

    @classmethod
    def of(cls, pasts: Iterable[Past]) -> Heads:
        """Group readings by their heads."""
        every = tuple(pasts)
        groups: dict[str, list[Past]] = {}
        for one in every:
            groups.setdefault(one.light.fixture, []).append(one)
        by_fixture = {name: (tuple(group), tuple(one.reading.id for one in group)) for name, group in groups.items()}
        return cls(every, by_fixture, powers_before(every))


def predictions_for(
    view: JudgedSet, elsewhere: Heads = Heads(), known: dict[Any, Prediction | None] | None = None  # noqa: B008 - immutable
) -> dict[str, Prediction]:
    """Return by light id what each light of the set should give, from ``view.history``, its own reading left out.

    ``view.history`` begins with ``elsewhere.pasts``.  ``known`` keeps what was predicted, with the same settings and falloffs,
    from the same readings before: a head's past changes with its own pops only.
    """
    known = {} if known is None else known
    own = view.history[len(elsewhere.pasts) :]
    result = {}
    for state in view.lights:
        prediction = _predicted(state, view, elsewhere, own, known)
        if prediction is not None:
            result[state.light.id] = prediction
    return result


def _predicted(
    state: LightState, view: JudgedSet, elsewhere: Heads, own: Iterable[Past], known: dict[Any, Prediction | None]
) -> Prediction | None:
    """Prediction of one light that has a current reading."""
    reading, placement, light = state.reading, state.placement, state.light
    if reading is None or state.expected or placement is None or light.source_light_id or reading.aim != "light":
        return None
    others, ids = elsewhere.by_fixture.get(light.fixture, ((), ())) if light.fixture else ((), ())
    # Readings of the very placement under test are repeats, not predictions: the sum check weighs them as such.
    mine = [
        one
        for one in own
        if (one.light.id == light.id or (light.fixture and one.light.fixture == light.fixture))
        and one.placement.id != placement.id
        and one.reading.id != reading.id
    ]
    if not others and not mine:
        return None
    way = (light.id, light.fixture, light.modifier, placement.id, reading.calibration_id, reading.receptor)
    key = (way, ids, tuple([one.reading.id for one in mine]))
    if key not in known:
        known[key] = predict(
            light,
            placement,
            (*others, *mine),
            view.settings,
            calibration_id=reading.calibration_id,
            receptor=reading.receptor,
            falloff=view.falloff(light),
        )
    return known[key]
