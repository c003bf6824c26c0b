"""Words of a command line as people type them: ``120 cm``, ``30 x 90cm``, ``1/125 sec``, ``-1m``.

The shell has split them at blanks, and argparse takes a leading minus for an option; here they become one word each again.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from math import nan

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


def _belongs(word: str) -> bool:
    from meterlink.units import side_words  # a command without numbers need not wait for it

    return word in UNITS or word in side_words()
