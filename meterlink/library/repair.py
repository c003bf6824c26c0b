"""Is a library sound, and what can be saved of one that is not."""

from __future__ import annotations

import contextlib
import os
import sqlite3
from collections.abc import Iterator
from pathlib import Path
from typing import Any, NamedTuple

from meterlink.errors import LibraryDamaged, LibraryTooNew, NotInLibrary, StorageError, UsageError
from meterlink.library import mending
from meterlink.library.checking import problems
from meterlink.library.connection import SCHEMA_VERSION, Database
from meterlink.library.merge import TABLES
from meterlink.library.pages import Pages
from meterlink.library.schema import VERSION_1


class Finding(NamedTuple):
    """One thing that a check found: ``level`` is ``damage`` (recover), ``notice`` (fine, but worth knowing)."""

    level: str
    text: str
    advice: str = ""


class Report(NamedTuple):
    """What a check found, and what is in the library."""

    path: str
    schema_version: int
    counts: dict[str, int]
    size_bytes: int
    findings: list[Finding]

    @property
    def sound(self) -> bool:
        """Whether nothing is damaged."""
        return not any(f.level == "damage" for f in self.findings)


class Recovered(NamedTuple):
    """What a recovery saved: rows by table, and in words what is not as it was."""

    path: str
    counts: dict[str, int]
    losses: list[str]


_RECOVER = "'meterlink store recover' saves what can be read into a new file"


def check(path: str | Path) -> Report:
    """Look whether a library is sound: pages, orphans, records, versions.  Writes nothing.

    Raises ``NotInLibrary``, ``LibraryTooNew``, ``LibraryBusy``; damage is in the report.
    """
    name = os.fspath(path)
    try:
        db = Database(name, readonly=True, any_version=True)
    except (LibraryTooNew, NotInLibrary):
        raise
    except LibraryDamaged as error:
        return Report(name, 0, {}, Path(name).stat().st_size, [Finding("damage", str(error), _RECOVER)])
    try:
        findings = list(_findings(db))
        return Report(name, db.version, _counts(db.connection), Path(name).stat().st_size, findings)
    finally:
        db.close()


def _counts(connection: sqlite3.Connection) -> dict[str, int]:
    counts = {}
    for table in TABLES:
        with contextlib.suppress(sqlite3.Error):  # damaged or not yet there: the findings say so
            counts[table.name] = int(connection.execute(f"SELECT count(*) FROM {table.name}").fetchone()[0])
    return counts


def _findings(db: Database) -> Iterator[Finding]:
    connection = db.connection
    try:
        for (text,) in connection.execute("PRAGMA integrity_check(20)"):
            if text != "ok":
                yield Finding("damage", " ".join(text.split()), _RECOVER)
        orphans: dict[str, int] = {}
        for table, _, parent, _ in connection.execute("PRAGMA foreign_key_check"):
            orphans[f"{table} without its {parent}"] = orphans.get(f"{table} without its {parent}", 0) + 1
        for what, count in orphans.items():
            yield Finding("damage", f"{count} rows of {what}", _RECOVER)
        if db.version == SCHEMA_VERSION:
            for problem in (*_check_problems(connection), *problems(connection)):
                yield Finding("damage", problem, _RECOVER)
        yield from _version_findings(db)
        yield from _notices(connection)
    except (sqlite3.DatabaseError, UnicodeDecodeError) as error:
        yield Finding("damage", f"the file cannot be read to its end ({error})", _RECOVER)


def _check_problems(connection: sqlite3.Connection) -> Iterator[str]:
    """Run the CHECKs of the tables without row ids, which SQLite's own integrity check passes over."""
    for sql in VERSION_1:
        if sql.rstrip().endswith("WITHOUT ROWID") and "CHECK" in sql:
            table = sql.split()[2]
            wrong = " OR ".join(f"NOT ({condition})" for condition in _conditions(sql))
            (count,) = connection.execute(f"SELECT count(*) FROM {table} WHERE {wrong}").fetchone()
            if count:
                yield f"{count} rows of {table} break a CHECK of the table"


def _conditions(sql: str) -> Iterator[str]:
    """Yield what stands in the parentheses of every CHECK of a table's definition."""
    for part in sql.split("CHECK (")[1:]:
        depth = 1
        for n, sign in enumerate(part):
            depth += (sign == "(") - (sign == ")")
            if depth == 0:
                yield part[:n]
                break


def _version_findings(db: Database) -> Iterator[Finding]:
    steps = [n for (n,) in db.connection.execute("SELECT number FROM migration ORDER BY number")]
    if steps != list(range(1, db.version + 1)):
        yield Finding("damage", f"the schema says version {db.version}, its record says {steps}", _RECOVER)
    elif db.version < SCHEMA_VERSION:
        text = f"schema {db.version}, this meterlink writes {SCHEMA_VERSION}"
        yield Finding("notice", text, "the next opening brings it up to date, after a safe copy")


def _notices(connection: sqlite3.Connection) -> Iterator[Finding]:
    doubles = (
        ("set-ups", "SELECT v.name, count(*) FROM setup s JOIN setup_version v ON v.setup_no = s.no AND v.id = (SELECT max(id) "
         "FROM setup_version WHERE setup_no = s.no) WHERE NOT v.archived GROUP BY v.name_key HAVING count(*) > 1"),
        ("lights of one set-up", "SELECT v.name, count(*) FROM light l JOIN light_version v ON v.light_no = l.no AND v.id = "
         "(SELECT max(id) FROM light_version WHERE light_no = l.no) WHERE NOT v.removed GROUP BY l.setup_no, v.name_key "
         "HAVING count(*) > 1"),
    )  # fmt: skip
    for what, sql in doubles:
        for name, count in connection.execute(sql):
            yield Finding("notice", f"{count} {what} are named {name!r}", "rename one, by its id")
    (ago,) = connection.execute("SELECT count(*) FROM placement WHERE created_at_s > strftime('%s', 'now') + 86400").fetchone()
    if ago:
        yield Finding("notice", f"{ago} placements are dated in the future", "set the clock of the device that made them")


def recover(path: str | Path, target: str | Path) -> Recovered:
    """Save what can be read of a damaged library into the new file ``target``; the damaged one is only read.

    Rows are taken from the pages themselves, so neither a damaged header nor damaged trees stop it.  What a record refers to
    and is lost gets a stand-in that says so.  Raises ``LibraryDamaged`` when nothing can be read, ``StorageError``.
    """
    source, new = Path(path), Path(target)
    if not source.is_file():
        raise NotInLibrary(f"there is no library at {source}: check the name")
    if new.exists():
        raise UsageError(f"{new} exists: name a new file for what can be saved")
    partial = new.with_name(f"{new.name}.{os.getpid()}.partial")
    try:
        db = Database(os.fspath(partial))
        try:
            losses = _fill(db.connection, source)
            counts = _counts(db.connection)
        finally:
            db.close()
        if not counts.get("setup"):
            raise LibraryDamaged(f"nothing of a library can be read from {source}: look for a copy ({source.name}.*.bak)")
        partial.replace(new)
    except OSError as error:
        raise StorageError(f"{new} cannot be written ({error.strerror}): choose another place or free some space") from error
    except sqlite3.Error as error:
        raise StorageError(f"{new} cannot be written ({error}): choose another place or free some space") from error
    finally:
        for leftover in new.parent.glob(f"{partial.name}*"):
            leftover.unlink()
    return Recovered(os.fspath(new), counts, losses)


def _fill(connection: sqlite3.Connection, source: Path) -> list[str]:
    """Insert every row that can be read, mend what hangs in the air, and make sure that the result is sound."""
    connection.execute("PRAGMA foreign_keys=OFF")
    connection.execute("BEGIN IMMEDIATE")
    shapes = mending.shapes(connection)
    refused = 0
    with contextlib.closing(Pages(source)) as pages:
        for cell in pages.cells():
            for shape in shapes:
                row = shape.row_of(cell)
                if row is not None:
                    refused += not _insert(connection, shape, row)
                    break
    losses = mending.mend(connection)
    if refused:
        losses.append(f"{refused} rows held impossible values and were left out")
    left = [*problems(connection), *map(str, connection.execute("PRAGMA foreign_key_check").fetchmany(3))]
    if left:
        connection.execute("ROLLBACK")
        raise LibraryDamaged(f"what can be read of {source} does not hold together ({left[0]}): look for a copy of it")
    connection.execute("COMMIT")
    connection.execute("PRAGMA foreign_keys=ON")
    return losses


def _insert(connection: sqlite3.Connection, shape: mending.Shape, row: tuple[Any, ...]) -> bool:
    """Insert a row; False when its values cannot be.  A row that is there already counts as inserted."""
    try:
        connection.execute(shape.insert, row)
    except sqlite3.IntegrityError as error:
        return getattr(error, "sqlite_errorcode", 0) in (
            sqlite3.SQLITE_CONSTRAINT_UNIQUE,
            sqlite3.SQLITE_CONSTRAINT_PRIMARYKEY,
        )
    except (sqlite3.Error, OverflowError, ValueError):
        return False
    return True
