"""What the heads of a set gave in other sets of the library: the memory that predictions rest on."""

from __future__ import annotations

from collections.abc import Iterable

from meterlink.library.store import Library
from meterlink.records import Light, Placement, Reading

MOST_SETS = 12
"""Newest other sets that are looked at: a head ages, and she waits."""


def entries_of_setup(
    library: Library, setup_id: str, fixtures: Iterable[str] | None = None
) -> list[tuple[Light, Placement, Reading]]:
    """Return (light, placement that was metered, reading) of one set-up, void and superseded readings left out.

    ``fixtures`` limits it to lights of these heads.
    """
    wanted = None if fixtures is None else {name.casefold() for name in fixtures}
    lights = {light.id: light for light in library.lights(setup_id) if wanted is None or light.fixture.casefold() in wanted}
    placements = {p.id: p for light_id in lights for p in library.placements(light_id)}
    return [
        (lights[r.light_id], placements[r.placement_id], r)
        for r in library.readings(setup_id)
        if r.light_id in lights and r.placement_id in placements
    ]


def entries_elsewhere(library: Library, setup_id: str, fixtures: Iterable[str]) -> list[tuple[Light, Placement, Reading]]:
    """Return the same of the newest other set-ups that one of these heads stood in, oldest first."""
    names = sorted({name for name in fixtures if name})
    if not names:
        return []
    marks = ", ".join("?" * len(names))
    found = library.db.rows(
        "SELECT DISTINCT s.id FROM light_version v JOIN light l ON l.no = v.light_no JOIN setup s ON s.no = l.setup_no "
        f"WHERE v.fixture IN ({marks}) AND s.id <> ? ORDER BY s.id DESC LIMIT ?",
        (*names, bytes.fromhex(setup_id), MOST_SETS),
    )
    entries = []
    for (identifier,) in reversed(found):
        entries += entries_of_setup(library, identifier.hex(), names)
    return entries
