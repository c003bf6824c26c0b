"""Heads and modifiers of a library under the photographer's own names: where they were used, and which are favourites."""

from __future__ import annotations

from typing import NamedTuple

from meterlink.errors import NotInLibrary
from meterlink.library.learnt import FAVOURITE
from meterlink.library.store import Library
from meterlink.records import Light, Placement
from meterlink.words.actions import Do
from meterlink.words.language import say

HEAD, MODIFIER = "head", "modifier"


class Piece(NamedTuple):
    """One head or modifier."""

    kind: str
    """``head`` or ``modifier``."""
    name: str
    sets: int
    """Set-ups that it stands in, archived ones too."""
    last_used_s: float
    light: Light
    """The newest light that has it: its dial, and the size that it was given."""
    placement: Placement | None
    favourite: bool
    names: tuple[str, ...] = ()
    """Every spelling that was used."""


def pieces(library: Library) -> list[Piece]:
    """Return all heads, then all modifiers; favourites first, then those used last."""
    stars = favourites(library)
    found: dict[tuple[str, str], Piece] = {}
    setups = sorted(library.setups(include_archived=True), key=lambda one: one.created_at_s)
    for setup in setups:
        placements = library.current_placements(setup.id)
        seen: set[tuple[str, str]] = set()
        # A light that was taken out leaves its head and modifier in the kit; one that stands in the set says more of them.
        for light in sorted(library.lights(setup.id, include_removed=True), key=lambda one: not one.removed):
            for kind, name in ((HEAD, light.fixture), (MODIFIER, light.modifier)):
                key = (kind, name.casefold())
                if not name.strip():
                    continue
                old = found.get(key)
                sets = (old.sets if old else 0) + (key not in seen)
                names = tuple(dict.fromkeys((*(old.names if old else ()), name)))
                seen.add(key)
                starred = name.casefold() in stars
                found[key] = Piece(kind, name, sets, setup.created_at_s, light, placements.get(light.id), starred, names)
    return sorted(found.values(), key=lambda one: (one.kind, not one.favourite, -one.last_used_s, one.name.casefold()))


def piece(library: Library, name: str) -> list[Piece]:
    """Return what goes by a name (a head, a modifier, or one of each), whatever its capitals.  Raises NotInLibrary."""
    every = pieces(library)
    found = [one for one in every if one.name.casefold() == " ".join(name.split()).casefold()]
    if found:
        return found
    known = ", ".join(sorted({one.name for one in every})[:12])
    hint = say("known are {names}", names=known[:300]) if known else say("name them: {do}", do=Do("name_head"))
    raise NotInLibrary("there is no head or modifier '{name}': {hint}", name=name[:40], hint=hint)


def favourites(library: Library) -> set[str]:
    """Names (case-folded) that are marked; the last word on each counts."""
    last = {key: bool(payload.get("on")) for key, _, payload in library.note_records(FAVOURITE)}
    return {key for key, on in last.items() if on}


def mark(library: Library, name: str, on: bool) -> None:
    """Make a head or modifier a favourite, or no longer.  Raises NotInLibrary when nothing goes by that name."""
    for one in {p.name.casefold(): p for p in piece(library, name)}.values():
        library.add_note(FAVOURITE, one.name, {"on": on})
