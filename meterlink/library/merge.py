"""Union of two libraries: every record of the other one that is not here yet is added, nothing is changed.

Records are immutable and named by random ids, so the result does not depend on the order in which libraries are merged, and
merging again adds nothing.  The other file is never written to.  Everything happens in one transaction.
"""

from __future__ import annotations

import shutil
import sqlite3
import tempfile
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from pathlib import Path
from typing import Any, NamedTuple

from meterlink.errors import ImportRefused, MeterlinkError, StorageError, UsageError
from meterlink.library.checking import problems
from meterlink.library.connection import Database, translated
from meterlink.library.files import exists, file_uri, is_file, journals
from meterlink.library.learnt import is_good_note
from meterlink.library.migrations import SCHEMA_VERSION
from meterlink.library.rows import is_whole_waveform
from meterlink.library.schema import number_of
from meterlink.library.store import Library
from meterlink.words.told import Told, told

Tell = Callable[[Told], None]
READERS: dict[str, tuple[Callable[[Any, Any], bool], str, str]] = {
    "waveform": (is_whole_waveform, "samples", "byte_count"), "note": (is_good_note, "kind", "payload"),
}  # fmt: skip
"""What says whether a row can be read, and the columns that it asks.  What cannot is left out and named."""
GOOD = {table: f"{good.__name__}({first}, {second})" for table, (good, first, second) in READERS.items()}
"""The same as SQL; ``Database`` has the functions."""


class Added(NamedTuple):
    """How many records a merge, import or sync added (or would add)."""

    setups: int = 0
    setup_versions: int = 0
    lights: int = 0
    light_versions: int = 0
    placements: int = 0
    calibrations: int = 0
    readings: int = 0
    waveforms: int = 0
    marks: int = 0
    notes: int = 0


_OF_POP = ("setup_no", "reading_id", "pop_index")
TABLES: dict[str, tuple[str, ...]] = {
    "sensor": ("sensor_id",), "setup": ("id",), "setup_version": ("id",), "light": ("id",), "light_version": ("id",),
    "placement": ("id",), "calibration": ("id",), "calibration_range": ("calibration_no", "range_index"),
    "reading": ("setup_no", "id"), "pop": _OF_POP, "waveform": _OF_POP, "mark": ("id",), "note": ("id",),
}  # fmt: skip
"""Tables that are united, what they refer to first, and the columns that name a record of each everywhere."""
_NUMBERED = ("sensor", "setup", "light", "placement", "calibration")


def merge(library: Library, other: str | Path, reason: str = "merge", tell: Tell = lambda _: None, *, name: str = "") -> Added:
    """Add every record of the library file ``other`` (``name`` for a reader) that ``library`` lacks; return how many.

    ``tell`` is told of damaged waveforms and notes, which are left out.  A backup named for ``reason`` keeps what was there.
    Settings, the set-up in use and other local memory stay as they are.  Raises ``ImportRefused`` (and takes nothing) when the
    other file does not hold together or gives another content to an id that is here.
    """
    library.back_up(reason)
    with _attached(library.db, Path(other)) as connection, library.db.write():
        added = unite(connection, name or str(other))
        for reading, pop in connection.execute(f"SELECT reading_id, pop_index FROM other.waveform WHERE NOT {GOOD['waveform']}"):
            tell(told("left_out_of_merge", pop=pop, reading=reading.hex()))
        for kind, key in connection.execute(f"SELECT kind, key FROM other.note WHERE NOT {GOOD['note']}"):
            tell(told("note_left_out", kind=kind, key=key))
    library.keep_ids_growing()
    return added


def preview(library: Library, other: str | Path, name: str = "") -> Added:
    """Return what ``merge`` would add, and add nothing."""
    with _attached(library.db, Path(other)) as connection, library.db.write(records=False, trial=True):
        return unite(connection, name or str(other))


def unite(connection: sqlite3.Connection, name: str) -> Added:
    """Add the records of the attached schema ``other``, inside the transaction that is open.  ``name`` is for messages."""
    for problem in problems(connection, "other"):
        raise ImportRefused("{name} does not hold together, nothing was taken: {problem}", name=name, problem=problem)
    added = {}
    try:
        for table in TABLES:
            added[table] = _unite_table(connection, table, name)
            if table in _NUMBERED:
                _make_map(connection, table)
    except sqlite3.IntegrityError as error:
        raise ImportRefused("{name} does not hold together, nothing was taken: {error}", name=name, error=error) from error
    finally:
        for table in _NUMBERED:
            connection.execute(f"DROP TABLE IF EXISTS temp.map_{table}")
    return Added(*(added[field.removesuffix("s")] for field in Added._fields))


def _unite_table(connection: sqlite3.Connection, table: str, name: str) -> int:
    every = [row[1] for row in connection.execute(f"PRAGMA main.table_info({table})")]
    columns = [c for c in every if c != "no"]
    mapped = {c: _mapped(c) for c in columns}
    joins = " ".join(f"LEFT JOIN temp.map_{number_of(c)} m_{c} ON m_{c}.other_no = o.{c}" for c in columns if number_of(c))
    same = " AND ".join(f"k.{c} = {mapped[c]}" for c in TABLES[table])
    order = " ORDER BY o.no" if "no" in every else ""
    (offered,) = connection.execute(f"SELECT count(*) FROM other.{table}").fetchone()
    good = f"AND {GOOD[table]}" if table in GOOD else ""
    done = connection.execute(
        f"INSERT INTO main.{table} ({', '.join(columns)}) SELECT {', '.join(mapped.values())} "
        f"FROM other.{table} o {joins} WHERE NOT EXISTS (SELECT 1 FROM main.{table} k WHERE {same}) {good}{order}"
    )
    if done.rowcount < offered:
        differs = " OR ".join(f"k.{c} IS NOT {mapped[c]}" for c in columns)
        clash = connection.execute(
            f"SELECT {mapped[TABLES[table][-1]]} FROM other.{table} o {joins} "
            f"JOIN main.{table} k ON {same} WHERE {differs} LIMIT 1"
        ).fetchone()
        if clash:
            which = clash[0].hex() if isinstance(clash[0], bytes) else clash[0]
            raise ImportRefused(
                "{name} has another {value} under an id that is here ({which}), nothing was taken: one of "
                "the two files was changed by hand",
                name=name, value=table.replace('_', ' '), which=which,
            )
    return done.rowcount


def _mapped(column: str) -> str:
    """Return the SQL of a column as it must be stored here; a number that leads nowhere becomes one that no table has."""
    if not number_of(column):
        return f"o.{column}"
    return f"CASE WHEN o.{column} IS NULL THEN NULL ELSE ifnull(m_{column}.main_no, -1) END"


def _make_map(connection: sqlite3.Connection, table: str) -> None:
    """Note which number here stands for which number there."""
    (key,) = TABLES[table]
    connection.execute(f"CREATE TABLE temp.map_{table} (other_no INTEGER PRIMARY KEY, main_no INTEGER NOT NULL)")
    connection.execute(
        f"INSERT INTO temp.map_{table} SELECT o.no, k.no FROM other.{table} o "
        f"JOIN main.{table} k ON k.{key} = o.{key}"
    )


@contextmanager
def _attached(db: Database, other: Path) -> Iterator[sqlite3.Connection]:
    """Attach another library's file (or an updated copy of an older one) read-only as ``other``; nothing is left beside it."""
    if exists(other) and exists(db.path) and other.samefile(db.path):
        raise UsageError("{other} is the library itself: name another file", other=other)
    with tempfile.TemporaryDirectory(prefix="meterlink-") as folder, _readable(other, Path(folder)) as source:
        uri = source.db.uri
        if source.db.version < SCHEMA_VERSION:
            updated = Path(folder) / "updated.sqlite"
            _updated_copy(source, updated)
            uri = file_uri(updated, "mode=ro")
        with db.alone():
            try:
                db.connection.execute("ATTACH ? AS other", (uri,))
                try:
                    _check_shape(db.connection, other)
                    yield db.connection
                finally:
                    db.connection.execute("DETACH other")
            except sqlite3.Error as error:
                raise translated(error, str(other)) from error


def _readable(other: Path, folder: Path) -> Library:
    """Open a library for looking; one that a kill left in a folder that cannot be written is read from a copy with its log."""
    try:
        return Library.open(other, readonly=True, any_version=True)
    except StorageError:
        if not is_file(other) or not any(exists(one) for one in journals(other)):
            raise
        copy = folder / "source.sqlite"
        for theirs, ours in zip((other, *journals(other)), (copy, *journals(copy)), strict=True):
            if theirs.exists() and not theirs.name.endswith("-shm"):
                shutil.copyfile(theirs, ours)
        return Library.open(copy, readonly=True, any_version=True)


def _updated_copy(source: Library, path: Path) -> None:
    with closing(sqlite3.connect(path, isolation_level=None)) as copy:
        source.db.connection.backup(copy)
    try:
        Library.open(path).close()
    except MeterlinkError as error:
        raise ImportRefused(
            "{path} cannot be brought up to date, nothing was taken: {error}", path=source.path, error=error
        ) from error


def _check_shape(connection: sqlite3.Connection, other: Path) -> None:
    """Refuse a file whose tables are not plainly ours: views, triggers and virtual tables can do anything."""
    kinds = connection.execute("SELECT type, name, sql FROM other.sqlite_schema").fetchall()
    plain = {n for kind, n, sql in kinds if kind == "table" and not str(sql).upper().startswith("CREATE VIRTUAL")}
    if any(kind not in ("table", "index") for kind, _, _ in kinds) or not plain >= TABLES.keys():
        raise ImportRefused("{other} is not a plain library, nothing was taken: export it again where it came from", other=other)
    for table in TABLES:
        ours, theirs = (
            [row[1:3] for row in connection.execute(f"PRAGMA {schema}.table_xinfo({table})")] for schema in ("main", "other")
        )
        if ours != theirs:
            raise ImportRefused("{other} has another table {table}, nothing was taken: export it again", other=other, table=table)
