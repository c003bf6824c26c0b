"""Readings in the library: never changed, never deleted.

A retake names the reading that it supersedes, a void marks one, a re-assignment is a new record that supersedes.
What counts now (*effective*) is derived: not void, and not superseded by a reading that is itself still standing.
Taking back a retake therefore brings the earlier reading back.
"""

from __future__ import annotations

import time
from collections import defaultdict
from collections.abc import Sequence
from math import inf
from typing import Any

from meterlink.errors import LibraryError, UsageError
from meterlink.library import rows
from meterlink.library.setups import SetupStore, unknown_id
from meterlink.records.ids import keep_after, new_id
from meterlink.records.kept import Pop, Reading
from meterlink.records.samples import WaveBlock
from meterlink.records.whole_set import superseded_ids
from meterlink.words.language import marked

_READINGS = (
    f"SELECT {rows.READINGS.select}, r.setup_no FROM reading r JOIN setup s ON s.no = r.setup_no "
    "LEFT JOIN light l ON l.no = r.light_no LEFT JOIN placement p ON p.no = r.placement_no "
    "JOIN calibration c ON c.no = r.calibration_no JOIN sensor n ON n.no = r.sensor_no"
)
_POPS = f"SELECT {rows.POPS.select}, p.setup_no, p.reading_id FROM pop p"


class ReadingStore(SetupStore):
    """The part of ``Library`` that keeps readings, their pops, waveforms and marks."""

    def add_reading(self, reading: Reading, waveform: WaveBlock | None = None) -> None:
        """Store an accepted reading; when this returns it is on the disk (one transaction, synced).

        Its set-up, light, placement and calibration must be there.  ``waveform`` is that of its first pop.
        Raises ``NotInLibrary``, ``UsageError``, ``LibraryError``.
        """
        numbers = self._numbers_of(reading)
        values = rows.READINGS.row(reading, *numbers)
        pops = rows.pop_rows(reading, numbers[0])
        wave = rows.waveform_row(numbers[0], reading.id, 0, waveform) if waveform else None
        with self.db.write() as connection:
            if reading.supersedes_id:
                which = numbers[0], rows.id_bytes(reading.supersedes_id)
                if not self.db.row("SELECT 1 FROM reading WHERE setup_no = ? AND id = ?", which):
                    raise unknown_id(marked("reading"), reading.supersedes_id)
                if reading.supersedes_id >= reading.id:
                    raise LibraryError("a reading can supersede only an earlier one: make its id after reading the set")
            connection.execute(rows.READINGS.insert, values)
            if pops:
                connection.executemany(rows.POPS.insert, pops)
            if wave:
                connection.execute(rows.WAVEFORMS.insert, wave)

    def _numbers_of(self, reading: Reading) -> tuple[int, int | None, int | None, int, int]:
        """Return the numbers of its set, light, placement, calibration and sensor."""
        setup_no = self._setup_no(reading.setup_id)
        light_no = placement_no = None
        if reading.light_id is not None:
            light_no, light_setup_no = self._light_no(reading.light_id)
            if light_setup_no != setup_no:
                raise UsageError("the reading's light belongs to another set-up: choose a light of this one")
        if reading.placement_id is not None:
            placement_no, owner_no = self._number("placement", "light_no", reading.placement_id, marked("placement"))
            if owner_no != light_no:
                raise UsageError("the reading's placement belongs to another light: use the light's own placement")
        calibration_no = self._number("calibration", "sensor_no", reading.calibration_id, "calibration")[0]
        return setup_no, light_no, placement_no, calibration_no, self._sensor_no(reading.sensor_id)

    def _sensor_no(self, sensor_id: str) -> int:
        """Return the number of a sensor, storing it when it is new."""
        known = self._cached.get(("sensor", sensor_id))
        if known is None:
            row = self.db.row("SELECT no FROM sensor WHERE sensor_id = ?", (sensor_id,))
            if row is None:
                rows.checked_name(sensor_id, "a sensor")
                with self.db.write() as connection:
                    connection.execute("INSERT INTO sensor (sensor_id) VALUES (?) ON CONFLICT DO NOTHING", (sensor_id,))
                    row = self.db.row("SELECT no FROM sensor WHERE sensor_id = ?", (sensor_id,))
            known = self._cached["sensor", sensor_id] = (row[0], 0)
        return known[0]

    def _setup_no_of_reading(self, reading_id: str) -> int:
        """Return the number of the set that has this reading (one index look-up a set, newest first)."""
        row = self.db.row(
            "SELECT s.no FROM setup s WHERE EXISTS (SELECT 1 FROM reading r WHERE r.setup_no = s.no AND r.id = ?) "
            "ORDER BY s.no DESC LIMIT 1",
            (rows.id_bytes(reading_id),),
        )
        if row is None:
            raise unknown_id(marked("reading"), reading_id)
        return int(row[0])

    # -- looking ------------------------------------------------------------------------------------------------

    def all_readings(self, setup_id: str) -> list[Reading]:
        """Return every reading of a set-up in the order they were taken, void and superseded ones too."""
        found = self.readings_where("setup_no = ?", (self._setup_no(setup_id),))
        if found:
            keep_after(found[-1].id)
        return found

    def readings(self, setup_id: str) -> list[Reading]:
        """Return the effective readings of a set-up (not void, not superseded), in the order they were taken."""
        found = self.all_readings(setup_id)
        gone = superseded_ids(found, set(self.voids(setup_id)))
        return [r for r in found if r.id not in gone]

    def reading(self, reading_id: str) -> Reading:
        """Return one reading by its id, void or not.  Raises ``NotInLibrary``."""
        which = self._setup_no_of_reading(reading_id), rows.id_bytes(reading_id)
        return self.readings_where("setup_no = ? AND {id} = ?", which)[0]

    def last_reading(self, setup_id: str) -> Reading | None:
        """Return the latest effective reading of a set-up, or None."""
        return next(reversed(self.readings(setup_id)), None)

    def voids(self, setup_id: str, at_s: float = inf) -> dict[str, str]:
        """Return the reason of every reading of a set-up that is void (at a moment in s since 1970), by the reading's id."""
        sql = "SELECT reading_id, reason FROM mark WHERE setup_no = ? AND at_s <= ? ORDER BY id"
        return {identifier.hex(): reason for identifier, reason in self.db.rows(sql, (self._setup_no(setup_id), at_s))}

    def readings_where(self, which: str, arguments: Sequence[Any]) -> list[Reading]:
        """Return readings with their pops, set by set in the order they were taken; ``which`` is SQL of setup_no and ``{id}``."""
        pops: dict[tuple[int, bytes], list[Pop]] = defaultdict(list)
        of_pops, of_readings = which.format(id="p.reading_id"), which.format(id="r.id")
        for row in self.db.rows(f"{_POPS} WHERE p.{of_pops} ORDER BY p.setup_no, p.reading_id, p.pop_index", arguments):
            pops[row[-2], row[-1]].append(rows.POPS.record(row[:-2]))
        found = self.db.rows(f"{_READINGS} WHERE r.{of_readings} ORDER BY r.setup_no, r.id", arguments)
        return [rows.reading_from(row[:-1], pops.get((row[-1], row[0]), ())) for row in found]

    # -- taking back --------------------------------------------------------------------------------------------

    def void_reading(self, reading_id: str, reason: str = "") -> None:
        """Mark a reading as void.  Again does nothing.  Raises ``NotInLibrary``."""
        rows.checked((reason,), ("reason",), "mark")
        with self.db.write() as connection:
            no, identifier = self._setup_no_of_reading(reading_id), rows.id_bytes(reading_id)
            if not self.db.row("SELECT 1 FROM mark WHERE setup_no = ? AND reading_id = ?", (no, identifier)):
                connection.execute(
                    "INSERT INTO mark (id, setup_no, reading_id, kind, at_s, reason) VALUES (?, ?, ?, 0, ?, ?)",
                    (bytes.fromhex(new_id()), no, identifier, time.time(), reason),
                )

    def restate_reading(self, reading_id: str, **changes: Any) -> Reading:
        """Say something else about a stored reading (its light, how the dome was held): a new record that supersedes it.

        The waveforms come along.
        """
        with self.db.write() as connection:
            old = self.reading(reading_id)
            keep_after(old.id)
            new: Reading = old._replace(id=new_id(), supersedes_id=old.id, **changes)
            self.add_reading(new)
            columns = ", ".join(rows.WAVEFORMS.columns[2:])
            connection.execute(
                f"INSERT INTO waveform (setup_no, reading_id, {columns}) "
                f"SELECT setup_no, ?, {columns} FROM waveform WHERE setup_no = ? AND reading_id = ?",
                (rows.id_bytes(new.id), self._setup_no(old.setup_id), rows.id_bytes(old.id)),
            )
        return new

    # -- waveforms ----------------------------------------------------------------------------------------------

    def waveform(self, reading_id: str, pop_index: int = 0) -> WaveBlock | None:
        """Return the captured flash of one pop, or None when it was not kept."""
        row = self.db.row(
            f"{rows.WAVEFORM_SELECT} WHERE w.setup_no = ? AND w.reading_id = ? AND w.pop_index = ?",
            (self._setup_no_of_reading(reading_id), rows.id_bytes(reading_id), pop_index),
        )
        return rows.waveform_from(row) if row else None
