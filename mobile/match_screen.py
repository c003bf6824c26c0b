"""The match page: the stored set beside the one in use."""

from __future__ import annotations

from kivy.properties import BooleanProperty, StringProperty

from mobile import drawings  # noqa: F401  (the .kv file names its classes)
from mobile.layouts import refill
from mobile.library_state import day_of
from mobile.match_state import MatchLine, match_look
from mobile.page import Page
from mobile.texts import t
from mobile.widgets import Moving, Stack, Tap, load_kv

MOST_CHOICES = 12


class MatchCard(Moving, Stack):
    """One light of the stored set."""

    test_name = StringProperty("")
    light_id = StringProperty("")
    name = StringProperty("")
    mark = StringProperty("none")
    figure = StringProperty("")
    difference = StringProperty("")
    stands = StringProperty("")
    turn = StringProperty("")
    otherwise = StringProperty("")
    waiting = BooleanProperty(False)
    can_meter = BooleanProperty(False)
    again = BooleanProperty(False)
    can_move = BooleanProperty(False)

    def put(self, line: MatchLine) -> None:
        """Show a line."""
        self.test_name = f"match:{line.name}"
        for field in MatchLine._fields:
            setattr(self, field, getattr(line, field))


class MatchPage(Page):
    """See the module."""

    _again_id = ""

    def show(self) -> None:
        """Write the state into the widgets; without a match, offer the set-ups to match to."""
        app = self.app
        if app.desk.shot.match is not None:
            self._put(())
            return

        async def read() -> None:
            setups = await app.run(app.desk.library.setups)
            if app.page is self:
                self._put(tuple((s.id, s.name) for s in setups[:MOST_CHOICES]), tuple(day_of(s) for s in setups))

        app.spawn(read())

    def show_sensor(self) -> None:
        """Nothing here depends on the sensor."""

    def _put(self, choices: tuple[tuple[str, str], ...], days: tuple[str, ...] = ()) -> None:
        ids = self.ids
        shown = match_look(self.app.desk.shot, choices)
        ids.title.text, ids.hint.text, ids.camera.text = shown.title, shown.hint, shown.camera
        ids.hint.colour = "good" if shown.done else "quiet"
        cards = ids.lines.put([line.name for line in shown.lines], self._card)
        for card, line in zip(cards, shown.lines, strict=True):
            card.put(line)
        ids.walk_row.folded = ids.end_row.folded = not shown.lines
        self._again_id, name = shown.again
        # One next thing: what is in doubt is fired again before anything else.
        ids.again.text = t("metering.again", name=name) if name else ""
        refill(ids.choices, zip(shown.choices, days, strict=False), self._choice)

    def _card(self, _name: str) -> MatchCard:
        card = MatchCard()
        desk = self.app.desk
        card.ids.meter.bind(on_release=lambda _tap: self.app.do(desk.wait_for, card.light_id))
        card.ids.moved.bind(on_release=lambda _tap: self.app.do(desk.have_moved, card.light_id))
        return card

    def _choice(self, stored: tuple[tuple[str, str], str]) -> Tap:
        (setup_id, name), day = stored
        # Sets of many days have like names: the day tells which one was meant.
        tap = Tap(text=f"{name}   {day}", value=setup_id, test_name=f"match_to:{name}", size_name="body", act=self._match_to)
        tap.size_hint, tap.halign = (1, None), "left"
        return tap

    def _match_to(self, setup_id: str) -> None:
        app = self.app
        app.do(app.desk.match_to, setup_id, done=lambda _shot: app.go("metering"))

    def fire_again(self) -> None:
        """Wait for the light whose pop is in doubt."""
        self.app.do(self.app.desk.wait_for, self._again_id, done=lambda _shot: self.app.go("metering"))

    def walk_through(self) -> None:
        """Go through all lights."""
        self.app.do(self.app.desk.begin_match_walk, done=lambda _shot: self.app.go("metering"))

    def end(self) -> None:
        """Match to nothing any more; the rebuilt set stays."""
        self.app.do(self.app.desk.end_match)


load_kv(__file__)
