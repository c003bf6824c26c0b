"""Building blocks of every page, in one place: ``layouts``, ``taps``, ``inputs`` and ``overlays``, dressed by ``widgets.kv``.

Every one has a ``test_name`` so that tests find it whatever its text or place.  Sizes and colours come from ``app.look``
only.  A thing that can be touched is at least ``look.target`` high and wide.
"""

from __future__ import annotations

from kivy.lang import Builder
from kivy.properties import StringProperty
from kivy.uix.behaviors import ButtonBehavior

from mobile.drawings import look
from mobile.inputs import Choices, Field, Stepper, TextLine
from mobile.layouts import Card, Columns, FlowRow, Moving, Pane, Parts, Rows, Stack
from mobile.overlays import FingerNote, UndoBar
from mobile.taps import Dressed, Tap, Term, Terms, Words, text_width

__all__ = [
    "Card",
    "Choices",
    "Columns",
    "Dressed",
    "Field",
    "FingerNote",
    "FlowRow",
    "Moving",
    "Pane",
    "Parts",
    "Row",
    "Rows",
    "Stack",
    "Stepper",
    "Tap",
    "Term",
    "Terms",
    "TextLine",
    "UndoBar",
    "Words",
    "load_kv",
    "look",
    "text_width",
]


def load_kv(python_file: str) -> None:
    """Load the ``.kv`` file that stands beside a module, once."""
    path = python_file.removesuffix("c").removesuffix(".py") + ".kv"
    if path not in Builder.files:
        Builder.load_file(path, encoding="utf8")


class Row(ButtonBehavior, Stack):
    """A row that opens what it shows."""

    test_name = StringProperty("")


load_kv(__file__)
