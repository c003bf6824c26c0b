"""The settings page."""

from __future__ import annotations

from typing import Any

from mobile import settings_state as state
from mobile.layouts import refill
from mobile.page import Page
from mobile.texts import t
from mobile.widgets import Choices, Field, load_kv

CAMERA = ("iso", "shutter", "camera_offset", "filter")


class SettingsPage(Page):
    """See the module."""

    def show(self) -> None:
        """Write the state into the widgets."""
        app, ids = self.app, self.ids
        shown = state.settings_look(app.desk.shot, app.desk.library.settings())
        self._choices(ids.choices, shown.choices)
        self._entries(ids.camera, [e for e in shown.entries if e.name in CAMERA])
        self._entries(ids.limits, [e for e in shown.entries if e.name not in CAMERA])
        lacks = [t("settings.no_speech")] if not app.voice.can_speak else []
        lacks += [t("settings.no_vibration")] if not app.voice.can_vibrate else []
        ids.lacks.text = " ".join(lacks)

    def show_sensor(self) -> None:
        """Nothing here depends on the sensor."""

    def _choices(self, box: Any, choices: tuple[state.Choice, ...]) -> None:
        for widget, one in zip(refill(box, (one.name for one in choices), self._choice), choices, strict=True):
            widget.label, widget.options, widget.chosen = one.label, list(one.options), one.chosen

    def _entries(self, box: Any, entries: list[state.Entry]) -> None:
        for field, one in zip(refill(box, (one.name for one in entries), self._entry), entries, strict=True):
            field.label, field.hint, field.text = one.label, one.hint, one.text

    def _choice(self, name: str) -> Choices:
        widget = Choices(test_name=f"choice:{name}")
        widget.on_choose = lambda value: self._choose(name, value)
        return widget

    def _entry(self, name: str) -> Field:
        field = Field(test_name=f"entry:{name}")
        field.on_commit = lambda text, widget: self._enter(name, text, widget)
        return field

    def _choose(self, name: str, value: object) -> None:
        self.app.do(state.choose, self.app.desk, name, value, done=lambda _shot: self.app.wear())

    def _enter(self, name: str, text: str, field: Field) -> None:
        self.app.do(state.enter, self.app.desk, name, text, field=field, done=lambda _shot: field.put())


load_kv(__file__)
