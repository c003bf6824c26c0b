"""Safe copies of a library: whole, consistent, and either complete or not there at all."""

from __future__ import annotations

import os
import sqlite3
from pathlib import Path

from meterlink.errors import StorageError


def copy_before_migration(connection: sqlite3.Connection, path: str, version: int) -> Path:
    """Copy the library beside itself as ``NAME.schema-N.bak`` (N: the version it has) before its schema changes.

    An earlier copy of that name is kept.  Raises ``StorageError`` when there is no room: then nothing is migrated.
    """
    target = Path(f"{path}.schema-{version}.bak")
    if not target.exists():
        copy_to(connection, target)
    return target


def copy_to(connection: sqlite3.Connection, target: Path) -> None:
    """Write a consistent copy of the open library to ``target``: first under another name, synced, then renamed."""
    partial = target.with_name(f"{target.name}.{os.getpid()}.partial")
    try:
        partial.unlink(missing_ok=True)
        copy = sqlite3.connect(partial)
        try:
            connection.backup(copy)
            copy.execute("PRAGMA journal_mode=DELETE")
        finally:
            copy.close()
        _sync_file(partial)
        partial.replace(target)
        _sync_folder(target.parent)
    except (sqlite3.Error, OSError) as error:
        partial.unlink(missing_ok=True)
        raise StorageError(
            f"no safe copy could be written to {target} ({error}), nothing was changed: "
            "free some space or check the folder's rights"
        ) from error


def _sync_file(path: Path) -> None:
    with path.open("rb+") as file:
        os.fsync(file.fileno())


def _sync_folder(path: Path) -> None:
    """Make the rename itself durable, where folders can be synced at all."""
    if os.name != "posix":
        return
    handle = os.open(path, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
