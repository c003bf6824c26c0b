"""The tables of a library as SQL, made from the table of fields.  Only read when a file is created or migrated, or checked.

Every table has a small integer ``no`` (or a key made of such numbers) for use inside one file, and a random 128-bit
``id`` that means the same record in every file.  Foreign keys use ``no``, which keeps a reading small; merging and
sync use ``id``.  ``no`` of the ordinary tables grows in the order of arrival, so "what is new since" is a number.

Texts with choices (``kind``, ``purpose`` ...) are kept as their index.  A set-up or light is its id and versions that are only
ever added: the one with the latest id is what it is now.  The CHECKs are wide: they keep out what is of another type or sign.
REAL columns that are NULL are not known.  STRICT tables are left out on purpose: they need SQLite 3.37, and the SQLite
that is built into phone packages is older.
"""

from __future__ import annotations

from collections.abc import Mapping

from meterlink.library.fields import COLUMNS, REAL_MAX, SMALL, Field

_NO = "no INTEGER PRIMARY KEY"
_16_BYTES = "typeof(id) = 'blob' AND length(id) = 16"
_NO_ID = f"{_NO}, id BLOB NOT NULL UNIQUE CHECK ({_16_BYTES})"
_OF_SETUP = "setup_no INTEGER NOT NULL REFERENCES setup (no)"
_OF_READING = "setup_no INTEGER NOT NULL, reading_id BLOB NOT NULL"
_READING = "FOREIGN KEY (setup_no, reading_id) REFERENCES reading (setup_no, id)"
_POP_INDEX = "pop_index INTEGER NOT NULL CHECK (pop_index BETWEEN 0 AND 999)"


def number_of(column: str) -> str:
    """Return the table that a column with a row's number points at (``source_light_no``: light), '' for any other column."""
    return column.removesuffix("_no").rpartition("_")[2] if column.endswith("_no") else ""


def column_sql(name: str, field: Field) -> str:
    """Return the definition of a field's column."""
    if field.sql:
        return field.sql
    if target := number_of(name):
        return f"{name} INTEGER {'' if field.null else 'NOT NULL '}REFERENCES {target} (no)"
    always = "" if field.null else " NOT NULL"
    default = "" if field.default is None else f" DEFAULT {field.default:g}"
    if field.kind == "number":
        low = SMALL if field.low > 0 else -REAL_MAX if field.low < 0 else 0
        return f"{name} REAL{always}{default} CHECK ({name} BETWEEN {low:g} AND {REAL_MAX if field.high else 0:g})"
    if field.kind == "choice":
        field = Field("integer", low=0, high=len(field.choices) - 1)
    if field.kind in ("integer", "records"):
        return f"{name} INTEGER NOT NULL{default} CHECK ({name} BETWEEN {field.low:g} AND {field.high:g})"
    if field.kind == "flag":
        return f"{name} INTEGER NOT NULL{default} CHECK ({name} IN (0, 1))"
    if field.kind in ("id", "ids"):  # of other records: NULL where there is none
        return f"{name} BLOB CHECK (typeof({name}) <> 'text' AND length({name}) {'= 16' if field.kind == 'id' else '% 16 = 0'})"
    if field.sparse:
        return f"{name} TEXT CHECK (typeof({name}) <> 'blob')"
    filled = f" AND {name} <> ''" if field.kind == "name" or field.low else ""
    default = "" if filled or field.required or field.kind == "segments" else " DEFAULT ''"
    text = f"{name} TEXT NOT NULL{default} CHECK (typeof({name}) = 'text'{filled})"
    return text if name != "name" else f"{text}, {column_sql('name_key', Field('text', True))}"


def table_sql(name: str, head: str, tail: str = "", end: str = "") -> str:
    """Return the CREATE of a table: ``head`` names a record, then come the columns that its first schema has, then constraints."""
    columns = COLUMNS.get(name, {})
    first = _first(columns)
    made = (column_sql(column, field) for column, field in columns.items() if field.since == first)
    return f"CREATE TABLE {name} ({', '.join(filter(None, (head, *made, tail)))}){end}"


def added_sql(version: int) -> list[str]:
    """Return what brings the columns of a later schema into the tables of an earlier one."""
    return [
        f"ALTER TABLE {table} ADD COLUMN {column_sql(name, field)}"
        for table, columns in COLUMNS.items()
        for name, field in columns.items()
        if field.since == version > _first(columns)
    ]


def _first(columns: Mapping[str, Field]) -> int:
    return min((field.since for field in columns.values()), default=1)


VERSION_1 = (
    "CREATE TABLE migration (number INTEGER PRIMARY KEY, name TEXT NOT NULL, applied_at_s REAL NOT NULL)",
    f"CREATE TABLE sensor ({_NO}, sensor_id TEXT NOT NULL UNIQUE CHECK (typeof(sensor_id) = 'text' AND sensor_id <> ''))",
    table_sql("setup", _NO_ID),
    table_sql("setup_version", f"{_NO_ID}, {_OF_SETUP}"),
    "CREATE INDEX setup_version_latest ON setup_version (setup_no, id)",
    "CREATE INDEX setup_version_name ON setup_version (name_key)",
    table_sql("light", f"{_NO_ID}, {_OF_SETUP}"),
    "CREATE INDEX light_of_setup ON light (setup_no)",
    table_sql("light_version", f"{_NO_ID}, light_no INTEGER NOT NULL REFERENCES light (no)"),
    "CREATE INDEX light_version_latest ON light_version (light_no, id)",
    table_sql("placement", _NO_ID),
    "CREATE INDEX placement_latest ON placement (light_no, id)",
    table_sql("calibration", _NO_ID),
    "CREATE INDEX calibration_of_sensor ON calibration (sensor_no, id)",
    table_sql(
        "calibration_range",
        "calibration_no INTEGER NOT NULL REFERENCES calibration (no), "
        "range_index INTEGER NOT NULL CHECK (range_index BETWEEN 0 AND 255)",
        "PRIMARY KEY (calibration_no, range_index)", " WITHOUT ROWID",
    ),
    # Keyed by set, then by id: ids sort by time, so the readings of a set lie together in the order they were taken.
    table_sql("reading", f"{_OF_SETUP}, id BLOB NOT NULL CHECK ({_16_BYTES})", "PRIMARY KEY (setup_no, id)", " WITHOUT ROWID"),
    # Only where a reading's pops say more than the reading itself: one pop equal to it is counted, not stored twice.
    table_sql(
        "pop", f"{_OF_READING}, {_POP_INDEX}", f"PRIMARY KEY (setup_no, reading_id, pop_index), {_READING}", " WITHOUT ROWID"
    ),
    table_sql("waveform", f"{_NO}, {_OF_READING}, {_POP_INDEX}", f"UNIQUE (setup_no, reading_id, pop_index), {_READING}"),
    # A reading is never changed: what is taken back gets a mark.
    table_sql("mark", f"{_NO_ID}, {_OF_SETUP}, reading_id BLOB NOT NULL", _READING),
    "CREATE INDEX mark_of_reading ON mark (setup_no, reading_id)",
    # This file's own choices and memory: not merged, not synced.
    "CREATE TABLE setting (name TEXT PRIMARY KEY, value NOT NULL) WITHOUT ROWID",
    "CREATE TABLE memory (key TEXT PRIMARY KEY, value NOT NULL) WITHOUT ROWID",
)  # fmt: skip

VERSION_2 = (
    # Learnt facts (falloff fits, fixtures' power curves, certificates ...): the latest of a kind and key is in force.
    table_sql("note", _NO_ID),
    "CREATE INDEX note_of_key ON note (kind, key, id)",
)

VERSION_3 = (
    # What has been exchanged with shared libraries: this file's own memory, not merged.
    """CREATE TABLE sync_state (
        remote TEXT NOT NULL,                         -- id of the shared library
        part TEXT NOT NULL,                           -- a table, "fetched" or "own"
        setup_no INTEGER NOT NULL,                    -- set-up for readings, batch for "own", else 0
        number INTEGER NOT NULL,                      -- last no, count of readings, or batch
        mark BLOB NOT NULL,                           -- last reading's id, or the batch's stamp
        PRIMARY KEY (remote, part, setup_no)) WITHOUT ROWID""",
)
