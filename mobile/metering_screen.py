"""The metering page: which light, how the dome is held, what it gave, what that is worth.  Texts come from ``metering_state``."""

from __future__ import annotations

from typing import Any

from kivy.clock import Clock
from kivy.properties import BooleanProperty, StringProperty

from mobile import (
    figure_view,  # noqa: F401  (the .kv file names its class)
    hold_scale,  # noqa: F401  (the .kv file names its class)
    lights_state,
    ring_view,  # noqa: F401  (the .kv file names its class)
)
from mobile.held_state import held_changed
from mobile.layouts import refill
from mobile.metering_state import MeteringLook, metering_look
from mobile.page import Page
from mobile.ring_state import marks_of
from mobile.signs import ink_of
from mobile.texts import t
from mobile.widgets import Tap, load_kv, look


class Chip(Tap):
    """One light of the walk with its verdict above its name; a tap waits for it now."""

    verdict = StringProperty("")

    @property
    def edges(self) -> float:
        """Less than elsewhere: five names and *all* stand side by side on a small phone."""
        return look().gap


class MeteringPage(Page):
    """See the module."""

    one_row = BooleanProperty(False)
    """There is room for the next light beside the name of this one."""
    giving = BooleanProperty(False)
    """The row of lights to give the last pop to is open."""
    typing = BooleanProperty(False)
    """The held-off distance is typed instead of touched."""
    opened = BooleanProperty(False)
    """The reason of the verdict is shown."""
    rejected = BooleanProperty(False)
    """The last pop is to be taken again: its figure is struck out."""
    can_undo = BooleanProperty(False)
    """There is a last pop to take back or to give away."""

    def on_kv_post(self, _base: object) -> None:
        """Connect what the page's own widgets tell."""
        self.ids.slider.on_hold = self._hold
        self.ids.held_field.on_commit = self._hold_typed
        self.ids.power.on_step = self._step
        self._next = metering_look(self.app.desk.shot).next
        self._can_hold, self._last_id, self._lacks = False, "", ""
        self._shown_pop, self._held_id, self._asked = ("", "", ""), "", ("", "")
        look().fbind("row", self._arrange)
        look().fbind("wide", self._arrange)
        self._arrange()

    def _arrange(self, *_: object) -> None:
        """The walk stands on top; with large text it comes after what is to be done now, and what can be done about a pop last."""
        column, chips = self.ids.column.__self__, self.ids.chips.__self__
        last = look().row == "vertical"
        if (column.children[-1] is chips) == last:
            column.remove_widget(chips)
            column.add_widget(chips, index=0 if last else len(column.children))
        rest = self.ids.rest.__self__
        home = column if last and not look().wide else self.ids.panel.__self__
        if rest.parent is not home:
            rest.parent.remove_widget(rest)
            home.add_widget(rest)

    # -- showing ------------------------------------------------------------------------------------------------

    def show(self) -> None:
        """Write the state into the widgets."""
        app, ids = self.app, self.ids
        shot = app.desk.shot
        shown = metering_look(shot, lost=app.lost)
        ids.headline.text = shown.headline
        ids.headline.colour = "retake" if app.lost else "ink"
        ids.instruction.text = shown.instruction
        ids.recalled.text = "" if app.lost else shown.recalled
        ids.at_point.text = shown.hold_at_point if ids.recalled.text else ""
        ids.step.text = shown.step
        ids.skip.text = shown.following
        self._next = shown.next
        ids.next.text, ids.next.disabled = shown.next.text, not shown.next.act
        ids.hold_part.disabled = not shown.can_hold or app.lost
        ids.held_title.text, self._held_id = shown.held_title, shown.held_id
        self._can_hold = shown.can_hold
        ids.slider.held_off_m, ids.slider.imperial, ids.slider.scale = shown.held_off_m, shot.prefs.imperial, shown.scale
        ids.slider.shown = shown.held_text
        ids.held_field.text = shown.held_text if shown.held_off_m is not None else ""
        ids.power.disabled = not shown.can_power or app.lost
        ids.power.value_text = shown.power
        asked = (shown.waiting_id, shot.waiting.purpose if shot.waiting else "")
        if asked != self._asked:
            # Which light is to be fired next stands at the head of the page, wherever it was scrolled to.
            self._asked, ids.pane.scroll_y = asked, 1
        waits = shot.light(shown.waiting_id)
        ids.power.step_text = lights_state.power_step_text(waits, shot.prefs) if waits is not None else ""
        self._show_pop(shown)
        if app.look.spare_height:
            ids.ring.marks, ids.ring.imperial = list(marks_of(shot.view)), shot.prefs.imperial
            ids.ring.focus_id = shown.waiting_id
        self._show_chips(shown)
        self._show_actions(shown)

    def _show_again(self, shown: MeteringLook) -> None:
        """A pop that was rejected is taken again, unless its light waits already; a full button where no other light waits."""
        ids, self.rejected = self.ids, shown.verdict == "retake"
        ids.again.disabled = not shown.again
        ids.again.text, self._last_id, self._lacks = shown.again, shown.last_id, shown.lacks
        ids.again.strong = not shown.waiting_id
        ids.next.strong = not shown.again

    def _show_pop(self, shown: MeteringLook) -> None:
        ids, shot = self.ids, self.app.desk.shot
        pop = (shot.last.id if shot.last else "", shown.verdict, shown.note)
        if pop != self._shown_pop:
            self._shown_pop, self.opened = pop, False
        ids.last_name.text = shown.last_name
        ids.figure.figure = shown.figure
        ids.mark.verdict = shown.verdict
        self._show_again(shown)
        ids.verdict.text = shown.verdict_text
        ids.verdict.ink_name = ink_of(shown.verdict)
        ids.verdict.disabled = not shown.reason
        ids.note.text = shown.note
        ids.sentence.text = shown.reason if self.opened else ""
        ids.wave.points = list(shown.wave)
        ids.t01.text = shown.wave_text

    def _show_chips(self, shown: MeteringLook) -> None:
        row = self.ids.chips
        wanted = [(c.light_id, c.name) for c in shown.chips]
        if shown.all_ready:
            wanted.append(("", t("metering.sum_check")))
        chips = refill(row, wanted, self._chip)
        waiting = self.app.desk.shot.waiting
        for chip, state in zip(chips, (*shown.chips, None), strict=False):
            if state is None:
                chip.sign, chip.sign_colour = "all", "quiet"
                chip.chosen = waiting is not None and waiting.purpose == "together"
            else:
                chip.sign, chip.sign_colour = state.verdict or "none", ink_of(state.verdict)
                chip.chosen = state.waiting

    def _chip(self, light: tuple[str, str]) -> Chip:
        light_id, name = light
        return Chip(text=name, value=light_id, test_name=f"chip:{name}" if light_id else "act:sum", act=self._wait_for)

    def _show_actions(self, shown: MeteringLook) -> None:
        ids = self.ids
        self.can_undo = shown.can_take_back
        ids.second.value = shown.second
        ids.second.text = t("metering.it_was", name=shown.second) if shown.second else ""
        ids.give.disabled = not shown.give_to
        ids.give.text = t("metering.keep" if self.giving else "metering.give")
        wanted = [name for _id, name in shown.give_to] if self.giving else []
        refill(ids.give_row, wanted, lambda name: Tap(text=name, value=name, test_name=f"give:{name}", act=self.give))
        ids.give_title.text = t("metering.give_title") if wanted else ""

    # -- doing --------------------------------------------------------------------------------------------------

    def _wait_for(self, light_id: str) -> None:
        desk = self.app.desk
        self.giving = False
        self.ids.pane.scroll_y = 1
        if light_id:
            self.app.do(desk.wait_for, light_id)
        else:
            self.app.do(desk.wait_for_all)

    def do_next(self) -> None:
        """Do the one thing that is next."""
        app, following = self.app, self._next
        if following.act == "light":
            app.do(app.desk.wait_for, following.light_id)
        elif following.act == "start":
            app.do(app.desk.begin)
        else:
            app.go({"begin": "first", "set": "match" if app.desk.shot.match else "set", "sensors": "sensors"}[following.act])

    def retake(self) -> None:
        """Ask for what would save the pop that was rejected; where nothing would, wait for its light again."""
        if self._lacks:
            self.app.open_light(self._last_id, self._lacks, then="metering")
        else:
            self._wait_for(self._last_id)

    def skip(self) -> None:
        """Leave the waiting light out for now."""
        self.app.do(self.app.desk.skip, self.app.desk.shot.waiting)

    def take_back(self) -> None:
        """Take the last pop back; its light waits again."""
        self.giving = False
        self.app.do(self.app.desk.undo)

    def toggle_giving(self) -> None:
        """Open or close the row of lights to give the last pop to."""
        self.giving = not self.giving
        self.show()

    def toggle_reason(self) -> None:
        """Show or hide why the verdict is so."""
        self.opened = not self.opened
        self.show()
        if self.opened and self.ids.rest.parent is self.ids.column.__self__:
            Clock.schedule_once(lambda _dt: self.ids.pane.scroll_to(self.ids.sentence, animate=False), 0.1)

    def back(self) -> bool:
        """Close what was opened."""
        if self.giving or self.opened or self.typing:
            self.giving = self.opened = self.typing = False
            self.show()
            return True
        return False

    def give(self, name: str) -> None:
        """Give the last pop to another light."""
        self.giving = False
        self.app.do(self.app.desk.give_to, name)

    def _step(self, by: int, whole: bool) -> None:
        waiting = self.app.desk.shot.waiting
        if waiting is not None and waiting.light_id:
            work = lights_state.step_stop if whole else lights_state.step_power
            self.app.change(waiting.light_id, work, by)

    def _hold(self, held_off_m: float | None) -> None:
        if self._can_hold:
            self.app.do(self.app.desk.hold_off, self._held_id or None, held_off_m)
        else:
            self.show()

    def hold_at_point(self) -> None:
        """The dome will be at its point, not where it was remembered to be."""
        self.app.do(self.app.desk.hold_at_point)

    def _hold_typed(self, text: str, field: Any) -> None:
        if self._can_hold:
            held_id = self._held_id or None
            self.app.do(held_changed, self.app.desk, held_id, text, field=field, done=lambda _shot: self._typed(field))

    def _typed(self, field: Any) -> None:
        field.put()
        self.typing = False

    def toggle_typing(self) -> None:
        """Touch or type."""
        self.typing = not self.typing


load_kv(__file__)
