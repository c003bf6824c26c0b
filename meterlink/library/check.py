"""Is a library sound: its pages, what refers to what, every record and every waveform."""

from __future__ import annotations

import contextlib
import os
import re
import sqlite3
from collections import Counter
from collections.abc import Callable, Iterator
from functools import partial
from pathlib import Path
from typing import NamedTuple

from meterlink.errors import LibraryDamaged, MeterlinkError
from meterlink.library import rows
from meterlink.library.checking import problems
from meterlink.library.connection import Database
from meterlink.library.knowledge import KnowledgeStore
from meterlink.library.merge import TABLES
from meterlink.library.migrations import SCHEMA_VERSION
from meterlink.library.schema import VERSION_1
from meterlink.words.actions import Do
from meterlink.words.told import Told, told


class Finding(NamedTuple):
    """One thing that a check found: ``level`` is ``damage`` (restore), ``notice`` (fine, but worth knowing)."""

    level: str
    said: Told
    advice: Told


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


_RECOVER = told("restore_latest", do=Do("store_restore_latest"))
_LEFT_OUT = told("copies_leave_it_out", do=Do("store_restore"))
_NAMED_MOST = 20
_CHECK = re.compile(r"CHECK \(((?:[^()]|\([^()]*\))*)\)")
"""What stands in the parentheses of a CHECK, in which there is one more pair of them at most."""


def check(path: str | Path) -> Report:
    """Look whether a library is sound: pages, orphans, records, versions.  Writes nothing.

    Raises ``NotInLibrary``, ``LibraryTooNew``, ``LibraryBusy``; damage is in the report.
    """
    name = os.fspath(path)
    try:
        db = Database(name, readonly=True, any_version=True)
    except LibraryDamaged as error:
        damage = Finding("damage", told("unreadable_file", trouble=error.__cause__ or error), _RECOVER)
        return Report(name, 0, {}, Path(name).stat().st_size, [damage])
    with contextlib.closing(db):
        findings = list(_findings(db))
        return Report(name, db.version, _counts(db.connection), Path(name).stat().st_size, findings)


def _counts(connection: sqlite3.Connection) -> dict[str, int]:
    counts = {}
    for table in TABLES:
        with contextlib.suppress(sqlite3.Error):  # damaged or not yet there: the findings say so
            counts[table] = int(connection.execute(f"SELECT count(*) FROM {table}").fetchone()[0])
    return counts


def _findings(db: Database) -> Iterator[Finding]:
    connection = db.connection
    try:
        for (text,) in connection.execute("PRAGMA integrity_check(20)"):
            if text != "ok":
                yield Finding("damage", told("note", note=" ".join(text.split())), _RECOVER)
        orphans = Counter((table, parent) for table, _, parent, _ in connection.execute("PRAGMA foreign_key_check"))
        for (table, parent), count in orphans.items():
            yield Finding("damage", told("orphans", count=count, table=table, parent=parent), _RECOVER)
        if db.version == SCHEMA_VERSION:
            for problem in (*_check_problems(connection), *problems(connection)):
                yield Finding("damage", problem, _RECOVER)
            yield from _undecodable(db)
        yield from _version_findings(db)
        yield from _notices(connection)
    except (sqlite3.DatabaseError, UnicodeDecodeError) as error:
        yield Finding("damage", told("unreadable_file", trouble=error), _RECOVER)


def _undecodable(db: Database) -> Iterator[Finding]:
    """Read every record and waveform as the product reads them; name what cannot be read."""
    store = KnowledgeStore(db)
    for (identifier,) in db.rows("SELECT id FROM setup ORDER BY id"):
        setup_id = identifier.hex()
        yield from _unread(told("its_versions", setup=setup_id), partial(store.setup_versions, setup_id))
        yield from _unread(told("its_lights", setup=setup_id), partial(store.light_versions, setup_id))
        yield from _unread(told("its_readings", setup=setup_id), partial(store.all_readings, setup_id))
        for (light,) in db.rows("SELECT l.id FROM light l JOIN setup s ON s.no = l.setup_no WHERE s.id = ?", (identifier,)):
            yield from _unread(told("its_placements", setup=setup_id), partial(store.placements, light.hex()))
    yield from _unread(told("the_calibrations"), store.calibrations)
    for kind, key in db.rows("SELECT kind, key FROM note WHERE NOT is_good_note(kind, payload)"):
        yield Finding("damage", told("bad_note", kind=kind, key=key), _LEFT_OUT)
    yield from _bad_waveforms(db)


def _unread(what: Told, act: Callable[[], object]) -> Iterator[Finding]:
    if trouble := _trouble(act):
        yield Finding("damage", told("cannot_be_read", what=what, trouble=trouble), _RECOVER)


def _bad_waveforms(db: Database) -> Iterator[Finding]:
    bad = [
        told("bad_waveform", pop=row[-1], reading=row[-2].hex())
        for row in db.connection.execute(f"{rows.WAVEFORM_SELECT} ORDER BY w.no")
        if _trouble(partial(rows.waveform_from, row))
    ]
    for said in bad[:_NAMED_MOST]:
        yield Finding("damage", said, _LEFT_OUT)
    if len(bad) > _NAMED_MOST:
        yield Finding("damage", told("more_bad_waveforms", count=len(bad) - _NAMED_MOST), _LEFT_OUT)


def _trouble(act: Callable[[], object]) -> str:
    """Do it; return in a few words what went wrong, '' when nothing did."""
    try:
        act()
    except (MeterlinkError, LookupError, ValueError, TypeError, AttributeError) as error:
        return " ".join(str(error).split())[:200] or type(error).__name__
    return ""


def _check_problems(connection: sqlite3.Connection) -> Iterator[Told]:
    """Run the CHECKs of the tables without row ids, which SQLite's own integrity check passes over."""
    for sql in VERSION_1:
        if sql.rstrip().endswith("WITHOUT ROWID") and "CHECK" in sql:
            table = sql.split()[2]
            wrong = " OR ".join(f"NOT ({condition})" for condition in _CHECK.findall(sql))
            (count,) = connection.execute(f"SELECT count(*) FROM {table} WHERE {wrong}").fetchone()
            if count:
                yield told("breaks_a_check", count=count, table=table)


def _version_findings(db: Database) -> Iterator[Finding]:
    steps = [n for (n,) in db.connection.execute("SELECT number FROM migration ORDER BY number")]
    if steps != list(range(1, db.version + 1)):
        yield Finding("damage", told("wrong_version", version=db.version, steps=str(steps)), _RECOVER)
    elif db.version < SCHEMA_VERSION:
        older = told("older_schema", version=db.version, writes=SCHEMA_VERSION)
        yield Finding("notice", older, told("updated_at_opening"))


def _notices(connection: sqlite3.Connection) -> Iterator[Finding]:
    doubles = (
        (
            "setups_of_one_name",
            "SELECT v.name, count(*) FROM setup s JOIN setup_version v ON v.setup_no = s.no AND v.id = (SELECT max(id) "
            "FROM setup_version WHERE setup_no = s.no) WHERE NOT v.archived GROUP BY v.name_key HAVING count(*) > 1",
        ),
        (
            "lights_of_one_name",
            "SELECT v.name, count(*) FROM light l JOIN light_version v ON v.light_no = l.no AND v.id = (SELECT max(id) "
            "FROM light_version WHERE light_no = l.no) WHERE NOT v.removed GROUP BY l.setup_no, v.name_key HAVING count(*) > 1",
        ),
    )
    for code, sql in doubles:
        for name, count in connection.execute(sql):
            yield Finding("notice", told(code, count=count, name=name), told("rename_by_id"))
    (ago,) = connection.execute("SELECT count(*) FROM placement WHERE created_at_s > strftime('%s', 'now') + 86400").fetchone()
    if ago:
        yield Finding("notice", told("placed_in_future", count=ago), told("set_that_clock"))
