"""Numbered steps from any older schema to the present one; each changes and records itself in one transaction."""

from __future__ import annotations

import sqlite3
import time
from collections.abc import Sequence

from meterlink.library.backup import Backups
from meterlink.library.files import APPLICATION_ID
from meterlink.library.schema import VERSION_1, VERSION_2, VERSION_3, added_sql

MIGRATIONS: tuple[tuple[str, Sequence[str]], ...] = (
    ("set-ups, lights, placements, calibrations, readings", VERSION_1),
    ("notes: learnt facts", VERSION_2),
    ("what has been exchanged with shared libraries", VERSION_3),
)
"""Name and statements of each step, which come before the columns that the table of fields has since this schema.  A step's
number, counted from 1, becomes the file's ``user_version``."""
SCHEMA_VERSION = len(MIGRATIONS)


def migrate(connection: sqlite3.Connection, path: str, target: int = SCHEMA_VERSION) -> int:
    """Bring the file to ``target`` and return the version it has now.

    A kill between two steps leaves a file of the version in between, from which the next opening goes on.  Another
    process may do the same at the same time: the version is read again under the write lock.
    """
    (version,) = connection.execute("PRAGMA user_version").fetchone()
    if 0 < version < target:
        Backups(path).make(connection, "migration")
    for number, (name, statements) in enumerate(MIGRATIONS, 1):
        if version < number <= target:
            version = _apply(connection, number, name, statements)
    return int(version)


def _apply(connection: sqlite3.Connection, number: int, name: str, statements: Sequence[str]) -> int:
    connection.execute("BEGIN IMMEDIATE")
    try:
        (version,) = connection.execute("PRAGMA user_version").fetchone()
        if version < number:
            for statement in (*statements, *added_sql(number)):
                connection.execute(statement)
            connection.execute("INSERT INTO migration VALUES (?, ?, ?)", (number, name, time.time()))
            connection.execute(f"PRAGMA application_id={APPLICATION_ID}")
            connection.execute(f"PRAGMA user_version={number}")
            version = number
        connection.execute("COMMIT")
    except BaseException:
        if connection.in_transaction:
            connection.execute("ROLLBACK")
        raise
    return int(version)
