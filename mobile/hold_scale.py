"""The scale that says by touch how far the dome is held off, and where that turns from good to retake."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from kivy.graphics import Color, Line, Rectangle
from kivy.metrics import dp
from kivy.properties import BooleanProperty, ObjectProperty, StringProperty

from mobile import theme
from mobile.drawings import Drawing, look
from mobile.held_state import HeldSlider, held_text
from mobile.metering_state import ScaleLook
from mobile.texts import t


class HoldScale(Drawing):
    """How far the dome is held off, as a scale to touch: *not given* at the left end, then centimetre by centimetre.

    The scale is a full bar as far as the reading stays good, an open one as far as it can be corrected, and a broken line
    from where it is to be taken again.
    """

    held_off_m = ObjectProperty(None, allownone=True)
    shown = StringProperty("")
    """What it stands for now, also while it is dragged."""
    scale = ObjectProperty(ScaleLook())
    imperial = BooleanProperty(False)
    on_hold: Callable[[float | None], None] | None = None
    FOLLOWS = ("held_off_m", "shown", "scale", "imperial")
    arithmetic = HeldSlider()
    _dragged: tuple[float | None] | None = None

    def takes(self, x: float, y: float) -> bool:
        """A touch on the scale never scrolls the page."""
        return self.collide_point(x, y)

    def _fraction(self, x: float) -> float:
        inset = dp(theme.TARGET) / 4
        return min(max((x - self.x - inset) / max(self.width - 2 * inset, 1), 0.0), 1.0)

    def _place(self, fraction: float) -> float:
        inset = dp(theme.TARGET) / 4
        return self.x + inset + fraction * (self.width - 2 * inset)

    def on_touch_down(self, touch: Any) -> bool:  # noqa: D102
        if self.disabled or not self.collide_point(*touch.pos):
            return False
        touch.grab(self)
        self._drag(touch.x)
        return True

    def on_touch_move(self, touch: Any) -> bool:  # noqa: D102
        if touch.grab_current is not self:
            return False
        self._drag(touch.x)
        return True

    def on_touch_up(self, touch: Any) -> bool:  # noqa: D102
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
        """Draw the scale, its numbers and the dome."""
        style = look()
        held = self._dragged[0] if self._dragged is not None else self.held_off_m
        y = self.y + self.height * 0.62
        thick = dp(5)
        start, end = self._place(self.arithmetic.fraction_of(0.0)), self._place(1.0)
        good, usable = self.scale.good_m, self.scale.usable_m
        at_good = self._place(self.arithmetic.fraction_of(min(good, self.arithmetic.longest_m))) if good is not None else start
        at_usable = self._place(self.arithmetic.fraction_of(min(usable, self.arithmetic.longest_m))) if usable is not None else end
        if good is None:
            Color(*style.edge)
            Line(points=[start, y, end, y], width=1.4)
        else:
            Color(*style.good)
            Rectangle(pos=(start, y - thick), size=(max(at_good - start, 2), 2 * thick))
            Color(*style.corrected)
            Line(rectangle=(at_good, y - thick + 1, max(at_usable - at_good, 1), 2 * thick - 2), width=1.2)
            Color(*style.retake)
            x = at_usable + dp(4)
            while x < end:
                Line(points=[x, y, min(x + dp(5), end), y], width=1.6)
                x += dp(10)
        self._numbers(y - thick)
        Color(*style.quiet)
        left = self._place(self.arithmetic.fraction_of(None))
        Line(circle=(left, y, dp(6)), width=1.2, dash_length=3, dash_offset=3)
        at = self._place(self.arithmetic.fraction_of(held))
        # The knob is a dome on its stem, standing on the scale.
        Color(*style.strong)
        Line(points=[at, y - dp(12), at, y + dp(10)], width=1.6)
        Line(circle=(at, y + dp(10), dp(9), -90, 90), width=2, close=True)

    def _numbers(self, y: float) -> None:
        style = look()
        step, count = (0.1524, 4) if self.imperial else (0.2, 3)
        for n in range(count):
            x = self._place(self.arithmetic.fraction_of(step * n))
            Color(*style.edge)
            Line(points=[x, y, x, y - dp(4)], width=1)
            Color(*style.quiet)
            shown = f"{6 * n}" if self.imperial else f"{20 * n}"
            unit = t("unit.inch" if self.imperial else "unit.cm") if n == count - 1 else ""
            at_end = n == count - 1 and x > self.right - dp(20)
            where, anchor = (self.right, 1.0) if at_end else (x, 0.5)
            self.write(f"{shown} {unit}".strip(), where, y - dp(5) - style.mark * 0.6, style.mark, anchor=anchor)
