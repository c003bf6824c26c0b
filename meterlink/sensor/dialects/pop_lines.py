"""Lines of text from a board that integrates flashes itself: ``pop 211 lxs t01 0.0012 peak 160000``, beside steady light.

The page for whoever writes the board's program is ``hardware_notes/text_pops.md``.  There is no check sum, so a line is
believed only as a whole, and only when its figures agree with each other.
"""

from __future__ import annotations

import re

from meterlink.records import PopFigures, Sample
from meterlink.sensor.dialects.quantities import Refused
from meterlink.sensor.dialects.text_lines import TextLineDecoder

U_REL = 0.05
"""What a board leaves that says nothing of it (k=1): some ten samples of a short flash, and a tail that is cut off.  The shipped
sketches come within 5 and 8 % of pulses that they are made for (``tests/hardware_notes/test_sketches.py``)."""
LIMITS = {
    "lxs": (1e-4, 1e6),
    "peak": (1e-2, 1e9),
    "t05": (1e-6, 10.0),
    "t01": (1e-6, 10.0),
    "u": (1e-4, 0.5),
}
"""What a figure may be, in lx·s, lx, s and as a fraction; outside, the line is damage.  A studio head of 1,000 J at half a metre
gives some 10⁴ lx·s (common practice, no published source)."""
_NUMBER = re.compile(r"\d{1,12}(?:\.\d{0,12})?(?:[eE][+-]?\d{1,2})?", re.ASCII)
_MOST_PER_BOX = 3.0
"""Exposure over peak · t0.1, at most: a box has 1, a train of pulses with a long tail somewhat more."""
_LEAST_PER_BOX = 0.05
"""At least: between the ends of t0.1 there is a tenth of the peak or more, but for the dip between two bumps."""


class PopLineDecoder(TextLineDecoder):
    """Decoder of lines of steady light and of pops.  The word ``pops`` alone says that the board is there and sees flashes."""

    def line(self, text: str, at_s: float) -> list[Sample]:
        """Return the samples of one line.  Raises Refused for a line that cannot be believed."""
        words = text.partition("#")[0].split()
        if words == ["pops"]:
            self._spoken = True
            return []
        if words and words[0].lower().startswith("pop"):
            return [pop_of(words, at_s)]
        return super().line(text, at_s)


def pop_of(words: list[str], at_s: float) -> PopFigures:
    """Return the flash of a line that is cut into words.

    Raises Refused, with ``text`` for a word that is not known or missing, ``number``, ``twice``, ``value`` for a figure that
    cannot be, ``figures`` for some that contradict each other.
    """
    if len(words) < 3 or words[0] != "pop" or words[2] != "lxs":
        raise Refused("text")
    found = {"lxs": _figure("lxs", words[1])}
    rest = words[3:]
    clipped = "clipped" in rest
    if clipped:
        rest.remove("clipped")
    if len(rest) % 2:
        raise Refused("text")
    for name, number in zip(rest[::2], rest[1::2], strict=True):
        if name not in LIMITS or name == "lxs":
            raise Refused("text")
        if name in found:
            raise Refused("twice")
        found[name] = _figure(name, number)
    _agree(found)
    return PopFigures(at_s, found["lxs"], found.get("u", U_REL), found.get("peak"), found.get("t05"), found.get("t01"), clipped)


def _figure(name: str, word: str) -> float:
    if not _NUMBER.fullmatch(word):
        raise Refused("number")
    value = float(word)
    low, high = LIMITS[name]
    if not low <= value <= high:
        raise Refused("value")
    return value


def _agree(found: dict[str, float]) -> None:
    """Refuse a pop whose half lasts longer than its whole, or whose exposure its peak and duration cannot make."""
    t05, t01, peak = found.get("t05"), found.get("t01"), found.get("peak")
    if t05 is not None and t01 is not None and t05 > t01:
        raise Refused("figures")
    if peak is not None and t01 is not None and not _LEAST_PER_BOX <= found["lxs"] / (peak * t01) <= _MOST_PER_BOX:
        raise Refused("figures")
