"""The one place for colours and sizes.  No kivy here: ``look.py`` hands them to the screens.

Two themes: ``amber`` (warm on black, for the dark studio) and ``paper`` (light).  What can be tapped is in the colour
``strong``, as a face (the one thing to do next) or as text on a quiet face (all the rest).  Every pair in ``TEXT_PAIRS``
has a contrast of at least 4.5:1, every pair in ``EDGE_PAIRS`` (edges of things that can be touched, marks) at least 3:1; a
test measures both from the colours here.  Sizes are in dp (1/160 inch) at a text size of 100 %.
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
    """Face of cards and of the bar."""
    face: Rgb
    """Face of what can be touched and is not the next thing to do."""
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
    raised=(28, 25, 20),
    face=(50, 44, 34),
    ink=(226, 212, 190),
    quiet=(172, 158, 136),
    edge=(136, 122, 98),
    line=(74, 66, 54),
    strong=(232, 164, 62),
    over_strong=(0, 0, 0),
    good=(190, 206, 136),
    corrected=(142, 186, 216),
    retake=(246, 140, 112),
    simulated=(208, 160, 206),
)
PAPER = Theme(
    "paper",
    ground=(246, 244, 240),
    raised=(255, 255, 255),
    face=(229, 222, 209),
    ink=(30, 27, 22),
    quiet=(90, 82, 70),
    edge=(130, 120, 104),
    line=(206, 199, 188),
    strong=(138, 72, 0),
    over_strong=(255, 255, 255),
    good=(62, 88, 16),
    corrected=(16, 84, 138),
    retake=(166, 40, 22),
    simulated=(120, 48, 118),
)
THEMES = {theme.name: theme for theme in (AMBER, PAPER)}

TARGET = 48
"""Smallest side of anything to touch."""
GAP = 8
"""The grid: every distance is a whole number of these, or half of one inside a line."""
PAD = 16
CORNER = 8
STROKE = 2

MARK = 14
"""Labels on scales and plans: the smallest text there is."""
NOTE = 16
"""What may be read: reasons, places, hints."""
BODY = 22
"""What must be read at arm's length: names, values, what to do."""
FIGURE = 104
"""The last pop.  Its capitals are FIGURE * CAP_HEIGHT * 25.4 / 160 = 11.7 mm high: 20 minutes of arc at two metres, the
character height that display ergonomics asks for (ISO 9241-303, figure from memory)."""
CAP_HEIGHT = 0.711
"""Height of capitals and digits over the font size, of the usual font."""
MOVE_S = 0.15
"""Motion, where something changes its place; nothing else moves."""

TEXT_SCALES = (1.0, 1.15, 1.3, 1.5, 1.75, 2.0)


def rgba(colour: Rgb, alpha: float = 1.0) -> tuple[float, float, float, float]:
    """Return a colour as four numbers from 0 to 1."""
    red, green, blue = colour
    return red / 255, green / 255, blue / 255, alpha
