"""The sensors page: the one in use, those found, and the simulated one's own controls."""

from __future__ import annotations

from typing import Any

from kivy.properties import BooleanProperty, NumericProperty, StringProperty

from mobile import drawings  # noqa: F401  (the .kv file names its classes)
from mobile.page import Page
from mobile.sensors_state import SensorsLook, sensors_look
from mobile.texts import t
from mobile.widgets import Card, Tap, Words, load_kv

SIM_HELD_M = 0.2


class SensorRow(Card):
    """One sensor that was found."""

    test_name = StringProperty("")
    url = StringProperty("")
    name = StringProperty("")
    what = StringProperty("")
    signal = StringProperty("")
    bars = NumericProperty(0)
    connected = BooleanProperty(False)


class SensorsPage(Page):
    """See the module."""

    def on_kv_post(self, _base: object) -> None:
        """Connect the field."""
        self.ids.url.on_commit = lambda text, field: self.app.connect(text.strip(), field=field)

    def show(self) -> None:
        """Write the state into the widgets."""
        app, ids = self.app, self.ids
        shown = sensors_look(app.sensors.status, app.sensors.found)
        ids.title.text, ids.words.text, ids.serial.text = shown.title, shown.words, shown.serial
        ids.simulated.text = t("app.simulated") if shown.simulated else ""
        self._facts(shown)
        ids.search.text = shown.search
        self._rows(shown)
        taps = [("search", t("sensors.search"))]
        if shown.connected:
            taps.append(("disconnect", t("sensors.disconnect")))
        if not shown.simulated:
            taps.append(("simulate", t("sensors.simulate")))
        self._taps(ids.actions, taps)
        sim: list[tuple[str, str]] = []
        practice: list[tuple[str, str]] = []
        if shown.simulated:
            plugged = getattr(app.sensors.simulator, "plugged", True)
            sim = [(n, t(f"sensors.{n}")) for n in ("fire", "fire_held")]
            practice = [("fire_damaged", t("sensors.fire_damaged"))]
            practice.append(("unplug", t("sensors.unplug")) if plugged else ("plug", t("sensors.plug")))
        ids.sim_title.text = t("sensors.simulated_title") if sim else ""
        ids.sim_note.text = t("sensors.simulated_note") if sim else ""
        self._taps(ids.sim, sim)
        ids.practice_title.text = t("sensors.practice") if practice else ""
        self._taps(ids.practice, practice)

    def _facts(self, shown: SensorsLook) -> None:
        box = self.ids.facts
        if [w.text for w in reversed(box.children)] != list(shown.facts):
            box.clear_widgets()
            for fact in shown.facts:
                box.add_widget(Words(text=fact, colour="quiet"))

    def _rows(self, shown: SensorsLook) -> None:
        rows = self.ids.rows
        if [r.url for r in reversed(rows.children)] != [line.url for line in shown.lines]:
            rows.clear_widgets()
            for line in shown.lines:
                row = SensorRow(url=line.url, test_name=f"sensor:{line.name}")
                row.ids.connect.bind(on_release=lambda _tap, url=line.url: self.app.connect(url))
                rows.add_widget(row)
        for row, line in zip(reversed(rows.children), shown.lines, strict=True):
            row.name, row.what, row.signal = line.name, line.what, line.signal
            row.bars, row.connected = line.bars, line.connected

    def _taps(self, row: Any, wanted: list[tuple[str, str]]) -> None:
        if [(tap.value, tap.text) for tap in reversed(row.children)] == wanted:
            return
        row.clear_widgets()
        for value, text in wanted:
            tap = Tap(text=text, value=value, test_name=f"sensors:{value}")
            tap.bind(on_release=lambda one: self._act(one.value))
            row.add_widget(tap)

    def _act(self, what: str) -> None:
        app = self.app
        if what == "search":
            app.sensors.look_for()
        elif what == "disconnect":
            app.spawn(app.sensors.disconnect())
        elif what == "simulate":
            app.simulate()
        elif what == "unplug":
            app.sensors.simulator.unplug()
            self.show()
        elif what == "plug":
            app.replug()
        else:
            app.fire(SIM_HELD_M if what == "fire_held" else 0.0, damaged=what == "fire_damaged")


load_kv(__file__)
