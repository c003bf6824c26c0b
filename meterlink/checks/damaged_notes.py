"""Learnt facts in the library that can no longer be read: each costs only itself, and is named."""

from __future__ import annotations

from collections.abc import Iterable

from meterlink.checks.findings import NOTE, Finding, register
from meterlink.judging.judged_set import JudgedSet


@register
def damaged_notes(view: JudgedSet) -> Iterable[Finding]:
    """Yield a note for each modifier of the set of which a stored falloff cannot be read."""
    for name in view.damaged_falloffs:
        text = f"a falloff that was stored for {name} cannot be read: the distances are corrected without it"
        advice = "measure it again (meterlink falloff), or 'meterlink store restore' an earlier copy"
        yield Finding("damaged_note", NOTE, "", text, advice, {"modifier": name})
