"""What stands over a page for a moment and goes by itself: a note beside the finger, and the tap that takes a change back."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from kivy.clock import Clock
from kivy.properties import StringProperty
from kivy.uix.boxlayout import BoxLayout

from mobile.drawings import look
from mobile.taps import Words, text_width


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
