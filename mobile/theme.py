"""The one place for colours, sizes and fonts.  No kivy here: ``look.py`` hands them to the screens.

Two themes: ``amber`` (dim amber on black, for the dark studio) and ``paper`` (light).  Every pair in ``TEXT_PAIRS`` has a contrast
of at least 4.5:1, every pair in ``EDGE_PAIRS`` (edges of things that can be touched, marks) at least 3:1; a test measures
both from the colours here.  Sizes are in dp (1/160 inch) at a text size of 100 %.
"""

from __future__ import annotations

from typing import NamedTuple

Rgb = tuple[int, int, int]


class Theme(NamedTuple):
    """Colours by what they are for, as red, green, blue from 0 to 255."""

    name: str
    ground: Rgb
    """Behind everything."""
    raised: Rgb
    """Face of what can be touched, and of cards."""
    ink: Rgb
    """What must be read."""
    quiet: Rgb
    """What may be read."""
    edge: Rgb
    """Outline of what can be touched."""
    line: Rgb
    """Rings, scales and rules: ornament, no meaning of its own."""
    strong: Rgb
    """Face of the one thing to touch next, and of what is chosen."""
    over_strong: Rgb
    good: Rgb
    corrected: Rgb
    retake: Rgb
    simulated: Rgb
    """Marks what is not real."""


AMBER = Theme(
    "amber",
    ground=(0, 0, 0),
    raised=(26, 20, 10),
    ink=(233, 176, 88),
    quiet=(184, 138, 70),
    edge=(138, 101, 48),
    line=(84, 62, 30),
    strong=(196, 138, 52),
    over_strong=(0, 0, 0),
    good=(200, 190, 120),
    corrected=(132, 178, 206),
    retake=(240, 132, 104),
    simulated=(200, 150, 196),
)
PAPER = Theme(
    "paper",
    ground=(247, 244, 237),
    raised=(255, 255, 255),
    ink=(34, 28, 18),
    quiet=(92, 82, 66),
    edge=(132, 120, 102),
    line=(205, 196, 180),
    strong=(110, 66, 6),
    over_strong=(255, 255, 255),
    good=(70, 92, 20),
    corrected=(22, 88, 138),
    retake=(164, 44, 26),
    simulated=(120, 48, 118),
)
THEMES = {theme.name: theme for theme in (AMBER, PAPER)}

_READ = ("ink", "quiet", "good", "corrected", "retake", "simulated")
TEXT_PAIRS = (*((front, back) for back in ("ground", "raised") for front in _READ), ("over_strong", "strong"))
EDGE_PAIRS = (("edge", "ground"), ("edge", "raised"), ("strong", "ground"), ("strong", "raised"))

TARGET = 48
"""Smallest side of anything to touch."""
GAP = 8
PAD = 12
CORNER = 10
STROKE = 1.5

NOTE = 13
BODY = 16
LEAD = 20
TITLE = 26
NAME = 40
FIGURE = 104
"""The last pop.  Its capitals are FIGURE * CAP_HEIGHT * 25.4 / 160 = 11.7 mm high: 20 minutes of arc at two metres, the
character height that display ergonomics asks for (ISO 9241-303, figure from memory)."""
CAP_HEIGHT = 0.711
"""Height of capitals and digits over the font size, of the font below."""

TEXT_SCALES = (1.0, 1.15, 1.3, 1.5, 1.75, 2.0)

FONT = "Roboto"
FONT_WIDE_RANGE = "data/fonts/DejaVuSans.ttf"
"""Bundled with kivy; has arrows, fractions and many scripts that the first one lacks."""


def rgba(colour: Rgb, alpha: float = 1.0) -> tuple[float, float, float, float]:
    """Return a colour as four numbers from 0 to 1."""
    red, green, blue = colour
    return red / 255, green / 255, blue / 255, alpha


def font_for(text: str) -> str:
    """Return the font that has every character of ``text``: names come from people, in any script."""
    plain = all(
        code < 0x250
        or 0x370 <= code < 0x530
        or 0x2010 <= code <= 0x2044
        or code in (0x20AC, 0x2122, 0x2212, 0x2248, 0x2264, 0x2265)
        for code in map(ord, text)
    )
    return FONT if plain else FONT_WIDE_RANGE


def contrast(a: Rgb, b: Rgb) -> float:
    """Return the contrast ratio of two colours, 1 to 21 (WCAG 2.2, definitions of contrast ratio and relative luminance)."""
    high, low = sorted((_luminance(a), _luminance(b)), reverse=True)
    return (high + 0.05) / (low + 0.05)


def _luminance(colour: Rgb) -> float:
    red, green, blue = (_linear(channel / 255) for channel in colour)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def _linear(channel: float) -> float:
    return channel / 12.92 if channel <= 0.04045 else ((channel + 0.055) / 1.055) ** 2.4
