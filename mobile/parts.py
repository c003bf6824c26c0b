"""All parts on one page, for ``python -m mobile.pictures --parts``: texts, taps, signs, verdicts down to 1.5 mm."""

from __future__ import annotations

from kivy.metrics import dp

from meterlink.words.told import written
from mobile.drawings import SignView, VerdictMark
from mobile.page import Page
from mobile.signs import SIGNS
from mobile.texts import t
from mobile.widgets import Columns, FlowRow, Pane, Stack, Tap, Words

VERDICT_SIZES_DP = (9.4, 16, 24, 40)
"""9.4 dp is 1.5 mm."""


class PartsPage(Page):
    """See the module."""

    def on_kv_post(self, _base: object) -> None:
        """Build the page."""
        pane, columns, first, second = Pane(), Columns(count=2), Stack(), Stack()
        self.add_widget(pane)
        pane.add_widget(columns)
        columns.add_widget(first)
        columns.add_widget(second)
        for size_name in ("mark", "note", "body"):
            first.add_widget(Words(text=t("metering.fire", point=written("face", "point")), size_name=size_name))
        for colour in ("quiet", "good", "corrected", "retake", "simulated"):
            first.add_widget(Words(text=t("lights.ring_hint"), colour=colour))
        row = FlowRow()
        row.add_widget(Tap(text=t("metering.show_set"), strong=True, test_name="part:strong"))
        row.add_widget(Tap(text=t("metering.take_back"), sign="undo", test_name="part:quiet"))
        chosen = {"chosen": True, "stacked": True, "size_name": "mark", "test_name": "part:chosen"}
        row.add_widget(Tap(text=written("key", "role"), sign="key", **chosen))
        first.add_widget(row)
        for size in VERDICT_SIZES_DP:
            marks = FlowRow(fill=False)
            for verdict in ("good", "corrected", "retake", "none"):
                mark = VerdictMark(verdict=verdict, size_hint=(None, None), size=(dp(size), dp(size)))
                mark.test_name = f"mark:{verdict}:{size:g}"
                marks.add_widget(mark)
            first.add_widget(marks)
        signs = FlowRow(fill=False)
        for name in SIGNS:
            signs.add_widget(SignView(sign=name, size_hint=(None, None), size=(dp(48), dp(48))))
        second.add_widget(signs)
