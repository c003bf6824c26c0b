"""Small pictures drawn with canvas instructions: signs, verdict marks, the waveform, a row's band, a set as a stamp."""

from __future__ import annotations

from typing import Any

from kivy.app import App
from kivy.clock import Clock
from kivy.core.text import Label as CoreLabel
from kivy.core.text.markup import MarkupLabel
from kivy.graphics import Color, Ellipse, Line, Mesh, Rectangle, SmoothLine
from kivy.graphics.tesselator import Tesselator
from kivy.properties import ListProperty, NumericProperty, ObjectProperty, StringProperty
from kivy.uix.widget import Widget

from mobile import fonts
from mobile.look import Look
from mobile.set_state import BAND_HIGH_STOPS, BAND_LOW_STOPS, place_on_band
from mobile.signs import SIGNS, ink_of


def look() -> Look:
    """Return the look that the running app wears; that of the last one while an app ends."""
    app = App.get_running_app()
    if app is not None:
        _worn[0] = app.look
    return _worn[0]


_worn: list[Any] = [None]


def text_texture(text: str, size: float, *, bold: bool = False) -> Any:
    """Return a line of text as a texture, each script in its font; None for nothing."""
    markup = fonts.marked(text)
    if markup:
        label: Any = MarkupLabel(text=markup, font_size=size, font_name=fonts.USUAL, bold=bold)
    else:
        label = CoreLabel(text=fonts.shaped(text), font_size=size, font_name=fonts.font_for(text), bold=bold)
    label.refresh()
    return label.texture


def paint_sign(name: str, cx: float, cy: float, half: float, width: float) -> None:
    """Draw a sign in the colour that is set, ``half`` its size, lines ``width`` pixels wide."""
    for stroke in SIGNS[name]:
        points = [c + half * p for p, c in zip(stroke.points, (cx, cy) * (len(stroke.points) // 2), strict=True)]
        if stroke.filled:
            _fill(points)
        else:
            # Line's own width is half of what is drawn.
            Line(points=points, width=max(width * stroke.weight / 2, 0.7), cap="round", joint="round", close=stroke.closed)
            if half > 12:
                SmoothLine(points=points, width=max(width * stroke.weight / 2, 0.7), close=stroke.closed)


def _fill(outline: list[float]) -> None:
    tess = Tesselator()
    tess.add_contour(outline)
    if tess.tesselate():
        for vertices, indices in tess.meshes:
            Mesh(vertices=vertices, indices=indices, mode="triangle_fan")


class Drawing(Widget):
    """A widget that draws itself anew when its size, its data or the theme changes."""

    test_name = StringProperty("")

    def __init__(self, **kwargs: object) -> None:
        self.written: list[tuple[str, float, float, float, float, float]] = []
        """Texts that were drawn: (text, font size, left, bottom, right, top)."""
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
        self.written = []
        if self.width > 1 and self.height > 1:
            with self.canvas:
                self.paint()

    def paint(self) -> None:
        """Draw inside ``with self.canvas``."""

    def write(self, text: str, x: float, y: float, size: float, *, anchor: float = 0.5, bold: bool = False) -> float:
        """Write a line in the colour that is set; ``x`` is its left (anchor 0), middle or right (1), ``y`` its middle.

        Returns its width in pixels.
        """
        texture = text_texture(text, size, bold=bold)
        if texture is None:
            return 0.0
        width, height = texture.size
        left = round(x - anchor * width)
        low = round(y - height / 2)
        Rectangle(texture=texture, pos=(left, low), size=(width, height))
        self.written.append((text, size, left, low, left + width, low + height))
        return float(width)


class SignView(Drawing):
    """A sign."""

    sign = StringProperty("")
    colour = StringProperty("ink")
    FOLLOWS = ("sign", "colour")

    def paint(self) -> None:
        """Draw the sign as large as there is room."""
        if self.sign in SIGNS:
            Color(*getattr(look(), self.colour))
            half = min(self.width, self.height) * 0.36
            paint_sign(self.sign, self.center_x, self.center_y, half, max(half * 0.17, 1.4))


class VerdictMark(Drawing):
    """A verdict's sign, in its colour."""

    verdict = StringProperty("")
    colour = StringProperty("")
    """Another colour of the look, where the verdict's own would not show on what lies behind."""
    FOLLOWS = ("verdict", "colour")

    def paint(self) -> None:
        """Draw the sign of this verdict."""
        if self.verdict not in ("good", "corrected", "retake", "none", "expected"):
            return
        Color(*getattr(look(), self.colour or ink_of(self.verdict)))
        half = min(self.width, self.height) * 0.42
        paint_sign(self.verdict, self.center_x, self.center_y, half, max(half * 0.2, 1.4))


class WaveView(Drawing):
    """The captured flash, small."""

    points = ListProperty()
    """(time, light) pairs from 0 to 1."""
    FOLLOWS = ("points",)

    def paint(self) -> None:
        """Draw the curve on its base line."""
        if not self.points:
            return
        Color(*look().line)
        Line(points=[self.x, self.y, self.right, self.y], width=1)
        Color(*look().ink)
        flat: list[float] = []
        for at, value in self.points:
            flat += [self.x + at * self.width, self.y + value * self.height * 0.96]
        Line(points=flat, width=1.2)


class StopsBand(Drawing):
    """A light as a bar from the key, a stop a tick; its doubt is the open end, the wish a frame."""

    band = ObjectProperty(None, allownone=True)
    FOLLOWS = ("band",)

    def paint(self) -> None:
        """Draw scale, bar, doubt and wish."""
        style, band = look(), self.band
        y, x0, w, h = self.center_y, self.x, self.width, self.height
        Color(*style.edge)
        for stops in range(int(BAND_LOW_STOPS), int(BAND_HIGH_STOPS) + 1):
            x = x0 + w * place_on_band(stops)
            Line(points=[x, y - h * 0.3, x, y + h * 0.3], width=1)
        if band is None:
            return
        key = x0 + w * place_on_band(0.0)
        at, low, high = (x0 + w * part for part in (band.at, band.low, band.high))
        # The bar runs from the key to the near end of the doubt; the doubt itself is open.
        near = max(low, key) if at >= key else min(high, key)
        Color(*style.ink)
        Rectangle(pos=(min(key, near), y - h * 0.14), size=(max(abs(near - key), 2), h * 0.28))
        Line(rectangle=(low, y - h * 0.26, max(high - low, 2), h * 0.52), width=1.2)
        Line(points=[key, y - h * 0.48, key, y + h * 0.48], width=1.6)
        if band.target_low is not None:
            Color(*(style.good if band.on_target else style.retake))
            left, right = x0 + w * band.target_low, x0 + w * band.target_high
            Line(points=[left, y + h * 0.3, left, y + h * 0.48, right, y + h * 0.48, right, y + h * 0.3], width=1.4)


class BandScale(Drawing):
    """The numbers of the stops, once above the bars of all rows."""

    def paint(self) -> None:
        """Write each number in the middle over its tick; on a phone that lies only some."""
        style = look()
        Color(*style.quiet)
        for stops in (-4, -2, 0) if style.tight else (-4, -3, -2, -1, 0, 1):
            text = f"{stops:+d}".replace("-", "\u2212") if stops else "0"
            self.write(text, self.x + self.width * place_on_band(stops), self.center_y, style.mark)


class PlanThumb(Drawing):
    """A set from above, as small as a stamp."""

    dots = ListProperty()
    FOLLOWS = ("dots",)

    def paint(self) -> None:
        """Draw the face, the camera's side and the lights."""
        style = look()
        half = min(self.width, self.height) / 2 * 0.92
        cx, cy = self.center
        Color(*style.quiet)
        r = half * 0.16
        Line(ellipse=(cx - r, cy - r * 1.2, 2 * r, 2.4 * r), width=1.1)
        Line(points=[cx - r, cy - half, cx, cy - half + r * 1.4, cx + r, cy - half], width=1.1)
        for dot in self.dots:
            x, y, s = cx + dot.x * half, cy + dot.y * half, half * (0.17 if dot.key else 0.12)
            Color(*(style.ink if dot.key else style.quiet))
            Ellipse(pos=(x - s, y - s), size=(2 * s, 2 * s))


class SignalView(Drawing):
    """Signal strength: arcs that open toward the right, one more for each step."""

    bars = NumericProperty(0)
    FOLLOWS = ("bars",)

    def paint(self) -> None:
        """Draw the arcs, those that are missing faintly."""
        style = look()
        side = min(self.width, self.height)
        for i in range(1, 5):
            Color(*(style.ink if i <= self.bars else style.line))
            Line(circle=(self.x, self.center_y, side * 0.22 * i, 45, 135), width=1.6)
