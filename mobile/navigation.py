"""Going from page to page and back.  Part of the app (``main``)."""

from __future__ import annotations

from typing import Any

from kivy.app import App

ESCAPE = 27
MOST_REMEMBERED = 12


class Navigation:
    """The page that is seen, and those before it."""

    desk: Any
    frame: Any
    pages: Any
    place: str

    def __init__(self, *args: Any, **options: Any) -> None:
        super().__init__(*args, **options)
        self._came_by: list[str] = []
        """Pages before this one, the last one last."""

    @property
    def page(self) -> Any:
        """The page that is seen; None before the first and after the end."""
        return self.pages.current_screen if App.get_running_app() is self else None

    def go(self, place: str) -> None:
        """Show a page."""
        if self.place and self.place != place:
            self._came_by = [*(one for one in self._came_by if one != place), self.place][-MOST_REMEMBERED:]
        self.pages.go(place)
        self.place = place

    def back(self) -> bool:
        """Go one step back: inside the page, else to the page before, else to the metering page.

        False at the very beginning, when the system may do with its back key what it likes; never in a walk.
        """
        note = self.frame.ids.note
        if note.text:
            note.hide()
        elif self.page is not None and self.page.back():
            pass
        elif self._came_by:
            self._came_by, place = self._came_by[:-1], self._came_by[-1]
            self.pages.go(place)
            self.place = place
        elif self.place != "metering" and self.desk.shot.setup is not None:
            self.go("metering")
            self._came_by = []
        else:
            return self.desk.shot.waiting is not None
        return True

    def _key(self, _window: object, key: int, *_: object) -> bool:
        """Android's back key comes as Escape.  On a desktop it never ends the app."""
        from kivy.utils import platform

        return (self.back() or platform != "android") if key == ESCAPE else False

    def open_light(self, light_id: str, field: str = "", then: str = "") -> None:
        """Show one light, with ``field`` ready to be put right; once it is, go to ``then`` by itself."""
        self.go("lights")
        self.page.open(light_id, field, then)
