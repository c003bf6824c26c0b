"""The set page: ratios a row a light, the ring view, the camera, the findings."""

from __future__ import annotations

from kivy.app import App
from kivy.properties import BooleanProperty, ObjectProperty, StringProperty

from mobile import (
    drawings,  # noqa: F401  (the .kv file names its classes)
    ring_view,  # noqa: F401  (the .kv file names its class)
)
from mobile.metering_state import Figure
from mobile.page import Page
from mobile.ring_state import marks_of
from mobile.set_state import FindingLook, SetLook, SetRow, set_look
from mobile.texts import t
from mobile.widgets import Card, Words, load_kv


class RatioCard(Card):
    """One light's row; a tap opens and closes the detail."""

    test_name = StringProperty("")
    row = ObjectProperty(None, allownone=True, rebind=False)
    opened = BooleanProperty(False)
    name = StringProperty("")
    role = StringProperty("")
    figure = ObjectProperty(Figure())
    figure_text = StringProperty("")
    stops = StringProperty("")
    second = StringProperty("")
    verdict = StringProperty("")
    reason = StringProperty("")
    detail = StringProperty("")
    band = ObjectProperty(None, allownone=True)

    def put(self, row: SetRow) -> None:
        """Show a row."""
        self.test_name = f"row:{row.name}"
        self.name, self.role = row.name, row.role
        self.figure_text = " ".join(filter(None, (row.figure.before + row.figure.main, row.figure.after)))
        self.stops, self.verdict, self.reason = row.stops, row.verdict, row.reason
        self.second = "   ".join(filter(None, (row.ratio, row.share)))
        self.detail, self.band = row.detail, row.band


class FindingCard(Card):
    """One finding; a tap says what to do."""

    test_name = StringProperty("")
    title = StringProperty("")
    todo = StringProperty("")
    severity = StringProperty("good")
    act = StringProperty("")
    act_label = StringProperty("")
    light_id = StringProperty("")
    opened = BooleanProperty(False)

    def put(self, finding: FindingLook) -> None:
        """Show a finding."""
        self.test_name = f"finding:{finding.key}"
        if self.title != finding.title:
            self.opened = False
        self.title, self.todo, self.severity = finding.title, finding.todo, finding.severity
        self.act, self.act_label, self.light_id = finding.act, finding.act_label, finding.light_id

    def do(self) -> None:
        """Begin to do it."""
        app = App.get_running_app()
        if self.act == "place":
            app.go("lights")
            app.page.open(self.light_id)
            return
        work, args = (app.desk.wait_for, (self.light_id,)) if self.act == "meter" else (app.desk.wait_for_all, ())
        app.do(work, *args, done=lambda _shot: app.go("metering"))


class SetPage(Page):
    """See the module."""

    def show(self) -> None:
        """Write the state into the widgets."""
        shot, ids = self.app.desk.shot, self.ids
        shown = set_look(shot)
        ids.title.text = shown.name
        ids.camera.text = shown.camera
        ids.empty.text = "" if shown.rows else t("set.empty")
        self._cards(ids.rows, shown.rows, RatioCard)
        self._words(ids.figures, [*shown.ratios, *shown.apertures], "lead")
        self._words(ids.notes, list(shown.notes), "note")
        self._show_findings(shown)
        ring = ids.ring
        ring.marks, ring.imperial = list(marks_of(shot.view)), shot.prefs.imperial
        ring.focus_id = next((light.id for light in shot.lights if light.role == "key"), "")

    def _show_findings(self, shown: SetLook) -> None:
        self.ids.findings_note.text = shown.findings_note
        self._cards(self.ids.findings, shown.findings, FindingCard)

    @staticmethod
    def _cards(box, looks, cls) -> None:
        while len(box.children) > len(looks):
            box.remove_widget(box.children[0])
        while len(box.children) < len(looks):
            box.add_widget(cls())
        for card, one in zip(reversed(box.children), looks, strict=True):
            card.put(one)

    @staticmethod
    def _words(box, texts: list[str], size_name: str) -> None:
        if [w.text for w in reversed(box.children)] == texts:
            return
        box.clear_widgets()
        for text in texts:
            box.add_widget(Words(text=text, size_name=size_name))

    def meter(self) -> None:
        """Walk through the set again."""
        self.app.do(self.app.desk.begin, done=lambda _shot: self.app.go("metering"))

    def sum_check(self) -> None:
        """Wait for one pop of all lights on the face."""
        self.app.do(self.app.desk.wait_for_all, done=lambda _shot: self.app.go("metering"))


load_kv(__file__)
