"""Where widgets stand: rows that break when text grows, columns, stacks, and the scrolling part of a page."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from typing import Any

from kivy.animation import Animation
from kivy.app import App
from kivy.properties import BooleanProperty, NumericProperty, StringProperty
from kivy.uix.boxlayout import BoxLayout
from kivy.uix.layout import Layout
from kivy.uix.scrollview import ScrollView
from kivy.uix.widget import Widget

from mobile.theme import MOVE_S


class FlowRow(Layout):
    """Children in lines, each as wide as its text needs; a line is filled to its end; as many lines as it takes.

    One whose ``natural_width`` is 0 has nothing to say and takes no room.
    """

    test_name = StringProperty("")
    spacing = NumericProperty(0)
    fill = BooleanProperty(True)
    even = BooleanProperty(False)
    """Where one line does not take all, the lines have equally many: three and three, never four and two."""
    folded = BooleanProperty(False)
    """Takes no room and no touches."""

    def __init__(self, **kwargs: object) -> None:
        super().__init__(**kwargs)
        for name in ("size", "pos", "children", "spacing", "folded"):
            self.fbind(name, self._trigger_layout)

    def add_widget(self, widget: Any, *args: Any, **kwargs: Any) -> None:  # noqa: D102
        for name in ("height", "natural_width"):
            if hasattr(widget, name):
                widget.fbind(name, self._trigger_layout)
        super().add_widget(widget, *args, **kwargs)

    def on_touch_down(self, touch: Any) -> bool:
        """Hidden, it is in nobody's way."""
        return not self.disabled and bool(super().on_touch_down(touch))

    def do_layout(self, *_: object) -> None:
        """Break into lines and place."""
        self.opacity, self.disabled = (0, True) if self.folded else (1, False)
        children = [child for child in reversed(self.children) if getattr(child, "natural_width", 1)]
        for child in self.children:
            if child not in children:
                child.width = 0
        if self.folded or not children:
            self.height = 0
            return
        lines: list[list[Any]] = []
        room = 0.0
        for child in children:
            want = min(getattr(child, "natural_width", child.width), max(self.width, 1))
            if lines and want + self.spacing <= room:
                lines[-1].append(child)
                room -= want + self.spacing
            else:
                lines.append([child])
                room = self.width - want
        if self.even and len(lines) > 1:
            each = -(-len(children) // len(lines))
            lines = [children[i : i + each] for i in range(0, len(children), each)]
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

    def add_widget(self, widget: Any, *args: Any, **kwargs: Any) -> None:  # noqa: D102
        widget.fbind("height", self._trigger_layout)
        super().add_widget(widget, *args, **kwargs)

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

    def on_touch_down(self, touch: Any) -> bool:
        """A part that is hidden takes no room, and no touches either: kivy's own disabled widgets swallow them."""
        return not self.disabled and bool(super().on_touch_down(touch))


def refill(box: Any, wanted: Iterable[Any], make: Callable[[Any], Any]) -> list[Any]:
    """Fill a box with a widget for each of these; anew only when they differ: a tap under a finger must not vanish."""
    if getattr(box, "holds", None) != (now := list(wanted)):
        box.holds = now
        box.clear_widgets()
        for one in now:
            box.add_widget(make(one))
    return list(reversed(box.children))


class Rows(Stack):
    """Rows that are known by a key.  One that gets another place in the order is seen to go there."""

    def put(self, keys: Sequence[str], make: Callable[[str], Any]) -> list[Any]:
        """Show these rows in this order, made where there was none; returns them."""
        rows = {row.key: row for row in reversed(self.children)}
        if list(rows) != list(keys):
            stood = {key: row.y for key, row in rows.items()} if rows.keys() == set(keys) else {}
            self.clear_widgets()
            for key in keys:
                self.add_widget(rows[key] if key in rows else self._made(key, make))
            self.do_layout()  # at once: no frame shows a row where it is still to go
            for row in self.children:
                row.come_from(stood.get(row.key, row.y))
        return list(reversed(self.children))

    @staticmethod
    def _made(key: str, make: Callable[[str], Any]) -> Any:
        row = make(key)
        row.key = key
        return row


class Moving(Widget):
    """What goes to its place in ``Rows``: only the drawing is under way, touches find it where it is to be."""

    key = ""
    shift_y = NumericProperty(0)
    """Pixels above its place, while it moves there."""

    def come_from(self, y: float) -> None:
        """Move from where it stood, unless the person likes no motion."""
        if y != self.y and App.get_running_app().desk.prefs.motion:
            self.shift_y = y - self.y
            Animation(shift_y=0, duration=MOVE_S).start(self)


class Card(Stack):
    """A column on a raised face."""


class Parts(BoxLayout):
    """What fills a page: parts below each other, or side by side where the window is wide."""


class Pane(ScrollView):
    """The scrolling part of a page.

    A touch that a slider or a handle takes (``takes``) never scrolls; where all fits, nothing waits to see whether a
    touch becomes a scroll, so that taps act at once.
    """

    def update_from_scroll(self, *args: Any) -> None:
        """Scroll by whole pixels: between two, every letter is blurred."""
        super().update_from_scroll(*args)
        self.g_translate.xy = tuple(map(round, self.g_translate.xy))

    def on_touch_down(self, touch: Any) -> bool:  # noqa: D102
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

    def _taken(self, content: Any, touch: Any) -> bool:
        x, y = self.to_local(*touch.pos)
        return any(w.takes(x, y) for w in content.walk(restrict=True) if hasattr(w, "takes"))
