"""The metering page: which light, what it gives, what that is worth.  Texts come from ``metering_state``."""

from __future__ import annotations

from collections.abc import Callable

from kivy.core.text import Label as CoreLabel
from kivy.graphics import Color, Line, Rectangle
from kivy.metrics import dp
from kivy.properties import BooleanProperty, NumericProperty, ObjectProperty, StringProperty

from mobile import (
    drawings,  # noqa: F401  (the .kv file names its classes)
    ring_view,  # noqa: F401
    theme,
)
from mobile.drawings import Drawing
from mobile.metering_state import Figure, HeldSlider, held_changed, held_text, live_look, metering_look
from mobile.page import Page
from mobile.ring_state import marks_of
from mobile.texts import t
from mobile.widgets import Stack, Tap, load_kv, look, text_width

BEFORE_PART, AFTER_PART = 0.34, 0.62
"""Size of ``f/`` and of the tenths, over that of the number."""
DESCENT = 0.244
"""Of the font, over its size: puts texts of different sizes on one line."""


class FigureView(Drawing):
    """A value as large as the width allows: readable from two metres where there is room."""

    figure = ObjectProperty(Figure())
    dimmed = BooleanProperty(False)
    main_size = NumericProperty(0)
    """Font size in pixels at which the number is drawn."""
    shown = BooleanProperty(False)
    """There is a value to show."""
    FOLLOWS = ("figure", "dimmed")

    def on_figure(self, _widget: object, figure: Figure) -> None:
        """Take up room only when there is a value."""
        self.shown = bool(figure.main)

    def paint(self) -> None:
        """Draw the three parts on one line."""
        style, figure = look(), self.figure
        if not figure.main:
            return
        parts = ((figure.before, BEFORE_PART), (figure.main, 1.0), (figure.after, AFTER_PART))
        needed = sum(text_width(text, 100 * part) for text, part in parts) / 100
        size = min(style.figure, self.height / 0.8, (self.width - style.gap * 1.5) / max(needed, 0.1))
        self.main_size = size
        x = self.x
        base = self.center_y - size * theme.CAP_HEIGHT / 2
        for text, part in parts:
            if not text:
                continue
            label = CoreLabel(text=text, font_size=size * part, font_name=theme.font_for(text))
            label.refresh()
            if label.texture is None:
                continue
            Color(*(style.quiet if self.dimmed or part == BEFORE_PART else style.ink))
            w, h = label.texture.size
            Rectangle(texture=label.texture, pos=(x, base - DESCENT * size * part), size=(w, h))
            x += w + style.gap * (0.6 if text == figure.main else 0.2)


class Chip(Tap):
    """One light of the walk; a tap waits for it now."""

    verdict = StringProperty("")


class HoldSlider(Drawing):
    """How far the dome is held off: *not given* at the left end, then hand by hand."""

    held_off_m = ObjectProperty(None, allownone=True)
    shown = StringProperty("")
    """What it stands for now, also while it is dragged."""
    imperial = BooleanProperty(False)
    on_hold: Callable[[float | None], None] | None = None
    FOLLOWS = ("held_off_m", "shown")
    arithmetic = HeldSlider()
    _dragged: tuple[float | None] | None = None

    def takes(self, x: float, y: float) -> bool:
        """A touch on the slider never scrolls the page."""
        return self.collide_point(x, y)

    def _fraction(self, x: float) -> float:
        inset = dp(theme.TARGET) / 4
        return min(max((x - self.x - inset) / max(self.width - 2 * inset, 1), 0.0), 1.0)

    def _place(self, fraction: float) -> float:
        inset = dp(theme.TARGET) / 4
        return self.x + inset + fraction * (self.width - 2 * inset)

    def on_touch_down(self, touch) -> bool:  # noqa: D102
        if not self.collide_point(*touch.pos):
            return False
        touch.grab(self)
        self._drag(touch.x)
        return True

    def on_touch_move(self, touch) -> bool:  # noqa: D102
        if touch.grab_current is not self:
            return False
        self._drag(touch.x)
        return True

    def on_touch_up(self, touch) -> bool:  # noqa: D102
        if touch.grab_current is not self:
            return False
        touch.ungrab(self)
        dragged, self._dragged = self._dragged, None
        if dragged is not None and dragged[0] != self.held_off_m and self.on_hold is not None:
            self.on_hold(dragged[0])
        self.redraw()
        return True

    def _drag(self, x: float) -> None:
        held = self.arithmetic.held_at(self._fraction(x))
        self._dragged = (held,)
        self.shown = held_text(held, self.imperial)
        self.redraw()

    def paint(self) -> None:
        """Draw the rail with its hands and the knob."""
        style = look()
        held = self._dragged[0] if self._dragged is not None else self.held_off_m
        y = self.center_y
        start, end = self._place(self.arithmetic.fraction_of(0.0)), self._place(1.0)
        Color(*style.edge)
        Line(points=[start, y, end, y], width=1.4)
        for fraction in self.arithmetic.hands():
            self._paint_hand(self._place(fraction), y, dp(9))
        left = self._place(self.arithmetic.fraction_of(None))
        Line(circle=(left, y, dp(7)), width=1.2, dash_length=3, dash_offset=3)
        at = self._place(self.arithmetic.fraction_of(held))
        Color(*style.strong)
        # The knob is a dome seen from the side, facing the light.
        Line(ellipse=(at - dp(11), y - dp(13), dp(22), dp(26), 0, 180), width=2.2)
        Line(points=[at, y - dp(13), at, y + dp(13)], width=2.2)

    @staticmethod
    def _paint_hand(x: float, y: float, tall: float) -> None:
        """A mark of four fingers side by side."""
        for i in range(4):
            dx = (i - 1.5) * dp(2.2)
            Line(
                points=[
                    x + dx,
                    y - tall * (0.5 if i in (0, 3) else 0.75),
                    x + dx,
                    y + tall * (0.5 if i in (0, 3) else 0.75),
                ],
                width=1,
            )


class GiveRow(Stack):
    """The lights that the last pop could be given to."""


class MeteringPage(Page):
    """See the module."""

    giving = BooleanProperty(False)
    """The row of lights to give the last pop to is open."""
    typing = BooleanProperty(False)
    """The held-off distance is typed instead of slid."""

    def on_kv_post(self, _base: object) -> None:
        """Connect what the page's own widgets tell."""
        self.ids.slider.on_hold = self._hold
        self.ids.held_field.on_commit = self._hold_typed

    # -- showing ------------------------------------------------------------------------------------------------

    def show(self) -> None:
        """Write the state into the widgets."""
        app, ids = self.app, self.ids
        shot = app.desk.shot
        shown = metering_look(shot)
        ids.headline.text = shown.headline
        ids.instruction.text = shown.instruction
        ids.step.text = "   ".join(filter(None, (shown.step, shown.role, shown.following)))
        ids.limit.text = shown.limit
        ids.figure.figure = shown.figure
        ids.mark.verdict = shown.verdict
        worth = t(f"verdict.{shown.verdict}") if shown.verdict else ""
        ids.verdict.text = "   ".join(filter(None, (shown.last_name, worth, shown.wave_text)))
        ids.verdict.colour = shown.verdict or "quiet"
        ids.sentence.text = shown.sentence
        ids.warning.text = shown.warning
        ids.wave.points = list(shown.wave)
        ids.slider.held_off_m = shown.held_off_m
        ids.slider.imperial = shot.prefs.imperial
        ids.slider.shown = shown.held_text
        ids.held_field.text = shown.held_text if shown.held_off_m is not None else ""
        if app.look.spare_height:
            ids.ring.marks, ids.ring.imperial = list(marks_of(shot.view)), shot.prefs.imperial
            ids.ring.focus_id = shown.waiting_id
        self._show_chips(shown)
        self._show_actions(shown)
        self.show_level()

    def _show_chips(self, shown) -> None:
        row = self.ids.chips
        wanted = [(c.light_id, c.name) for c in shown.chips]
        if [(c.value, c.text) for c in reversed(row.children)] != wanted:
            row.clear_widgets()
            for light_id, name in wanted:
                chip = Chip(text=name, value=light_id, test_name=f"chip:{name}")
                chip.bind(on_release=lambda one: self.app.do(self.app.desk.wait_for, one.value))
                row.add_widget(chip)
        for chip, state in zip(reversed(row.children), shown.chips, strict=True):
            chip.verdict, chip.chosen = state.verdict or "none", state.waiting

    def _show_actions(self, shown) -> None:
        shot = self.app.desk.shot
        wanted: list[tuple[str, str, bool]] = []
        if not shown.has_set:
            wanted.append(("begin", t("library.new"), True))
        elif not shown.waiting_id and not shot.waiting:
            wanted.append(("start", t("metering.start"), True))
        if self.app.simulated and shot.waiting is not None:
            wanted.append(("fire", t("metering.fire_simulated"), False))
        if shown.can_take_back:
            wanted.append(("undo", t("metering.take_back"), False))
        if shown.give_to:
            wanted.append(("give", t("metering.keep" if self.giving else "metering.give"), self.giving))
        if shot.waiting is not None:
            wanted.append(("skip", t("metering.skip" if self.app.desk.prefs.auto_advance else "metering.next"), False))
        if shown.done:
            wanted += [("sum", t("metering.sum_check"), False), ("ratios", t("metering.show_set"), False)]
        self._fill(self.ids.actions, wanted, self._act)
        giving = [(name, name, False) for _id, name in shown.give_to] if self.giving else []
        self.ids.give_title.text = t("metering.give_title") if giving else ""
        self._fill(self.ids.give, giving, self._give, prefix="give:")

    def _fill(self, row, wanted, act, prefix: str = "act:") -> None:
        """Make the taps of a row, but only when they differ: a tap under a finger must not vanish."""
        have = [(tap.value, tap.text, tap.strong) for tap in reversed(row.children)]
        if have == wanted:
            return
        row.clear_widgets()
        for value, text, strong in wanted:
            tap = Tap(text=text, value=value, strong=strong, test_name=prefix + value, size_name="note")
            tap.bind(on_release=lambda one: act(one.value))
            row.add_widget(tap)

    def show_sensor(self) -> None:
        """The simulated sensor brings one more tap."""
        self.show()

    def show_level(self) -> None:
        """Show the live level."""
        level = self.app.level
        shown = live_look(level.illuminance_lx if level else None, bool(level and level.clipped))
        self.ids.level.fraction = shown.fraction
        self.ids.level_text.text = shown.text

    # -- doing --------------------------------------------------------------------------------------------------

    def _act(self, what: str) -> None:
        app, desk = self.app, self.app.desk
        if what == "give":
            self.giving = not self.giving
            self.show()
            return
        self.giving = False
        if what == "begin":
            app.go("first")
        elif what == "ratios":
            app.go("set")
        elif what == "fire":
            app.fire(desk.shot.held_off(desk.shot.waiting.light_id if desk.shot.waiting else None) or 0.0)
        else:
            work = {"start": desk.begin, "undo": desk.undo, "skip": desk.skip, "sum": desk.wait_for_all}[what]
            app.do(work)

    def _give(self, name: str) -> None:
        self.giving = False
        self.app.do(self.app.desk.give_to, name)

    def _hold(self, held_off_m: float | None) -> None:
        waiting = self.app.desk.shot.waiting
        if waiting is not None and waiting.light_id:
            self.app.do(self.app.desk.hold_off, waiting.light_id, held_off_m)
        else:
            self.show()

    def _hold_typed(self, text: str, field) -> None:
        waiting = self.app.desk.shot.waiting
        if waiting is not None and waiting.light_id:
            self.app.do(
                held_changed, self.app.desk, waiting.light_id, text, field=field, done=lambda _shot: field.put()
            )

    def toggle_typing(self) -> None:
        """Slide or type."""
        self.typing = not self.typing


load_kv(__file__)
