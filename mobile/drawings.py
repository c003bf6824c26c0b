"""Small pictures drawn with canvas instructions: verdict marks, the waveform, the live level, a row's band.

The verdict marks are made of the dome itself, so that they tell without colour: *good* is a full dome resting on its line;
*corrected* a full dome lifted off its line (it was held off, and brought back by calculation); *retake* a hollow dome, upside
down and struck through.
"""

from __future__ import annotations

from math import cos, pi, sin

from kivy.clock import Clock
from kivy.graphics import Color, Ellipse, Line, Mesh, Rectangle
from kivy.properties import ListProperty, NumericProperty, ObjectProperty, StringProperty
from kivy.uix.widget import Widget

from mobile.widgets import load_kv, look

DOME_POINTS = 24


class Drawing(Widget):
    """A widget that draws itself anew when its size, its data or the theme changes."""

    test_name = StringProperty("")

    def __init__(self, **kwargs: object) -> None:
        super().__init__(**kwargs)
        # Once a frame, after layout: a drawing that is made anew several times in one frame costs much and may show
        # the vertices of its first state.
        self.redraw = Clock.create_trigger(self._redraw, -1)
        for name in ("pos", "size", *self.FOLLOWS):
            self.fbind(name, self.redraw)
        look().fbind("dressed", self.redraw)
        self.redraw()

    FOLLOWS: tuple[str, ...] = ()

    def _redraw(self, *_: object) -> None:
        """Draw."""
        self.canvas.clear()
        if self.width > 1 and self.height > 1:
            with self.canvas:
                self.paint()

    def paint(self) -> None:
        """Draw inside ``with self.canvas``."""


class VerdictMark(Drawing):
    """See the module."""

    verdict = StringProperty("")
    colour = StringProperty("")
    """Another colour of the look, where the verdict's own would not show on what lies behind."""
    FOLLOWS = ("verdict", "colour")

    def paint(self) -> None:
        """Draw the dome of this verdict."""
        if self.verdict not in ("good", "corrected", "retake", "none"):
            return
        own = self.verdict if self.verdict != "none" else "quiet"
        Color(*getattr(look(), self.colour or own))
        side = min(self.width, self.height)
        cx, cy, r = self.center_x, self.center_y, side * 0.36
        stroke = max(side * 0.055, 1.3)
        if self.verdict == "retake":
            top = cy + r * 0.45
            Line(points=_dome(cx, top, r, -1), width=stroke, close=True, joint="round")
            Line(points=[cx - r * 1.15, cy - r * 1.05, cx + r * 1.15, cy + r * 1.05], width=stroke, cap="round")
            return
        if self.verdict == "none":
            # The line on which a dome will stand.
            Line(points=[cx - r * 1.35, cy - r * 0.55, cx + r * 1.35, cy - r * 0.55], width=stroke, cap="round")
            return
        lift = r * 0.5 if self.verdict == "corrected" else 0.0
        base = cy - r * 0.55
        _fill(_dome(cx, base + stroke * 1.2 + lift, r, 1))
        Line(points=[cx - r * 1.35, base, cx + r * 1.35, base], width=stroke, cap="round")


def _dome(cx: float, y: float, r: float, up: int) -> list[float]:
    """Outline of a half disk whose flat side lies at ``y``."""
    points: list[float] = []
    for i in range(DOME_POINTS + 1):
        angle = pi * i / DOME_POINTS
        points += [cx + r * cos(angle), y + up * r * sin(angle)]
    return points


def _fill(outline: list[float]) -> None:
    """Fill a convex outline."""
    vertices: list[float] = []
    for i in range(0, len(outline), 2):
        vertices += [outline[i], outline[i + 1], 0, 0]
    Mesh(vertices=vertices, indices=list(range(len(outline) // 2)), mode="triangle_fan")


class WaveView(Drawing):
    """The captured flash, small."""

    points = ListProperty()
    """(time, light) pairs from 0 to 1."""
    FOLLOWS = ("points",)

    def paint(self) -> None:
        """Draw the curve."""
        if not self.points:
            return
        Color(*look().ink)
        flat: list[float] = []
        for at, value in self.points:
            flat += [self.x + at * self.width, self.y + value * self.height * 0.96]
        Line(points=flat, width=1.1)


class LevelBar(Widget):
    """The live level: a bar in stops.  Only its fill moves, so that 50 values a second cost little."""

    test_name = StringProperty("")
    fraction = NumericProperty(0.0)


class StopsBand(Drawing):
    """A light on the scale of stops from the key: its interval, and the tolerance band of what is wanted."""

    band = ObjectProperty(None, allownone=True)
    FOLLOWS = ("band",)

    def paint(self) -> None:
        """Draw scale, wish, interval and place."""
        style, band = look(), self.band
        from mobile.set_state import BAND_HIGH_STOPS, BAND_LOW_STOPS, place_on_band

        y, x0, w, h = self.center_y, self.x, self.width, self.height
        Color(*style.line)
        Line(points=[x0, y, x0 + w, y], width=1)
        for stops in range(int(BAND_LOW_STOPS), int(BAND_HIGH_STOPS) + 1):
            x = x0 + w * place_on_band(stops)
            tall = 0.5 if stops == 0 else 0.22
            Line(points=[x, y - h * tall, x, y + h * tall], width=1.4 if stops == 0 else 1)
        if band is None:
            return
        if band.target_low is not None:
            Color(*(style.good if band.on_target else style.retake))
            left, right = x0 + w * band.target_low, x0 + w * band.target_high
            Line(rectangle=(left, y - h * 0.42, max(right - left, 3), h * 0.84), width=1.3)
        Color(*style.ink)
        left, right = x0 + w * band.low, x0 + w * band.high
        Rectangle(pos=(left, y - h * 0.1), size=(max(right - left, 2), h * 0.2))
        r = h * 0.27
        Ellipse(pos=(x0 + w * band.at - r, y - r), size=(2 * r, 2 * r))


class PlanThumb(Drawing):
    """A set from above, as small as a stamp."""

    dots = ListProperty()
    FOLLOWS = ("dots",)

    def paint(self) -> None:
        """Draw the face, the camera's side and the lights."""
        style = look()
        half = min(self.width, self.height) / 2 * 0.92
        cx, cy = self.center
        Color(*style.line)
        Line(circle=(cx, cy, half), width=1)
        Color(*style.quiet)
        r = half * 0.13
        Line(ellipse=(cx - r, cy - r * 1.2, 2 * r, 2.4 * r), width=1.1)
        Line(points=[cx - r, cy - half, cx, cy - half + r * 1.4, cx + r, cy - half], width=1.1)
        for dot in self.dots:
            x, y, s = cx + dot.x * half, cy + dot.y * half, half * (0.17 if dot.key else 0.12)
            Color(*(style.strong if dot.key else style.ink))
            Ellipse(pos=(x - s, y - s), size=(2 * s, 2 * s))


load_kv(__file__)
