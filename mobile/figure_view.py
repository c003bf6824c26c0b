"""A name or a value as large as there is room for: what is read from two metres."""

from __future__ import annotations

from kivy.graphics import Color, Line, Rectangle
from kivy.metrics import dp
from kivy.properties import BooleanProperty, NumericProperty, ObjectProperty, StringProperty

from mobile import theme
from mobile.drawings import Drawing, look, text_texture
from mobile.last_pop import Figure
from mobile.taps import text_width

BEFORE_PART, AFTER_PART = 0.34, 0.62
"""Size of ``f/`` and of the tenths, over that of the number."""
DESCENT = 0.244
"""Of the font, over its size: puts texts of different sizes on one line."""
HANGING, HANGS = frozenset("gjpqyçşţțQ,;()[]{}_|@$"), 0.22
"""Letters that hang below the line, and how far, over the size; so do those of other scripts."""
COMMA_HANGS = 0.14
"""A decimal comma does not hang as far."""


class FigureView(Drawing):
    """A name or a value as large as there is room for: readable from two metres where there is."""

    figure = ObjectProperty(Figure())
    text = StringProperty("")
    """A name instead of a value."""
    colour = StringProperty("ink")
    main_size = NumericProperty(0)
    """Font size in pixels at which the number is drawn."""
    struck = BooleanProperty(False)
    """It does not count: a stroke goes through it."""
    shown = BooleanProperty(False)
    """There is something to show."""
    wanted = NumericProperty(0)
    """Width in pixels of a name as large as this is high."""
    LEAST = 24
    FOLLOWS = ("figure", "text", "colour", "struck")

    def on_figure(self, *_: object) -> None:
        """Take up room only when there is a value."""
        self.shown = bool(self.figure.main or self.text)
        self.wanted = text_width(self.text, 100) * self.height / 80 + look().gap * 1.5

    on_text = on_height = on_figure

    def paint(self) -> None:
        """Draw the parts on one line."""
        style = look()
        figure = self.figure if not self.text else Figure(main=self.text)
        if not figure.main:
            return
        parts = ((figure.before, BEFORE_PART), (figure.main, 1.0), (figure.after, AFTER_PART))
        # In a name they would lie on what stands below it.
        hangs = HANGS if any(c in HANGING or ord(c) > 0x24F for c in self.text) else 0.0
        if not self.text and "," in figure.main + figure.after:
            hangs = COMMA_HANGS * (1.0 if "," in figure.main else AFTER_PART)
        needed = sum(text_width(text, 100 * part) for text, part in parts) / 100
        room = (self.width - style.gap * 1.5) / max(needed, 0.1)
        size = min(style.figure, self.height / max(0.8, theme.CAP_HEIGHT + hangs), room)
        size = max(size, dp(self.LEAST))
        self.main_size = size
        x = self.x
        base = max(self.center_y - size * theme.CAP_HEIGHT / 2, self.y + size * hangs)
        for text, part in parts:
            texture = text_texture(text, size * part) if text else None
            if texture is None:
                continue
            Color(*getattr(style, self.colour))
            width, height = texture.size
            room = min(width, self.right - x)
            low = base - DESCENT * size * part
            # A name longer than the line, at its smallest, is cut at the line's end.
            Rectangle(texture=texture.get_region(0, 0, max(room, 1), height), pos=(x, low), size=(max(room, 1), height))
            cap = size * part * theme.CAP_HEIGHT
            self.written.append((text, size * part, x, base, x + room, base + cap))
            x += width + style.gap * (0.6 if text == figure.main else 0.2)
        if self.struck:
            Color(*style.retake)
            Line(points=[self.x, self.center_y, x, self.center_y], width=max(size * 0.012, 1))
