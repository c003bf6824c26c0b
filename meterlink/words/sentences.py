"""Sentences that the command line prints and the app shows and speaks: one place, so that both say the same."""

from __future__ import annotations

from meterlink.judging.judged_set import ADDS_NOTHING, JudgedSet, LightState, value_of
from meterlink.judging.verdict import signed
from meterlink.photometry.series import format_f_number
from meterlink.records import Reading
from meterlink.tables.ratios import reading_f


def value_text(view: JudgedSet, value: float, reading: Reading) -> str:
    """f-number of a value, else the plain quantity with its unit."""
    f = reading_f(value, reading, view)
    if f is not None:
        return format_f_number(f)
    return f"{value:.3g} lx·s" if reading.kind == "flash" else f"{value:.3g} lx"


def _blame(view: JudgedSet) -> str:
    """Which light the pop of all speaks against, if any."""
    top = view.blamed
    if top is None:
        return ""
    if top.light_id is None:
        return f"; this pop itself reads about {signed(top.stops)} stop off: fire all together once more"
    state = view.state(top.light_id)
    if state is None or state.judged is None:
        return ""
    return f"; {state.light.name}: {state.judged.reason}"


def logged_sentence(view: JudgedSet, reading: Reading, state: LightState | None, purpose: str) -> str:
    """What was logged, in one sentence: ``KEY f/8 +0.3, corrected``."""
    value = value_of(reading) or 0.0
    if purpose == "together":
        return f"all lights together {value_text(view, value, reading)}{_blame(view)}"
    if purpose == "room":
        return f"room light {value:.3g} lx"
    if state is None:
        return value_text(view, value, reading)
    name = state.light.name
    if purpose in ("with", "without"):
        said = f"{name}: pop {purpose} it {value_text(view, value, reading)}"
        if state.reading is None:
            return said
        if state.value is None or not state.value > 0:
            return f"{said}; {ADDS_NOTHING}"
        return f"{said}; it adds {value_text(view, state.value, state.reading)}"
    if state.judged is None or state.reading is None or state.reading.id != reading.id:
        return f"{name} {value_text(view, value, reading)}"
    at_point = value_text(view, state.value or 0.0, reading)
    return f"{name} {at_point}, {state.judged.verdict}: {state.judged.reason}"
