"""The sensors page: the one in use, those found, and the simulated one's own controls."""

from __future__ import annotations

from typing import Any

from kivy.properties import BooleanProperty, NumericProperty, StringProperty

from mobile import drawings  # noqa: F401  (the .kv file names its classes)
from mobile.layouts import refill
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
        refill(self.ids.facts, shown.facts, lambda fact: Words(text=fact, colour="quiet"))

    def _rows(self, shown: SensorsLook) -> None:
        for row, line in zip(refill(self.ids.rows, (line.url for line in shown.lines), self._row), shown.lines, strict=True):
            row.test_name, row.name, row.what, row.signal = f"sensor:{line.name}", line.name, line.what, line.signal
            row.bars, row.connected = line.bars, line.connected

    def _row(self, url: str) -> SensorRow:
        row = SensorRow(url=url)
        row.ids.connect.bind(on_release=lambda _tap: self.app.connect(url))
        return row

    def _taps(self, row: Any, wanted: list[tuple[str, str]]) -> None:
        refill(row, wanted, lambda one: Tap(text=one[1], value=one[0], test_name=f"sensors:{one[0]}", act=self._act))

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
