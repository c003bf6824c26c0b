"""What a claim says beside its figures.

A record keeps code and values: they outlive a sentence and are read in any language.  No numpy here: every verdict asks.
"""

from __future__ import annotations

from typing import Any

from meterlink.words.language import say, translated

SAID = {
    "no_lamp":
        "no steady lamp was weighed, so none is claimed: another lamp's spectrum moves a filtered diode by 0.15 to 0.44 stop "
        "(spectral.md)",
    "one_lamp": "steady light is that of {lamp}: another lamp's spectrum moves a filtered diode by 0.15 to 0.44 stop (spectral.md)",
    "the_lamp": "the lamp that was used",
    "lamp": "steady light is that of {lamp}",
    "lamps": "steady light is that of {lamp}; it holds for {lamps} too",
    "other_lamps": "other lamps read too bright (+) or too dark (-), in stops: {lamps}",
    "plane": "dome and reference within 1 cm of one plane, lights {far:g} m off: {stops:.2f} stop, in every reading alike",
    "few_pairs": "the ranges' own scales are known to {stops:.2f} stop only: calibrate again with more pairs",
    "other_camera": "with another camera or lens f-numbers may be {stops:.1f} stop off (k=2)",
    "reference_known_to": "the reference itself is known to {stops:.2f} stop only (k=2)",
    "mend": "verify names {faults}: mend that first",
}


def kept(code: str, **values: Any) -> list[Any]:
    """Return a sentence as a record keeps it."""
    return [code, values]


def said(words: object) -> str:
    """Return a sentence that a record keeps, in the language in use; one of before is English text already."""
    if isinstance(words, str):
        return words
    # A library from elsewhere may hold anything.
    if not isinstance(words, list) or len(words) != 2 or not isinstance(words[1], dict):
        return ""
    try:
        return say(SAID[words[0]], **{name: _value(value) for name, value in words[1].items()})
    except (KeyError, TypeError, ValueError):
        return ""


def _value(value: Any) -> Any:
    """A value of a sentence: a number or a name as it is; several names, each translated; or a sentence again."""
    if not isinstance(value, list):
        return value
    return said(value) if value and isinstance(value[0], str) and value[0] in SAID else ", ".join(map(translated, map(str, value)))
