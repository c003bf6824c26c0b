"""The library page: set-ups, newest first."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from kivy.app import App
from kivy.clock import Clock
from kivy.properties import BooleanProperty, ListProperty, StringProperty

from mobile import drawings  # noqa: F401  (the .kv file names its classes)
from mobile import library_state as state
from mobile.page import Page
from mobile.texts import t
from mobile.widgets import Card, load_kv

SEARCH_DELAY_S = 0.25
"""A search follows typing, not every key."""


class SetupRow(Card):
    """One set-up."""

    test_name = StringProperty("")
    setup_id = StringProperty("")
    name = StringProperty("")
    line = StringProperty("")
    current = BooleanProperty(False)
    opened = BooleanProperty(False)
    """Shows what is wanted less often."""
    dots = ListProperty()


def export_folder() -> Path:
    """Where exported files go: the phone's documents, or the folder of a person's documents, else home."""
    app = App.get_running_app()
    if app is not None and getattr(app, "export_to", None) is not None:
        return Path(app.export_to)
    from platformdirs import user_documents_path

    folder = user_documents_path()
    return folder if folder.is_dir() else Path.home()


class LibraryPage(Page):
    """See the module."""

    def on_kv_post(self, _base: object) -> None:
        """Connect the fields."""
        self._search = Clock.create_trigger(lambda _dt: self.show(), SEARCH_DELAY_S)
        self.ids.search.bind(text=lambda *_: self._search())
        self.ids.import_field.on_commit = self._import

    def show(self) -> None:
        """Read the list on the worker thread, then write it into the widgets."""
        app = self.app
        words = self.ids.search.text

        async def read() -> None:
            shown = await app.run(state.library_look, app.desk, words)
            if app.page is self and words == self.ids.search.text:
                self._put(shown)

        app.spawn(read())

    def show_sensor(self) -> None:
        """Nothing here depends on the sensor."""

    def _put(self, shown: state.LibraryLook) -> None:
        ids = self.ids
        ids.note.text = shown.note
        rows = ids.rows
        if [r.setup_id for r in reversed(rows.children)] != [c.setup_id for c in shown.cards]:
            rows.clear_widgets()
            for card in shown.cards:
                rows.add_widget(self._row(card))
        for row, card in zip(reversed(rows.children), shown.cards, strict=True):
            row.name, row.current, row.dots = card.name, card.current, list(card.plan)
            row.line = "   ".join(filter(None, (card.date, card.lights, card.subject)))

    def _row(self, card: state.SetupCard) -> SetupRow:
        row = SetupRow(setup_id=card.setup_id, test_name=f"setup:{card.name}", name=card.name)
        for name in ("use", "copy", "export", "match", "archive"):
            row.ids[name].bind(on_release=lambda _tap, what=name, one=card.setup_id: self._act(what, one))
        return row

    def _act(self, what: str, setup_id: str) -> None:
        app, desk = self.app, self.app.desk
        if what == "use":
            app.do(desk.use, setup_id, done=lambda _shot: app.go("metering"))
        elif what == "copy":
            app.do(desk.copy, setup_id, done=lambda _shot: app.go("lights"))
        elif what == "export":
            folder = export_folder()
            app.do(state.export_setup, desk, setup_id, folder, done=self._exported)
        elif what == "match":
            app.do(desk.match_to, setup_id, done=lambda _shot: app.go("match"))
        else:
            app.do(state.archive, desk, setup_id)

    def _exported(self, path: Path) -> None:
        self.app.note(t("library.exported", path=path))
        self._share(path)

    @staticmethod
    def _share(path: Path) -> None:
        """Offer the file to the phone's own share sheet; a desktop has the file, which is enough."""
        from kivy.utils import platform

        if platform == "android":
            from plyer import share

            share.share(title=path.name, text=path.read_text(encoding="utf-8"))

    def _import(self, text: str, field: Any) -> None:
        self.app.do(state.import_file, self.app.desk, text, field=field, done=lambda _shot: self._imported(field))

    def _imported(self, field: Any) -> None:
        field.ids.line.text = ""
        self.app.note(t("library.imported"))

    def new(self) -> None:
        """Begin a new set."""
        self.app.go("first")


load_kv(__file__)
