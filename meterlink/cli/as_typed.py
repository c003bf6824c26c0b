"""Words of a command line as people type them: ``120 cm``, ``30 x 90cm``, ``1/125 sec``, ``-1m``.

The shell has split them at blanks, and argparse takes a leading minus for an option; here they become one word each again.
"""

from __future__ import annotations

import re
from argparse import ArgumentTypeError
from collections.abc import Callable, Sequence
from math import nan

from meterlink.units import side_words
from meterlink.words.language import say

UNITS = frozenset({
    "mm", "cm", "m", "in", "inch", "inches", "ft", "feet", "foot", "s", "sec", "second", "seconds", "ms", "us", "stop", "stops",
    "ev", "j", "ws", "k", "deg", "degrees",
})  # fmt: skip
"""Words that belong to the number before them."""
# Patterns are text: a command without such words compiles none.
_NUMBER_LAST = r"(?:.*@)?[-+\u2212]?[0-9.,]+(?:/[0-9.,]+)?°?"
_SIZE_FIRST = r"[0-9.,]+ ?(?:mm|cm|m|in|inch|inches|ft|feet)?"
_SIGNED = r"-[0-9.,].*"
MINUS = "\u2212"
"""The typographic minus, which every reader of numbers takes and argparse does not take for an option."""


def as_typed(words: Sequence[str]) -> list[str]:
    """Return the words with numbers and their units together, and negative numbers not mistaken for options."""
    out: list[str] = []
    rest = list(words)
    while rest:
        word = rest.pop(0)
        if word == "--":
            return [*out, word, *rest]
        if out and re.fullmatch(_NUMBER_LAST, out[-1]) and _belongs(word.lower()):
            out[-1] += f" {word}"
        elif out and rest and word in ("x", "X", "\u00d7") and re.fullmatch(_SIZE_FIRST, out[-1], re.IGNORECASE):
            out[-1] += f" x {rest.pop(0)}"
        elif word.startswith("-") and re.fullmatch(_SIGNED, word):
            out.append(MINUS + word[1:])
        else:
            out.append(word)
    return out


def number(text: str) -> float:
    """Return the number that a text is, nan when it is none."""
    try:
        return float(text)
    except ValueError:
        return nan


def between(low: float, high: float, kind: Callable[[str], float] = float) -> Callable[[str], float]:
    """Return what reads an option's number (``kind=int``: a whole one) and refuses all that is not ``low`` to ``high``, as nan."""
    def read(text: str) -> float:
        try:
            value = kind(text.replace(MINUS, "-"))
        except ValueError:
            value = nan
        if low <= value <= high:
            return value
        raise ArgumentTypeError(say("'{typed}' cannot be: give {low:g} to {high:g}", typed=text[:20], low=low, high=high))

    return read


def _belongs(word: str) -> bool:
    return word in UNITS or word in side_words()
