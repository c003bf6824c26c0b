"""Learnt facts in the library that can no longer be read: each costs only itself, and is named."""

from __future__ import annotations

from collections.abc import Iterable

from meterlink.checks.findings import NOTE, Finding, register
from meterlink.judging.judged_set import JudgedSet
from meterlink.words.actions import Do
from meterlink.words.told import told


@register
def damaged_notes(view: JudgedSet) -> Iterable[Finding]:
    """Yield a note for each modifier of the set of which a stored falloff cannot be read."""
    for name in view.damaged_falloffs:
        do = told("damaged_note_do", measure=Do("falloff"), restore=Do("store_restore"))
        yield Finding("damaged_note", NOTE, "", told("damaged_note", name=name), do, {"modifier": name})
