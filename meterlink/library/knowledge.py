"""Calibrations, learnt facts, settings and this file's own memory."""

from __future__ import annotations

import json
import time
from collections.abc import Iterable
from typing import Any

from meterlink.errors import LibraryError, UsageError
from meterlink.library import rows
from meterlink.library.learnt import FALLOFF, is_good_note, note_trouble
from meterlink.library.readings import ReadingStore
from meterlink.library.setups import unknown_id
from meterlink.photometry.falloff import FalloffFit
from meterlink.records.kept import AIMS, RECEPTORS, Calibration, RangeScale, Settings

_CALIBRATION = f"SELECT {rows.CALIBRATIONS.select} FROM calibration c JOIN sensor n ON n.no = c.sensor_no"
_CHOICES = {"default_receptor": RECEPTORS, "default_aim": AIMS}


class KnowledgeStore(ReadingStore):
    """The part of ``Library`` that keeps what is known beyond one set."""

    # -- calibrations -------------------------------------------------------------------------------------------

    def add_calibration(self, calibration: Calibration) -> None:
        """Store a calibration.  It is never changed: a better one is a new record."""
        with self.db.write() as connection:
            values = rows.CALIBRATIONS.row(calibration, self._sensor_no(calibration.sensor_id))
            no = connection.execute(rows.CALIBRATIONS.insert, values).lastrowid
            ranges = [rows.RANGES.row(scale, no, n) for n, scale in enumerate(calibration.ranges)]
            connection.executemany(rows.RANGES.insert, ranges)

    def calibrations(self, sensor_id: str | None = None) -> list[Calibration]:
        """Return the calibrations of a sensor (of all when None), oldest first: the last one is in force."""
        return self._calibrations("", ()) if sensor_id is None else self._calibrations("WHERE n.sensor_id = ?", (sensor_id,))

    def calibration(self, calibration_id: str) -> Calibration:
        """Return one calibration by its id.  Raises ``NotInLibrary``."""
        found = self._calibrations("WHERE c.id = ?", (rows.id_bytes(calibration_id),))
        if not found:
            raise unknown_id("calibration", calibration_id)
        return found[0]

    def _calibrations(self, where: str, arguments: tuple[Any, ...]) -> list[Calibration]:
        found = map(rows.CALIBRATIONS.record, self.db.rows(f"{_CALIBRATION} {where} ORDER BY c.id", arguments))
        return [one._replace(ranges=self._ranges(one.ranges)) for one in found]

    def _ranges(self, calibration_no: Any) -> tuple[RangeScale, ...]:
        sql = f"SELECT {rows.RANGES.select} FROM calibration_range c WHERE calibration_no = ? ORDER BY range_index"
        return tuple(map(rows.RANGES.record, self.db.rows(sql, (calibration_no,))))

    # -- notes --------------------------------------------------------------------------------------------------

    def add_note(self, kind: str, key: str, payload: dict[str, Any]) -> str:
        """Store a learnt fact (``falloff``, ``fixture_curve``, ``certificate`` ...) about ``key`` and return its id.

        Notes are only ever added; the last one of a kind and key is in force.
        """
        rows.checked_name(kind, "a note")
        rows.checked((key,), ("key",), "note")
        if trouble := note_trouble(kind, payload):
            raise LibraryError("note not stored: no {kind} can be read from it ({trouble})", kind=kind, trouble=trouble)
        text = rows.json_text(payload, "a note") or "{}"
        with self.db.write() as connection:
            identifier = self._version_id("note", "1", 1)
            connection.execute(
                "INSERT INTO note (id, kind, key, at_s, payload) VALUES (?, ?, ?, ?, ?)",
                (identifier, kind, rows.name_key(key), time.time(), text),
            )
        return identifier.hex()

    def note_records(self, kind: str) -> list[tuple[str, float, dict[str, Any]]]:
        """Return (key, seconds since 1970, payload) of the notes of a kind that can be read, oldest first."""
        found = self.db.rows("SELECT key, at_s, payload FROM note WHERE kind = ? ORDER BY id", (kind,))
        return [(about, at_s, rows.json_value(text)) for about, at_s, text in found if is_good_note(kind, text)]

    def falloffs(self) -> tuple[dict[str, FalloffFit], list[str]]:
        """Return the falloff of each modifier by its key (any case folded), and the keys of which a stored one cannot be read.

        A note that is damaged costs only itself: an earlier good one of its modifier stays in force.
        """
        fits: dict[str, FalloffFit] = {}
        bad: dict[str, None] = {}
        for (key, text) in self.db.rows("SELECT key, payload FROM note WHERE kind = ? ORDER BY id", (FALLOFF,)):
            if is_good_note(FALLOFF, text):
                fits[key] = FalloffFit.from_record(rows.json_value(text))
            else:
                bad[key] = None
        return fits, list(bad)

    def falloff(self, modifier: str) -> FalloffFit | None:
        """Return the falloff of one modifier (any case), None when none was measured."""
        return self.falloffs()[0].get(rows.name_key(modifier)) if modifier else None

    # -- settings -----------------------------------------------------------------------------------------------

    def settings(self) -> Settings:
        """Return this library's limits and assumptions; what was never set has its default."""
        found = self.db.rows("SELECT name, value FROM setting")
        known: dict[str, Any] = {name: value for name, value in found if name in Settings._fields}
        return Settings(**known)

    def set_setting(self, name: str, value: float | str) -> None:
        """Change one setting of this library.  Raises ``UsageError`` for an unknown name or an impossible value."""
        if name not in Settings._fields:
            fields = ", ".join(Settings._fields)
            raise UsageError("there is no setting {name!r}: use one of {fields}", name=name[:40], fields=fields)
        if name in _CHOICES:
            if value not in _CHOICES[name]:
                raise UsageError("{name} must be one of {choices}", name=name, choices=', '.join(_CHOICES[name]))
        elif not isinstance(value, int | float) or isinstance(value, bool) or not 0 <= value < 1e6:
            raise UsageError("{name} must be a number of 0 or more, not {value!r}", name=name, value=str(value)[:40])
        change: dict[str, Any] = {name: value}
        new = self.settings()._replace(**change)
        if new.assumed_reach_min_m > new.assumed_reach_max_m:
            raise UsageError("assumed_reach_min_m must not be above assumed_reach_max_m: set the other one first")
        stored = value if isinstance(value, str) else float(value)
        with self.db.write() as connection:
            connection.execute("INSERT OR REPLACE INTO setting VALUES (?, ?)", (name, stored))

    # -- memory -------------------------------------------------------------------------------------------------

    def remember(self, key: str, value: Any) -> None:
        """Keep a small piece of local state (last sensor, order in progress); None forgets it.  Never merged."""
        rows.checked((key, value), ("key", "value"), "memory")
        with self.db.write(records=False) as connection:
            if value is None:
                connection.execute("DELETE FROM memory WHERE key = ?", (key,))
            else:
                connection.execute("INSERT OR REPLACE INTO memory VALUES (?, ?)", (key, _packed(value)))

    def recall(self, key: str, default: Any = None) -> Any:
        """Return what was remembered under ``key``, or ``default``.  Tuples come back as lists."""
        row = self.db.row("SELECT value FROM memory WHERE key = ?", (key,))
        return default if row is None else _unpacked(row[0])

    def recall_all(self, keys: Iterable[str]) -> dict[str, Any]:
        """Return what was remembered under each of these keys, in one look; keys without anything are left out."""
        wanted = list(keys)
        found = self.db.rows(f"SELECT key, value FROM memory WHERE key IN ({rows.marks(wanted)})", wanted)
        return {key: _unpacked(value) for key, value in found}


def _unpacked(value: Any) -> Any:
    return rows.json_value(value.decode()) if isinstance(value, bytes) else value


def _packed(value: Any) -> Any:
    """Return texts and numbers as they are, anything else as JSON in bytes."""
    if isinstance(value, str | int | float) and not isinstance(value, bool):
        return value
    try:
        return json.dumps(value, allow_nan=False).encode()
    except (TypeError, ValueError, RecursionError):
        raise LibraryError("only plain texts, numbers, lists and tables can be remembered") from None
