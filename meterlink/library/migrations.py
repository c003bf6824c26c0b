"""Numbered steps from any older schema to the present one; each changes and records itself in one transaction."""

from __future__ import annotations

import sqlite3
import time
from collections.abc import Sequence
from typing import NamedTuple

from meterlink.library.backup import Backups
from meterlink.library.connection import SCHEMA_VERSION
from meterlink.library.files import APPLICATION_ID
from meterlink.library.schema import VERSION_1, VERSION_2, VERSION_3, added_sql


class Migration(NamedTuple):
    """One step: its number becomes the file's ``user_version``."""

    number: int
    name: str
    statements: Sequence[str] = ()
    """Besides the columns that the table of fields has since this schema."""


MIGRATIONS = (
    Migration(1, "set-ups, lights, placements, calibrations, readings", VERSION_1),
    Migration(2, "notes: learnt facts", VERSION_2),
    Migration(3, "what has been exchanged with shared libraries", VERSION_3),
)


def migrate(connection: sqlite3.Connection, path: str, target: int = SCHEMA_VERSION) -> int:
    """Bring the file to ``target`` and return the version it has now.

    A kill between two steps leaves a file of the version in between, from which the next opening goes on.  Another
    process may do the same at the same time: the version is read again under the write lock.
    """
    (version,) = connection.execute("PRAGMA user_version").fetchone()
    if 0 < version < target:
        Backups(path).make(connection, "migration")
    for step in MIGRATIONS:
        if version < step.number <= target:
            version = _apply(connection, step)
    return int(version)


def _apply(connection: sqlite3.Connection, step: Migration) -> int:
    connection.execute("BEGIN IMMEDIATE")
    try:
        (version,) = connection.execute("PRAGMA user_version").fetchone()
        if version < step.number:
            for statement in (*step.statements, *added_sql(step.number)):
                connection.execute(statement)
            connection.execute("INSERT INTO migration VALUES (?, ?, ?)", (step.number, step.name, time.time()))
            connection.execute(f"PRAGMA application_id={APPLICATION_ID}")
            connection.execute(f"PRAGMA user_version={step.number}")
            version = step.number
        connection.execute("COMMIT")
    except BaseException:
        if connection.in_transaction:
            connection.execute("ROLLBACK")
        raise
    return int(version)
