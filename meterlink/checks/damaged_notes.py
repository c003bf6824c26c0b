"""Learnt facts in the library that can no longer be read: each costs only itself, and is named."""

from __future__ import annotations

from collections.abc import Iterable

from meterlink.checks.findings import NOTE, Finding


def damaged_notes(modifiers: Iterable[str]) -> list[Finding]:
    """Return a note for each modifier of the set of which a stored falloff cannot be read."""
    return [
        Finding(
            "damaged_note", NOTE, "",
            f"a falloff that was stored for {name} cannot be read: the distances are corrected without it",
            "measure it again (meterlink falloff), or 'meterlink store restore' an earlier copy",
            {"modifier": name},
        )
        for name in modifiers
    ]  # fmt: skip
