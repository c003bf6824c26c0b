"""What was logged, in one sentence: the command line prints it, the app shows it, both the same."""

from __future__ import annotations

from math import log2

from meterlink.checks.room_light import lamps_told_nothing, limit_lx, resolution_lx
from meterlink.judging.judged_set import JudgedSet, LightState, value_of
from meterlink.photometry.series import format_f_number
from meterlink.records import Calibration, Reading
from meterlink.records.kept import falloff_at_m
from meterlink.tables.ratios import reading_f
from meterlink.words.language import with_decimal_sign
from meterlink.words.told import NOTHING, Told, all_of, tells, told


def value_text(view: JudgedSet, value: float, reading: Reading) -> str:
    """f-number of a value, else the plain quantity with its unit."""
    f = reading_f(value, reading, view)
    if f is not None:
        return with_decimal_sign(format_f_number(f))
    return str(told("lxs" if reading.kind == "flash" else "lx", value=value))


def level(value_lx: float, calibration: Calibration | None, range_index: int) -> Told:
    """The light now; what the range cannot resolve is only said to be less."""
    least = resolution_lx(calibration, range_index)
    return told("level", lx=value_lx) if value_lx >= least else told("level_below", lx=least)


def held_words(state: LightState | None, held_off_m: float | None) -> Told:
    """How far off the dome is held; nothing where the light's own reason says already that nobody gave that."""
    if held_off_m is not None:
        return told("held_off", length=held_off_m)
    unsaid = state is None or state.judged is None or not tells(state.judged.said, "reach_assumed", "both_assumed")
    return told("not_held_off") if unsaid else NOTHING


def _blame(view: JudgedSet) -> Told:
    """Which light the pop of all speaks against, if any."""
    top = view.blamed
    if top is None:
        return NOTHING
    if top.light_id is None:
        alone = view.check.next.light_id if view.check.next is not None and view.check.next.kind == "again" else None
        light = view.check.names.get(alone or "")
        return told("pop_or_light", stops=top.stops, light=light) if light else told("pop_itself", stops=top.stops)
    state = view.state(top.light_id)
    if state is None or state.judged is None:
        return NOTHING
    return told("light_says", light=state.light.name, what=state.judged.said)


def logged(view: JudgedSet, reading: Reading, state: LightState | None, purpose: str) -> Told:
    """What was logged: ``KEY f/8 +0.3, corrected``."""
    value = value_of(reading) or 0.0
    text = value_text(view, value, reading)
    if purpose == "together":
        return all_of(told("logged_together", value=text), _blame(view))
    if purpose == "room":
        limit = limit_lx(view, reading)
        if limit is None:
            return told("logged_room", lx=value)
        return told("logged_room_dark" if lamps_told_nothing(view, reading) else "logged_room_below", lx=limit)
    if state is None:
        return told("note", note=text)
    name = state.light.name
    if purpose in ("with", "without"):
        said = told(f"logged_{purpose}", light=name, value=text)
        if purpose == "with" or state.reading is None:
            return said  # what it adds is known with the pop without it: an older one is not held against this
        if state.value is None or not state.value > 0:
            return all_of(said, told("adds_nothing"))
        return all_of(said, told("adds", value=value_text(view, state.value, state.reading)))
    if (at_m := falloff_at_m(reading.point)) is not None:
        return told("logged_falloff", light=name, value=text, distance_m=at_m)
    if reading.point != state.light.point:
        return all_of(told("logged_there", light=name, value=text, point=reading.point), _from_own_point(reading, state), by=", ")
    if state.judged is None or state.reading is None or state.reading.id != reading.id:
        return told("logged_light", light=name, value=text)
    at_point = value_text(view, state.value or 0.0, reading)
    return told("logged_judged", light=name, value=at_point, verdict=told(state.judged.verdict.value), reason=state.judged.said)


def _from_own_point(reading: Reading, state: LightState) -> Told:
    """How much a light gives elsewhere against its own point, where that is read in the same way."""
    own, there = state.reading, value_of(reading)
    if own is None or (own.kind, own.receptor) != (reading.kind, reading.receptor):
        return NOTHING
    here = value_of(own) if own.held_off_m == reading.held_off_m else state.value
    if not there or not here or min(there, here) <= 0:
        return NOTHING
    return told("against_own_point", stops=log2(there / here), point=own.point)
