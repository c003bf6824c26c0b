"""Building blocks of all screens: words that wrap, things to tap, fields to type in, rows that break when text grows.

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
from kivy.uix.boxlayout import BoxLayout
from kivy.uix.label import Label
from kivy.uix.layout import Layout
from kivy.uix.scrollview import ScrollView
from kivy.uix.textinput import TextInput

from mobile import theme
from mobile.texts import t


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


class FlowRow(Layout):
    """Children in lines, each as wide as its text needs; a line is filled to its end; as many lines as it takes."""

    test_name = StringProperty("")
    spacing = NumericProperty(0)
    fill = BooleanProperty(True)
    folded = BooleanProperty(False)
    """Takes no room and no touches."""

    def __init__(self, **kwargs: object) -> None:
        super().__init__(**kwargs)
        for name in ("size", "pos", "children", "spacing", "folded"):
            self.fbind(name, self._trigger_layout)

    def add_widget(self, widget, *args, **kwargs):  # noqa: D102
        for name in ("height", "natural_width"):
            if hasattr(widget, name):
                widget.fbind(name, self._trigger_layout)
        return super().add_widget(widget, *args, **kwargs)

    def do_layout(self, *_: object) -> None:
        """Break into lines and place."""
        self.opacity, self.disabled = (0, True) if self.folded else (1, False)
        if self.folded or not self.children:
            self.height = 0
            return
        lines: list[list] = []
        room = 0.0
        for child in reversed(self.children):
            want = min(getattr(child, "natural_width", child.width), max(self.width, 1))
            if lines and want + self.spacing <= room:
                lines[-1].append(child)
                room -= want + self.spacing
            else:
                lines.append([child])
                room = self.width - want
        heights = [max(child.height for child in line) for line in lines]
        self.height = sum(heights) + self.spacing * max(len(lines) - 1, 0)
        top = self.top
        for line, height in zip(lines, heights, strict=True):
            wants = [min(getattr(c, "natural_width", c.width), max(self.width, 1)) for c in line]
            spare = self.width - sum(wants) - self.spacing * (len(line) - 1)
            extra = max(spare, 0) / len(line) if self.fill else 0
            x = self.x
            for child, want in zip(line, wants, strict=True):
                child.width = want + extra
                child.pos = (x, top - height + (height - child.height) / 2)
                x += want + extra + self.spacing
            top -= height + self.spacing


class Columns(Layout):
    """One column after the other, or side by side from ``count`` 2 on; as high as the highest needs."""

    count = NumericProperty(1)
    spacing = NumericProperty(0)
    padding = NumericProperty(0)

    def __init__(self, **kwargs: object) -> None:
        super().__init__(**kwargs)
        for name in ("size", "pos", "children", "count", "spacing", "padding"):
            self.fbind(name, self._trigger_layout)

    def add_widget(self, widget, *args, **kwargs):  # noqa: D102
        widget.fbind("height", self._trigger_layout)
        return super().add_widget(widget, *args, **kwargs)

    def do_layout(self, *_: object) -> None:
        """Place the columns."""
        children = list(reversed(self.children))
        gap, pad = self.spacing, self.padding
        if self.count > 1:
            width = (self.width - 2 * pad - gap * (len(children) - 1)) / max(len(children), 1)
            self.height = max((c.height for c in children), default=0) + 2 * pad
            for i, child in enumerate(children):
                child.width = width
                child.pos = (self.x + pad + i * (width + gap), self.top - pad - child.height)
            return
        self.height = sum(c.height for c in children) + gap * max(len(children) - 1, 0) + 2 * pad
        top = self.top - pad
        for child in children:
            child.width = self.width - 2 * pad
            child.pos = (self.x + pad, top - child.height)
            top -= child.height + gap


class Stack(BoxLayout):
    """A column as high as what is in it."""


class Card(Stack):
    """A column on a raised face."""


class Pane(ScrollView):
    """The scrolling part of a page.

    A touch that a slider or a handle takes (``takes``) never scrolls; where all fits, nothing waits to see whether a
    touch becomes a scroll, so that taps act at once.
    """

    def on_touch_down(self, touch):  # noqa: D102
        if not self.collide_point(*touch.pos):
            return False
        content = self.children[0] if self.children else None
        if content is None or "button" not in touch.profile or not str(touch.button).startswith("scroll"):
            fits = content is not None and content.height <= self.height + 1
            if content is not None and (fits or self._taken(content, touch)):
                touch.push()
                touch.apply_transform_2d(self.to_local)
                used = content.dispatch("on_touch_down", touch)
                touch.pop()
                return bool(used)
        return super().on_touch_down(touch)

    def _taken(self, content, touch) -> bool:
        x, y = self.to_local(*touch.pos)
        return any(w.takes(x, y) for w in content.walk(restrict=True) if hasattr(w, "takes"))


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


def words_on_off(on: bool) -> str:
    """``on`` or ``off``."""
    return t("settings.on" if on else "settings.off")


load_kv(__file__)
