"""Which light leaves the longest trail of something that moves, and what this head's own readings say about shortening it.

The trail counts for the part of the light that it is: at the face by the light's share, at hair and rim (which are lit by their own
light) whole.  t0.1 counts, t0.5 flatters.
"""

from __future__ import annotations

from collections.abc import Iterable
from math import log2
from typing import NamedTuple

from meterlink.checks.facts import Movement, camera, fact, magnification_of, movement
from meterlink.checks.findings import CAUTION, FINE, NOTE, Finding
from meterlink.judging.fixture_curves import FixtureCurves, fixture_curves, shorter_power
from meterlink.judging.judged_set import JudgedSet, LightState
from meterlink.judging.learnt_dial import power_words
from meterlink.photometry import freeze, shutter
from meterlink.records.kept import OWN_POINT_ROLES
from meterlink.tables.ratios import exposure_lxs, ratio_table
from meterlink.words.actions import Do
from meterlink.words.told import NOTHING, Told, told

LIMIT_MM = 5.0 / 3.0
"""A dancer at 5 m/s under t0.1 = 1/3000 s, which common practice calls frozen (no published source), leaves this."""
LIMIT_PX = 5.0
"""The same in a full-length picture (1.9 m on 24 mm) at 4 µm a pixel: our own conversion."""
LEAST_SHARE = 0.05
"""A light of a smaller share draws too faintly to be the one to change."""


class Drawn(NamedTuple):
    """What one light leaves."""

    light: str
    t01_s: float
    """Flash duration, or what the shutter lets through of it; steady light: the shutter time."""
    share: float
    """Of the light at the place that it falls on: on the face its share, at its own point 1."""
    trail_mm: float
    weighted_mm: float
    trail_px: float | None
    steady: bool = False
    at_point: str = "face"


def limit_mm(view: JudgedSet) -> float:
    """Return the longest trail that counts as frozen, in mm at the subject: as set, else as common practice has it."""
    details = view.setup.details
    pixels, millimetres = fact(details, "blur_limit_px"), fact(details, "blur_limit_mm")
    scale, pitch = magnification_of(view.setup), fact(details, "pixel_pitch_um")
    if millimetres is not None:
        return millimetres
    if scale is not None and pitch is not None:
        return (pixels if pixels is not None else LIMIT_PX) * pitch / 1000.0 / scale
    return LIMIT_MM


def trails_of(view: JudgedSet) -> list[Drawn]:
    """Return what each light with a known duration leaves of the set-up's movement, the one that shows most first."""
    speed, shares = movement(view.setup).speed_m_s, _shares(view)
    scale, pitch = magnification_of(view.setup), fact(view.setup.details, "pixel_pitch_um")
    found = []
    for state in view.lights:
        time_s = _time_of(state, view)
        if time_s is None:
            continue
        own = state.light.role in OWN_POINT_ROLES
        share = 1.0 if own else shares.get(state.light.id, 0.0)
        trail = freeze.blur_mm(speed, time_s)
        pixels = freeze.blur_px(trail, scale, pitch) if scale is not None and pitch is not None else None
        steady = state.reading is not None and state.reading.kind == "steady"
        point = state.light.point if own else "face"
        found.append(Drawn(state.light.name, time_s, share, trail, trail * share, pixels, steady, point))
    return sorted(found, key=lambda one: -one.weighted_mm)


def _shares(view: JudgedSet) -> dict[str, float]:
    """Share of each light on the face; where directions are missing, of what was read aiming at each."""
    known = {row.light: row.share for row in ratio_table(view).rows}
    on_face = [s for s in view.lights if s.light.role not in OWN_POINT_ROLES and (s.value or 0.0) > 0.0]
    if on_face and all(known.get(s.light.name) is not None for s in on_face):
        return {s.light.id: known[s.light.name] or 0.0 for s in on_face}
    kinds = {s.light.id: s.reading.kind if s.reading is not None else "flash" for s in on_face}
    amounts = {s.light.id: exposure_lxs(s.value or 0.0, kinds[s.light.id], view.setup.shutter_s) or 0.0 for s in on_face}
    total = sum(amounts.values())
    return {one: amount / total for one, amount in amounts.items()} if total > 0.0 else {}


def _time_of(state: LightState, view: JudgedSet) -> float | None:
    """How long a light draws: t0.1 cut by the shutter, or the shutter time of steady light."""
    reading = state.reading
    if reading is None:
        return None
    at = camera(view.setup, view.settings).shutter
    if reading.kind == "steady":
        return at.time_s if at is not None else None
    if reading.t01_s is None or not reading.t01_s > 0.0:
        return None
    open_s = shutter.window_s(at, 1.0) if at is not None else 0.0
    return min(reading.t01_s, open_s) if open_s > 0.0 else reading.t01_s


def freeze_findings(view: JudgedSet) -> Iterable[Finding]:
    """The light on the face that smears movement most, and hair and rim lights that do when a movement is declared."""
    moves, limit = movement(view.setup), limit_mm(view)
    drawn = trails_of(view)
    # Hair and rim lights count where she has said what moves: else the question is the hands before the face.
    own = [one for one in drawn if moves.declared and one.at_point in ("hair", "rim") and not one.steady]
    on_face = [one for one in drawn if one.at_point == "face" and one.share >= LEAST_SHARE]
    looked_at = on_face + own
    long = [one for one in looked_at if one.trail_mm > limit * 1.02]
    if looked_at and not long:
        one = max(looked_at, key=lambda one: one.trail_mm)
        what = moves.what or told("moving_word")
        said = told("frozen", what=what, mm=one.trail_mm, speed=moves.speed_m_s, light=one.light)
        numbers = {"trail_mm": one.trail_mm, "limit_mm": limit, "speed_m_s": moves.speed_m_s}
        yield Finding("freeze", FINE, "", said, NOTHING, numbers)
    for one in [one for one in long if one in on_face][:1] + [one for one in long if one in own]:
        yield _finding(one, view, moves, limit, drawn)


def _finding(one: Drawn, view: JudgedSet, moves: Movement, limit: float, drawn: list[Drawn]) -> Finding:
    state = next(state for state in view.lights if state.light.name == one.light)
    # A card draws as long as its source flashes: that is what can be turned.
    head = view.state(state.light.source_light_id) or state
    all_read = all(s.reading is not None for s in view.lights if s.light.role not in OWN_POINT_ROLES)
    wanted = limit / 1000.0 / moves.speed_m_s
    # Over the limit by one stop weighs little, by four stops all of it.
    over = log2(one.trail_mm / limit)
    rank = CAUTION + min(0.5, over / 8 * one.share) if moves.declared else NOTE + 0.25
    said = _said(one, moves, told("part_of_face", share=one.share) if all_read else NOTHING)
    advice = _advice(one, head, fixture_curves(head, view), wanted)
    numbers = {
        "speed_m_s": moves.speed_m_s, "movement_declared": moves.declared, "t01_s": one.t01_s, "wanted_t01_s": wanted,
        "limit_mm": limit, "trail_mm": one.trail_mm, "trail_px": one.trail_px, "share": one.share if all_read else None,
        "trails": [each._asdict() for each in drawn],
    }  # fmt: skip
    return Finding("freeze", rank, one.light, said, advice, numbers)


def _said(one: Drawn, moves: Movement, part: Told) -> Told:
    what = told("moves_declared" if moves.declared else "moves_assumed", what=moves.what) if moves.what else NOTHING
    trail = told("trail_px", mm=one.trail_mm, px=one.trail_px) if one.trail_px is not None else told("trail_mm", mm=one.trail_mm)
    time = told("shutter_time" if one.steady else "flash_time", time_s=one.t01_s)
    numbers = {"light": one.light, "trail": trail, "speed": moves.speed_m_s, "what": what, "time": time}
    if one.at_point == "face":
        return told("trail", **numbers, part=part)
    return told("trail_at", **numbers, point=one.at_point)


def _advice(one: Drawn, state: LightState, curves: FixtureCurves, wanted_s: float) -> Told:
    """What shortens it, and its cost in stops; ``state`` is the head that the trail comes from."""
    if one.steady:
        return told("steady_do", wanted_s=wanted_s, stops=log2(one.t01_s / wanted_s))
    choice = shorter_power(state, curves, wanted_s)
    placement, name = state.placement, state.light.name
    if choice is not None and curves.durations is not None and choice.change_stops != 0.0:
        there = curves.durations.at(choice.power_stops)
        return told(
            "power_costs" if choice.cost_stops < 0 else "power_gives",
            light=name, power=power_words(state.light, choice.power_stops), t01_s=there or wanted_s, head=curves.name,
            stops=choice.cost_stops,
        )  # fmt: skip
    if curves.durations is not None:
        values, powers = curves.durations.values, curves.durations.power_stops
        best = min(range(len(values)), key=lambda i: values[i])
        power = power_words(state.light, powers[best])
        return told("never_so_short", head=curves.name, wanted_s=wanted_s, shortest_s=values[best], power=power)
    if placement is not None and placement.power_stops is not None:
        return told("learn_shorter", wanted_s=wanted_s, light=name)
    return told("learn_shorter_power", wanted_s=wanted_s, light=name, do=Do("give_power", light=name))
