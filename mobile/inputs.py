"""What takes a value from a person: a stepper, a field to type in, a few things to choose from."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from kivy.clock import Clock
from kivy.properties import BooleanProperty, ListProperty, ObjectProperty, StringProperty
from kivy.uix.boxlayout import BoxLayout
from kivy.uix.textinput import TextInput

from mobile import fonts
from mobile.layouts import Stack
from mobile.taps import Tap
from mobile.texts import t


class Stepper(BoxLayout):
    """A value between taps that lessen and raise it: by a step (held down it runs), and by a whole stop."""

    test_name = StringProperty("")
    value_text = StringProperty("")
    step_text = StringProperty("")
    """How much a step is; empty where a sign must do."""
    less_text = StringProperty("")
    more_text = StringProperty("")
    stops = BooleanProperty(True)
    on_step: Callable[[int, bool], None] | None = None
    """Called with -1 or +1 and whether a whole stop is meant."""
    RUN_AFTER_S, RUN_EVERY_S = 0.45, 0.12
    _running: Any = None
    _ran = False

    def on_step_text(self, _stepper: object, step: str) -> None:
        """Say it on the taps."""
        self.less_text, self.more_text = (t(f"step.{way}", step=step) if step else "" for way in ("less", "more"))

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
            tap = Tap(text=text, value=value, test_name=f"{self.test_name}:{value}", act=self._chose)
            tap.chosen = value == self.chosen
            row.add_widget(tap)

    def _chose(self, value: object) -> None:
        if self.on_choose is not None:
            self.on_choose(value)
