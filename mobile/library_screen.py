"""The library page: set-ups, newest first, as long a list as there is."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from kivy.app import App
from kivy.clock import Clock
from kivy.properties import BooleanProperty, ListProperty, StringProperty
from kivy.uix.boxlayout import BoxLayout
from kivy.uix.recycleboxlayout import RecycleBoxLayout  # noqa: F401  (the .kv file names it)
from kivy.uix.recycleview import RecycleView  # noqa: F401  (the .kv file names it)
from platformdirs import user_documents_path

from mobile import drawings  # noqa: F401  (the .kv file names its classes)
from mobile import library_state as state
from mobile.file_chooser import chosen_file
from mobile.page import Page
from mobile.texts import t
from mobile.widgets import Tap, load_kv

SEARCH_DELAY_S = 0.25
"""A search follows typing, not every key."""
ACTS = ("match", "copy", "export", "archive")


class SetupRow(BoxLayout):
    """One set-up; the same few widgets show whichever rows are in sight."""

    test_name = StringProperty("")
    setup_id = StringProperty("")
    name = StringProperty("")
    line = StringProperty("")
    current = BooleanProperty(False)
    dots = ListProperty()

    def act(self, what: str) -> None:
        """Do something with it."""
        App.get_running_app().page.act(what, self.setup_id, self.name)


def export_folder() -> Path:
    """Where exported files go: the phone's documents, or the folder of a person's documents, else home."""
    app = App.get_running_app()
    if app is not None and getattr(app, "export_to", None) is not None:
        return Path(app.export_to)
    folder = user_documents_path()
    return folder if folder.is_dir() else Path.home()


class LibraryPage(Page):
    """See the module."""

    asked_id = StringProperty("")
    """The set-up whose further taps are shown."""
    typing_path = BooleanProperty(False)
    _choosing = False
    """The platform's chooser is open."""

    def on_kv_post(self, _base: object) -> None:
        """Connect the fields."""
        self._search = Clock.create_trigger(lambda _dt: self.show(), SEARCH_DELAY_S)
        self.ids.search.bind(text=lambda *_: self._search())
        self.ids.import_field.on_commit = self._import
        for what in ACTS:
            self.ids.acts.add_widget(Tap(text=t(f"library.{what}"), value=what, act=lambda what: self._do(what, self.asked_id)))

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
        self.ids.note.text = shown.note
        self.ids.list.data = [
            {
                "setup_id": card.setup_id, "name": card.name, "test_name": f"setup:{card.name}", "line": card.line,
                "current": card.current, "dots": list(card.plan),
            }
            for card in shown.cards
        ]  # fmt: skip

    def act(self, what: str, setup_id: str, name: str) -> None:
        """Use a set-up, or show what else can be done with it."""
        if what == "use":
            self._do("use", setup_id)
            return
        self.asked_id = "" if self.asked_id == setup_id else setup_id
        self.ids.asked_name.text = name if self.asked_id else ""
        for tap in self.ids.acts.children:
            tap.test_name = f"{tap.value}:{name}"

    def _do(self, what: str, setup_id: str) -> None:
        app, desk = self.app, self.app.desk
        self.asked_id = ""
        if what == "use":
            app.do(desk.use, setup_id, done=lambda _shot: app.go("metering"))
        elif what == "copy":
            app.do(desk.copy, setup_id, done=lambda _shot: app.go("lights"))
        elif what == "export":
            app.do(state.export_setup, desk, setup_id, export_folder(), done=self._exported)
        elif what == "match":
            app.do(desk.match_to, setup_id, done=lambda _shot: app.go("match"))
        else:
            app.do(state.archive, desk, setup_id, done=lambda setup: app.offer_undo(
                t("undo.archived", name=setup.name), lambda: app.do(state.archive, desk, setup_id, back=True)))  # fmt: skip

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

    def choose_file(self) -> None:
        """Ask the platform for a file; where it has no chooser, let the path be typed."""

        async def choose() -> None:
            try:
                chosen = await chosen_file()
            except LookupError:
                self.typing_path = True
                return
            finally:
                self._choosing = False
            if chosen is not None:
                self.app.do(state.import_file, self.app.desk, chosen, done=lambda _shot: self._imported())

        if self.typing_path:
            self.typing_path = False
        elif not self._choosing:
            self._choosing = True
            self.app.spawn(choose())

    def _import(self, text: str, field: Any) -> None:
        self.app.do(state.import_typed, self.app.desk, text, field=field, done=lambda _shot: self._imported())

    def _imported(self) -> None:
        self.ids.import_field.ids.line.text = ""
        self.typing_path = False
        self.app.note(t("library.imported"))

    def back(self) -> bool:
        """Close what was opened."""
        if self.asked_id or self.typing_path:
            self.asked_id, self.typing_path = "", False
            return True
        return False

    def new(self) -> None:
        """Begin a new set."""
        self.app.go("first")


load_kv(__file__)
