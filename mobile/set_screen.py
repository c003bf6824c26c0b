"""The set page: the camera on top, a row a light, the findings as one line that opens."""

from __future__ import annotations

from typing import Any

from kivy.app import App
from kivy.properties import BooleanProperty, ObjectProperty, StringProperty

from mobile import (
    drawings,  # noqa: F401  (the .kv file names its classes)
    ring_view,  # noqa: F401  (the .kv file names its class)
)
from mobile.last_pop import Figure
from mobile.layouts import refill
from mobile.library_state import describe
from mobile.page import Page
from mobile.ring_state import marks_of
from mobile.set_state import FindingLook, SetRow, set_look
from mobile.texts import t
from mobile.widgets import Card, Row, Words, load_kv, look


class RatioRow(Row):
    """One light: verdict, name, f-number, and its place on the scale of stops.  It opens its light."""

    light_id = StringProperty("")
    name = StringProperty("")
    figure = ObjectProperty(Figure())
    figure_text = StringProperty("")
    stops = StringProperty("")
    verdict = StringProperty("")
    note = StringProperty("")
    """Said instead of the bar, where there is none."""
    word = StringProperty("")
    """Why the mark is a cross, in a word; empty where it is none, or where the note says it."""
    band = ObjectProperty(None, allownone=True)

    def put(self, row: SetRow) -> None:
        """Show a row."""
        self.test_name = f"row:{row.name}"
        self.light_id, self.name = row.light_id, row.name
        self.figure_text = " ".join(filter(None, (row.figure.before + row.figure.main, row.figure.after)))
        self.stops, self.verdict = row.stops, row.verdict or "none"
        self.note = "" if row.band is not None else row.short
        self.word = row.short if row.verdict == "retake" and not self.note else ""
        self.band = row.band

    def on_release(self) -> None:
        """Open the light."""
        App.get_running_app().open_light(self.light_id)


class FindingCard(Card):
    """One finding: what was seen, what to do, and the tap that begins it."""

    test_name = StringProperty("")
    title = StringProperty("")
    todo = StringProperty("")
    severity = StringProperty("good")
    act = StringProperty("")
    act_label = StringProperty("")
    light_id = StringProperty("")
    light_field = StringProperty("")

    def put(self, finding: FindingLook) -> None:
        """Show a finding."""
        self.test_name = f"finding:{finding.key}"
        self.title, self.todo, self.severity = finding.title, finding.todo, finding.severity
        self.act, self.act_label, self.light_id = finding.act, finding.act_label, finding.light_id
        self.light_field = finding.field

    def do(self) -> None:
        """Begin to do it."""
        app = App.get_running_app()
        if self.act == "place":
            app.open_light(self.light_id, self.light_field)
            return
        desk = app.desk
        works = {"meter": lambda: desk.wait_for(self.light_id), "together": desk.wait_for_all, "walk": desk.begin}
        app.do(works[self.act], done=lambda _shot: app.go("metering"))


class SetPage(Page):
    """See the module."""

    opened = BooleanProperty(False)
    """The findings are shown instead of the rows."""
    describing = BooleanProperty(False)
    """Name, notes and tags of the set are shown as fields."""

    def on_kv_post(self, _base: object) -> None:
        """Connect the fields; hold the parts, of which one is shown at a time."""
        ids = self.ids
        self._parts = {"rows": ids.rows_part.__self__, "findings": ids.findings_part.__self__, "about": ids.about_part.__self__}
        look().fbind("large", self._place_acts)
        self._place_acts()
        for name in ("name", "notes", "tags", "subject"):
            ids[f"about_{name}"].on_commit = lambda text, field, one=name: self._describe(one, text, field)

    def show(self) -> None:
        """Write the state into the widgets."""
        shot, ids = self.app.desk.shot, self.ids
        shown = set_look(shot)
        self._arrange("findings" if self.opened else "about" if self.describing else "rows")
        ids.title.text = shown.name
        ids.second.text = shown.second
        ids.empty.text = "" if shown.rows else t("set.empty")
        ids.back.disabled = not (self.opened or self.describing)
        ids.acts.folded = self.opened or self.describing
        self._cards(ids.rows, shown.rows, RatioRow)
        self._words(ids.figures, list(shown.ratios), "body")
        self._words(ids.notes, list(shown.notes), "note")
        ids.aperture.text, ids.over.text = shown.aperture, shown.over
        ids.aperture_mark.verdict = "retake" if shown.aperture_doubted else ""
        ids.second_mark.verdict = "retake" if shown.second_doubted else ""
        line = shown.findings_count if look().large else shown.findings_line
        ids.findings_tap.text = "" if self.opened or self.describing else line
        ids.findings_tap.sign_colour = "quiet" if shown.worst == "none" else shown.worst
        ids.findings_tap.sign = shown.worst
        ids.findings_tap.disabled = not (shown.findings or shown.well) or self.opened or self.describing
        ids.findings_note.text = shown.findings_note
        self._cards(ids.findings, shown.findings, FindingCard)
        self._words(ids.well, list(shown.well), "note")
        if self.describing:
            self._show_about(shot.setup)
        ring = ids.ring
        ring.marks, ring.imperial = list(marks_of(shot.view)), shot.prefs.imperial
        ring.focus_id = next((light.id for light in shot.lights if light.role == "key"), "")

    def _arrange(self, part: str) -> None:
        home, wanted = self.ids.column, self._parts[part]
        if list(home.children) != [wanted]:
            home.clear_widgets()
            home.add_widget(wanted)
            self.ids.pane.scroll_y = 1

    def _place_acts(self, *_: object) -> None:
        """Below the rows, always in sight; with large text after them: the room is the rows'."""
        acts, bar = self.ids.acts.__self__, self.ids.bar
        home = self.ids.rows_end if look().large else bar
        if acts.parent is not home:
            acts.parent.remove_widget(acts)
            home.add_widget(acts, index=len(home.children))

    def _show_about(self, setup: Any) -> None:
        if setup is None:
            return
        values = {"name": setup.name, "notes": setup.notes, "tags": ", ".join(setup.tags), "subject": setup.subject}
        for name, text in values.items():
            self.ids[f"about_{name}"].text = text

    def _describe(self, name: str, text: str, field: Any) -> None:
        self.app.do(describe, self.app.desk, name, text, field=field, done=lambda _shot: field.put())

    @staticmethod
    def _cards(box: Any, looks: Any, cls: Any) -> None:
        for card, one in zip(refill(box, range(len(looks)), lambda _number: cls()), looks, strict=True):
            card.put(one)

    @staticmethod
    def _words(box: Any, texts: list[str], size_name: str) -> None:
        refill(box, texts, lambda text: Words(text=text, size_name=size_name, colour="quiet"))

    def toggle_findings(self) -> None:
        """Show the findings, or the rows again."""
        self.opened, self.describing = not self.opened, False
        self.show()

    def toggle_about(self) -> None:
        """Show what the set is called and noted, or the rows again."""
        self.describing, self.opened = not self.describing, False
        self.show()

    def back(self) -> bool:
        """From findings or fields to the rows."""
        if self.opened or self.describing:
            self.opened = self.describing = False
            self.show()
            return True
        return False

    def meter(self) -> None:
        """Walk through the set again."""
        self.app.do(self.app.desk.begin, done=lambda _shot: self.app.go("metering"))

    def sum_check(self) -> None:
        """Wait for one pop of all lights on the face."""
        self.app.do(self.app.desk.wait_for_all, done=lambda _shot: self.app.go("metering"))


load_kv(__file__)
