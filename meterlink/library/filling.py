"""Putting records with given ids into a fresh library file, with their numbers kept in memory: the fast way in.

Used on the way of an import and of a recovery.  Unlike ``Library`` it takes old versions and marks with their ids.
"""

from __future__ import annotations

import sqlite3
from typing import Any

from meterlink.errors import ImportRefused
from meterlink.library import rows
from meterlink.records.kept import Calibration, Light, Placement, Reading, Setup
from meterlink.records.samples import WaveBlock


class Filler:
    """Writes records into the open transaction of ``connection``; remembers which number stands for which id.

    Every method takes ``where``, the place of the record in its source, for the message of ``ImportRefused``.
    """

    def __init__(self, connection: sqlite3.Connection) -> None:
        self.connection = connection
        self.numbers: dict[tuple[str, str], int] = {}
        self._facts: dict[str, Any] = {}

    def setup(self, version_id: str, setup: Setup, where: str) -> None:
        """Add one version of a set-up, and the set-up itself when it is the first."""
        if self._once(setup.id, setup.created_at_s, where):
            self._add("setup", setup.id, ("id", "created_at_s"), (rows.id_bytes(setup.id), setup.created_at_s), where)
        row = rows.SETUPS.row(setup, rows.id_bytes(version_id), self._no("setup", setup.id, where), rows.name_key(setup.name))
        self._add("setup_version", version_id, rows.SETUPS.columns, row, where)

    def light(self, light_id: str, setup_id: str, where: str) -> None:
        """Add a light without its versions; again does nothing, in another set-up is refused."""
        if self._once(light_id, setup_id, where):
            row = (rows.id_bytes(light_id), self._no("setup", setup_id, where))
            self._add("light", light_id, ("id", "setup_no"), row, where)

    def light_version(self, version_id: str, light: Light, where: str) -> None:
        """Add one version of a light that is there."""
        source = light.source_light_id
        no, source_no = self._no("light", light.id, where), self._no("light", source, where) if source else None
        row = rows.LIGHTS.row(light, rows.id_bytes(version_id), no, rows.name_key(light.name), source_no)
        self._add("light_version", version_id, rows.LIGHTS.columns, row, where)

    def placement(self, placement: Placement, where: str) -> None:
        """Add a placement."""
        row = rows.PLACEMENTS.row(placement, self._no("light", placement.light_id, where))
        self._add("placement", placement.id, rows.PLACEMENTS.columns, row, where)

    def calibration(self, calibration: Calibration, where: str) -> None:
        """Add a calibration with its ranges."""
        row = rows.CALIBRATIONS.row(calibration, self._sensor(calibration.sensor_id))
        no = self._add("calibration", calibration.id, rows.CALIBRATIONS.columns, row, where)
        for n, scale in enumerate(calibration.ranges):
            self.connection.execute(rows.RANGES.insert, rows.RANGES.row(scale, no, n))

    def reading(self, reading: Reading, where: str) -> None:
        """Add a reading with its pops."""
        numbers = (
            self._no("setup", reading.setup_id, where),
            self._no("light", reading.light_id, where) if reading.light_id else None,
            self._no("placement", reading.placement_id, where) if reading.placement_id else None,
            self._no("calibration", reading.calibration_id, where),
            self._sensor(reading.sensor_id),
        )
        if not self._once(reading.id, where, where):
            raise _twice(reading.id, where)
        self.numbers["reading", reading.id] = numbers[0]
        self._execute(rows.READINGS.insert, rows.READINGS.row(reading, *numbers), where)
        for pop in rows.pop_rows(reading, numbers[0]):
            self._execute(rows.POPS.insert, pop, where)

    def mark(self, mark_id: str, reading_id: str, at_s: float, reason: str, where: str) -> None:
        """Add the mark that a reading is void."""
        row = (rows.id_bytes(mark_id), self._no("reading", reading_id, where), rows.id_bytes(reading_id), 0, at_s, reason)
        self._add("mark", mark_id, ("id", "setup_no", "reading_id", "kind", "at_s", "reason"), row, where)

    def note(self, note_id: str, kind: str, key: str, at_s: float, payload: dict[str, Any], where: str) -> None:
        """Add a learnt fact."""
        row = (rows.id_bytes(note_id), kind, rows.name_key(key), at_s, rows.json_text(payload, "payload") or "{}")
        self._add("note", note_id, ("id", "kind", "key", "at_s", "payload"), row, where)

    def waveform(self, reading_id: str, pop_index: int, block: WaveBlock, where: str) -> None:
        """Add the captured flash of one pop."""
        no = self._no("reading", reading_id, where)
        self._execute(rows.WAVEFORMS.insert, rows.waveform_row(no, reading_id, pop_index, block), where)

    def _once(self, identifier: str, fact: Any, where: str) -> bool:
        """Say whether an id is new; the versions of one record must agree on ``fact``."""
        if identifier not in self._facts:
            self._facts[identifier] = fact
            return True
        if self._facts[identifier] != fact:
            raise _twice(identifier, where)
        return False

    def _sensor(self, sensor_id: str) -> int:
        if ("sensor", sensor_id) not in self.numbers:
            done = self.connection.execute("INSERT INTO sensor (sensor_id) VALUES (?)", (sensor_id,))
            self.numbers["sensor", sensor_id] = int(done.lastrowid or 0)
        return self.numbers["sensor", sensor_id]

    def _no(self, table: str, identifier: str, where: str) -> int:
        try:
            return self.numbers[table, identifier]
        except KeyError:
            raise ImportRefused(
                "{where} refers to a {table} that is not in the file ({identifier}), nothing was taken: export it again",
                where=where, table=table, identifier=identifier,
            ) from None

    def _add(self, table: str, identifier: str, columns: Any, row: tuple[Any, ...], where: str) -> int:
        if (table, identifier) in self.numbers:
            raise _twice(identifier, where)
        marks = ", ".join("?" * len(row))
        no = self._execute(f"INSERT INTO {table} ({', '.join(columns)}) VALUES ({marks})", row, where)
        self.numbers[table, identifier] = no
        return no

    def _execute(self, sql: str, row: tuple[Any, ...], where: str) -> int:
        try:
            return int(self.connection.execute(sql, row).lastrowid or 0)
        except sqlite3.IntegrityError as error:
            raise ImportRefused(
                "{where} cannot be ({error}), nothing was taken: correct it or export it again",
                where=where, error=error,
            ) from error


def _twice(identifier: str, where: str) -> ImportRefused:
    return ImportRefused(
        "{where} repeats the id {identifier} of another record, nothing was taken: export it again",
        where=where, identifier=identifier,
    )
