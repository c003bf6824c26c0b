# ruff: noqa: E501 - a table: one sign, one line
"""Signs drawn as paths of our own, on a square from -1 to 1 with y up.  No kivy here: ``drawings.SignView`` draws them.

A role's sign is the set from above in small: the face in the middle, the camera below, the light where its role usually stands.
A verdict's sign is told by its mass: *good* a full dome on its line, *corrected* two bars (one as read, one as
calculated), *retake* two crossing strokes, *none* an empty ring, *expected*
a dot under an empty arch (calculated, and nothing metered yet).
"""

from __future__ import annotations

from math import cos, pi, sin
from typing import NamedTuple


def ink_of(verdict: str) -> str:
    """Return the name of a verdict's colour in a look: quiet where nothing was metered as it stands."""
    return verdict if verdict in ("good", "corrected", "retake") else "quiet"


class Stroke(NamedTuple):
    """One line or one filled shape."""

    points: tuple[float, ...]
    """x, y, x, y ..."""
    filled: bool = False
    closed: bool = False
    weight: float = 1.0
    """Over the usual width of a line."""


def _line(*points: float, weight: float = 1.0, closed: bool = False) -> Stroke:
    return Stroke(points, closed=closed, weight=weight)


def _fill(*points: float) -> Stroke:
    return Stroke(points, filled=True, closed=True)


def _arc(x: float, y: float, r: float, start: float, end: float, count: int = 20) -> tuple[float, ...]:
    """Points of an arc, angles in half turns, counter-clockwise from the right."""
    angles = [(start + (end - start) * i / count) * pi for i in range(count + 1)]
    return tuple(v for a in angles for v in (x + r * cos(a), y + r * sin(a)))


def _dot(x: float, y: float, r: float) -> Stroke:
    return Stroke(_arc(x, y, r, 0, 2), filled=True, closed=True)


def _ring(x: float, y: float, r: float, weight: float = 1.0) -> Stroke:
    return Stroke(_arc(x, y, r, 0, 2), closed=True, weight=weight)


def _role(*lights: Stroke) -> tuple[Stroke, ...]:
    """The face with its nose toward the camera, and the lights of a role."""
    return (_ring(0, 0, 0.26), _line(-0.1, -0.26, 0, -0.42, 0.1, -0.26), *lights)


SIGNS: dict[str, tuple[Stroke, ...]] = {
    # verdicts
    "good": (Stroke((*_arc(0, -0.55, 0.86, 0, 1),), filled=True, closed=True), _line(-0.95, -0.82, 0.95, -0.82, weight=1.4)),
    "corrected": (_line(-0.9, 0.5, 0.9, 0.5, weight=1.6), _line(-0.9, -0.5, 0.9, -0.5, weight=1.6)),
    "retake": (_line(-0.75, -0.75, 0.75, 0.75, weight=2.0), _line(-0.75, 0.75, 0.75, -0.75, weight=2.0)),
    "none": (_ring(0, 0, 0.66, weight=1.2),),
    "expected": (Stroke(_arc(0, -0.55, 0.86, 0, 1), weight=1.2), _dot(0, -0.55, 0.2)),
    # what can be done
    # ISO 7010 W001, the general warning: a triangle with its exclamation mark.
    "warning": (_line(-0.92, -0.75, 0, 0.85, 0.92, -0.75, closed=True), _line(0, 0.35, 0, -0.2, weight=1.4), _dot(0, -0.48, 0.12)),
    "minus": (_line(-0.7, 0, 0.7, 0, weight=1.4),),
    "plus": (_line(-0.7, 0, 0.7, 0, weight=1.4), _line(0, -0.7, 0, 0.7, weight=1.4)),
    "back": (_line(0.3, 0.7, -0.4, 0, 0.3, -0.7, weight=1.2),),
    "forth": (_line(-0.3, 0.7, 0.4, 0, -0.3, -0.7, weight=1.2),),
    "up": (_line(-0.7, -0.3, 0, 0.4, 0.7, -0.3, weight=1.2),),
    "down": (_line(-0.7, 0.3, 0, -0.4, 0.7, 0.3, weight=1.2),),
    "undo": (
        _line(-0.15, 0.8, -0.7, 0.3, -0.15, -0.2),
        _line(-0.7, 0.3, *_arc(0.2, -0.2, 0.5, 0.5, -0.5), -0.35, -0.7),
    ),
    "give": (_ring(-0.6, 0, 0.26), _line(-0.2, 0, 0.75, 0), _line(0.4, 0.35, 0.75, 0, 0.4, -0.35)),
    "fire": tuple(
        _line(0.34 * cos(a), 0.34 * sin(a), 0.9 * cos(a), 0.9 * sin(a)) for a in (pi * i / 4 for i in range(8))
    ),
    "all": (_line(-0.8, 0.5, -0.15, 0.06), _line(0, 0.9, 0, 0.2), _line(0.8, 0.5, 0.15, 0.06), _ring(0, -0.4, 0.34)),
    "type": (_line(-0.75, -0.75, -0.62, -0.2, 0.5, 0.92, 0.92, 0.5, -0.2, -0.62, closed=True), _line(0.22, 0.64, 0.64, 0.22)),
    # places
    "metering": (
        Stroke(_arc(0, -0.1, 0.5, 0, 1), closed=True), _line(0, -0.1, 0, -0.85), _line(0, 0.62, 0, 0.95),
        _line(-0.55, 0.5, -0.78, 0.74), _line(0.55, 0.5, 0.78, 0.74),
    ),
    "lights": (_line(-0.3, 0.35, -0.3, 0.85, 0.3, 0.85, 0.3, 0.35, closed=True), _line(-0.3, 0.35, -0.8, -0.5, 0.8, -0.5, 0.3, 0.35),
               _line(0, -0.5, 0, -0.95)),
    "set": (_line(-0.8, 0.85, -0.8, -0.85), _line(-0.55, 0.55, 0.85, 0.55), _line(-0.55, 0, 0.25, 0),
            _line(-0.55, -0.55, 0.55, -0.55)),
    "more": (_dot(-0.66, 0, 0.2), _dot(0, 0, 0.2), _dot(0.66, 0, 0.2)),
    "match": (Stroke(_arc(0, 0.2, 0.5, 0, 1), closed=True), Stroke(_arc(0, -0.2, 0.5, 1, 2), closed=True)),
    "library": (_line(-0.8, -0.75, -0.8, 0.35, 0.8, 0.35, 0.8, -0.75, closed=True), _line(-0.6, 0.6, 0.6, 0.6), _line(-0.4, 0.85, 0.4, 0.85)),
    "sensors": (Stroke(_arc(0, 0.2, 0.6, 0, 1), closed=True), _line(0, 0.2, 0, -0.25), _line(-0.4, -0.25, 0.4, -0.25), _line(-0.2, -0.25, -0.2, -0.85),
                _line(0.2, -0.25, 0.2, -0.85)),
    "settings": (_line(-0.85, 0.4, 0.85, 0.4), _line(-0.85, -0.4, 0.85, -0.4), _dot(-0.3, 0.4, 0.24), _dot(0.35, -0.4, 0.24)),
    # roles: from above, the camera below
    "key": _role(_line(0.5, -0.86, 0.92, -0.44, weight=2.4)),
    "fill": _role(_line(-0.5, -0.86, -0.92, -0.44, weight=1.0), _line(-0.38, -0.74, -0.8, -0.32, weight=1.0)),
    "hair": _role(_line(-0.3, 0.78, 0.3, 0.78, weight=2.4)),
    "rim": _role(_line(-0.92, 0.44, -0.5, 0.86, weight=2.0), _line(0.92, 0.44, 0.5, 0.86, weight=2.0)),
    "background": _role(_line(-0.9, 0.92, 0.9, 0.92, weight=1.0), _line(0, 0.46, 0, 0.8, weight=2.0)),
    "other": _role(_line(0.86, -0.3, 0.86, 0.3, weight=1.6)),
    "reflector": (_ring(-0.5, 0, 0.26), _line(0.7, -0.8, 0.7, 0.8, weight=1.6), _line(-0.1, 0.1, 0.5, 0.5), _line(0.5, -0.5, -0.1, -0.1)),
}  # fmt: skip
