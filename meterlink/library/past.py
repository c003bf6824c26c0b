"""A set-up as it was at an earlier moment: nothing is ever changed in a library, so that it can still be seen."""

from __future__ import annotations

from typing import NamedTuple

from meterlink.errors import NotInLibrary
from meterlink.library.readings import superseded_ids
from meterlink.library.store import Library
from meterlink.records import Light, Placement, Reading, Setup


class Past(NamedTuple):
    """The records of a set-up that were in force."""

    setup: Setup
    lights: list[Light]
    placements: dict[str, Placement]
    """Light's id -> where it stood."""
    readings: list[Reading]
    """Effective ones, oldest first."""


def setup_at(library: Library, setup_id: str, at_s: float) -> Past:
    """Return a set-up as it was at ``at_s`` (seconds since 1970).  Raises NotInLibrary when it was not there yet.

    Versions of set-up and lights carry their time in their ids; placements, readings and marks say it themselves.
    """
    versions = [(v, s) for v, s in library.setup_versions(setup_id) if s.created_at_s <= at_s]
    if not versions:
        raise NotInLibrary(
            "{setup_id} was not there yet on that date: give a later one",
            setup_id=library.setup(setup_id).name,
        )
    known = [s for v, s in versions if made_at_s(v) <= at_s]
    lights: dict[str, Light] = {}
    for version, light in library.light_versions(setup_id):
        if made_at_s(version) <= at_s:
            lights[light.id] = light
    standing = [one for one in lights.values() if not one.removed]
    placements: dict[str, Placement] = {}
    for light in standing:
        for placement in library.placements(light.id):
            if placement.created_at_s <= at_s:
                placements[light.id] = placement
    taken = [r for r in library.all_readings(setup_id) if r.taken_at_s <= at_s]
    gone = superseded_ids(taken, _voids_at(library, setup_id, at_s))
    readings = [r for r in taken if r.id not in gone]
    setup = known[-1] if known else versions[0][1]
    return Past(setup, sorted(standing, key=lambda one: (one.order, one.id)), placements, readings)


def made_at_s(identifier: str) -> float:
    """Seconds since 1970 at which an id was made: its first 48 bits count milliseconds."""
    return int(identifier[:12], 16) / 1000.0


def _voids_at(library: Library, setup_id: str, at_s: float) -> set[str]:
    found = library.db.rows(
        "SELECT m.reading_id FROM mark m JOIN setup s ON s.no = m.setup_no WHERE s.id = ? AND m.at_s <= ?",
        (bytes.fromhex(setup_id), at_s),
    )
    return {row[0].hex() for row in found}
