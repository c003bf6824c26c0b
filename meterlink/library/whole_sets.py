"""Whole set-ups out of a library, in six statements however many they are; and one as it was at an earlier moment."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterable

from meterlink.errors import NotInLibrary
from meterlink.library import rows
from meterlink.library.setups import LIGHT_SELECT, PLACEMENT_SELECT, SETUP_SELECT, unknown_id
from meterlink.library.store import Library
from meterlink.records import Light, Placement, Reading, Setup
from meterlink.records.ids import keep_after
from meterlink.records.whole_set import WholeSet, superseded_ids

MOST_SETS = 12
"""Newest other sets of a head that are looked at: a head ages, and she waits."""
NEWEST_SETS = 400
"""And among so many of the newest of all: what the search costs does not grow with the library."""


def whole_set(library: Library, setup_id: str) -> WholeSet:
    """Return one set-up whole.  Raises NotInLibrary."""
    found = whole_sets(library, [setup_id])
    if not found:
        raise unknown_id("set-up", setup_id)
    if found[0].readings:
        keep_after(found[0].readings[-1].id)
    return found[0]


def whole_sets(library: Library, setup_ids: Iterable[str]) -> list[WholeSet]:
    """Return set-ups whole, oldest first; ids that are not in the library are left out."""
    ids = [rows.id_bytes(one) for one in setup_ids]
    if not ids:
        return []
    db = library.db
    which = f"IN ({rows.marks(ids)})"
    numbers = f"IN (SELECT no FROM setup WHERE id {which})"
    setups = [rows.SETUPS.record(row) for row in db.rows(f"{SETUP_SELECT} WHERE s.id {which} ORDER BY s.id", ids)]
    lights: dict[str, list[Light]] = defaultdict(list)
    owner: dict[str, str] = {}
    for row in db.rows(f"{LIGHT_SELECT} WHERE l.setup_no {numbers} ORDER BY v.order_index, l.id", ids):
        light = rows.LIGHTS.record(row)
        owner[light.id] = light.setup_id
        if not light.removed:
            lights[light.setup_id].append(light)
    placements: dict[str, dict[str, Placement]] = defaultdict(dict)
    for row in db.rows(f"{PLACEMENT_SELECT} WHERE l.setup_no {numbers} ORDER BY p.id", ids):
        placement = rows.PLACEMENTS.record(row)
        placements[owner[placement.light_id]][placement.id] = placement
    readings: dict[str, list[Reading]] = defaultdict(list)
    for reading in library.readings_where(f"setup_no {numbers}", ids):
        readings[reading.setup_id].append(reading)
    void: dict[str, set[str]] = defaultdict(set)
    marked = "SELECT s.id, m.reading_id FROM mark m JOIN setup s ON s.no = m.setup_no"
    for setup_id, reading_id in db.rows(f"{marked} WHERE m.setup_no {numbers}", ids):
        void[setup_id.hex()].add(reading_id.hex())
    return [_whole(one, lights[one.id], placements[one.id], readings[one.id], void[one.id]) for one in setups]


def _whole(
    setup: Setup, lights: list[Light], placements: dict[str, Placement], readings: list[Reading], void: set[str]
) -> WholeSet:
    gone = superseded_ids(readings, void)
    standing = tuple(r for r in readings if r.id not in void)
    return WholeSet(setup, tuple(lights), placements, standing, frozenset(gone - void))


def sets_elsewhere(library: Library, setup_id: str, fixtures: Iterable[str]) -> list[WholeSet]:
    """Return the newest other set-ups that one of these heads stood in, oldest first."""
    names = sorted({name for name in fixtures if name})
    if not names:
        return []
    found = library.db.rows(
        "SELECT s.id FROM (SELECT no, id FROM setup WHERE id <> ? ORDER BY id DESC LIMIT ?) s WHERE EXISTS (SELECT 1 FROM light l "
        "JOIN light_version v ON v.light_no = l.no WHERE l.setup_no = s.no "
        f"AND v.fixture IN ({rows.marks(names)})) ORDER BY s.id DESC LIMIT ?",
        (bytes.fromhex(setup_id), NEWEST_SETS, *names, MOST_SETS),
    )
    return whole_sets(library, [identifier.hex() for (identifier,) in found])


def entries_elsewhere(library: Library, setup_id: str, fixtures: Collection[str]) -> list[tuple[Light, Placement, Reading]]:
    """Return (light, placement that was metered, reading that counts) of these heads in the newest other set-ups, oldest first."""
    wanted = {name.casefold() for name in fixtures}
    sets = sets_elsewhere(library, setup_id, fixtures)
    return [entry for one in sets for entry in one.entries(effective=True) if entry[0].fixture.casefold() in wanted]


def setup_at(library: Library, setup_id: str, at_s: float) -> WholeSet:
    """Return a set-up as it was at ``at_s`` (seconds since 1970).  Raises NotInLibrary when it was not there yet.

    Versions of set-up and lights carry their time in their ids; placements, readings and marks say it themselves.
    """
    versions = [(v, s) for v, s in library.setup_versions(setup_id) if s.created_at_s <= at_s]
    if not versions:
        raise NotInLibrary("{setup_id} was not there yet on that date: give a later one", setup_id=library.setup(setup_id).name)
    known = [s for v, s in versions if made_at_s(v) <= at_s]
    lights: dict[str, Light] = {}
    for version, light in library.light_versions(setup_id):
        if made_at_s(version) <= at_s:
            lights[light.id] = light
    standing = sorted((one for one in lights.values() if not one.removed), key=lambda one: (one.order, one.id))
    stood = (one for light in standing for one in library.placements(light.id) if one.created_at_s <= at_s)
    taken = [r for r in library.all_readings(setup_id) if r.taken_at_s <= at_s]
    setup = known[-1] if known else versions[0][1]
    return _whole(setup, standing, {one.id: one for one in stood}, taken, set(library.voids(setup_id, at_s)))


def made_at_s(identifier: str) -> float:
    """Seconds since 1970 at which an id was made: its first 48 bits count milliseconds."""
    return int(identifier[:12], 16) / 1000.0
