"""What all pages have in common: they show the app's snapshot when they are entered and when it changes."""

from __future__ import annotations

from importlib import import_module

from kivy.app import App
from kivy.properties import StringProperty
from kivy.uix.screenmanager import NoTransition, Screen, ScreenManager

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


class Page(Screen):
    """One page.  ``show`` writes what the state module says into the widgets' properties, and nothing else."""

    test_name = StringProperty("")

    @property
    def app(self):
        """The running app."""
        return App.get_running_app()

    def on_pre_enter(self, *_: object) -> None:
        """Show what is so now."""
        self.show()

    def show(self) -> None:
        """Show the app's snapshot."""

    def show_sensor(self) -> None:
        """The sensor's state or what was found has changed."""
        self.show()

    def show_level(self) -> None:
        """Steady light has come; called once a frame at most."""


class Pages(ScreenManager):
    """Builds each page when it is first shown."""

    def __init__(self, **kwargs: object) -> None:
        super().__init__(transition=NoTransition(), **kwargs)

    def go(self, name: str) -> Page:
        """Show a page."""
        if not self.has_screen(name):
            module, cls = PAGES[name]
            self.add_widget(getattr(import_module(module), cls)(name=name))
        self.current = name
        return self.current_screen
