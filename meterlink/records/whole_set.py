"""Everything that a library keeps of one set-up and that counts, in one record."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from typing import NamedTuple

from meterlink.records.kept import Light, Placement, Reading, Setup


class WholeSet(NamedTuple):
    """A set-up with its lights, everywhere they stood, and its readings but those that were taken back."""

    setup: Setup
    lights: tuple[Light, ...]
    """Those that were not taken out, in their order."""
    placements: dict[str, Placement]
    """Every placement by its id, of removed lights too, oldest first."""
    readings: tuple[Reading, ...]
    """All that are not void, superseded ones too, oldest first."""
    superseded: frozenset[str]
    """Ids of those that another reading replaces."""

    @property
    def effective(self) -> list[Reading]:
        """The readings that count, oldest first."""
        return [r for r in self.readings if r.id not in self.superseded]

    @property
    def earlier(self) -> list[Reading]:
        """The readings that a retake replaced, oldest first; not those whose own pops are in a later record."""
        gone = self._said_anew()
        return [r for r in self.readings if r.id in self.superseded and r.id not in gone]

    def _said_anew(self) -> set[str]:
        """Ids of readings whose own pops stand in a later record: of another light, held off otherwise, with one pop more."""
        by_id = {r.id: r for r in self.readings}
        pairs = ((by_id.get(r.supersedes_id or ""), r) for r in self.readings)
        # A retake is of the same light: where the light differs, the later record says that the earlier one was wrong.
        return {old.id for old, new in pairs if old is not None and (old.light_id != new.light_id or _same_pops(old, new))}

    @property
    def current_placements(self) -> dict[str, Placement]:
        """Where each light stands now, by the light's id."""
        return {one.light_id: one for one in self.placements.values()}

    def entries(self, *, effective: bool = False) -> list[tuple[Light, Placement, Reading]]:
        """Return (light, the placement that was metered, reading) of what was read of single lights, oldest first.

        What was given to another light afterwards was never a reading of the first one, and of a pop only what was said of it last
        counts: both are left out.
        """
        lights = {one.id: one for one in self.lights}
        gone = self._said_anew()
        return [
            (lights[r.light_id], self.placements[r.placement_id], r)
            for r in (self.effective if effective else self.readings)
            if r.light_id in lights and r.placement_id in self.placements and r.id not in gone
        ]

    def before(self, identifier: str) -> WholeSet:
        """Return the set as it was when the record of this id was made; what was taken back since never counted."""
        readings = tuple(r for r in self.readings if r.id < identifier)
        lights = tuple(one for one in self.lights if one.id < identifier)
        placements = {one: stood for one, stood in self.placements.items() if one < identifier}
        return self._replace(
            lights=lights, placements=placements, readings=readings, superseded=frozenset(superseded_ids(readings, set()))
        )

    @property
    def sums_ended(self) -> list[str]:
        """Ids of the records that ended how a pop of several lights stood against each alone: retakes, and the first move after."""
        gone, found = self._said_anew(), set[str]()
        retakes = [r.id for r in self.readings if r.supersedes_id and r.supersedes_id not in gone]
        for pop in self.readings:
            lights = {*pop.lit, *(one.id for one in self.lights if one.source_light_id in pop.lit)}
            moved = min((one for one, p in self.placements.items() if one > pop.id and p.light_id in lights), default="")
            found |= {one for one in (*retakes, moved) if one > pop.id and (not moved or one <= moved)} if pop.lit else set()
        return sorted(found)

    def with_reading(self, reading: Reading) -> WholeSet:
        """Return the set with a new reading, the newest."""
        gone = {reading.supersedes_id} if reading.supersedes_id else set()
        return self._replace(readings=(*self.readings, reading), superseded=self.superseded | gone)


def _same_pops(old: Reading, new: Reading) -> bool:
    """Whether a record holds the pops of an earlier one, which thus is no second witness beside it."""
    if new.pops and (len(old.pops) > 1 or len(new.pops) > len(old.pops) > 0):
        return old.pops[0] == new.pops[0]  # a pop more, or another in place of its last one, which was a pre-flash
    return (old.taken_at_s, old.pops, old.exposure_lxs, old.illuminance_lx) == (
        new.taken_at_s, new.pops, new.exposure_lxs, new.illuminance_lx
    )  # fmt: skip


def superseded_ids(readings: Sequence[Reading], void: set[str]) -> set[str]:
    """Return the ids that do not count: void, or superseded by a reading that stands or has itself such a successor.

    A retake that was given to another light afterwards replaces nothing: what its first light had before counts again.
    """
    by_old: dict[str, list[Reading]] = defaultdict(list)
    for reading in readings:
        if reading.supersedes_id:
            by_old[reading.supersedes_id].append(reading)
    if not by_old:
        return void
    gone = set(void)
    lights: dict[str, set[str | None]] = {}
    # Later ids supersede earlier ones, so going backwards every successor is known; a hostile loop just counts as gone.
    for reading in reversed(readings):
        standing = [one for one in by_old[reading.id] if lights.get(one.id)]
        ends: set[str | None] = {end for one in standing for end in lights[one.id]}
        # Whose this reading is in the end; nobody's when it is void and nothing that stands came of it.
        lights[reading.id] = ends or (set() if reading.id in void else {reading.light_id})
        if any(one.light_id != reading.light_id or reading.light_id in lights[one.id] for one in standing):
            gone.add(reading.id)
    return gone
