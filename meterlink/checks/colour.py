"""Lights whose colour differs from the key's, with the gel that would match them, and heads that drift with their power.

Only what a sensor that sees colour read of this very light counts; a sensor without colour says nothing.  A reflector is read
as a difference of two pops, of which the colour is not known, so it says nothing either.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import NamedTuple

from meterlink.checks.facts import fact
from meterlink.checks.findings import CAUTION, NOTE, Finding
from meterlink.judging.fixture_curves import ColourPoint, FixtureCurves, fixture_curves
from meterlink.judging.judged_set import JudgedSet, LightState
from meterlink.judging.learnt_dial import power_words
from meterlink.photometry import colour
from meterlink.words.actions import Do
from meterlink.words.told import Told, all_of, told

LIMIT_DUV = 0.006
"""Default of ours, about five steps of just noticeable difference; to be set by the photographer."""
MUCH_DUV = 0.003
"""A tint below this is not spoken of."""


class ColourRow(NamedTuple):
    """Colour of one light against the key's.  None is not known."""

    light: str
    cct_k: float
    duv: float | None
    mired: float
    gel_mired: float | None
    """Shift of the gel that brings it to the key: positive lowers the CCT; 0 for the key."""
    duv_difference: float | None
    """Duv of the key less that of this light."""
    differs: bool
    gel_on_it: str
    power: str


def limits(view: JudgedSet) -> tuple[float, float]:
    """Return (mired, Duv) beyond which two lights count as different: as set, else 10 mired and 0.006."""
    mired, duv = fact(view.setup.details, "colour_limit_mired"), fact(view.setup.details, "colour_limit_duv")
    return (colour.GEL_LIMIT_MIRED if mired is None else mired), (LIMIT_DUV if duv is None else duv)


def _tint(state: LightState | None) -> tuple[float, float | None] | None:
    """(CCT in K, Duv) of a light's own reading; None for reflectors and readings without a believable colour."""
    reading = state.reading if state is not None else None
    if state is None or reading is None or state.light.source_light_id or reading.cct_k is None:
        return None
    low, high = colour.CCT_RANGE_K
    if not low <= reading.cct_k <= high:
        return None
    duv = reading.duv if reading.duv is not None and abs(reading.duv) <= colour.MAX_DUV else None
    return reading.cct_k, duv


def colour_rows(view: JudgedSet) -> list[ColourRow]:
    """Return the lights whose colour is known, in their order.

    Differences are given to those read with the key's own sensor.
    """
    key = view.key
    key_tint = _tint(key)
    limit_mired, limit_duv = limits(view)
    rows = []
    for state in view.lights:
        tint = _tint(state)
        if tint is None or state.reading is None:
            continue
        gel = duv = None
        differs = False
        same_sensor = key is not None and key.reading is not None and key.reading.sensor_id == state.reading.sensor_id
        if key_tint is not None and same_sensor:
            gel = colour.gel_shift_mired(tint[0], key_tint[0])
            duv = None if tint[1] is None or key_tint[1] is None else key_tint[1] - tint[1]
            differs = abs(gel) > limit_mired or (duv is not None and abs(duv) > limit_duv)
        placement = state.placement
        power = placement.power_text if placement is not None else ""
        on_it = placement.gel if placement is not None else ""
        rows.append(ColourRow(state.light.name, tint[0], tint[1], colour.mired(tint[0]), gel, duv, differs, on_it, power))
    return rows


def matching_power(curves: FixtureCurves, wanted_mired: float, limit_mired: float) -> ColourPoint | None:
    """Return the power that this head was read at whose colour is nearest to the wanted one, if within the limit."""
    near = [point for point in curves.colours if abs(point.mired - wanted_mired) <= limit_mired]
    return min(near, key=lambda point: abs(point.mired - wanted_mired)) if near else None


def colour_findings(view: JudgedSet) -> Iterable[Finding]:
    """Lights off the key's colour, and heads whose colour drifts over their power by more than the limit."""
    limit_mired, _limit_duv = limits(view)
    states = {state.light.name: state for state in view.lights}
    rows = colour_rows(view)
    for row in rows:
        if row.differs and row.gel_mired is not None:
            yield _off_key(row, states[row.light], view, limit_mired)
    told: set[str] = set()
    for row in rows:
        curves = fixture_curves(states[row.light], view)
        if curves.colour_span_mired > limit_mired and curves.name not in told:
            told.add(curves.name)
            yield _drift(row.light, states[row.light], curves)


def _off_key(row: ColourRow, state: LightState, view: JudgedSet, limit_mired: float) -> Finding:
    assert row.gel_mired is not None
    parts = []
    if abs(row.gel_mired) > 0.5:
        parts.append(told("cct_higher" if row.gel_mired > 0 else "cct_lower", mired=abs(row.gel_mired)))
    if row.duv_difference is not None and abs(row.duv_difference) > MUCH_DUV:
        parts.append(told("toward_magenta" if row.duv_difference > 0 else "toward_green", duv=abs(row.duv_difference)))
    numbers = {"light": row.light, "parts": tuple(parts), "cct_k": row.cct_k}
    text = told("off_key", **numbers) if row.duv is None else told("off_key_duv", **numbers, duv=row.duv)
    if row.gel_on_it:
        text = all_of(text, told("off_key_gel", gel=row.gel_on_it))
    # What a gel that was put on has shifted, no second gel takes back well: the head alone is to be read.
    again = told("gel_off", do=Do("gel_off", light=row.light))
    advice = again if row.gel_on_it else _gel(row.gel_mired, row.duv_difference or 0.0)
    power = matching_power(fixture_curves(state, view), row.mired + row.gel_mired, limit_mired)
    if power is not None and state.placement is not None and power.power_stops != state.placement.power_stops:
        head = state.light.fixture or state.light.name
        at = power_words(state.light, power.power_stops)
        advice = all_of(advice, told("at_power_read", power=at, head=head, cct_k=1e6 / power.mired))
    # A gel is put on for a purpose: that its light differs is then no fault.
    rank = NOTE + 0.2 if row.gel_on_it else CAUTION + min(0.5, abs(row.gel_mired) / 200)
    return Finding("colour", rank, row.light, text, advice, {**row._asdict(), "limit_mired": limit_mired})


def _gel(shift_mired: float, duv_difference: float) -> Told:
    """The gel that brings a light to the key: which way, by how many mired, and green or magenta where that matters."""
    tint = "green" if duv_difference > 0.0 else "magenta"
    if abs(shift_mired) <= 0.5:
        return told(f"gel_{tint}", duv=abs(duv_difference))
    way = "gel_lowers" if shift_mired > 0.0 else "gel_raises"
    if abs(duv_difference) <= MUCH_DUV:
        return told(way, mired=abs(shift_mired))
    return told(f"{way}_{tint}", mired=abs(shift_mired), duv=abs(duv_difference))


def _drift(name: str, state: LightState, curves: FixtureCurves) -> Finding:
    low, high = curves.colours[0], curves.colours[-1]
    said = told(
        "drift_higher" if low.mired < high.mired else "drift_lower",
        head=curves.name, span=curves.colour_span_mired, high_k=1e6 / high.mired, high=power_words(state.light, high.power_stops),
        low_k=1e6 / low.mired, low=power_words(state.light, low.power_stops), count=sum(p.readings for p in curves.colours),
    )  # fmt: skip
    points = [point._asdict() for point in curves.colours]
    advice = told("drift_do", do=Do("colour_plot", light=name))
    return Finding("colour_drift", NOTE + 0.35, name, said, advice, {"span_mired": curves.colour_span_mired, "points": points})
