"""The first page: a sensor, a set, and the walk begins."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from mobile.demo_set import open_demo
from mobile.first_state import begin_set, first_look
from mobile.page import Page
from mobile.widgets import Tap, load_kv


class FirstPage(Page):
    """See the module."""

    def show(self) -> None:
        """Write the state into the widgets."""
        app, ids = self.app, self.ids
        shown = first_look(app.desk.shot, app.sensors.status, app.sensors.found)
        ids.sensor.text = shown.sensor
        ids.search.text = shown.searching
        ids.simulate.disabled = shown.ready
        self._taps(ids.found, shown.found, "found:", lambda url: app.connect(url))
        self._taps(ids.counts, shown.counts, "count:", self._begin)
        self._taps(ids.resume, (("resume", shown.resume),) if shown.resume else (), "", lambda _v: app.go("metering"))

    def _taps(self, row: Any, wanted: tuple[tuple[Any, str], ...], prefix: str, act: Callable[[Any], None]) -> None:
        if [(tap.value, tap.text) for tap in reversed(row.children)] == list(wanted):
            return
        # What stands stays where it is; what is new comes after it.
        for tap in row.children[:]:
            if (tap.value, tap.text) not in wanted:
                row.remove_widget(tap)
        have = {tap.value for tap in row.children}
        for value, text in wanted:
            if value in have:
                continue
            tap = Tap(text=text, value=value, test_name=f"{prefix}{value}", size_name="body", size_hint=(1, None), act=act)
            tap.strong = value == "resume"
            tap.halign = "center" if prefix == "count:" else "left"
            row.add_widget(tap)

    def _begin(self, count: int) -> None:
        app = self.app
        app.do(begin_set, app.desk, count, done=lambda _shot: app.go("metering"))

    def demo(self) -> None:
        """Open the demo set."""
        app = self.app
        app.do(open_demo, app.desk, done=lambda _shot: app.go("set"))


load_kv(__file__)
