"""Putting records with given ids into a fresh library file, with their numbers kept in memory: the fast way in.

Used on the way of an import.  Unlike ``Library`` it takes old versions and marks with their ids.
"""

from __future__ import annotations

import sqlite3
from base64 import b64decode
from collections.abc import Mapping, Sequence
from typing import Any

from meterlink.errors import ImportRefused
from meterlink.library import rows


class Filler:
    """Writes records into the open transaction of ``connection``; remembers which number stands for which id."""

    def __init__(self, connection: sqlite3.Connection) -> None:
        self._connection = connection
        self._numbers: dict[tuple[str, str], int] = {}
        self._facts: dict[str, Any] = {}
        self._where = ""
        """The place of the record in the document, for the message of ``ImportRefused``."""

    def fill(self, parts: Mapping[str, list[dict[str, Any]]]) -> None:
        """Add the records of a validated document.  Raises ``ImportRefused`` for the first that cannot be, with its place."""
        for part, add in (
            ("setups", self._setup), ("lights", self._light), ("lights", self._light_version), ("placements", self._placement),
            ("calibrations", self._calibration), ("readings", self._reading), ("marks", self._mark), ("notes", self._note),
            ("waveforms", self._waveform),
        ):  # fmt: skip
            for n, values in enumerate(parts[part]):
                self._where = f"{part}[{n}]"
                add(values)

    def _setup(self, values: dict[str, Any]) -> None:
        """Add one version of a set-up, and the set-up itself when it is the first."""
        setup = rows.SETUPS.from_json(values)
        if self._once(setup.id, setup.created_at_s):
            self._add("setup", setup.id, ("id", "created_at_s"), (rows.id_bytes(setup.id), setup.created_at_s))
        lead = rows.id_bytes(values["version_id"]), self._no("setup", setup.id), rows.name_key(setup.name)
        self._add("setup_version", values["version_id"], rows.SETUPS.columns, rows.SETUPS.row(setup, *lead))

    def _light(self, values: dict[str, Any]) -> None:
        """Add a light without its versions; again does nothing, in another set-up is refused."""
        if self._once(values["id"], values["setup_id"]):
            row = (rows.id_bytes(values["id"]), self._no("setup", values["setup_id"]))
            self._add("light", values["id"], ("id", "setup_no"), row)

    def _light_version(self, values: dict[str, Any]) -> None:
        light = rows.LIGHTS.from_json(values)
        source = light.source_light_id
        no, source_no = self._no("light", light.id), self._no("light", source) if source else None
        row = rows.LIGHTS.row(light, rows.id_bytes(values["version_id"]), no, rows.name_key(light.name), source_no)
        self._add("light_version", values["version_id"], rows.LIGHTS.columns, row)

    def _placement(self, values: dict[str, Any]) -> None:
        placement = rows.PLACEMENTS.from_json(values)
        row = rows.PLACEMENTS.row(placement, self._no("light", placement.light_id))
        self._add("placement", placement.id, rows.PLACEMENTS.columns, row)

    def _calibration(self, values: dict[str, Any]) -> None:
        calibration = rows.CALIBRATIONS.from_json(values)
        row = rows.CALIBRATIONS.row(calibration, self._sensor(calibration.sensor_id))
        no = self._add("calibration", calibration.id, rows.CALIBRATIONS.columns, row)
        for n, scale in enumerate(calibration.ranges):
            self._execute(rows.RANGES.insert, rows.RANGES.row(scale, no, n))

    def _reading(self, values: dict[str, Any]) -> None:
        reading = rows.READINGS.from_json(values)
        numbers = (
            self._no("setup", reading.setup_id),
            self._no("light", reading.light_id) if reading.light_id else None,
            self._no("placement", reading.placement_id) if reading.placement_id else None,
            self._no("calibration", reading.calibration_id),
            self._sensor(reading.sensor_id),
        )
        self._once(reading.id, self._where)
        self._numbers["reading", reading.id] = numbers[0]
        self._execute(rows.READINGS.insert, rows.READINGS.row(reading, *numbers))
        for pop in rows.pop_rows(reading, numbers[0]):
            self._execute(rows.POPS.insert, pop)

    def _mark(self, values: dict[str, Any]) -> None:
        reading_id = values["reading_id"]
        row = (
            rows.id_bytes(values["id"]), self._no("reading", reading_id), rows.id_bytes(reading_id), 0, values["at_s"],
            values.get("reason", ""),
        )  # fmt: skip
        self._add("mark", values["id"], ("id", "setup_no", "reading_id", "kind", "at_s", "reason"), row)

    def _note(self, values: dict[str, Any]) -> None:
        payload = rows.json_text(values.get("payload", {}), "payload") or "{}"
        row = (rows.id_bytes(values["id"]), values["kind"], rows.name_key(values["key"]), values["at_s"], payload)
        self._add("note", values["id"], ("id", "kind", "key", "at_s", "payload"), row)

    def _waveform(self, values: dict[str, Any]) -> None:
        try:
            data = b64decode(values["data"], validate=True)
        except ValueError:
            raise ImportRefused("{where}.data is not base64, nothing was taken: export it again", where=self._where) from None
        block = rows.WAVEFORMS.from_json({"at_s": 0.0, "pop": 0, "segments": (), "pretrigger": 0, **values, "data": data})
        no = self._no("reading", values["reading_id"])
        self._execute(rows.WAVEFORMS.insert, rows.waveform_row(no, values["reading_id"], values.get("pop_index", 0), block))

    def _once(self, identifier: str, fact: Any) -> bool:
        """Say whether an id is new; the versions of one record must agree on ``fact``."""
        if identifier not in self._facts:
            self._facts[identifier] = fact
            return True
        if self._facts[identifier] != fact:
            raise self._twice(identifier)
        return False

    def _sensor(self, sensor_id: str) -> int:
        if ("sensor", sensor_id) not in self._numbers:
            self._numbers["sensor", sensor_id] = self._execute("INSERT INTO sensor (sensor_id) VALUES (?)", (sensor_id,))
        return self._numbers["sensor", sensor_id]

    def _no(self, table: str, identifier: str) -> int:
        try:
            return self._numbers[table, identifier]
        except KeyError:
            raise ImportRefused(
                "{where} refers to a {table} that is not in the file ({identifier}), nothing was taken: export it again",
                where=self._where, table=table, identifier=identifier,
            ) from None

    def _add(self, table: str, identifier: str, columns: Sequence[str], row: tuple[Any, ...]) -> int:
        if (table, identifier) in self._numbers:
            raise self._twice(identifier)
        no = self._execute(f"INSERT INTO {table} ({', '.join(columns)}) VALUES ({rows.marks(row)})", row)
        self._numbers[table, identifier] = no
        return no

    def _execute(self, sql: str, row: tuple[Any, ...]) -> int:
        try:
            return int(self._connection.execute(sql, row).lastrowid or 0)
        except sqlite3.IntegrityError as error:
            raise ImportRefused(
                "{where} cannot be ({error}), nothing was taken: correct it or export it again", where=self._where, error=error
            ) from error

    def _twice(self, identifier: str) -> ImportRefused:
        return ImportRefused(
            "{where} repeats the id {identifier} of another record, nothing was taken: export it again",
            where=self._where, identifier=identifier,
        )
