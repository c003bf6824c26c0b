"""What is on the screen, looked at inside the app's process: texts and targets with their boxes, and every frame drawn."""

from __future__ import annotations

import time
import zlib
from typing import Any

Box = tuple[float, float, float, float]


class Eyes:
    """Reads the screen: every text and target that can be seen, its box from the upper left corner."""

    def __init__(self, app: Any) -> None:
        self.app = app

    def screen(self) -> dict[str, Any]:
        """Return what is on the screen now."""
        from kivy.core.window import Window

        things: list[dict[str, Any]] = []
        for root in reversed(Window.children):
            self._look(root, (0.0, 0.0, float(Window.width), float(Window.height)), things)
        shot = self.app.desk.shot
        waiting = shot.light(shot.waiting.light_id) if shot.waiting else None
        return {
            "place": self.app.place,
            "size": list(Window.size),
            "things": things,
            "ready": self.app.sensors.status.ready,
            "busy": len(self.app._tasks),
            "waiting": waiting.name if waiting else "all" if shot.waiting else "",
            "readings": len(shot.view.readings) if shot.view else 0,
            "outcomes": getattr(self.app, "outcomes", 0),
            "failures": [repr(one) for one in self.app.failures],
        }

    def _look(self, widget: Any, clip: Box, things: list[dict[str, Any]]) -> None:
        from kivy.uix.scrollview import ScrollView

        if widget.opacity == 0:
            return
        box = self._box(widget, widget.x, widget.y, widget.right, widget.top)
        if isinstance(widget, ScrollView):
            clip = _common(clip, box)
        self._note(widget, box, clip, things)
        for child in reversed(widget.children):
            self._look(child, clip, things)

    def _box(self, widget: Any, left: float, low: float, right: float, high: float) -> Box:
        """From a widget's own coordinates to the window's, y counted down."""
        from kivy.core.window import Window

        x1, y1 = widget.to_window(left, low)
        x2, y2 = widget.to_window(right, high)
        return x1, Window.height - y2, x2, Window.height - y1

    def _note(self, widget: Any, box: Box, clip: Box, things: list[dict[str, Any]]) -> None:
        from kivy.uix.behaviors import ButtonBehavior
        from kivy.uix.label import Label
        from kivy.uix.textinput import TextInput

        name = getattr(widget, "test_name", "")
        target = isinstance(widget, ButtonBehavior | TextInput) and not widget.disabled
        text = widget.text if isinstance(widget, Label | TextInput) else ""
        thing = {"name": name, "kind": type(widget).__name__, "target": target, "box": box, "clip": clip}
        if isinstance(widget, TextInput) and not widget.text and widget.hint_text:
            room = widget.width - widget.padding[0] - widget.padding[2]
            if widget._get_text_width(widget.hint_text, widget.tab_width, widget._label_cached) > room:
                thing["torn"] = widget.hint_text
        if isinstance(widget, Label) and text and widget.width > 1 and widget.height > 1:
            chosen, strong = getattr(widget, "chosen", False), getattr(widget, "strong", False)
            things.append({**thing, "strong": strong, "text": text, "ink": self._ink(widget), "font_px": widget.font_size,
                           "colour": list(widget.color[:3]), "drawn": False, "chosen": chosen,
                           "torn": self._torn(widget)})  # fmt: skip
        elif name or target:
            extra = {what: getattr(widget, what) for what in ("verdict", "strong") if hasattr(widget, what)}
            said = getattr(widget, "text", "")
            said = said if isinstance(said, str) else ""
            things.append({**thing, "text": said, "ink": box, "font_px": 0, "drawn": False, **extra})
        for written, font_px, left, low, right, high in getattr(widget, "written", ()):
            ink = self._box(widget, left, low, right, high)
            things.append({"name": f"{name}>text", "kind": "drawn", "target": False, "box": ink, "clip": clip,
                           "text": written, "ink": ink, "font_px": font_px, "drawn": True})  # fmt: skip

    @staticmethod
    def _torn(label: Any) -> str:
        """A word of a label that goes on in the next line; empty where none does."""
        lines = ["".join(word.text for word in line.words) for line in label._label._cached_lines]
        words = () if label.markup or len(lines) < 2 else label._label.text.split()
        return next((word for word in words if not any(word in line for line in lines)), "")

    def _ink(self, label: Any) -> Box:
        """Where the letters of a label are, as near as its lines tell."""
        width, height = label.texture_size
        if label.text_size[0] is not None:
            # A texture as wide as the room that it was given: the longest line is what is seen.
            lines = [sum(w.lw for w in line.words) for line in label._label._cached_lines] or [width]
            inner = max(lines, default=width)
            room = label.text_size[0]
            start = label.center_x - width / 2
            at = {"left": 0.0, "right": room - inner, "center": (room - inner) / 2}.get(label.halign, 0.0)
            left, right = start + at, start + at + inner
        else:
            left, right = label.center_x - width / 2, label.center_x + width / 2
        return self._box(label, left, label.center_y - height / 2, right, label.center_y + height / 2)


def _common(a: Box, b: Box) -> Box:
    return max(a[0], b[0]), max(a[1], b[1]), min(a[2], b[2]), min(a[3], b[3])


class Frames:
    """Keeps a check sum and the pages of every frame that is drawn, while it is told to."""

    def __init__(self, app: Any) -> None:
        self.app = app
        self.kept: list[dict[str, Any]] | None = None
        self.drawn = 0

    def watch(self) -> None:
        """Look at every frame from now on."""
        from kivy.core.window import Window

        Window.bind(on_flip=self._flip)

    @staticmethod
    def _gap(pixels: bytes, width: int, height: int) -> int:
        """The longest stretch, in pixels, between a third and three quarters of the height, with nothing but its ground on it."""
        longest = since = 0
        for y in range(height // 3, height * 3 // 4, 4):
            since = 0 if len(set(pixels[y * width * 3 : (y + 1) * width * 3])) > 12 else since + 4
            longest = max(longest, since)
        return longest

    def _rows(self) -> dict[str, float]:
        """Where the rows that can move are drawn, from the foot of the page."""
        rows = self.app.page.walk(restrict=True) if self.app.page else ()
        return {one.test_name: round(one.y + one.shift_y, 1) for one in rows if hasattr(one, "shift_y")}

    def _flip(self, *_: object) -> bool:
        self.drawn += 1
        if self.kept is not None:
            from kivy.core.window import Window
            from kivy.graphics.opengl import GL_RGB, GL_UNSIGNED_BYTE, glReadPixels

            pixels = bytes(glReadPixels(0, 0, *Window.size, GL_RGB, GL_UNSIGNED_BYTE))
            # Lines come from below: without the strip on top, whose live light changes as it likes.
            page = pixels[: -3 * Window.width * round(self.app.look.strip_height)]
            self.kept.append({"at_s": time.monotonic(), "sum": zlib.crc32(page), "blank": len(set(pixels[::997])) < 3,
                              "gap": self._gap(pixels, *Window.size), "rows": self._rows()})  # fmt: skip
        return False
