"""What all pages have in common: they show the app's snapshot when they are entered and when it changes."""

from __future__ import annotations

from importlib import import_module
from typing import Any

from kivy.app import App
from kivy.clock import Clock
from kivy.properties import StringProperty
from kivy.uix.boxlayout import BoxLayout
from kivy.uix.floatlayout import FloatLayout

PAGES = {
    "first": ("mobile.first_screen", "FirstPage"),
    "metering": ("mobile.metering_screen", "MeteringPage"),
    "lights": ("mobile.lights_screen", "LightsPage"),
    "set": ("mobile.set_screen", "SetPage"),
    "match": ("mobile.match_screen", "MatchPage"),
    "library": ("mobile.library_screen", "LibraryPage"),
    "sensors": ("mobile.sensors_screen", "SensorsPage"),
    "settings": ("mobile.settings_screen", "SettingsPage"),
    "more": ("mobile.more_screen", "MorePage"),
}
"""Every page and where it lives; a page is imported and built when it is first gone to."""
FOR_PICTURES = {"parts": ("mobile.parts", "PartsPage")}
"""Pages that no place leads to."""


class Page(BoxLayout):
    """One page.  ``show`` writes what the state module says into the widgets' properties, and nothing else."""

    test_name = StringProperty("")
    name = StringProperty("")

    @property
    def app(self) -> Any:
        """The running app."""
        return App.get_running_app()

    def show(self) -> None:
        """Show the app's snapshot."""

    def show_sensor(self) -> None:
        """The sensor's state or what was found has changed."""
        self.show()

    def back(self) -> bool:
        """Go one step back inside the page; False when there is none and the page itself shall be left."""
        return False


class Pages(FloatLayout):
    """Builds each page when it is first shown.  One page is drawn at a time: the new one takes over once it stands in place."""

    def __init__(self, **kwargs: object) -> None:
        super().__init__(**kwargs)
        self.built: dict[str, Page] = {}
        self.current_screen: Page | None = None
        self._taking_over: Any = None

    def go(self, name: str) -> Page:
        """Show a page."""
        frames = 1 if name in self.built else 2
        if name not in self.built:
            module, cls = (PAGES | FOR_PICTURES)[name]
            self.built[name] = getattr(import_module(module), cls)(name=name, pos_hint={"x": 0, "y": 0})
        page = self.built[name]
        if page is self.current_screen:
            page.show()
            return page
        if self._taking_over is not None:
            self._taking_over.cancel()
        self.current_screen = page
        for other in self.children[:]:
            # What was on its way in goes; what is seen stays until the new page stands.
            if other.opacity == 0:
                self.remove_widget(other)
        if page.parent is None:
            page.opacity = 0
            self.add_widget(page)
        page.show()
        self._wait(page, frames)
        return page

    def on_touch_down(self, touch: Any) -> bool:
        """Touches belong to the page that was gone to, drawn already or not."""
        page = self.current_screen
        return bool(page is not None and page.dispatch("on_touch_down", touch))

    def _wait(self, page: Page, frames: int) -> None:
        def count(_dt: float) -> None:
            if frames > 1:
                self._wait(page, frames - 1)
            else:
                self._take_over(page)

        self._taking_over = Clock.schedule_once(count, 0)

    def _take_over(self, page: Page) -> None:
        self._taking_over = None
        for other in self.children[:]:
            if other is not page:
                self.remove_widget(other)
        page.opacity = 1
