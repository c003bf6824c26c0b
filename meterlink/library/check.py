"""Is a library sound: its pages, what refers to what, every record and every waveform."""

from __future__ import annotations

import contextlib
import os
import sqlite3
from collections.abc import Callable, Iterator
from functools import partial
from pathlib import Path
from typing import NamedTuple

from meterlink.errors import LibraryDamaged, LibraryTooNew, MeterlinkError, NotInLibrary
from meterlink.library import rows
from meterlink.library.checking import problems
from meterlink.library.connection import SCHEMA_VERSION, Database
from meterlink.library.knowledge import KnowledgeStore
from meterlink.library.merge import TABLES
from meterlink.library.schema import VERSION_1


class Finding(NamedTuple):
    """One thing that a check found: ``level`` is ``damage`` (restore), ``notice`` (fine, but worth knowing)."""

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


_RECOVER = "'meterlink store restore latest' puts the last backup in its place and keeps this file"
_LEFT_OUT = "export, merge and sync leave it out; 'meterlink store restore' brings an earlier copy back"
_NAMED_MOST = 20


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
            yield from _undecodable(db)
        yield from _version_findings(db)
        yield from _notices(connection)
    except (sqlite3.DatabaseError, UnicodeDecodeError) as error:
        yield Finding("damage", f"the file cannot be read to its end ({error})", _RECOVER)


def _undecodable(db: Database) -> Iterator[Finding]:
    """Read every record and waveform as the product reads them; name what cannot be read."""
    store = KnowledgeStore(db)
    for (identifier,) in db.rows("SELECT id FROM setup ORDER BY id"):
        setup_id = identifier.hex()
        lights = (light.hex() for (light,) in db.rows("SELECT l.id FROM light l JOIN setup s ON s.no = l.setup_no "
                                                      "WHERE s.id = ?", (identifier,)))  # fmt: skip
        acts: list[tuple[str, Callable[[], object]]] = [
            ("versions", partial(store.setup_versions, setup_id)),
            ("lights", partial(store.light_versions, setup_id)),
            ("readings", partial(store.all_readings, setup_id)),
            *(("placements", partial(store.placements, light)) for light in lights),
        ]
        for what, act in acts:
            if trouble := _trouble(act):
                yield Finding("damage", f"set-up {setup_id}: its {what} cannot be read ({trouble})", _RECOVER)
    for what, act in (("calibrations", store.calibrations), ("settings", store.settings)):
        if trouble := _trouble(act):
            yield Finding("damage", f"the {what} cannot be read ({trouble})", _RECOVER)
    for kind, key in db.rows("SELECT kind, key FROM note WHERE NOT is_good_note(kind, payload)"):
        yield Finding("damage", f"a {kind} of {key!r} cannot be read", _LEFT_OUT)
    yield from _bad_waveforms(db)


def _bad_waveforms(db: Database) -> Iterator[Finding]:
    bad = [
        f"waveform {row[-1]} of reading {row[-2].hex()} is damaged, the reading is not"
        for row in db.connection.execute(f"{rows.WAVEFORM_SELECT} ORDER BY w.no")
        if _trouble(partial(rows.waveform_from, row))
    ]
    for text in bad[:_NAMED_MOST]:
        yield Finding("damage", text, _LEFT_OUT)
    if len(bad) > _NAMED_MOST:
        yield Finding("damage", f"{len(bad) - _NAMED_MOST} more waveforms are damaged", _LEFT_OUT)


def _trouble(act: Callable[[], object]) -> str:
    """Do it; return in a few words what went wrong, '' when nothing did."""
    try:
        act()
    except (MeterlinkError, LookupError, ValueError, TypeError, AttributeError) as error:
        return " ".join(str(error).split())[:200] or type(error).__name__
    return ""


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
