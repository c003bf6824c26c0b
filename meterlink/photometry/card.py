"""A grey card in a camera's frame: how far a frame is from the exposure at which the card comes out at its level.

ISO 12232 (2006 and 2019, from memory) states a digital camera's standard output sensitivity by the exposure that a level of 118 of
255 in sRGB needs, which is what IEC 61966-2-1 makes of 18 % of white.  A card of another reflectance has another level.
"""

from __future__ import annotations

import math

from meterlink.photometry.exposure import positive

GREY = 0.18
"""Reflectance of the usual grey card, of a white that reflects all (common practice)."""
MOST_STOPS = 2 / 3
"""A frame further off than this says nothing: cameras' tone curves follow sRGB near the middle only."""


def linear(code: float) -> float:
    """Return the light, 0 to 1, that a level of 0 to 255 in sRGB stands for (IEC 61966-2-1)."""
    if not 0.0 <= code <= 255.0:
        raise ValueError(f"a level is from 0 to 255, not {code!r}")
    v = code / 255.0
    return v / 12.92 if v <= 0.04045 else math.pow((v + 0.055) / 1.055, 2.4)


def level(light: float) -> float:
    """Return the level in sRGB, 0 to 255, of a light from 0 to 1 (IEC 61966-2-1); the inverse of ``linear``."""
    if not 0.0 <= light <= 1.0:
        raise ValueError(f"light is from 0 to 1, not {light!r}")
    return 255.0 * (12.92 * light if light <= 0.0031308 else 1.055 * math.pow(light, 1 / 2.4) - 0.055)


def stops_over(code: float, reflectance: float = GREY) -> float:
    """Return by how many stops a frame is too bright (positive) in which a card of ``reflectance`` has the level ``code``.

    Raises ValueError: a reflectance that is not between 0.03 and 0.6, or a frame further off than ``MOST_STOPS``.
    """
    if not 0.03 <= reflectance <= 0.6:
        raise ValueError(f"a card that serves reflects 3 to 60 %, not {reflectance:.0%}: a white one is on the camera's shoulder")
    light = linear(code)
    stops = math.log2(light / reflectance) if light > 0.0 else -math.inf
    if abs(stops) > MOST_STOPS:
        raise ValueError(f"a level of {code:.0f} is too far from {level(reflectance):.0f}: another aperture, once more")
    return stops


def right_aperture(f_number: float, code: float, reflectance: float = GREY) -> float:
    """Return the f-number at which the card would have come out at its level, from one frame at ``f_number``.

    Raises ValueError: as ``stops_over``, or an f-number that is not positive.
    """
    return positive(f_number, "f_number") * math.exp2(stops_over(code, reflectance) / 2.0)
