"""Text on a page: lines that wrap, and things to tap.  ``text`` is as people write it; drawn it is shaped (``fonts``)."""

from __future__ import annotations

from functools import lru_cache
from math import ceil, inf
from typing import Any

from kivy.app import App
from kivy.clock import Clock
from kivy.core.text import Label as CoreLabel
from kivy.graphics import Color, Rectangle
from kivy.properties import BooleanProperty, ColorProperty, ListProperty, NumericProperty, ObjectProperty, StringProperty
from kivy.uix.behaviors import ButtonBehavior
from kivy.uix.label import Label
from kivy.utils import get_hex_from_color

from meterlink.words.language import unbroken
from mobile import fonts
from mobile.drawings import look, paint_sign
from mobile.layouts import FlowRow
from mobile.signs import SIGNS
from mobile.terms import terms_in
from mobile.texts import t

LEAST_PART = 0.6
"""A word never shrinks below this part of its size; one that is longer still breaks."""

@lru_cache(maxsize=4000)
def text_width(text: str, font_size: float, bold: bool = False) -> float:
    """Return the width in pixels of a text on one line."""
    widest = 0.0
    for line in text.split("\n"):
        parts = (CoreLabel(font_size=font_size, font_name=font, bold=bold).get_extents(part)[0] for font, part in fonts.runs(line))
        widest = max(widest, sum(parts))
    return widest


class Dressed(Label):
    """A text that follows the look: its font, size and colours.  ``text`` is as people write it; drawn it is shaped."""

    test_name = StringProperty("")
    size_name = StringProperty("note")

    def __init__(self, **kwargs: object) -> None:
        super().__init__(**kwargs)
        for name in ("size_name", *self.DRESS_AFTER):
            self.fbind(name, self.dress)
        self.fbind("width", self.fit)
        look().fbind("dressed", self.dress)
        self.dress()

    DRESS_AFTER: tuple[str, ...] = ()

    def on_text(self, _widget: object, text: str) -> None:
        """Choose a font that has all characters."""
        self.markup = bool(fonts.marked(text))
        self.font_name = fonts.USUAL if self.markup else fonts.font_for(text)
        self.fit()

    def joined(self) -> str:
        """The text with numbers and their units kept on one line, where a line is wide enough for them."""
        joined = unbroken(self.text)
        parts = (one for line in joined.split("\n") for one in line.split(" ") if "\N{NO-BREAK SPACE}" in one)
        return joined if all(text_width(one, self.font_size, self.bold) <= self.room() for one in parts) else self.text

    def texture_update(self, *largs: object) -> None:
        """Draw the text as it is read: joined, in the screen's order, each script in its font."""
        if not self.markup:
            self._label.text = fonts.shaped(self.joined())
            super().texture_update(*largs)
            return
        self.texture = None
        colour = get_hex_from_color(self.disabled_color if self.disabled else self.color)
        self._label.text = f"[color={colour}]{fonts.marked(self.joined())}[/color]"
        self._label.refresh()
        if self._label.texture is not None:
            self.texture = self._label.texture
            self.texture_size = list(self.texture.size)

    def dress(self, *_: object) -> None:
        """Put on what the look says."""
        self.fit()

    @property
    def nominal_size(self) -> float:
        """Font size that the look asks for."""
        return float(getattr(look(), self.size_name))

    def room(self) -> float:
        """Width that a line of text has."""
        return self.width

    def fit(self, *_: object) -> None:
        """Take the look's font size; a single word that is wider than the line shrinks rather than breaks."""
        nominal = self.nominal_size
        longest = max((text_width(word, nominal, self.bold) for word in self.text.split()), default=0.0)
        part = self.room() / longest if longest else 1.0
        self.font_size = max(nominal * min(1.0, max(part, LEAST_PART)), min(nominal, look().mark))


class Words(Dressed):
    """Text that wraps at its width and is as high as it needs; without text it takes no room."""

    colour = StringProperty("ink")
    """Which colour of the look."""
    one_line = BooleanProperty(False)
    """Never wraps: as wide as it is."""
    DRESS_AFTER = ("colour", "padding")

    def room(self) -> float:
        """Width that a line of text has."""
        return inf if self.one_line else self.width - self.padding[0] - self.padding[2]

    def dress(self, *_: object) -> None:
        """Put on what the look says."""
        super().dress()
        self.color = getattr(look(), self.colour)


class Tap(ButtonBehavior, Dressed):
    """Something to tap.  ``strong`` is the one thing to do next: a full face.  All others have a quiet face.

    ``plain`` ones have none: they stand where everything can be tapped (the bar, the walk, a list), or are rather read.
    """

    strong = BooleanProperty(False)
    chosen = BooleanProperty(False)
    """Of several it is the one that is on: a line below it."""
    plain = BooleanProperty(False)
    sign = StringProperty("")
    """A sign before the text, or alone."""
    sign_colour = StringProperty("")
    """Colour of the sign where it is not the text's."""
    stacked = BooleanProperty(False)
    """The sign stands above the text."""
    value = ObjectProperty(None, allownone=True)
    act = ObjectProperty(None, allownone=True)
    """Called with the value when it is tapped."""
    natural_width = NumericProperty(0)
    face = ColorProperty((0, 0, 0, 0))
    seam = NumericProperty(0)
    ink_name = StringProperty("strong")
    DRESS_AFTER = ("strong", "chosen", "state", "ink_name", "sign", "stacked", "plain", "disabled")

    def __init__(self, **kwargs: object) -> None:
        self._repaint = Clock.create_trigger(self._paint, -1)
        super().__init__(**kwargs)
        for name in ("pos", "size", "texture_size", "sign", "sign_colour", "color", "chosen"):
            self.fbind(name, self._repaint)
        self._repaint()

    def on_release(self) -> None:
        """Do it."""
        if self.act is not None:
            self.act(self.value)

    def on_touch_down(self, touch: Any) -> bool:
        """What cannot be tapped now is in nobody's way."""
        return not self.disabled and bool(super().on_touch_down(touch))

    def on_text(self, widget: object, text: str) -> None:
        """Choose a font that has all characters."""
        super().on_text(widget, text)
        self.dress()

    @property
    def sign_size(self) -> float:
        """Side of the sign in pixels."""
        return max(self.nominal_size * 1.2, look().gap * 3.5)

    @property
    def sign_room(self) -> float:
        """Width that the sign takes before the text."""
        return self.sign_size + look().gap / 2 if self.sign and self.text and not self.stacked else 0.0

    @property
    def edges(self) -> float:
        """Room that is kept free to the left and right of the text."""
        return 2 * look().gap

    def room(self) -> float:
        """Width that a line of text has."""
        return self.width - self.edges - self.sign_room

    def dress(self, *_: object) -> None:
        """Put on what the look says."""
        super().dress()
        style = look()
        self.color = style.over_strong if self.strong else style.ink if self.chosen else getattr(style, self.ink_name)
        none = (self.plain or self.disabled or not (self.text or self.sign)) and self.state != "down"
        self.face = style.strong if self.strong else (0, 0, 0, 0) if none else style.face
        # Quiet faces that stand close keep a seam between them, while the targets meet.
        self.seam = 0 if self.strong else style.gap / 4
        self.padding = [self.sign_room, self.sign_size * 0.9 if self.stacked else 0, 0, 0]
        self.measure()

    def measure(self) -> None:
        """Find the width of the text on one line, for rows that break."""
        wide = ceil(text_width(self.text, self.nominal_size, self.bold)) + self.edges + self.sign_room
        self.natural_width = max(wide, look().target) if self.text or self.sign else 0

    def _paint(self, *_: object) -> None:
        """Draw the sign and the line of what is chosen."""
        self.canvas.after.clear()
        style = look()
        with self.canvas.after:
            if self.chosen:
                # Right below its word, however high the thing is.
                low = max(self.y + 2, self.center_y - self.texture_size[1] / 2 - 5) if self.stacked else self.y + 2
                Color(*style.strong)
                Rectangle(pos=(self.x + style.gap, low), size=(self.width - 2 * style.gap, 3))
            if self.sign in SIGNS:
                Color(*(getattr(style, self.sign_colour) if self.sign_colour and not self.strong else self.color))
                half = self.sign_size * 0.43
                x, y = self.center
                if self.stacked:
                    # Right above its word, however high the thing is.
                    y = self.center_y + self.texture_size[1] / 2 - self.sign_size * 0.45
                elif self.text:
                    wide = min(text_width(self.text, self.font_size, self.bold), self.room())
                    begin = self.x + style.gap if self.halign == "left" else self.center_x - (wide + self.sign_room) / 2
                    x = begin + self.sign_size / 2
                paint_sign(self.sign, x, y, half, max(half * 0.2, 1.6))


class Term(Tap):
    """A word of the trade; one touch says what it means."""

    term = StringProperty("")

    def on_release(self) -> None:
        """Say it beside the finger."""
        App.get_running_app().explain(self.term)


class Terms(FlowRow):
    """A tap for each word of the trade in what is said above it; without one it takes no room."""

    sentences = ListProperty()

    def on_sentences(self, *_: object) -> None:
        """Show the taps."""
        wanted = terms_in(*self.sentences)
        if [tap.term for tap in reversed(self.children)] != list(wanted):
            self.clear_widgets()
            for key in wanted:
                self.add_widget(Term(term=key, text=t("explain.ask", term=t(f"term.{key}")), test_name=f"term:{key}"))
        self.folded = not wanted
