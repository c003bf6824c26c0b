"""The frame around the pages: the sensor's strip, the bar of places, and what stands over a page for a moment."""

from __future__ import annotations

from kivy.app import App
from kivy.properties import StringProperty
from kivy.uix.boxlayout import BoxLayout
from kivy.uix.layout import Layout

from mobile import page  # noqa: F401  (the .kv file names its classes)
from mobile.texts import t
from mobile.widgets import Tap, load_kv, look

BAR = ("metering", "lights", "set", "more")
RAIL_PITCH = 10
"""Of the places at the side, in steps of the grid."""
OF_MORE = ("match", "library", "sensors", "settings", "first")


class Place(Tap):
    """One place in the bar; its word shrinks rather than break where the bar is narrow and the text large."""

    def room(self) -> float:
        """The whole width: the bar is narrow."""
        return self.width - 4

    def on_release(self) -> None:
        """Go there."""
        App.get_running_app().go(self.value)


class Strip(BoxLayout):
    """The sensor and the live light in one line, on top of every page; a tap opens the sensors."""

    live = StringProperty("")


class Frame(Layout):
    """See the module.  Places its parts itself: their sizes follow from the window alone, however it was turned before."""

    def __init__(self, **kwargs: object) -> None:
        super().__init__(**kwargs)
        for name in ("size", "pos"):
            self.fbind(name, self._trigger_layout)
        look().fbind("dressed", self._trigger_layout)

    def on_kv_post(self, _base: object) -> None:
        """Fill the bar."""
        app = App.get_running_app()
        for name in BAR:
            self.ids.bar.add_widget(Place(text=t(f"place.{name}"), value=name, sign=name, test_name=f"place:{name}"))
        app.fbind("place", self._mark)
        self.ids.undo.fbind("height", self._trigger_layout)

    def _mark(self, _app: object, place: str) -> None:
        here = "more" if place in OF_MORE else place
        for tap in self.ids.bar.children:
            tap.chosen = tap.value == here

    def do_layout(self, *_: object) -> None:
        """Bar at the bottom edge, or at the left one where the window is wide; the strip above the page."""
        ids, style = self.ids, look()
        bar, strip, pages, undo = ids.bar, ids.strip, ids.pages, ids.undo
        bar.orientation = "vertical" if style.wide else "horizontal"
        left, low = (style.bar_width, 0.0) if style.wide else (0.0, style.bar_height)
        bar.pos = self.pos
        bar.size = (style.bar_width, self.height) if style.wide else (self.width, style.bar_height)
        # At the side the places stand close together on top, each with its mark right below its word.
        above = style.strip_height / 2
        below = max(self.height - above - len(BAR) * RAIL_PITCH * style.gap, 0)
        bar.padding = (0, above, 0, below) if style.wide else 0
        strip.size = (self.width - left, style.strip_height)
        strip.pos = (self.x + left, self.top - style.strip_height)
        pages.pos = (self.x + left, self.y + low)
        pages.size = (self.width - left, self.height - low - style.strip_height)
        # Over the sensor's strip: what can be taken back covers nothing of the page.
        undo.width = self.width - left
        undo.pos = (self.x + left, self.top - undo.height)


load_kv(__file__)
