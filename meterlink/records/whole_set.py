"""Everything that a library keeps of one set-up and that counts, in one record."""

from __future__ import annotations

from typing import NamedTuple

from meterlink.records.kept import Light, Placement, Reading, Setup

__all__ = ["WholeSet"]


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
        """The readings that a retake replaced, oldest first."""
        return [r for r in self.readings if r.id in self.superseded]

    @property
    def current_placements(self) -> dict[str, Placement]:
        """Where each light stands now, by the light's id."""
        return {one.light_id: one for one in self.placements.values()}

    def entries(self, *, effective: bool = False) -> list[tuple[Light, Placement, Reading]]:
        """Return (light, the placement that was metered, reading) of what was read of single lights, oldest first.

        What was given to another light afterwards was never a reading of the first one and is left out.
        """
        lights = {one.id: one for one in self.lights}
        by_id = {r.id: r for r in self.readings}
        # A retake is of the same light: where the light differs, the later record says that the earlier one was wrong.
        given = {r.supersedes_id for r in self.readings if (old := by_id.get(r.supersedes_id or "")) and old.light_id != r.light_id}
        return [
            (lights[r.light_id], self.placements[r.placement_id], r)
            for r in (self.effective if effective else self.readings)
            if r.light_id in lights and r.placement_id in self.placements and r.id not in given
        ]

    def with_reading(self, reading: Reading) -> WholeSet:
        """Return the set with a new reading, the newest."""
        gone = {reading.supersedes_id} if reading.supersedes_id else set()
        return self._replace(readings=(*self.readings, reading), superseded=self.superseded | gone)

    def with_placement(self, placement: Placement) -> WholeSet:
        """Return the set after a light was moved or re-powered."""
        return self._replace(placements={**self.placements, placement.id: placement})
