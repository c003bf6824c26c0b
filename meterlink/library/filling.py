"""Putting records with given ids into a fresh library file: the way in of an import.

Unlike ``Library`` it takes old versions and marks with their ids.
"""

from __future__ import annotations

import sqlite3
from base64 import b64decode
from collections.abc import Mapping
from typing import Any

from meterlink.errors import ImportRefused, NotInLibrary
from meterlink.library import rows
from meterlink.library.connection import Database
from meterlink.library.knowledge import KnowledgeStore
from meterlink.library.setups import unknown_id


class Filler(KnowledgeStore):
    """Writes records into the open transaction of a library."""

    def __init__(self, db: Database) -> None:
        super().__init__(db)
        self._facts: dict[str, Any] = {}
        """Record's id -> what all its versions must agree on."""
        self._set_of: dict[str, int] = {}
        """Reading's id -> number of its set-up."""
        self._where = ""
        """The place of the record in the document, for the message of ``ImportRefused``."""

    def fill(self, parts: Mapping[str, list[dict[str, Any]]]) -> None:
        """Add the records of a validated document.  Raises ``ImportRefused`` for the first that cannot be, with its place."""
        for part, add in (
            ("setups", self._setup), ("lights", self._light), ("lights", self._light_version),
            ("placements", lambda values: self.add_placement(rows.PLACEMENTS.from_json(values))),
            ("calibrations", lambda values: self.add_calibration(rows.CALIBRATIONS.from_json(values))),
            ("readings", self._reading), ("marks", self._mark), ("notes", self._note), ("waveforms", self._waveform),
        ):  # fmt: skip
            for n, values in enumerate(parts[part]):
                self._where = f"{part}[{n}]"
                try:
                    add(values)
                except NotInLibrary as error:
                    raise ImportRefused(
                        "{where} refers to a {what} that is not in the file ({identifier}), nothing was taken: export it again",
                        where=self._where, **error.values,
                    ) from None
                except sqlite3.IntegrityError as error:
                    if "id" in values and error.sqlite_errorname == "SQLITE_CONSTRAINT_UNIQUE":
                        raise self._twice(values.get("version_id") or values["id"]) from None
                    raise ImportRefused(
                        "{where} cannot be ({error}), nothing was taken: correct it or export it again",
                        where=self._where, error=error,
                    ) from error

    def _setup(self, values: dict[str, Any]) -> None:
        """Add one version of a set-up, and the set-up itself when it is the first."""
        setup = rows.SETUPS.from_json(values)
        if self._once(setup.id, setup.created_at_s):
            self._execute("INSERT INTO setup (id, created_at_s) VALUES (?, ?)", rows.id_bytes(setup.id), setup.created_at_s)
        lead = rows.id_bytes(values["version_id"]), self._setup_no(setup.id), rows.name_key(setup.name)
        self._execute(rows.SETUPS.insert, *rows.SETUPS.row(setup, *lead))

    def _light(self, values: dict[str, Any]) -> None:
        """Add a light without its versions; again does nothing, in another set-up is refused."""
        if self._once(values["id"], values["setup_id"]):
            setup_no = self._setup_no(values["setup_id"])
            self._execute("INSERT INTO light (id, setup_no) VALUES (?, ?)", rows.id_bytes(values["id"]), setup_no)

    def _light_version(self, values: dict[str, Any]) -> None:
        light = rows.LIGHTS.from_json(values)
        source_no = self._light_no(light.source_light_id)[0] if light.source_light_id else None
        lead = rows.id_bytes(values["version_id"]), self._light_no(light.id)[0], rows.name_key(light.name), source_no
        self._execute(rows.LIGHTS.insert, *rows.LIGHTS.row(light, *lead))

    def _reading(self, values: dict[str, Any]) -> None:
        reading = rows.READINGS.from_json(values)
        if reading.id in self._set_of:
            raise self._twice(reading.id)
        numbers = self._numbers_of(reading)
        self._set_of[reading.id] = numbers[0]
        self._execute(rows.READINGS.insert, *rows.READINGS.row(reading, *numbers))
        for pop in rows.pop_rows(reading, numbers[0]):
            self._execute(rows.POPS.insert, *pop)

    def _mark(self, values: dict[str, Any]) -> None:
        reading_id, at_s, reason = values["reading_id"], values["at_s"], values.get("reason", "")
        self._execute(
            "INSERT INTO mark (id, setup_no, reading_id, kind, at_s, reason) VALUES (?, ?, ?, 0, ?, ?)",
            rows.id_bytes(values["id"]), self._set_with(reading_id), rows.id_bytes(reading_id), at_s, reason,
        )  # fmt: skip

    def _note(self, values: dict[str, Any]) -> None:
        payload = rows.json_text(values.get("payload", {}), "payload") or "{}"
        self._execute(
            "INSERT INTO note (id, kind, key, at_s, payload) VALUES (?, ?, ?, ?, ?)",
            rows.id_bytes(values["id"]), values["kind"], rows.name_key(values["key"]), values["at_s"], payload,
        )  # fmt: skip

    def _waveform(self, values: dict[str, Any]) -> None:
        try:
            data = b64decode(values["data"], validate=True)
        except ValueError:
            raise ImportRefused("{where}.data is not base64, nothing was taken: export it again", where=self._where) from None
        block = rows.WAVEFORMS.from_json({"at_s": 0.0, "pop": 0, "segments": (), "pretrigger": 0, **values, "data": data})
        reading_id, index = values["reading_id"], values.get("pop_index", 0)
        self._execute(rows.WAVEFORMS.insert, *rows.waveform_row(self._set_with(reading_id), reading_id, index, block))

    def _set_with(self, reading_id: str) -> int:
        if reading_id not in self._set_of:
            raise unknown_id("reading", reading_id)
        return self._set_of[reading_id]

    def _once(self, identifier: str, fact: Any) -> bool:
        """Say whether an id is new; the versions of one record must agree on ``fact``."""
        if self._facts.get(identifier, fact) != fact:
            raise self._twice(identifier)
        new = identifier not in self._facts
        self._facts[identifier] = fact
        return new

    def _execute(self, sql: str, *row: Any) -> None:
        self.db.connection.execute(sql, row)

    def _twice(self, identifier: str) -> ImportRefused:
        return ImportRefused(
            "{where} repeats the id {identifier} of another record, nothing was taken: export it again",
            where=self._where, identifier=identifier,
        )
