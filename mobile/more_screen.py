"""The page of places that are wanted less often."""

from __future__ import annotations

from mobile.page import Page
from mobile.texts import t
from mobile.widgets import Tap, load_kv

PLACES = ("match", "library", "sensors", "settings")


class MoreRow(Tap):
    """One place: a row as wide as the page and 64 dp high."""


class MorePage(Page):
    """See the module."""

    def on_kv_post(self, _base: object) -> None:
        """Fill the list."""
        for name in PLACES:
            tap = MoreRow(text=t(f"place.{name}"), value=name, test_name=f"more:{name}", size_name="body", sign=name)
            tap.size_hint, tap.halign, tap.act = (1, None), "left", self.app.go
            self.ids.places.add_widget(tap)


load_kv(__file__)
