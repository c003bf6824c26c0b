"""Building blocks that every page uses: text that wraps, things to tap, fields to type in, and (from ``layouts``) where they stand.

Every one has a ``test_name`` so that tests find it whatever its text or place.  Sizes and colours come from ``app.look``
only.  A thing that can be touched is at least ``look.target`` high and wide.
"""

from __future__ import annotations

from collections.abc import Callable
from math import ceil
from typing import Any

from kivy.app import App
from kivy.clock import Clock
from kivy.core.text import Label as CoreLabel
from kivy.graphics import Color, Rectangle
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
from kivy.uix.textinput import TextInput
from kivy.utils import get_hex_from_color

from mobile import fonts
from mobile.drawings import look, paint_sign
from mobile.layouts import Card, Columns, FlowRow, Moving, Pane, Parts, Rows, Stack
from mobile.signs import SIGNS
from mobile.terms import terms_in
from mobile.texts import t

__all__ = [
    "LEAST_PART",
    "Card",
    "Choices",
    "Columns",
    "Dressed",
    "Field",
    "FingerNote",
    "FlowRow",
    "Moving",
    "Pane",
    "Parts",
    "Row",
    "Rows",
    "Stack",
    "Stepper",
    "Tap",
    "Term",
    "Terms",
    "TextLine",
    "UndoBar",
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


_widths: dict[tuple[str, float, bool], float] = {}


def text_width(text: str, font_size: float, bold: bool = False) -> float:
    """Return the width in pixels of a text on one line."""
    key = (text, font_size, bold)
    if key not in _widths:
        if len(_widths) > 4000:
            _widths.clear()
        widest = 0.0
        for line in text.split("\n"):
            parts = (
                CoreLabel(font_size=font_size, font_name=font, bold=bold).get_extents(part)[0]
                for font, part in fonts.runs(line)
            )
            widest = max(widest, sum(parts))
        _widths[key] = widest
    return _widths[key]


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

    def texture_update(self, *largs: object) -> None:
        """Draw the text as it is read: joined, in the screen's order, each script in its font."""
        if not self.markup:
            self._label.text = fonts.shaped(self.text)
            super().texture_update(*largs)
            return
        self.texture = None
        colour = get_hex_from_color(self.disabled_color if self.disabled else self.color)
        self._label.text = f"[color={colour}]{fonts.marked(self.text)}[/color]"
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


LEAST_PART = 0.6
"""A word never shrinks below this part of its size; one that is longer still breaks."""


class Words(Dressed):
    """Text that wraps at its width and is as high as it needs; without text it takes no room."""

    colour = StringProperty("ink")
    """Which colour of the look."""
    DRESS_AFTER = ("colour", "padding")

    def room(self) -> float:
        """Width that a line of text has."""
        return self.width - self.padding[0] - self.padding[2]

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
    """Of several it is the one that is on: a line below it; a full face where it is an option."""
    plain = BooleanProperty(False)
    option = BooleanProperty(False)
    """One of several to choose from: only the chosen one has a face."""
    sign = StringProperty("")
    """A sign before the text, or alone."""
    sign_colour = StringProperty("")
    """Colour of the sign where it is not the text's."""
    stacked = BooleanProperty(False)
    """The sign stands above the text."""
    value = ObjectProperty(None, allownone=True)
    natural_width = NumericProperty(0)
    face = ColorProperty((0, 0, 0, 0))
    seam = NumericProperty(0)
    ink_name = StringProperty("strong")
    DRESS_AFTER = ("strong", "chosen", "state", "ink_name", "sign", "stacked", "plain", "option", "disabled")

    def __init__(self, **kwargs: object) -> None:
        self._repaint = Clock.create_trigger(self._paint, -1)
        super().__init__(**kwargs)
        for name in ("pos", "size", "texture_size", "sign", "sign_colour", "color", "chosen"):
            self.fbind(name, self._repaint)
        self._repaint()

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
        full = self.strong or (self.option and self.chosen)
        self.color = style.over_strong if full else style.ink if self.chosen else getattr(style, self.ink_name)
        none = (self.plain or self.option or self.disabled or not (self.text or self.sign)) and self.state != "down"
        self.face = style.strong if full else (0, 0, 0, 0) if none else style.face
        # Quiet faces that stand close keep a seam between them, while the targets meet.
        self.seam = 0 if full else style.gap / 4
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
            if self.chosen and not self.option:
                # Right below its word, however high the thing is.
                low = max(self.y + 2, self.center_y - self.texture_size[1] / 2 - 5) if self.stacked else self.y + 2
                Color(*style.strong)
                Rectangle(pos=(self.x + style.gap, low), size=(self.width - 2 * style.gap, 3))
            if self.sign in SIGNS:
                full = self.strong or (self.option and self.chosen)
                Color(*(getattr(style, self.sign_colour) if self.sign_colour and not full else self.color))
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


class Row(ButtonBehavior, Stack):
    """A row that opens what it shows."""

    test_name = StringProperty("")


class Stepper(BoxLayout):
    """A value between taps that lessen and raise it: by a step (held down it runs), and by a whole stop."""

    test_name = StringProperty("")
    value_text = StringProperty("")
    stops = BooleanProperty(True)
    on_step: Callable[[int, bool], None] | None = None
    """Called with -1 or +1 and whether a whole stop is meant."""
    RUN_AFTER_S, RUN_EVERY_S = 0.45, 0.12
    _running: Any = None
    _ran = False

    def on_touch_down(self, touch: Any) -> bool:
        """Hidden, it is in nobody's way."""
        return not self.disabled and bool(super().on_touch_down(touch))

    def hold(self, by: int, whole: bool) -> None:
        """A finger is down: after a moment the value runs."""
        self.let_go()
        self._ran = False
        self._running = Clock.schedule_once(lambda _dt: self._run(by, whole), self.RUN_AFTER_S)

    def _run(self, by: int, whole: bool) -> None:
        self._ran = True
        self._step(by, whole)
        self._running = Clock.schedule_interval(lambda _dt: self._step(by, whole), self.RUN_EVERY_S)

    def let_go(self) -> None:
        """The finger is gone, or elsewhere."""
        if self._running is not None:
            self._running.cancel()
            self._running = None

    def tapped(self, by: int, whole: bool) -> None:
        """A short tap is one step."""
        self.let_go()
        if not self._ran:
            self._step(by, whole)

    def _step(self, by: int, whole: bool) -> None:
        if self.on_step is not None:
            self.on_step(by, whole)


class TextLine(TextInput):
    """One line of text input that tells when it is left."""

    test_name = StringProperty("")

    def __init__(self, **kwargs: object) -> None:
        super().__init__(**kwargs)
        self.fbind("text", lambda _line, text: setattr(self, "font_name", fonts.font_for(text)))


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
            tap = Tap(text=text, value=value, test_name=f"{self.test_name}:{value}", option=True)
            tap.chosen = value == self.chosen
            tap.bind(on_release=lambda one: self.on_choose and self.on_choose(one.value))
            row.add_widget(tap)


class FingerNote(Words):
    """One sentence beside the finger that caused it; it blocks nothing and goes by itself."""

    _gone: Any = None
    SECONDS = 6.0

    def say(self, text: str, x: float, y: float, width: float, height: float) -> None:
        """Show ``text`` near (x, y), inside a window of this size."""
        style = look()
        self.width = min(width - 2 * style.gap, max(text_width(text, style.note) + 2 * style.pad, style.target))
        self.text = text
        self.texture_update()
        self.height = self.texture_size[1]
        self.x = min(max(x - self.width / 2, style.gap), width - self.width - style.gap)
        above = y + style.target / 2
        # Never over the bar of places: a word half covered is worse than a note a little away from the finger.
        lowest = style.gap + (0 if style.wide else style.bar_height)
        below = max(y - style.target / 2 - self.height, lowest)
        self.y = max(above, lowest) if above + self.height <= height - style.gap else below
        self.opacity = 1
        if self._gone is not None:
            self._gone.cancel()
        self._gone = Clock.schedule_once(lambda _dt: self.hide(), max(self.SECONDS, len(text) / 12))

    def hide(self) -> None:
        """Go away."""
        self.opacity, self.text = 0, ""
        self.pos = (-10000, -10000)

    def collide_point(self, _x: float, _y: float) -> bool:
        """Never in the way of a touch."""
        return False


class UndoBar(BoxLayout):
    """What was just changed, and a tap that takes it back; it goes by itself."""

    test_name = StringProperty("undo_bar")
    sentence = StringProperty("")
    SECONDS = 8.0
    _gone: Any = None
    _undo: Callable[[], None] | None = None

    def offer(self, sentence: str, undo: Callable[[], None]) -> None:
        """Offer to take back what the sentence says."""
        self.sentence, self._undo = sentence, undo
        if self._gone is not None:
            self._gone.cancel()
        self._gone = Clock.schedule_once(lambda _dt: self.hide(), self.SECONDS)

    def on_touch_down(self, touch: Any) -> bool:
        """Without anything to offer it is in nobody's way (a disabled widget would swallow touches)."""
        return bool(self.sentence) and super().on_touch_down(touch)

    def take_back(self) -> None:
        """Do it."""
        undo = self._undo
        self.hide()
        if undo is not None:
            undo()

    def hide(self) -> None:
        """Go away."""
        self.sentence, self._undo = "", None


load_kv(__file__)
