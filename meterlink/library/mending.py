"""Telling which table a loose row belongs to, and mending what refers to rows that are lost."""

from __future__ import annotations

import sqlite3
from typing import Any, NamedTuple

from meterlink.library.checking import JSON_COLUMNS, is_json
from meterlink.library.merge import TABLES
from meterlink.library.pages import Cell
from meterlink.library.rows import name_key
from meterlink.records.ids import new_id
from meterlink.records.kept import Settings

_KEYED = {"calibration_range", "reading", "pop"}
"""Tables without row ids."""
_EARLIEST_DATE_S = 100_000_000
"""Dates are larger numbers than any ``no``: what tells a set-up's row from a light's when the date has no fraction."""


class Shape(NamedTuple):
    """What a row of one table looks like."""

    table: str
    keyed: bool
    columns: tuple[tuple[str, str, bool], ...]
    """(name, declared type, never NULL)."""
    insert: str

    def row_of(self, cell: Cell) -> tuple[Any, ...] | None:
        """Return the values to insert when the cell can be a row of this table, else None."""
        values = cell.values
        if len(values) != len(self.columns) or (cell.rowid is None) != self.keyed:
            return None
        if not self.keyed:
            if values[0] is not None:
                return None
            values = (cell.rowid, *values[1:])
        if not all(_fits(v, c) for v, c in zip(values, self.columns, strict=True)):
            return None
        if self.table in ("setup", "light") and (values[2] >= _EARLIEST_DATE_S) != (self.table == "setup"):
            return None
        if self.table == "setting" and values[0] not in Settings._fields:
            return None
        return values


def _fits(value: Any, column: tuple[str, str, bool]) -> bool:
    _, kind, never_null = column
    if value is None:
        return not never_null
    if kind == "INTEGER":
        return isinstance(value, int)
    if kind == "REAL":
        return isinstance(value, int | float)
    if kind == "TEXT":
        return isinstance(value, str)
    return kind != "BLOB" or isinstance(value, bytes)


def shapes(connection: sqlite3.Connection) -> list[Shape]:
    """Return the shapes of all tables of an open library."""
    found = []
    for table in (*(t.name for t in TABLES), "setting"):
        columns = tuple((r[1], r[2], bool(r[3]) or r[1] == "no") for r in connection.execute(f"PRAGMA table_info({table})"))
        marks = ", ".join("?" * len(columns))
        found.append(Shape(table, table in _KEYED or table == "setting", columns, f"INSERT INTO {table} VALUES ({marks})"))
    return found


def mend(connection: sqlite3.Connection) -> list[str]:
    """Put stand-ins for lost set-ups, lights, placements, sensors and calibrations; return in words what was done."""
    losses = []
    for what, sql in _BEFORE:
        losses += _said(connection.execute(sql).rowcount, what)
    for what, sql in _STAND_INS:
        rows = connection.execute(sql).fetchall()
        for row in rows:
            _stand_in(connection, what, row)
        losses += _said(len(rows), f"lost {what}s got a stand-in named 'Recovered ...'")
    for what, sql in _AFTER:
        losses += _said(connection.execute(sql).rowcount, what)
    losses += _mend_names_and_details(connection)
    return losses


def _said(count: int, what: str) -> list[str]:
    return [f"{count} {what}"] if count > 0 else []


_LOST_READING = "NOT EXISTS (SELECT 1 FROM reading r WHERE r.setup_no = {0}.setup_no AND r.id = {0}.reading_id)"
_BEFORE = (
    ("pops whose reading is lost were left out", f"DELETE FROM pop WHERE {_LOST_READING.format('pop')}"),
    ("waveforms whose reading is lost were left out", f"DELETE FROM waveform WHERE {_LOST_READING.format('waveform')}"),
    ("marks whose reading is lost were left out", f"DELETE FROM mark WHERE {_LOST_READING.format('mark')}"),
    (
        "placements whose light is lost and which no reading needs were left out",
        "DELETE FROM placement WHERE light_no NOT IN (SELECT no FROM light) AND no NOT IN "
        "(SELECT placement_no FROM reading WHERE placement_no IS NOT NULL)",
    ),
    (
        "versions of lights that are lost and which no reading needs were left out",
        "DELETE FROM light_version WHERE light_no NOT IN (SELECT no FROM light) AND light_no NOT IN "
        "(SELECT light_no FROM reading WHERE light_no IS NOT NULL)",
    ),
    (
        "reflectors lost their source",
        "UPDATE light_version SET source_light_no = NULL WHERE source_light_no NOT IN (SELECT no FROM light)",
    ),
)
# The order matters: a stand-in may need the one before it.
_STAND_INS = (
    (
        "set-up",
        "SELECT setup_no FROM setup_version UNION SELECT setup_no FROM light UNION SELECT setup_no FROM reading "
        "EXCEPT SELECT no FROM setup",
    ),
    (
        "light",
        "SELECT light_no, min(setup_no) FROM reading WHERE light_no NOT IN (SELECT no FROM light) GROUP BY light_no",
    ),
    (
        "placement",
        "SELECT placement_no, min(light_no), min(taken_at_s) FROM reading WHERE light_no IS NOT NULL "
        "AND placement_no NOT IN (SELECT no FROM placement) GROUP BY placement_no",
    ),
    ("sensor", "SELECT sensor_no FROM reading UNION SELECT sensor_no FROM calibration EXCEPT SELECT no FROM sensor"),
    (
        "calibration",
        "SELECT calibration_no, min(sensor_no), min(receptor), min(taken_at_s) FROM reading "
        "WHERE calibration_no NOT IN (SELECT no FROM calibration) GROUP BY calibration_no",
    ),
    ("set-up's name", "SELECT no FROM setup WHERE no NOT IN (SELECT setup_no FROM setup_version)"),
    ("light's name", "SELECT no FROM light WHERE no NOT IN (SELECT light_no FROM light_version)"),
)
_PLACES = "(SELECT p.light_no FROM placement p WHERE p.no = reading.placement_no)"
_POPS = "(SELECT count(*) FROM pop p WHERE p.setup_no = reading.setup_no AND p.reading_id = reading.id)"
_BROKEN = f"(pop_count > 1 AND {_POPS} <> pop_count OR pop_count = 1 AND exposure_lxs IS NULL AND {_POPS} <> 1)"
_AFTER = (
    (
        "ranges of lost calibrations were left out",
        "DELETE FROM calibration_range WHERE calibration_no NOT IN (SELECT no FROM calibration)",
    ),
    (
        "readings lost their placement",
        f"UPDATE reading SET placement_no = NULL WHERE placement_no IS NOT NULL AND {_PLACES} IS NOT light_no",
    ),
    (
        "readings replace one that is lost",
        "UPDATE reading SET supersedes_id = NULL WHERE supersedes_id IS NOT NULL AND NOT EXISTS (SELECT 1 FROM reading o "
        "WHERE o.setup_no = reading.setup_no AND o.id = reading.supersedes_id)",
    ),
    ("readings lost the details of their pops", f"UPDATE reading SET pop_count = 0 WHERE {_BROKEN}"),
    (
        "pops of incomplete readings were left out",
        "DELETE FROM pop WHERE EXISTS (SELECT 1 FROM reading r WHERE r.setup_no = pop.setup_no AND r.id = pop.reading_id "
        "AND r.pop_count = 0)",
    ),
)


def _stand_in(connection: sqlite3.Connection, what: str, row: tuple[Any, ...]) -> None:
    identifier, no = bytes.fromhex(new_id()), row[0]
    name = f"Recovered {what.removesuffix(chr(39) + 's name')} {no}"
    if what == "set-up":
        connection.execute("INSERT INTO setup VALUES (?, ?, 0)", (no, identifier))
    elif what == "light":
        connection.execute("INSERT INTO light VALUES (?, ?, ?)", (no, identifier, row[1]))
    elif what == "placement":
        connection.execute(
            "INSERT INTO placement (no, id, light_no, created_at_s, shape, power_text) VALUES (?, ?, ?, ?, 0, '')",
            (no, identifier, row[1], row[2]),
        )
    elif what == "sensor":
        connection.execute("INSERT INTO sensor VALUES (?, ?)", (no, name))
    elif what == "calibration":
        connection.execute(
            "INSERT INTO calibration (no, id, sensor_no, created_at_s, constant_lx, receptor, u_scale_rel, relative, method) "
            "VALUES (?, ?, ?, ?, ?, ?, 0.5, 1, 'lost: stand-in of a recovery')",
            (no, identifier, row[1], row[3], (330.0, 250.0)[row[2]], row[2]),
        )
    elif what == "set-up's name":
        connection.execute(
            "INSERT INTO setup_version (id, setup_no, name, name_key, iso) VALUES (?, ?, ?, ?, 100)",
            (identifier, no, name, name_key(name)),
        )
    else:
        connection.execute(
            "INSERT INTO light_version (id, light_no, name, name_key, role, point) VALUES (?, ?, ?, ?, 5, 'face')",
            (identifier, no, name, name_key(name)),
        )


def _mend_names_and_details(connection: sqlite3.Connection) -> list[str]:
    losses = []
    for table, columns in JSON_COLUMNS.items():
        for column, kind in columns:
            rows = connection.execute(f"SELECT no, {column} FROM {table} WHERE {column} <> ''").fetchall()
            bad = [(no,) for no, text in rows if not is_json(text, kind)]
            empty = {"payload": "{}", "segments": "[]"}.get(column, "")
            connection.executemany(f"UPDATE {table} SET {column} = '{empty}' WHERE no = ?", bad)
            losses += _said(len(bad), f"damaged {column} of {table} were emptied")
    for table in ("setup_version", "light_version"):
        for no, name, key in connection.execute(f"SELECT no, name, name_key FROM {table}").fetchall():
            if name_key(name) != key:
                connection.execute(f"UPDATE {table} SET name_key = ? WHERE no = ?", (name_key(name) or "?", no))
    return losses
