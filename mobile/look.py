"""The theme as kivy properties, so that the screens follow a change of theme, text size or window at once."""

from __future__ import annotations

from kivy.event import EventDispatcher
from kivy.metrics import dp
from kivy.properties import BooleanProperty, ColorProperty, NumericProperty, ObjectProperty, StringProperty

from mobile import theme

_SIZES = ("note", "body", "lead", "title", "name", "figure")
WIDE_FROM_DP = 560
"""From this width on, and wider than high, two columns stand side by side."""


class Look(EventDispatcher):
    """Colours, sizes in pixels and the way the screen is held; only ``wear`` and ``fit`` write them."""

    ground = ColorProperty()
    raised = ColorProperty()
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

    note = NumericProperty()
    body = NumericProperty()
    lead = NumericProperty()
    title = NumericProperty()
    name = NumericProperty()
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
    columns = NumericProperty(1)
    rail = StringProperty("horizontal")
    """How the places stand in the bar: along the bottom edge, or down the left one."""
    row = StringProperty("horizontal")
    """How a light's name and its number stand to each other: below each other when the text is large."""
    frame = StringProperty("vertical")
    """How the bar and the page stand to each other."""
    spare_height = NumericProperty(0)
    """Height of a plan that is shown where there is room to spare, 0 on a phone."""
    place_hint = ObjectProperty((1, 1))
    bar_hint = ObjectProperty((1, None))
    bar_height = NumericProperty(0)
    ring_height = NumericProperty(300)
    """The ring view is at most so high: it must fit on the screen whole, with its handle."""
    bar_width = NumericProperty(0)

    def wear(self, theme_name: str, text_scale: float) -> None:
        """Put on a theme and a text size (1 to 2)."""
        chosen = theme.THEMES.get(theme_name, theme.AMBER)
        for field in chosen._fields[1:]:
            setattr(self, field, theme.rgba(getattr(chosen, field)))
        self.text_scale = min(max(text_scale, 1.0), 2.0)
        for size in _SIZES:
            setattr(self, size, dp(getattr(theme, size.upper())) * self._growth(size))
        for size in ("target", "gap", "pad", "corner", "stroke"):
            setattr(self, size, dp(getattr(theme, size.upper())))
        self.bar_height = max(dp(theme.TARGET), self.note * 1.3 + dp(theme.GAP) * 1.5) + dp(theme.GAP)
        self.bar_width = max(dp(84), self.note * 5.4 + 2 * dp(theme.PAD))
        self.theme_name = chosen.name
        self.row = "vertical" if self.text_scale > 1.3 else "horizontal"
        self.dressed += 1

    def _growth(self, size: str) -> float:
        """How much a size grows: the largest ones with the window too, and less with the text size, to stay whole."""
        if size == "figure":
            return self._roomy
        return min(self.text_scale, 1.4) * min(self._roomy, 1.5) if size == "name" else self.text_scale

    _roomy = 1.0

    def fit(self, width: float, height: float) -> None:
        """Follow the size of the window, in pixels."""
        self.wide = width >= dp(WIDE_FROM_DP) and width > height
        self._roomy = min(max(height / dp(400) if self.wide else min(width / dp(360), height / dp(640)), 1.0), 2.2)
        for size in ("figure", "name"):
            setattr(self, size, dp(getattr(theme, size.upper())) * self._growth(size))
        self.dressed += 1
        self.ring_height = max(min(height - dp(140), dp(460)), dp(200))
        self.spare_height = min(height - dp(400), dp(520)) if self.wide and height >= dp(640) else 0
        self.columns = 2 if self.wide else 1
        self.rail = "vertical" if self.wide else "horizontal"
        self.frame = "horizontal" if self.wide else "vertical"
        self.place_hint = (1, None) if self.wide else (1, 1)
        self.bar_hint = (None, 1) if self.wide else (1, None)
