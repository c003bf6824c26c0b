"""The frame around the pages: the sensor's strip, the bar of places, the note at the finger."""

from __future__ import annotations

from kivy.app import App
from kivy.uix.floatlayout import FloatLayout

from mobile import page  # noqa: F401  (the .kv file names its classes)
from mobile.texts import t
from mobile.widgets import Tap, load_kv

BAR = ("metering", "lights", "set", "more")
OF_MORE = ("match", "library", "sensors", "settings", "first")


class Place(Tap):
    """One place in the bar; its word shrinks rather than break where the bar is narrow and the text large."""

    def room(self) -> float:
        """The whole width: the bar is narrow."""
        return self.width - 4

    def on_release(self) -> None:
        """Go there."""
        App.get_running_app().go(self.value)


class Strip(Tap):
    """The sensor in one line, on top of every page; a tap opens the sensors."""

    def on_release(self) -> None:
        """Open the sensors."""
        App.get_running_app().go("sensors")


class Frame(FloatLayout):
    """See the module."""

    def on_kv_post(self, _base: object) -> None:
        """Fill the bar."""
        app = App.get_running_app()
        for name in BAR:
            self.ids.bar.add_widget(Place(text=t(f"place.{name}"), value=name, test_name=f"place:{name}"))
        app.fbind("place", self._mark)

    def _mark(self, _app: object, place: str) -> None:
        here = "more" if place in OF_MORE else place
        for tap in self.ids.bar.children:
            tap.chosen = tap.value == here


load_kv(__file__)
