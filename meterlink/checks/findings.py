"""What there is to know about a set, as plain findings, each with what to do.

A finder is a function from the judged set to findings (``finders.py`` lists all).  Each finding carries the numbers behind it.
"""

from __future__ import annotations

from typing import Any, NamedTuple

from meterlink.words.actions import Do
from meterlink.words.told import Told, all_of

WRONG, DOUBTFUL, CAUTION, NOTE, FINE = 3.0, 2.0, 1.0, 0.0, -1.0
"""Ranks: a number of the set is wrong; may be wrong; is right but will disappoint; is good to know; was looked at and is well."""


class Finding(NamedTuple):
    """One thing to know about a set."""

    kind: str
    """Machine name: ``retake``, ``stale``, ``not_metered``, ``sum``, ``prediction``, ``evenness`` ..."""
    rank: float
    """Worst first: 3 wrong, 2 doubtful, 1 caution, 0 note; the part behind the point orders within a rank."""
    light: str
    """Name of the light concerned, empty for the whole set."""
    said: Told
    """What was found."""
    to_do: Told
    """What to do; nothing where all is well."""
    numbers: dict[str, Any]
    """The figures behind it; stops are k=1 unless their name says u95."""

    @property
    def code(self) -> str:
        """The kind, by the name that errors and outcomes have for theirs."""
        return self.kind

    @property
    def text(self) -> str:
        """What was found, in one sentence."""
        return str(self.said)

    @property
    def advice(self) -> str:
        """What to do, in words."""
        return str(self.to_do)

    @property
    def sentence(self) -> str:
        """What was found, and what to do."""
        return str(all_of(self.said, self.to_do))

    @property
    def action(self) -> Do | None:
        """What to do as an action; None where only a person can do it, away from any screen."""
        return action_of(self.to_do)

    def as_json(self) -> dict[str, Any]:
        """Return plain data for ``--json``."""
        action = self.action
        return {
            "code": self.kind, "kind": self.kind, "light": self.light, "rank": self.rank, "numbers": self.numbers,
            "text": self.text, "advice": self.advice, "action": action.code if action is not None else None,
        }  # fmt: skip


def action_of(said: Told) -> Do | None:
    """Return the first action that something said names."""
    for value in said.values.values():
        for one in value if isinstance(value, tuple) and not isinstance(value, Told) else (value,):
            found = one if isinstance(one, Do) else action_of(one) if isinstance(one, Told) else None
            if found is not None:
                return found
    return None
