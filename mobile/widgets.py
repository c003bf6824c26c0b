"""Building blocks of all screens: words that wrap, things to tap, fields to type in, and (from ``layouts``) where they stand.

Every one has a ``test_name`` so that tests find it whatever its text or place.  Sizes and colours come from ``app.look``
only.  A thing that can be touched is at least ``look.target`` high and wide.
"""

from __future__ import annotations

from collections.abc import Callable
from math import ceil

from kivy.app import App
from kivy.clock import Clock
from kivy.core.text import Label as CoreLabel
from kivy.lang import Builder
from kivy.properties import (
    BooleanProperty,
    ColorProperty,
    ListProperty,
    NumericProperty,
    ObjectProperty,
    OptionProperty,
    StringProperty,
)
from kivy.uix.behaviors import ButtonBehavior
from kivy.uix.label import Label
from kivy.uix.textinput import TextInput

from mobile import theme
from mobile.layouts import Card, Columns, FlowRow, Pane, Stack

__all__ = [
    "LEAST_PART",
    "Card",
    "Choices",
    "Columns",
    "Dressed",
    "Field",
    "FingerNote",
    "FlowRow",
    "Pane",
    "Stack",
    "Tap",
    "TextLine",
    "Words",
    "load_kv",
    "look",
    "text_width",
]


def load_kv(python_file: str) -> None:
    """Load the ``.kv`` file that stands beside a module, once."""
    path = python_file.removesuffix("c").removesuffix(".py") + ".kv"
    if path not in Builder.files:
        Builder.load_file(path, encoding="utf8")


def look():
    """Return the look that the running app wears."""
    return App.get_running_app().look


_widths: dict[tuple[str, str, float, bool], float] = {}


def text_width(text: str, font_size: float, bold: bool = False) -> float:
    """Return the width in pixels of a text on one line."""
    font = theme.font_for(text)
    key = (text, font, font_size, bold)
    if key not in _widths:
        if len(_widths) > 2000:
            _widths.clear()
        label = CoreLabel(font_size=font_size, font_name=font, bold=bold)
        _widths[key] = max((label.get_extents(line)[0] for line in text.split("\n")), default=0)
    return _widths[key]


class Dressed(Label):
    """A text that follows the look: its font, size and colours."""

    test_name = StringProperty("")
    size_name = StringProperty("body")

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
        self.font_name = theme.font_for(text)
        self.fit()

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
        self.font_size = nominal * min(1.0, max(part, LEAST_PART))


LEAST_PART = 0.6
"""A word never shrinks below this part of its size; one that is longer still breaks."""


class Words(Dressed):
    """Text that wraps at its width and is as high as it needs."""

    colour = StringProperty("ink")
    """Which colour of the look."""
    DRESS_AFTER = ("colour",)

    def dress(self, *_: object) -> None:
        """Put on what the look says."""
        super().dress()
        self.color = getattr(look(), self.colour)


class Tap(ButtonBehavior, Dressed):
    """Something to tap.  ``chosen`` marks what is on, ``strong`` the one thing to do next."""

    strong = BooleanProperty(False)
    chosen = BooleanProperty(False)
    quiet = BooleanProperty(False)
    """No face and no outline: less important."""
    value = ObjectProperty(None, allownone=True)
    natural_width = NumericProperty(0)
    face = ColorProperty((0, 0, 0, 0))
    rim = ColorProperty((0, 0, 0, 0))
    ink_name = StringProperty("ink")
    DRESS_AFTER = ("strong", "chosen", "quiet", "state", "ink_name")

    def on_text(self, widget: object, text: str) -> None:
        """Choose a font that has all characters."""
        super().on_text(widget, text)
        self.measure()

    def room(self) -> float:
        """Width that a line of text has."""
        return self.width - 2 * look().pad

    def dress(self, *_: object) -> None:
        """Put on what the look says."""
        super().dress()
        style, full, down = look(), self.strong or self.chosen, self.state == "down"
        self.color = style.over_strong if full else getattr(style, self.ink_name)
        bare = (0, 0, 0, 0)
        self.face = style.strong if full else bare if self.quiet else style.raised
        self.rim = style.strong if full or down else bare if self.quiet else style.edge
        self.measure()

    def measure(self) -> None:
        """Find the width of the text on one line, for rows that break."""
        self.natural_width = max(
            ceil(text_width(self.text, self.nominal_size, self.bold)) + 2 * look().pad, look().target
        )


class TextLine(TextInput):
    """One line of text input that tells when it is left."""

    test_name = StringProperty("")


class Field(Stack):
    """A label, a line to type in, and below it the one sentence that says what is wrong with it."""

    test_name = StringProperty("")
    label = StringProperty("")
    text = StringProperty("")
    hint = StringProperty("")
    error = StringProperty("")
    input_type = OptionProperty("text", options=["text", "number"])
    on_commit: Callable[[str, Field], None] | None = None
    """Called with what was typed when the line is left or entered, if it differs from ``text``."""

    def on_text(self, _widget: object, text: str) -> None:
        """Show a new value, unless somebody is typing."""
        line = self.ids.get("line")
        if line is not None and not line.focus:
            line.text = text
            self.error = ""

    def commit(self, *_: object) -> None:
        """Hand over what was typed."""
        typed = self.ids.line.text
        if typed == self.text:
            self.error = ""
        elif self.on_commit is not None:
            self.on_commit(typed, self)

    def put(self) -> None:
        """Show the value as it is known now (after it was accepted, perhaps written differently)."""
        self.error = ""
        self.ids.line.text = self.text

    def refuse(self, sentence: str) -> None:
        """Say what is wrong, here."""
        self.error = sentence


class Choices(Stack):
    """A label and a few things of which one is chosen."""

    test_name = StringProperty("")
    label = StringProperty("")
    options = ListProperty()
    """(value, text) pairs."""
    chosen = ObjectProperty(None, allownone=True)
    on_choose: Callable[[object], None] | None = None

    def on_options(self, *_: object) -> None:
        """Make the taps anew."""
        self._fill()

    def on_chosen(self, *_: object) -> None:
        """Mark the chosen one."""
        row = self.ids.get("row")
        for tap in row.children if row else ():
            tap.chosen = tap.value == self.chosen

    def on_kv_post(self, _base: object) -> None:
        """Fill once the row is there."""
        self._fill()

    def _fill(self) -> None:
        row = self.ids.get("row")
        if row is None:
            return
        row.clear_widgets()
        for value, text in self.options:
            tap = Tap(text=text, value=value, test_name=f"{self.test_name}:{value}")
            tap.chosen = value == self.chosen
            tap.bind(on_release=lambda one: self.on_choose and self.on_choose(one.value))
            row.add_widget(tap)


class FingerNote(Words):
    """One sentence beside the finger that caused it; it blocks nothing and goes by itself."""

    _gone = None
    SECONDS = 6.0

    def say(self, text: str, x: float, y: float, width: float, height: float) -> None:
        """Show ``text`` near (x, y), inside a window of this size."""
        style = look()
        self.width = min(width - 2 * style.gap, max(text_width(text, style.body) + 2 * style.pad, style.target))
        self.text = text
        self.texture_update()
        self.height = self.texture_size[1]
        self.x = min(max(x - self.width / 2, style.gap), width - self.width - style.gap)
        above = y + style.target / 2
        self.y = (
            above if above + self.height <= height - style.gap else max(y - style.target / 2 - self.height, style.gap)
        )
        self.opacity = 1
        if self._gone is not None:
            self._gone.cancel()
        self._gone = Clock.schedule_once(lambda _dt: self.hide(), self.SECONDS)

    def hide(self) -> None:
        """Go away."""
        self.opacity, self.text = 0, ""
        self.pos = (-10000, -10000)

    def collide_point(self, _x: float, _y: float) -> bool:
        """Never in the way of a touch."""
        return False


load_kv(__file__)
