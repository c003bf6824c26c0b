"""The theme as kivy properties, so that the screens follow a change of theme, text size or window at once."""

from __future__ import annotations

from kivy.event import EventDispatcher
from kivy.metrics import dp
from kivy.properties import BooleanProperty, ColorProperty, NumericProperty, StringProperty

from mobile import theme

WIDE_FROM_DP = 560
"""From this width on, and wider than high, two columns stand side by side and the places stand at the left edge."""


class Look(EventDispatcher):
    """Colours, sizes in pixels and the way the screen is held; only ``wear`` and ``fit`` write them."""

    ground = ColorProperty()
    raised = ColorProperty()
    face = ColorProperty()
    ink = ColorProperty()
    quiet = ColorProperty()
    edge = ColorProperty()
    line = ColorProperty()
    strong = ColorProperty()
    over_strong = ColorProperty()
    good = ColorProperty()
    corrected = ColorProperty()
    retake = ColorProperty()
    simulated = ColorProperty()

    mark = NumericProperty()
    note = NumericProperty()
    body = NumericProperty()
    figure = NumericProperty()
    target = NumericProperty()
    gap = NumericProperty()
    pad = NumericProperty()
    corner = NumericProperty()
    stroke = NumericProperty()

    theme_name = StringProperty()
    text_scale = NumericProperty(1.0)
    dressed = NumericProperty(0)
    """Counts up once everything of a new theme or size is in place."""
    wide = BooleanProperty(False)
    tight = BooleanProperty(False)
    """A phone that lies: hardly higher than five rows."""
    columns = NumericProperty(1)
    large = BooleanProperty(False)
    """The text is so large that what usually stands beside each other stands below each other."""
    row = StringProperty("horizontal")
    """How a light's name and its number stand to each other: below each other when the text is large."""
    panel_row = StringProperty("horizontal")
    """The same for the last pop's name and verdict, whose panel is narrow on a phone that lies."""
    panel_part = NumericProperty(0.5)
    """Width of that panel over that of the rest, where they stand side by side."""
    spare_height = NumericProperty(0)
    """Height of a plan that is shown where there is room to spare, 0 on a phone."""
    ring_height = NumericProperty(300)
    """The ring view is at most so high: it must fit on the screen whole, with its handle."""
    sign = NumericProperty()
    """Side of a verdict's mark; it grows with the text."""
    strip_height = NumericProperty(0)
    bar_height = NumericProperty(0)
    bar_width = NumericProperty(0)
    _low, _width = False, 0.0

    def wear(self, theme_name: str, text_scale: float) -> None:
        """Put on a theme and a text size (1 to 2)."""
        chosen = theme.THEMES.get(theme_name, theme.AMBER)
        for field in chosen._fields[1:]:
            setattr(self, field, theme.rgba(getattr(chosen, field)))
        self.text_scale = min(max(text_scale, 1.0), 2.0)
        for size in ("note", "body"):
            setattr(self, size, dp(getattr(theme, size.upper())) * self.text_scale)
        # What stands on a scale or in the bar grows less: it must still stand beside its neighbour.
        self.mark = dp(theme.MARK) * min(self.text_scale, 1.4)
        for size in ("target", "gap", "pad", "corner", "stroke"):
            setattr(self, size, dp(getattr(theme, size.upper())))
        self.sign = dp(3 * theme.GAP) * min(self.text_scale, 1.5)
        self.strip_height = max(dp(theme.TARGET), self.mark * 1.4 + dp(theme.GAP))
        self.bar_height = dp(theme.TARGET) + self.mark * 1.3
        self.bar_width = max(dp(80), self.mark * 5 + dp(theme.PAD))
        self.theme_name = chosen.name
        self.large = self.text_scale > 1.3
        self.row = "vertical" if self.large else "horizontal"
        self._arrange_panel()
        self.dressed += 1

    def fit(self, width: float, height: float) -> None:
        """Follow the size of the window, in pixels."""
        self.wide = width >= dp(WIDE_FROM_DP) and width > height
        roomy = min(max(height / dp(400) if self.wide else min(width / dp(360), height / dp(640)), 1.0), 2.0)
        self.figure = dp(theme.FIGURE) * roomy
        self.ring_height = max(min(height - dp(176), dp(460)), dp(200))
        taken = dp(480 if self.wide else 860)
        self.spare_height = min(height - taken, dp(520)) if height >= taken + dp(220) else 0
        self._low = height < dp(480)
        self._width = width
        self._arrange_panel()
        self.dressed += 1

    def _arrange_panel(self) -> None:
        # A column must have room for a light's name beside its figure.
        self.columns = 2 if self.wide and self._width - self.bar_width >= dp(400) * self.text_scale else 1
        self.tight = self.wide and self._low and self.row == "horizontal"
        roomy = self.spare_height > 0 or not self.wide
        self.panel_part = 0.5 if roomy else 0.9
        self.panel_row = "horizontal" if roomy and self.row == "horizontal" else "vertical"
